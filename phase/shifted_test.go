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

// TestGainsThatFeignStripes: exposures that follow the shifts leave no residual; on a level twenty times the stripes' swing two per cent of
// them bend the phase by 0.4 rad. They are found from the evenness of the swing to a fiftieth of that.
func TestGainsThatFeignStripes(t *testing.T) {
	const w, h, period, level, swing = 240, 160, 11.0, 0.6, 0.03
	var shots []Shot
	for k := range 4 {
		s := float64(k) / 4
		gain := 1 + 0.02*math.Cos(2*math.Pi*(s-0.1))
		img := photo.NewImage(w, h)
		for i := range img.Pix {
			x, y := float64(i%w), float64(i/w)
			img.Pix[i] = float32(gain * ((level + 0.0005*y) + swing*math.Cos(2*math.Pi*(x/period+0.002*y-s))))
		}
		shots = append(shots, Shot{Img: img, PitchMM: 16, Shift: s})
	}
	g, err := nstep("u", shots)
	if err != nil {
		t.Fatal(err)
	}
	worst := 0.0
	for i := range g.phase {
		x, y := float64(i%w), float64(i/w)
		d := float64(g.phase[i]) - 2*math.Pi*(x/period+0.002*y)
		worst = max(worst, math.Abs(d-2*math.Pi*math.Round(d/(2*math.Pi))))
	}
	if worst > 0.02 {
		t.Errorf("phase up to %.3f rad off", worst)
	}
}

// TestSharpen: a Gaussian bowl of 5 px blurred by 1 px keeps 25/26 of its curvature, which comes back to the next order, a thousandth of it
// and what differences over two pixels leave out.
func TestSharpen(t *testing.T) {
	const n, s2, b2 = 61, 25.0, 1.0
	f := Field{W: n, H: n, X: make([]float32, n*n)}
	at := func(i int, v float64) float64 {
		x, y := float64(i%n-n/2), float64(i/n-n/2)
		return 40 * s2 / v * math.Exp(-(x*x+y*y)/(2*v))
	}
	for i := range f.X {
		f.X[i] = float32(at(i, s2+b2))
	}
	f.Sharpen(b2, 0, b2)
	mid := n * n / 2
	if d := float64(f.X[mid])/at(mid, s2) - 1; math.Abs(d) > 0.012 {
		t.Errorf("the middle is %.1f %% off, %.1f before", 100*d, 100*(at(mid, s2+b2)/at(mid, s2)-1))
	}
}
