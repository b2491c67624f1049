package surface

import (
	"math"
	"testing"
)

// TestTrustKeepsErrorsAtHole: slopes that are a tenth too flat beside a hole on one flank of a dent, as blur makes them where a bend ends in
// the hole, shall not tilt the metal around. All cells alike carry that on over the panel.
func TestTrustKeepsErrorsAtHole(t *testing.T) {
	g := Grid{Cols: 241, Rows: 241, PitchMM: 0.5, X0MM: -60, Y0MM: -60}
	const depth, s = 0.3, 5.0
	dent := func(x, y float64) float64 { return -depth * math.Exp(-(x*x+y*y)/(2*s*s)) }
	zx, zy := make([]float32, g.Len()), make([]float32, g.Len())
	nan := float32(math.NaN())
	for i := range zx {
		x, y := g.XY(i%g.Cols, i/g.Cols)
		r := math.Hypot(x, y)
		k := -dent(x, y) / (s * s)
		// Peel, so that even metal bends a little too.
		zx[i] = float32(k*x + 1e-4*math.Sin(2.1*x+0.7*y))
		zy[i] = float32(k*y + 1e-4*math.Sin(1.7*y-0.6*x))
		switch {
		case r < 4:
			zx[i], zy[i] = nan, nan
		case r < 6 && x > 0:
			zx[i], zy[i] = 0.9*zx[i], 0.9*zy[i]
		}
	}
	off := func(weight []float32) float64 {
		z, err := Integrate(g, zx, zy, weight, nil, 1e-6)
		if err != nil {
			t.Fatal(err)
		}
		base := z[0] - dent(g.XY(0, 0))
		var e2, n float64
		for i, v := range z {
			if x, y := g.XY(i%g.Cols, i/g.Cols); math.Hypot(x, y) > 10 {
				d := 1000 * (v - base - dent(x, y))
				e2, n = e2+d*d, n+1
			}
		}
		return math.Sqrt(e2 / n)
	}
	bends, even := Bends(g, zx, zy)
	alike, trusted := off(nil), off(Trust(bends, even, nil))
	t.Logf("metal around: %.2f um off with all cells alike, %.2f um by trust", alike, trusted)
	if trusted > alike/2 {
		t.Errorf("%.2f um off around the dent, %.2f um with all cells alike: want half of it at most", trusted, alike)
	}
}
