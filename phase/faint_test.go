package phase

import (
	"math"
	"testing"
)

// TestFaint: what shows stripes and cannot be read counts, dark metal does not.
func TestFaint(t *testing.T) {
	f := Field{W: 100, H: 1, X: make([]float32, 100), Mod: make([]float32, 100)}
	for i := range f.X {
		switch {
		case i < 30:
			f.Mod[i], f.X[i] = 0.1, float32(math.NaN())
		case i < 60:
			f.Mod[i] = 0.1
		default:
			f.X[i] = float32(math.NaN())
		}
	}
	if s := f.Faint(); math.Abs(s-0.5) > 1e-6 {
		t.Errorf("%.3f of the stripes are lost, want a half", s)
	}
}
