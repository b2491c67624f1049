package mark

import (
	"math"
	"slices"

	"fairmetal/internal/order"
)

// A high beside a low stands on the low's crown or in its moat. Its own height, whose tenth draws its outline, counts from there.
const (
	skirtReach   = 2.6    // half breadths of a low within which it lifts the metal
	skirtArc     = 80     // degrees to either side of the high in which the skirt is looked for: a crown is not the same all round
	skirtStep    = 4      // degrees between the places looked at
	skirtPlaces  = 8      // of them that must show the skirt
	skirtStepMM  = 0.5    // between the rings
	highReach    = 3.2    // Gaussian radii by the sharper curvature: a high half as long again as wide has sunk below a tenth there
	leastOwn     = 0.3    // share of a high that must be left over the skirt
	strongerThan = 0.5    // a high's height over the depth of the low it may stand beside
	topShare     = 1 / 3. // of the reach within which the own top is looked for
)

// ring is a place's distance from a mark's middle in its half breadths, and its direction in the ellipse.
func (m *Mark) ring(x, y float64) (rho, angle float64) {
	sin, cos := math.Sincos(m.AngleDeg * math.Pi / 180)
	x, y = x-m.XMM, y-m.YMM
	a, b := (cos*x+sin*y)/(m.LengthMM/2), (-sin*x+cos*y)/(m.WidthMM/2)
	return math.Hypot(a, b), math.Atan2(b, a)
}

// onRing is the place that ring tells.
func (m *Mark) onRing(rho, angle float64) (x, y float64) {
	sin, cos := math.Sincos(m.AngleDeg * math.Pi / 180)
	sa, ca := math.Sincos(angle)
	a, b := rho*ca*m.LengthMM/2, rho*sa*m.WidthMM/2
	return m.XMM + cos*a - sin*b, m.YMM + sin*a + cos*b
}

// host is the low in whose skirt a high stands, the nearest in half breadths; nil without one.
func (f *finder) host(q *region, lows []Mark) *Mark {
	var best *Mark
	nearest := skirtReach
	x, y := f.s.XY(q.at%f.s.Cols, q.at/f.s.Cols)
	for i := range lows {
		l := &lows[i]
		if l.WidthMM <= 0 || l.DepthUM < strongerThan*q.peak {
			continue
		}
		if rho, _ := l.ring(x, y); rho < nearest {
			best, nearest = l, rho
		}
	}
	return best
}

// breadth is how far about its top a high reaches, mm, as its sharper curvature tells.
func (f *finder) breadth(q *region) float64 {
	k1, _ := f.curvature(q.at, q.sign)
	if k1 >= 0 {
		return 0
	}
	return highReach * math.Sqrt(q.peak/-k1)
}

// overSkirt returns a high as it stands over the skirt of the low beside it, and the map of that. The skirt is the median along the low's
// rings to both sides of the high, highs left out. It returns f and q themselves where there is no such low, or too little of its rings.
func (f *finder) overSkirt(q *region, highs []*region, lows []Mark) (*finder, *region) {
	low := f.host(q, lows)
	reach := f.breadth(q)
	if low == nil || reach == 0 {
		return f, q
	}
	g := f.s.Grid
	x0, y0 := g.XY(q.at%g.Cols, q.at/g.Cols)
	_, middle := low.ring(x0, y0)
	high := func(x, y float64) bool {
		return slices.ContainsFunc(highs, func(o *region) bool {
			hx, hy := g.XY(o.at%g.Cols, o.at/g.Cols)
			return math.Hypot(x-hx, y-hy) < f.breadth(o)
		})
	}
	step := skirtStepMM / (low.WidthMM / 2)
	skirts := map[int]float64{}
	skirt := func(k int) float64 {
		if v, ok := skirts[k]; ok {
			return v
		}
		var h []float64
		for deg := -skirtArc; deg <= skirtArc; deg += skirtStep {
			x, y := low.onRing(float64(k)*step, middle+float64(deg)*math.Pi/180)
			if v := f.smoothAt(x, y); v == v && !high(x, y) {
				h = append(h, v)
			}
		}
		v := math.NaN()
		if len(h) >= skirtPlaces {
			v = order.Median(h)
		}
		skirts[k] = v
		return v
	}
	own := *f
	own.smooth = slices.Clone(f.smooth)
	top := &region{sign: q.sign, at: -1}
	n := int(reach/g.PitchMM) + 1
	c0, r0 := q.at%g.Cols, q.at/g.Cols
	var near []int
	for r := max(0, r0-n); r <= min(g.Rows-1, r0+n); r++ {
		for c := max(0, c0-n); c <= min(g.Cols-1, c0+n); c++ {
			i := r*g.Cols + c
			x, y := g.XY(c, r)
			d := math.Hypot(x-x0, y-y0)
			if f.smooth[i] != f.smooth[i] || d > reach {
				continue
			}
			rho, _ := low.ring(x, y)
			k := math.Floor(rho / step)
			t := rho/step - k
			base := (1-t)*skirt(int(k)) + t*skirt(int(k)+1)
			if base != base {
				return f, q
			}
			own.smooth[i] -= float32(base)
			near = append(near, i)
			if h := float64(q.sign * own.smooth[i]); d < topShare*reach && h > top.peak {
				top.peak, top.at = h, i
			}
		}
	}
	if top.peak < leastOwn*q.peak {
		return f, q
	}
	others := map[int]bool{}
	for _, o := range highs {
		if o != q {
			for _, i := range o.cells {
				others[i] = true
			}
		}
	}
	for _, i := range near {
		if float64(q.sign*own.smooth[i]) >= outline*top.peak && !others[i] {
			top.cells = append(top.cells, i)
		}
	}
	for _, i := range own.core(top, 0.5*top.peak) {
		if x, y := g.XY(i%g.Cols, i/g.Cols); math.Hypot(x-x0, y-y0) > reach-g.PitchMM {
			return f, q // far wider than the bend at its top tells
		}
	}
	top.cells = own.connected(top)
	return &own, top
}

// smoothAt is the smoothed height of the cell at a place, um; NaN beyond the raster.
func (f *finder) smoothAt(x, y float64) float64 {
	c, r := f.s.Cell(x, y)
	i, j := int(math.Round(c)), int(math.Round(r))
	if i < 0 || j < 0 || i >= f.s.Cols || j >= f.s.Rows {
		return math.NaN()
	}
	return float64(f.smooth[j*f.s.Cols+i])
}
