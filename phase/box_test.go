package phase

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestBoxMean compares running sums with plain ones, at the rims, too.
func TestBoxMean(t *testing.T) {
	const w, h = 37, 29
	rnd := rand.New(rand.NewPCG(1, 2))
	v, known := make([]float32, w*h), make([]bool, w*h)
	for i := range v {
		v[i], known[i] = float32(rnd.NormFloat64()), rnd.IntN(3) > 0
		if !known[i] {
			v[i] = float32(math.NaN())
		}
	}
	for _, r := range []int{1, 4, 15, 40} {
		got := boxMean(v, known, w, h, r)
		for y := range h {
			for x := range w {
				var s, n float64
				for j := max(0, y-r); j <= min(h-1, y+r); j++ {
					for i := max(0, x-r); i <= min(w-1, x+r); i++ {
						if known[j*w+i] {
							s, n = s+float64(v[j*w+i]), n+1
						}
					}
				}
				if n > 0 {
					s /= n
				}
				if math.Abs(float64(got[y*w+x])-s) > 1e-5 {
					t.Fatalf("radius %d at %d, %d: %g, want %g", r, x, y, got[y*w+x], s)
				}
			}
		}
	}
}
