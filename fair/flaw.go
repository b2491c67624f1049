package fair

import (
	"math"
	"sort"

	"fairmetal/internal/order"
	"fairmetal/surface"
)

// Flaw is a low or high found on the metal.
type Flaw struct {
	XMM       float64 `json:"x_mm"`
	YMM       float64 `json:"y_mm"`
	WidthMM   float64 `json:"width_mm"`  // of the filter that answers it best: rough
	HeightUM  float64 `json:"height_um"` // negative for a low: rough
	Ratio     float64 `json:"ratio"`     // to the local standard deviation
	SlopeMRad float64 `json:"slope_mrad"`
	Answer    Answer  `json:"answer"` // not fair: its slope is over the limit
}

// widths of marks that are looked for, mm: each about 1.5 times the last, so that none between loses over a tenth of its answer.
var widths = []float64{8, 12, 18, 27, 40, 60}

// A mark of width w is taken for a Gaussian bowl of standard deviation w/4.3 (a tenth of its depth left at the rim). It is answered by
// the difference of two Gaussians, 0.7 and 2 times as wide: of the bowl's depth m2/(m2+s2) passes each, so the difference answers
// 1/1.49 - 1/5.
const (
	rimSD     = 2.146 // sqrt(2 ln 10)
	innerWide = 0.7
	outerWide = 2.0
	answer    = 1/(1+innerWide*innerWide) - 1/(1+outerWide*outerWide)
)

// standsOut is how many local standard deviations a flaw must answer: 4.1 is the expected extreme of the 20000 independent spots of a
// Gaussian field 300 x 200 mm; orange peel is not quite Gaussian.
const standsOut = 6.0

// flaws finds every low and high that stands out of its surroundings, largest first.
func (r *relief) flaws(l Limits) []Flaw {
	type hit struct {
		cell          int
		width, um, by float64
	}
	var hits []hit
	c := max(l.NoiseMM, r.pitch/(2*math.Sqrt(math.Pi)))
	for _, w := range widths {
		m := w / 2 / rimSD
		in, out := surface.Gauss(r.g, r.um, innerWide*m), surface.Gauss(r.g, r.um, outerWide*m)
		for i := range in {
			in[i] -= out[i]
		}
		spread := robust(in)
		passes := c / math.Hypot(c, innerWide*m)
		n := r.g.Cols
		for i, v := range in {
			if col := i % n; v != v || col == 0 || col == n-1 || i < n || i >= len(in)-n {
				continue
			}
			sigma := max(spread, passes*float64(r.sigma[i]))
			a := math.Abs(float64(v))
			if a < standsOut*sigma || a < l.FlawUM*answer || !extreme(in, n, i) {
				continue
			}
			hits = append(hits, hit{i, w, float64(v) / answer, a / max(sigma, 1e-9)})
		}
	}
	sort.SliceStable(hits, func(i, j int) bool { return math.Abs(hits[i].um) > math.Abs(hits[j].um) })
	out := []Flaw{}
next:
	for _, h := range hits {
		x, y := r.g.XY(h.cell%r.g.Cols, h.cell/r.g.Cols)
		for _, f := range out {
			d := math.Hypot(x-f.XMM, y-f.YMM)
			// The same flaw in another width, or the moat that the filter digs round it.
			if d < 0.6*max(f.WidthMM, h.width) || d < 1.6*f.WidthMM && math.Abs(h.um) < 0.4*math.Abs(f.HeightUM) {
				continue next
			}
		}
		f := Flaw{XMM: x, YMM: y, WidthMM: h.width, HeightUM: h.um, Ratio: h.by}
		f.SlopeMRad, f.Answer = r.steepest(x, y, h.width/2, l)
		out = append(out, f)
	}
	return out
}

// steepest is the largest slope within a flaw, mrad.
func (r *relief) steepest(x, y, radius float64, l Limits) (float64, Answer) {
	cx, cy := r.coarse.along(View{ElevationDeg: 90})
	c, q := r.g.Cell(x, y)
	n := int(radius/r.g.PitchMM) + 1
	ns, _ := l.noise(gaussSD(PeelMM), r.pitch)
	var p peaks
	for j := max(0, int(q)-n); j <= min(r.g.Rows-1, int(q)+n); j++ {
		for i := max(0, int(c)-n); i <= min(r.g.Cols-1, int(c)+n); i++ {
			k := j*r.g.Cols + i
			if !r.ok[k] {
				continue
			}
			ax, ay, bx, by := r.off(k, cx, cy)
			g := min(math.Hypot(ax, ay), math.Hypot(bx, by))
			// One place is looked at, so two standard deviations are sure.
			p.take(k, 1e3*g, ns*float64(r.sigma[k]), l.SlopeMRad, 2)
		}
	}
	w := p.peak(r.g, l.SlopeMRad, 2)
	return w.Value, w.Answer
}

func extreme(v []float32, n, i int) bool {
	for _, j := range [8]int{i - n - 1, i - n, i - n + 1, i - 1, i + 1, i + n - 1, i + n, i + n + 1} {
		if v[i] > 0 && v[j] > v[i] || v[i] < 0 && v[j] < v[i] {
			return false
		}
	}
	return true
}

// robust is the standard deviation about zero from the median magnitude, so that flaws on less than half the area do not count.
func robust(v []float32) float64 {
	var a []float32
	for i := 0; i < len(v); i += max(1, len(v)/50000) {
		if x := v[i]; x == x {
			a = append(a, float32(math.Abs(float64(x))))
		}
	}
	if len(a) == 0 {
		return 0
	}
	return float64(order.Median(a)) / 0.6745
}
