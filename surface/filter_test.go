package surface

import (
	"math"
	"testing"
)

// TestGaussTransmission checks the filter against ISO 16610-21: a wave of the cut-off length passes by 50 %, one of length L by
// exp(-pi (alpha lambda/L)^2), alpha = sqrt(ln 2/pi). The formula is from memory of the standard.
func TestGaussTransmission(t *testing.T) {
	const cutoff = 8.0
	g := Grid{Cols: 801, Rows: 9, PitchMM: 0.25}
	for _, length := range []float64{4, 8, 16, 40} {
		z := make([]float32, g.Len())
		for i := range z {
			x, _ := g.XY(i%g.Cols, 0)
			z[i] = float32(math.Cos(2 * math.Pi * x / length))
		}
		s := Gauss(g, z, GaussCutoff(cutoff))
		// Amplitude well inside, by projection over whole waves about the middle.
		var num, den float64
		n := int(math.Floor(100/length)*length/g.PitchMM/2 + 0.5)
		for c := g.Cols/2 - n; c < g.Cols/2+n; c++ {
			i := 4*g.Cols + c
			num += float64(s[i]) * float64(z[i])
			den += float64(z[i]) * float64(z[i])
		}
		alpha := math.Sqrt(math.Ln2 / math.Pi)
		want := math.Exp(-math.Pi * math.Pow(alpha*cutoff/length, 2))
		if got := num / den; math.Abs(got-want) > 2e-3 {
			t.Errorf("wave of %g mm passes by %.4f, want %.4f", length, got, want)
		}
		if length == cutoff && math.Abs(want-0.5) > 1e-12 {
			t.Errorf("the formula itself gives %v at the cut-off", want)
		}
	}
}

// TestGaussThinned: the quick path for wide filters agrees with the direct one.
func TestGaussThinned(t *testing.T) {
	g := Grid{Cols: 240, Rows: 200, PitchMM: 0.5}
	z := make([]float32, g.Len())
	for i := range z {
		x, y := g.XY(i%g.Cols, i/g.Cols)
		z[i] = float32(math.Exp(-((x-60)*(x-60)+(y-50)*(y-50))/800) + 0.1*math.Sin(x/3))
		if x > 100 && y > 80 {
			z[i] = float32(math.NaN())
		}
	}
	quick := Gauss(g, z, 8) // 16 cells: thinned
	for _, c := range [][2]int{{120, 100}, {60, 40}, {30, 150}} {
		// Direct normalised convolution at one cell.
		var num, den float64
		for i, v := range z {
			if v == v {
				dx, dy := float64(i%g.Cols-c[0])*g.PitchMM, float64(i/g.Cols-c[1])*g.PitchMM
				w := math.Exp(-(dx*dx + dy*dy) / 128)
				num += w * float64(v)
				den += w
			}
		}
		if got := float64(quick[c[1]*g.Cols+c[0]]); math.Abs(got-num/den) > 4e-3 {
			t.Errorf("at %v: %.5f, direct %.5f", c, got, num/den)
		}
	}
}

// TestGaussKeepsConstants: a constant stays one up to ragged rims, and unknown cells stay unknown.
func TestGaussKeepsConstants(t *testing.T) {
	g := Grid{Cols: 50, Rows: 40, PitchMM: 0.5}
	z := make([]float32, g.Len())
	for i := range z {
		z[i] = 3
		if i%7 == 0 || i%g.Cols > 40 {
			z[i] = float32(math.NaN())
		}
	}
	for i, v := range Gauss(g, z, 2) {
		if (v == v) != (z[i] == z[i]) || v == v && math.Abs(float64(v)-3) > 1e-5 {
			t.Fatalf("cell %d: %v from %v", i, v, z[i])
		}
	}
}

// TestFlattenLeavesMarks: a crown, a feature line and a wide shallow low; only the low must remain.
func TestFlattenLeavesMarks(t *testing.T) {
	g := Grid{Cols: 601, Rows: 401, PitchMM: 0.5, X0MM: -150, Y0MM: -100}
	line := func(x, y float64) (float64, float64) { return y - 40 - 0.02*x, x }
	h := make([]float64, g.Len())
	low := func(x, y float64) float64 { return -0.03 * math.Exp(-((x+20)*(x+20)+(y+30)*(y+30))/(2*12*12)) }
	for i := range h {
		x, y := g.XY(i%g.Cols, i/g.Cols)
		s, _ := line(x, y)
		h[i] = 0.2*x*x/22500 - 0.1*x*y/22500 + 0.02*s + low(x, y) + 0.0004*math.Sin(1.3*x)*math.Cos(1.1*y)
		if s > 0 {
			h[i] += 0.05 * (1 - math.Exp(-s/2)) // a step with a foot of its own
		}
	}
	smooth, spread, err := Flatten(g, h, line)
	if err != nil {
		t.Fatal(err)
	}
	sg := smooth.Grid(g)
	for i := range h {
		h[i] -= sg[i]
	}
	for i, v := range AlongLine(g, h, line) {
		h[i] -= v
	}
	worst := 0.0
	for i := range h {
		x, y := g.XY(i%g.Cols, i/g.Cols)
		worst = max(worst, math.Abs(h[i]-low(x, y)))
	}
	// A foot of 25 um/mm in bins of 0.5 mm is followed to 6 um right beside the line.
	if worst > 0.008 {
		t.Errorf("worst error of the deviation %.4f mm, want under 0.008", worst)
	}
	if spread > 0.002 {
		t.Errorf("spread %.4f mm", spread)
	}
}

// TestCloseGaps: a slit is bridged by the line between its sides, a wide hole stays open.
func TestCloseGaps(t *testing.T) {
	g := Grid{Cols: 80, Rows: 60, PitchMM: 0.5}
	zx, zy := make([]float32, g.Len()), make([]float32, g.Len())
	nan := float32(math.NaN())
	for i := range zx {
		c, r := i%g.Cols, i/g.Cols
		zx[i], zy[i] = 0.01*float32(c), 0
		if c == 20 || c == 21 || math.Hypot(float64(c-55), float64(r-30)) < 12 {
			zx[i], zy[i] = nan, nan
		}
	}
	filled := CloseGaps(g, zx, zy, 1.5)
	if i := 30*g.Cols + 20; !filled[i] || math.Abs(float64(zx[i])-0.2) > 1e-4 {
		t.Errorf("slit: filled %v with %v, want 0.2", filled[i], zx[i])
	}
	if i := 30*g.Cols + 55; filled[i] || zx[i] == zx[i] {
		t.Error("the wide hole was filled")
	}
}

// TestGaussRagged: the filter over a map with holes, specks and a ragged rim against its definition, cell by cell.
func TestGaussRagged(t *testing.T) {
	g := Grid{Cols: 61, Rows: 47, PitchMM: 0.5}
	z := make([]float32, g.Len())
	for i := range z {
		x, y := float64(i%g.Cols), float64(i/g.Cols)
		z[i] = float32(math.Sin(x/3) * math.Cos(y/4))
		if math.Hypot(x-40, y-20) < 5 || x < 6+2*math.Sin(y) || i%97 == 0 || y > 44 && x > 30 {
			z[i] = float32(math.NaN())
		}
	}
	for _, sigma := range []float64{0.4, 0.9, 2.6} {
		s := sigma / g.PitchMM
		reach := int(math.Ceil(4 * s))
		for i, v := range Gauss(g, z, sigma) {
			if z[i] != z[i] {
				if v == v {
					t.Fatalf("cell %d: %g where nothing is known", i, v)
				}
				continue
			}
			c, r := i%g.Cols, i/g.Cols
			var num, den float64
			for y := max(0, r-reach); y <= min(g.Rows-1, r+reach); y++ {
				for x := max(0, c-reach); x <= min(g.Cols-1, c+reach); x++ {
					if h := z[y*g.Cols+x]; h == h {
						w := math.Exp(-float64((x-c)*(x-c)+(y-r)*(y-r)) / (2 * s * s))
						num, den = num+w*float64(h), den+w
					}
				}
			}
			if math.Abs(float64(v)-num/den) > 2e-6 {
				t.Fatalf("sigma %g, cell %d: %g, by definition %g", sigma, i, v, num/den)
			}
		}
	}
}
