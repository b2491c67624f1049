package surface

import (
	"math"
	"testing"
)

// TestIntegrateClosedForm integrates the analytic gradient of a Gaussian low on a tilted crown, with a masked hole and ragged
// rim, against its closed form. The pairs at rims are second order: at s = 8 mm and 0.5 mm pitch their error is pitch^2/12 of the
// third derivative, under 1e-3 of the depth.
func TestIntegrateClosedForm(t *testing.T) {
	g := Grid{Cols: 301, Rows: 217, PitchMM: 0.5, X0MM: -75, Y0MM: -54}
	height := func(x, y float64) float64 {
		return -0.8*math.Exp(-(x*x+y*y)/128) - x*x/4000 - y*y/1500 + 0.01*x
	}
	zx, zy := make([]float32, g.Len()), make([]float32, g.Len())
	nan := float32(math.NaN())
	for r := range g.Rows {
		for c := range g.Cols {
			x, y := g.XY(c, r)
			i := r*g.Cols + c
			if math.Hypot(x-20, y-10) < 6 || x > 60+5*math.Sin(y/5) {
				zx[i], zy[i] = nan, nan
				continue
			}
			e := 0.8 * math.Exp(-(x*x+y*y)/128) / 64
			zx[i] = float32(e*x - x/2000 + 0.01)
			zy[i] = float32(e*y - y/750)
		}
	}
	z, err := Integrate(g, zx, zy, nil, nil, 1e-8)
	if err != nil {
		t.Fatal(err)
	}
	var mean, n float64
	for i := range z {
		if !math.IsNaN(z[i]) {
			x, y := g.XY(i%g.Cols, i/g.Cols)
			mean += z[i] - height(x, y)
			n++
		}
	}
	mean /= n
	worst := 0.0
	for i := range z {
		if !math.IsNaN(z[i]) {
			x, y := g.XY(i%g.Cols, i/g.Cols)
			worst = max(worst, math.Abs(z[i]-height(x, y)-mean))
		}
	}
	if worst > 5e-4 {
		t.Errorf("worst error %.2g mm, want under 5e-4", worst)
	}
	if n < 50000 {
		t.Errorf("only %v cells integrated", n)
	}
}

// TestMultigridIterations holds the preconditioner to its promise: the count of iterations hardly grows with the grid.
func TestMultigridIterations(t *testing.T) {
	count := func(n int) int {
		l := newLevel(n, n)
		b, m := make([]float32, l.size()), 0.0
		for y := range n {
			wx, wy := l.row(l.wx, y), l.row(l.wy, y)
			for x := range n {
				if x != n-1 {
					wx[x] = 1
				}
				if y != n-1 {
					wy[x] = 1
				}
				i := y*n + x
				v := math.Sin(float64(i*7919%1009)) + math.Cos(float64(i%n)*3/float64(n))
				l.row(b, y)[x] = float32(v)
				m += v
			}
		}
		for y := range n {
			for x := range l.row(b, y) {
				l.row(b, y)[x] -= float32(m / float64(n*n))
			}
		}
		l.finish()
		return newHierarchy(l).solve(make([]float64, l.size()), b, 1e-6)
	}
	small, large := count(64), count(512)
	if large > 30 || large > 2*small+4 {
		t.Errorf("64 cells: %d iterations, 512 cells: %d", small, large)
	}
	t.Logf("iterations: 64^2 %d, 512^2 %d", small, large)
}

func BenchmarkIntegrate(b *testing.B) {
	g := Grid{Cols: 720, Rows: 520, PitchMM: 0.5}
	zx, zy := make([]float32, g.Len()), make([]float32, g.Len())
	for i := range zx {
		zx[i] = float32(math.Sin(float64(i%g.Cols) / 40))
		zy[i] = float32(math.Cos(float64(i/g.Cols) / 30))
	}
	for b.Loop() {
		if _, err := Integrate(g, zx, zy, nil, nil, 1e-6); err != nil {
			b.Fatal(err)
		}
	}
}

// TestKeepMost: of two parts of known slopes the one that counts stays, however small; where none counts the larger one.
func TestKeepMost(t *testing.T) {
	g := Grid{Cols: 7, Rows: 3, PitchMM: 1}
	for _, c := range []struct {
		counts     func(row int) (from, to int)
		kept, from int
	}{
		{func(int) (int, int) { return -4, 2 }, 6, 0},
		{func(int) (int, int) { return 9, 4 }, 12, 3},
	} {
		zx, zy := make([]float32, g.Len()), make([]float32, g.Len())
		for r := range g.Rows {
			zx[r*g.Cols+2] = float32(math.NaN())
		}
		kept, dropped := KeepMost(g, zx, zy, c.counts)
		if kept != c.kept || dropped != 18-c.kept || zx[c.from] != 0 || zx[3-c.from] == 0 {
			t.Errorf("kept %d, dropped %d, %v", kept, dropped, zx)
		}
	}
}

// TestIntegrateNarrowBowl: a low of 6 mm, three cells to its standard deviation, keeps its depth; mean slopes took 1.6 % off it.
func TestIntegrateNarrowBowl(t *testing.T) {
	g := Grid{Cols: 81, Rows: 81, PitchMM: 0.5, X0MM: -20, Y0MM: -20}
	const s = 1.4
	zx, zy := make([]float32, g.Len()), make([]float32, g.Len())
	for i := range zx {
		x, y := g.XY(i%g.Cols, i/g.Cols)
		e := 0.1 / (s * s) * math.Exp(-(x*x+y*y)/(2*s*s))
		zx[i], zy[i] = float32(e*x), float32(e*y)
	}
	z, err := Integrate(g, zx, zy, nil, nil, 1e-8)
	if err != nil {
		t.Fatal(err)
	}
	if depth := z[5*g.Cols+5] - z[40*g.Cols+40]; math.Abs(depth/0.1-1) > 0.003 {
		t.Errorf("depth %.4f mm, want 0.1", depth)
	}
}
