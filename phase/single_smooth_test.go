package phase

import (
	"math"
	"testing"
)

// A lone cell shows the kernel: its sum, breadth and top are those of the Gaussian that was asked for. Running means come in odd
// breadths, which leaves 5 % of sigma, and four of them lie 4 % under a Gaussian's top in each direction (kurtosis -0.3).
func TestSmoothIsGaussian(t *testing.T) {
	for _, sigma := range []float64{0.7, 1.2, 2, 2.9, 3.3, 4, 5.1, 7.5, 9} {
		const n = 101
		a := make([]float32, n*n)
		a[50*n+50] = 1
		b := smooth(a, n, n, sigma)
		var s, sx, sy float64
		for i, v := range b {
			x, y := float64(i%n-50), float64(i/n-50)
			s += float64(v)
			sx += float64(v) * x * x
			sy += float64(v) * y * y
		}
		top := float64(b[50*n+50]) * 2 * math.Pi * sigma * sigma
		if math.Abs(s-1) > 1e-4 || math.Abs(math.Sqrt(sx)/sigma-1) > 0.05 || math.Abs(sx/sy-1) > 1e-4 || math.Abs(top-1) > 0.1 {
			t.Errorf("sigma %g: sum %g, breadth %g and %g, top %g of a Gaussian's", sigma, s, math.Sqrt(sx), math.Sqrt(sy), top)
		}
	}
}

// Signal over weight is a mean of what is known: of a plane the plane itself inside, and of a constant the constant up to the rim
// and across holes.
func TestSmoothMean(t *testing.T) {
	for _, sigma := range []float64{1.5, 6} {
		const cols, rows = 90, 70
		v, w := make([]float32, cols*rows), make([]float32, cols*rows)
		for i := range v {
			if x, y := i%cols, i/cols; x > 20 && x < 30 && y > 30 && y < 35 {
				continue // a hole
			}
			w[i], v[i] = 1, 3
		}
		num, den := smooth(v, cols, rows, sigma), smooth(w, cols, rows, sigma)
		for i := range num {
			if m := num[i] / den[i]; math.Abs(float64(m)-3) > 1e-3 {
				t.Fatalf("sigma %g: a mean of %g of threes at (%d, %d)", sigma, m, i%cols, i/cols)
			}
		}
		for i := range v {
			v[i] = float32(2*(i%cols) - i/cols)
		}
		s := smooth(v, cols, rows, sigma)
		for y := 30; y < 40; y++ {
			for x := 30; x < 60; x++ {
				if i := y*cols + x; math.Abs(float64(s[i]-v[i])) > 0.02 {
					t.Fatalf("sigma %g: %g of a plane's %g at (%d, %d)", sigma, s[i], v[i], x, y)
				}
			}
		}
	}
}
