package phase

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"fairmetal/photo"
)

// slid renders frames of one pitch with the given shifts.
func slid(shifts []float64, noise float64) []Shot {
	s := frames([]float64{24}, shifts, even, noise)
	for i := range s {
		s[i].Shift = 0 // not known to the solver
		s[i].File = string(rune('a' + i))
	}
	return s
}

// TestSweepFindsUnevenShifts: shifts to a hundredth of a stripe, coordinates as from a shifted set, both directions.
func TestSweepFindsUnevenShifts(t *testing.T) {
	want := []float64{0, 0.11, 0.31, 0.38, 0.6, 0.71, 0.93, 1.02, 1.2}
	for _, forward := range []bool{true, false} {
		given := make([]float64, len(want))
		for i, v := range want {
			given[i] = v
			if !forward {
				given[i] = -v
			}
		}
		s, err := Swept("u", slid(given, 0.002), forward, 800)
		if err != nil {
			t.Fatal(err)
		}
		for i := range given {
			if math.Abs(s.Shifts[i]-s.Shifts[0]-given[i]) > 0.01 {
				t.Errorf("forward %v: shift %d is %.3f, want %.3f", forward, i, s.Shifts[i]-s.Shifts[0], given[i])
			}
		}
		// The constant of the coordinate is free by the first shift: compare after taking the middle's offset off.
		mid := 100*tw + 40
		off := float64(s.X[mid]) - board(40, 100)
		n, bad := 0, 0
		for y := 14; y < 184; y++ {
			for x := 16; x < 304; x++ {
				if v := float64(s.X[y*tw+x]); v == v {
					n++
					if math.Abs(v-off-board(x, y)) > 0.5 {
						bad++
					}
				}
			}
		}
		if n < 170*288*95/100 || bad > n/200 {
			t.Errorf("forward %v: %d of %d pixels are off", forward, bad, n)
		}
	}
}

// TestSweepUnderUnevenExposure: a white card that brightens and dims with the exposure by more than faint stripes swing is not taken for stripes.
func TestSweepUnderUnevenExposure(t *testing.T) {
	want := []float64{0, 0.14, 0.31, 0.38, 0.55, 0.71, 0.93, 1.02}
	gains := []float64{1, 0.94, 1.05, 0.97, 1.06, 0.93, 1.02, 0.96}
	s := slid(want, 0.002)
	for k := range s {
		for i := range s[k].Img.Pix {
			if x, y := i%tw, i/tw; x > 200 && y > 60 && y < 150 {
				s[k].Img.Pix[i] = 6
			}
			s[k].Img.Pix[i] *= float32(0.15 * gains[k])
		}
	}
	got, err := Swept("u", s, true, 800)
	if err != nil {
		t.Fatal(err)
	}
	for i, v := range want {
		if math.Abs(got.Shifts[i]-got.Shifts[0]-v) > 0.01 {
			t.Errorf("shift %d is %.3f, want %.3f", i, got.Shifts[i]-got.Shifts[0], v)
		}
	}
}

// TestSweepNamesTheMovedFrame: one frame from a camera that jumped is left out by name.
func TestSweepNamesTheMovedFrame(t *testing.T) {
	s := slid([]float64{0, 0.12, 0.25, 0.4, 0.5, 0.63, 0.8, 0.9}, 0.002)
	moved := photo.NewImage(tw, th)
	for y := range th {
		for x := range tw {
			moved.Pix[y*tw+x] = s[4].Img.Pix[min(y+37, th-1)*tw+min(x+31, tw-1)]
		}
	}
	s[4].Img = moved
	got, err := Swept("u", s, true, 800)
	if err != nil {
		t.Fatal(err)
	}
	if len(got.Moved) != 1 || got.Moved[0] != "e" {
		t.Errorf("left out %v, want e", got.Moved)
	}
}

// TestSweepKeepsNoisyFrames: noise that leaves a good part of every frame unexplained has none of them taken for moved.
func TestSweepKeepsNoisyFrames(t *testing.T) {
	got, err := Swept("u", slid([]float64{0, 0.12, 0.25, 0.4, 0.5, 0.63, 0.8, 0.9}, 0.1), true, 800)
	if err != nil {
		t.Fatal(err)
	}
	if len(got.Moved) != 0 {
		t.Errorf("left out %v", got.Moved)
	}
}

// TestSweepRefuses stripes that stand still, and noise.
func TestSweepRefuses(t *testing.T) {
	if _, err := Swept("u", slid([]float64{0, 0, 0, 0, 0, 0, 0}, 0.002), true, 800); !errors.Is(err, ErrSweep) {
		t.Errorf("standing stripes: %v", err)
	}
	s := slid([]float64{0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6}, 0)
	rnd := rand.New(rand.NewPCG(8, 8))
	for _, k := range s {
		for i := range k.Img.Pix {
			k.Img.Pix[i] = float32(0.2 + 0.05*rnd.NormFloat64())
		}
	}
	if _, err := Swept("u", s, true, 800); err == nil {
		t.Error("noise was measured")
	}
}
