package card

import (
	"math"

	"fairmetal/photo"
)

// samples gathers the pixels whose place on the symbol is wanted, of these every step-th. Those without an edge in reach only
// tell the light: one in thinning of them stands for all.
func (f *model) samples(img *photo.Image, step int, wanted func(u, v float64) bool) []sample {
	m, ok := f.mapping()
	if !ok {
		return nil
	}
	f.prepare(&m)
	const rim = halfModules + margin
	x0, y0, x1, y1 := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, c := range outline {
		u, v := c[0]*rim/halfModules, c[1]*rim/halfModules
		if !(m.h[6]*u+m.h[7]*v+1 > horizon) {
			return nil
		}
		x, y := apply(f.x[:8], u, v)
		x0, y0, x1, y1 = min(x0, x), min(y0, y), max(x1, x), max(y1, y)
	}
	cx0, cy0 := int(max(math.Floor(x0+f.ox), 0)), int(max(math.Floor(y0+f.oy), 0))
	cx1, cy1 := int(min(math.Ceil(x1+f.ox), float64(img.W))), int(min(math.Ceil(y1+f.oy), float64(img.H)))
	var out []sample
	flat, all := 0, 0
	for y := cy0; y < cy1; y++ {
		for x := cx0; x < cx1; x++ {
			px, py := float64(x)+0.5-f.ox, float64(y)+0.5-f.oy
			u, v := m.symbol(px, py)
			if !(u > -rim && u < rim && v > -rim && v < rim && wanted(u, v)) {
				continue
			}
			if all++; all%step != 0 {
				continue
			}
			n := 1.0
			if !f.nearEdge(&m, px, py) {
				if flat++; flat%thinning != 0 {
					continue
				}
				n = thinning
			}
			out = append(out, sample{px, py, float64(img.Pix[y*img.W+x]), n, n})
		}
	}
	return out
}

// thinning is how many pixels without an edge one sample stands for: half of a sharp symbol's samples are then edges.
const thinning = 7

// wide leaves room for edges and blur to move while they are fitted.
const wide = 1.2

// nearEdge says whether an edge of the symbol lies within the blur's reach of a pixel, and a little more.
func (f *model) nearEdge(m *mapping, px, py float64) bool {
	k := f.view(m, px, py)
	cuu, _, cvv := f.blur(&k)
	x, y := k.u+halfModules, k.v+halfModules
	rx, ry := wide*reach*math.Sqrt(cuu), wide*reach*math.Sqrt(cvv)
	i0, i1 := cell(x-rx), cell(x+rx)
	j0, j1 := cell(y-ry), cell(y+ry)
	first := f.p[j0][i0]
	for j := j0; j <= j1; j++ {
		for i := i0; i <= i1; i++ {
			if f.p[j][i] != first {
				return true
			}
		}
	}
	return false
}

// cell returns the index into a pattern of the module at x.
func cell(x float64) int {
	switch {
	case !(x >= 0):
		return 0
	case x >= Modules:
		return Modules + 1
	}
	return int(x) + 1
}

// horizon is the least value of the homography's denominator on a card, 1 in its middle: a corner ten times as far as the middle
// is no card.
const horizon = 0.1

// margin is how much of the quiet zone is looked at, modules. Half of what the standard asks for, so that a card trimmed too
// closely is still fitted.
const margin = 2

// areaPX is the area of the symbol, px^2.
func (f *model) areaPX() float64 {
	var q [4][2]float64
	for i, c := range outline {
		q[i][0], q[i][1] = apply(f.x[:8], c[0], c[1])
	}
	a := 0.0
	for i := range q {
		j := (i + 1) % 4
		a += q[i][0]*q[j][1] - q[j][0]*q[i][1]
	}
	return math.Abs(a) / 2
}
