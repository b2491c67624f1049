package phase

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"fairmetal/photo"
)

// board is the coordinate that a made-up mirror shows at a pixel: a slant, some crown and a dent sharp enough to fold.
func board(x, y int) float64 {
	px, py := float64(x), float64(y)
	d2 := ((px-150)*(px-150) + (py-100)*(py-100)) / (2 * 14 * 14)
	return 1.1*(px-160) + 0.0008*(px-160)*(px-160) + 0.02*py + 30*(px-150)/14*math.Exp(-d2)
}

const tw, th = 320, 200

// frames renders a shifted set of the given pitches; gain is the exposure of each frame.
func frames(pitches, shifts []float64, gain func(i int) float64, noise float64) []Shot {
	rnd := rand.New(rand.NewPCG(1, 1))
	var out []Shot
	i := 0
	for _, p := range pitches {
		for _, s := range shifts {
			m := photo.NewImage(tw, th)
			for y := range th {
				for x := range tw {
					v := 0.01
					if x > 10 && x < 310 && y > 8 && y < 190 {
						v = 0.3 + 0.2*math.Cos(2*math.Pi*(board(x, y)/p-s))
					}
					m.Pix[y*tw+x] = float32(gain(i)*v + noise*rnd.NormFloat64())
				}
			}
			out = append(out, Shot{Img: m, PitchMM: p, Shift: s})
			i++
		}
	}
	return out
}

func even(int) float64 { return 1 }

// check compares a field with the made-up board, in the middle of pixels, up to the given error in mm; the field's constant is
// free by whole pitches. The share of readable pixels must be nearly all of the lit part.
func check(t *testing.T, f *Field, period, tolerance float64) {
	t.Helper()
	n, bad := 0, 0
	offset := math.NaN()
	for y := 12; y < 186; y++ {
		for x := 14; x < 306; x++ {
			v := float64(f.X[y*tw+x])
			if math.IsNaN(v) {
				continue
			}
			n++
			if math.IsNaN(offset) {
				offset = math.Round((v-board(x, y))/period) * period
			}
			if math.Abs(v-offset-board(x, y)) > tolerance {
				bad++
			}
		}
	}
	if n < 174*292*98/100 {
		t.Errorf("only %d pixels are readable", n)
	}
	if bad > n/2000 {
		t.Errorf("%d of %d pixels are more than %g mm off", bad, n, tolerance)
	}
}

func TestShiftedFollowsFolds(t *testing.T) {
	f, err := Shifted("u", frames([]float64{16, 128}, []float64{0, 0.25, 0.5, 0.75}, even, 0.002), 800)
	if err != nil {
		t.Fatal(err)
	}
	check(t, f, 128, 0.3)
	// p/2pi sqrt(2/N) sigma/m = 16/6.283*0.7071*0.002/0.2 = 0.018 mm.
	if f.SigmaMM < 0.012 || f.SigmaMM > 0.027 {
		t.Errorf("noise %.4f mm, want about 0.018", f.SigmaMM)
	}
}

// TestUnevenShifts: any three or more different shifts do.
func TestUnevenShifts(t *testing.T) {
	f, err := Shifted("u", frames([]float64{16, 128}, []float64{0, 0.2, 0.45, 0.6, 0.85}, even, 0.001), 800)
	if err != nil {
		t.Fatal(err)
	}
	check(t, f, 128, 0.3)
}

// TestExposureJitter: gains of a few per cent a frame are found and taken out.
func TestExposureJitter(t *testing.T) {
	g := []float64{1.03, 0.97, 1, 1.02, 0.98, 1.03, 1, 0.97}
	f, err := Shifted("u", frames([]float64{16, 128}, []float64{0, 0.25, 0.5, 0.75}, func(i int) float64 { return g[i] }, 0.001), 800)
	if err != nil {
		t.Fatal(err)
	}
	check(t, f, 128, 0.3)
}

// TestExchangedShifts: two frames that carry each other's label are noticed from the photos alone.
func TestExchangedShifts(t *testing.T) {
	s := frames([]float64{16, 128}, []float64{0, 0.25, 0.5, 0.75}, even, 0.002)
	s[1].Img, s[2].Img = s[2].Img, s[1].Img
	_, err := Shifted("u", s, 800)
	var e *ShiftError
	if !errors.As(err, &e) || e.PitchMM != 16 {
		t.Errorf("error %v", err)
	}
}

// TestAlikeShifts: shifts that cannot be told apart are an error, not a wild phase.
func TestAlikeShifts(t *testing.T) {
	if _, err := Shifted("u", frames([]float64{16}, []float64{0.1, 0.1, 0.1}, even, 0), 800); err == nil {
		t.Error("three equal shifts were accepted")
	}
}

// TestBrightnessDoesNotMatter: half the light, the same coordinates.
func TestBrightnessDoesNotMatter(t *testing.T) {
	s := frames([]float64{16, 128}, []float64{0, 0.25, 0.5, 0.75}, even, 0)
	a, err := Shifted("u", s, 800)
	if err != nil {
		t.Fatal(err)
	}
	for _, k := range s {
		for i := range k.Img.Pix {
			k.Img.Pix[i] /= 2
		}
	}
	b, err := Shifted("u", s, 800)
	if err != nil {
		t.Fatal(err)
	}
	for i := range a.X {
		if d := math.Abs(float64(a.X[i] - b.X[i])); d > 1e-3 {
			t.Fatalf("pixel %d moved by %g mm", i, d)
		}
	}
}

// TestVernier: a fine pitch that does not divide the coarse one settles the free whole coarse pitches: the coordinate is absolute.
func TestVernier(t *testing.T) {
	f, err := Shifted("u", frames([]float64{11.3, 128}, []float64{0, 0.25, 0.5, 0.75}, even, 0.002), 2000)
	if err != nil {
		t.Fatal(err)
	}
	check(t, f, 128, 0.3)
	if d := float64(f.X[150*tw+60]) - board(60, 150); math.Abs(d) > 0.3 {
		t.Errorf("the coordinate is %.2f mm off", d)
	}
}
