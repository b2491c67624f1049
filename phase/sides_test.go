package phase

import (
	"math"
	"testing"
)

// TestRunsOn: stripes run on across a line that bends by a stripe over six pixels; not across one that hides them between two pixels, nor where they
// are too dense to swing.
func TestRunsOn(t *testing.T) {
	const w, h, p = 60, 60, 12.0
	for _, c := range []struct {
		name string
		// By how many stripes the coordinate runs off over how many pixels, and how far those swing.
		stripes, over, swing float64
		want                 bool
	}{
		{"soft", 1, 6, 0.6, true},
		{"sharp", 2.4, 0.5, 0.6, false},
		{"by whole stripes", 2, 0.5, 0.6, false},
		{"dense", 0, 6, 0.1, false}, // one stripe a pixel, which continuity takes for none
	} {
		f := &Field{W: w, H: h, X: make([]float32, w*h), Mod: make([]float32, w*h), PitchMM: p}
		side := make([]int8, w*h)
		for i := range f.X {
			x, y := float64(i%w), float64(i/w)
			s := max(-0.5, min(0.5, (y-29.5)/c.over))
			f.X[i], f.Mod[i] = float32(p*(0.1*x+0.05*y+c.stripes*s)), 0.1
			if math.Abs(y-29.5) < c.over/2 {
				f.Mod[i] *= float32(c.swing)
			}
			switch {
			case y < 20:
				side[i] = Near
			case y > 40:
				side[i] = Far
			}
		}
		if got := f.RunsOn(side); got != c.want {
			t.Errorf("%s: %v", c.name, got)
		}
	}
}
