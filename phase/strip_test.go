package phase

import (
	"math"
	"slices"
	"testing"
)

// swept is a board coordinate read from a sweep's photos of it, w x h pixels of stripes of 16 mm.
func swept(t *testing.T, axis string, w, h int, coordinate func(x, y float64) float64) *Field {
	t.Helper()
	shots := photographed(w, h, []float64{0, 0.1, 0.27, 0.4, 0.48, 0.61, 0.75, 0.84, 1}, 0.004, coordinate)
	for i := range shots {
		shots[i].Shift = 0 // not known
	}
	f, err := Swept(axis, shots, true, 400)
	if err != nil {
		t.Fatal(err)
	}
	return &f.Field
}

// expecting is what a form lets each pixel expect.
func expecting(w, h int, coordinate func(x, y float64) float64) []float32 {
	out := make([]float32, w*h)
	for i := range out {
		out[i] = float32(coordinate(float64(i%w)+0.5, float64(i/w)+0.5))
	}
	return out
}

// TestLineIsReadFromBothSides: on a feature line, which the form expects two pixels away and sharper than it is, and where a mark moves it,
// the stripes of a sweep are read nearly to where they fade; but not where those of the other direction cannot be.
func TestLineIsReadFromBothSides(t *testing.T) {
	const w, h, p = 192, 96, 16.0
	for _, c := range []struct {
		name string
		// Half the height, px, over which the coordinate runs by most of stripes.
		half, stripes float64
		// How many pixels beside the middle of the line may be off.
		lost float64
	}{
		{"soft", 4, 3, 0},
		{"sharp", 0.5, 2.65, 1.5},
	} {
		t.Run(c.name, func(t *testing.T) {
			over := func(s, half float64) float64 { return c.stripes / 2 * p * s / math.Hypot(s, half) }
			mark := func(x, y float64) float64 {
				dx, dy := x-96, y-44
				return 1.1 * dy * math.Exp(-(dx*dx+dy*dy)/200)
			}
			coordinate := func(x, y float64) float64 { return 1.1*y + 0.1*x + over(y-40, c.half) + mark(x, y) }
			level := swept(t, "v", w, h, coordinate)
			expected := expecting(w, h, func(x, y float64) float64 { return 1.1*y + 0.1*x + over(y-42, 1) })
			upright := func(x, y float64) float64 { return 1.2*x + 0.05*y }
			u, got := swept(t, "u", w, h, upright).Reorder(expecting(w, h, upright)), level.Reorder(expected)
			Recount(u, got)
			base := float64(got.X[80*w+20]) - coordinate(20.5, 80.5)
			wrong, n := 0, 0
			for y := 20; y < 60; y++ {
				for x := 10; x < w-10; x++ {
					if math.Abs(float64(y)+0.5-40) < c.lost {
						continue
					}
					n++
					d := math.Abs(float64(got.X[y*w+x]) - base - coordinate(float64(x)+0.5, float64(y)+0.5))
					if !(d < p/4) {
						wrong++
					}
				}
			}
			if wrong > n/200 {
				t.Errorf("%d of %d pixels are over a fourth of a pitch off", wrong, n)
			}
			// Aslant it hides upright stripes, too, here too many to be read.
			hidden := func(x, y float64) float64 { return upright(x, y) + 12*p*math.Tanh((y-40)/4) }
			u, alone := swept(t, "u", w, h, hidden).Reorder(expecting(w, h, hidden)), level.Reorder(expected)
			before := slices.Clone(alone.X)
			Recount(u, alone)
			anew := 0
			for i, x := range alone.X[35*w : 45*w] {
				if x == x && x != before[35*w+i] {
					anew++
				}
			}
			if anew > w {
				t.Errorf("%d pixels of the line were read anew where the other direction cannot be", anew)
			}
		})
	}
}
