package phase

import (
	"math"
	"testing"
)

// TestFaint: what shows stripes and cannot be read counts, dark metal does not; patches count where hardly anything can be read, not where pixels are lost here
// and there.
func TestFaint(t *testing.T) {
	const side = 4 * faintPatchPX
	for _, c := range []struct {
		name            string
		lost            func(x, y int) bool
		pixels, patches float64
	}{
		{"here and there", func(x, y int) bool { return (x+y)%2 == 0 }, 0.5, 0},
		{"one half", func(x, y int) bool { return y < side/2 }, 0.5, 0.5},
	} {
		f := Field{W: 2 * side, H: side, X: make([]float32, 2*side*side), Mod: make([]float32, 2*side*side)}
		for i := range f.X {
			x, y := i%f.W, i/f.W
			dark := x >= side
			if !dark {
				f.Mod[i] = 0.1
			}
			if dark || c.lost(x, y) {
				f.X[i] = float32(math.NaN())
			}
		}
		if pixels, patches := f.Faint(); math.Abs(pixels-c.pixels) > 1e-6 || math.Abs(patches-c.patches) > 1e-6 {
			t.Errorf("%s: %.3f of the pixels and %.3f of the patches are lost, want %.3f and %.3f", c.name, pixels, patches, c.pixels, c.patches)
		}
	}
}
