package phase

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestReorderInNoise: patches that noise of a fifth of a stripe left whole stripes off come back to where the metal around them says, and a
// crease that runs two thirds of a stripe off the form on either side of its bottom keeps its count.
func TestReorderInNoise(t *testing.T) {
	const w, h, p = 240, 180, 11.0
	rnd := rand.New(rand.NewPCG(1, 5))
	expected, want := make([]float32, w*h), make([]float32, w*h)
	f := &Field{W: w, H: h, X: make([]float32, w*h), PitchMM: p}
	creased := 0
	for i := range want {
		x, y := float64(i%w), float64(i/w)
		expected[i] = float32(p * (0.09*x + 0.02*y))
		off := 0.0
		if d := x - 170; math.Abs(y-60) < 30 && math.Abs(d) < 18 {
			// Steep in the middle, as a crease is.
			off = -0.66 * math.Sin(math.Pi*d/18) * math.Cos(math.Pi*(y-60)/60)
			if math.Abs(off) > 0.5 {
				creased++
			}
		}
		noise := 0.0
		if x < 110 {
			noise = max(-0.45, min(0.45, 0.2*rnd.NormFloat64())) // beyond half a stripe no pixel tells
		}
		want[i] = expected[i] + float32(p*(off+noise))
		f.X[i] = want[i]
		switch {
		case x < 40 && y > 90:
			f.X[i] += p
		case x > 60 && x < 80 && y > 110 && y < 140:
			f.X[i] -= p
		}
	}
	if creased < 100 {
		t.Fatalf("only %d pixels of the crease run half a stripe off", creased)
	}
	wrong := 0
	for i, x := range f.Reorder(expected).X {
		if d := x - want[i]; d > p/2 || d < -p/2 {
			wrong++
		}
	}
	if wrong > w*h/1000 {
		t.Errorf("%d of %d pixels are whole stripes off", wrong, w*h)
	}
	if torn := f.Torn(); torn < 1e-3 || torn > 0.05 {
		t.Errorf("torn share %.4f", torn)
	}
}

// TestReorderKeepsSmallMarks: a small mark whose steep flanks run most of a stripe off the form, within a few pixels, keeps its count.
func TestReorderKeepsSmallMarks(t *testing.T) {
	const w, h, p = 160, 120, 11.0
	expected := make([]float32, w*h)
	f := &Field{W: w, H: h, X: make([]float32, w*h), PitchMM: p}
	steep := 0
	for i := range f.X {
		x, y := float64(i%w), float64(i/w)
		expected[i] = float32(p * (0.02*x + 0.09*y))
		a, b := (x-80)/2.5, (y-60)/2.5
		off := 1.4 * b * math.Exp(0.5-(a*a+b*b)/2)
		if math.Abs(off) > 0.5 {
			steep++
		}
		f.X[i] = expected[i] + float32(p*off)
	}
	if steep < 20 {
		t.Fatalf("only %d pixels run half a stripe off", steep)
	}
	for i, x := range f.Reorder(expected).X {
		if d := x - f.X[i]; d > p/2 || d < -p/2 {
			t.Fatalf("pixel %d, %d is moved by %.1f stripes", i%w, i/w, d/p)
		}
	}
}
