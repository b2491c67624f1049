package phase

import (
	"math"
	"testing"
)

// TestEvenTurn: what strays over the turn of a stripe is taken off, the metal's own bend and dents stay; a field that runs straight is left as it is.
func TestEvenTurn(t *testing.T) {
	const pitch = 20.0
	field := func(stray float64) (*Field, []float64) {
		f := &Field{W: 400, H: 300, PitchMM: pitch, X: make([]float32, 400*300)}
		want := make([]float64, len(f.X))
		for i := range f.X {
			x, y := float64(i%f.W), float64(i/f.W)
			want[i] = 0.9*x + 0.3*y + 4e-4*x*x + 3*math.Exp(-((x-250)*(x-250)+(y-150)*(y-150))/800)
			turn := 2 * math.Pi * want[i] / pitch
			f.X[i] = float32(want[i] + stray*pitch*(math.Cos(turn+1)+0.7*math.Sin(2*turn)+0.3*math.Cos(3*turn)))
			if i%97 == 0 {
				f.X[i] = float32(math.NaN())
			}
		}
		return f, want
	}
	rms := func(f *Field, want []float64) float64 {
		var sum, n float64
		for i, v := range f.X {
			if d := float64(v) - want[i]; d == d {
				sum, n = sum+d*d, n+1
			}
		}
		return math.Sqrt(sum/n) / pitch
	}
	f, want := field(0.02)
	f.evenTurn()
	if left := rms(f, want); left > 0.004 {
		t.Errorf("%.4f of a pitch is left of 0.018", left)
	}
	for _, stray := range []float64{0, 0.002} {
		f, want = field(stray)
		before := rms(f, want)
		f.evenTurn()
		if after := rms(f, want); after != before {
			t.Errorf("%g of a pitch: %.5f before, %.5f after", stray, before, after)
		}
	}
}
