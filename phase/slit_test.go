package phase

import (
	"math"
	"math/rand/v2"
	"testing"

	"fairmetal/photo"
)

// creased is the coordinate that a crease shows: to either side of its bottom it lies two pitches of 16 mm off, and the stripes cross it one in
// two pixels.
func creased(x, y float64) float64 {
	s := y - 40 - 0.2*(x-96)
	return 1.6*(x-96) - 10*s*math.Exp(-s*s/40-(x-96)*(x-96)/3200)
}

// creasedShots are photos of it at these shifts.
func creasedShots(shifts []float64) []Shot { return photographed(192, 80, shifts, 0.01, creased) }

// photographed are photos, w x h pixels each of which averages what it sees, of stripes of 16 mm at these shifts that show a coordinate.
func photographed(w, h int, shifts []float64, noise float64, coordinate func(x, y float64) float64) (shots []Shot) {
	const sub = 4
	rnd := rand.New(rand.NewPCG(4, 4))
	for _, shift := range shifts {
		m := photo.NewImage(w, h)
		for i := range m.Pix {
			var v float64
			for k := range sub * sub {
				x, y := float64(i%w)+(float64(k%sub)+0.5)/sub, float64(i/w)+(float64(k/sub)+0.5)/sub
				v += 0.3 + 0.2*math.Cos(2*math.Pi*(coordinate(x, y)/16-shift))
			}
			m.Pix[i] = float32(v/sub/sub + noise*rnd.NormFloat64())
		}
		shots = append(shots, Shot{Img: m, PitchMM: 16, Shift: shift})
	}
	return shots
}

// TestUnsure: a shifted set of one pitch tells that its count at the bottom of a crease may be wrong, and is sure of the rest.
func TestUnsure(t *testing.T) {
	f, err := Shifted("u", creasedShots([]float64{0, 0.25, 0.5, 0.75}), 500)
	if err != nil {
		t.Fatal(err)
	}
	beside, away := 0, 0
	for y := range f.H {
		for x := range f.W {
			if !f.Unsure(x, y) {
				continue
			}
			if math.Abs(float64(y)-40-0.2*(float64(x)-96)) < 12 {
				beside++
			} else {
				away++
			}
		}
	}
	if beside < 20 || away > beside/10 {
		t.Errorf("%d pixels of the crease are not sure, and %d elsewhere", beside, away)
	}
}

// TestSlit: the bottom of a crease, where the stripes of one pitch fade, is counted out from its sides; without them it has no value.
func TestSlit(t *testing.T) {
	const w = 192
	shots := creasedShots([]float64{0, 0.1, 0.27, 0.4, 0.48, 0.61, 0.75, 0.84, 1})
	for i := range shots {
		shots[i].Shift = 0
	}
	f, err := Swept("u", shots, true, 500)
	if err != nil {
		t.Fatal(err)
	}
	slit := 0
	for _, in := range f.slit {
		if in {
			slit++
		}
	}
	if slit < 30 {
		t.Errorf("%d pixels were counted out, the slit has more", slit)
	}
	off := float64(f.X[10*w+20]) - creased(20.5, 10.5)
	worst := 0.0
	for y := 25; y < 55; y++ {
		for x := 60; x < 132; x++ {
			// Where the footprint bends them, Refine sets them right.
			worst = max(worst, math.Abs(float64(f.X[y*w+x])-off-creased(float64(x)+0.5, float64(y)+0.5)))
		}
	}
	if !(worst < 4) {
		t.Errorf("%.1f mm off, a quarter of a pitch is 4", worst)
	}
}

// TestFaintStripesOfManyFrames: stripes as faint as their noise in each frame are told from it by nine of them.
func TestFaintStripesOfManyFrames(t *testing.T) {
	var shifts []float64
	for i := range 9 {
		shifts = append(shifts, float64(i)/8)
	}
	for _, c := range []struct {
		noise float64
		least int
		most  int
	}{{0.1, 9500, 10000}, {5, 0, 500}} {
		g, err := nstep("u", frames([]float64{24}, shifts, even, c.noise))
		if err != nil {
			t.Fatal(err)
		}
		n := 0
		ok := readable(g, tw, th)
		for y := 20; y < 120; y++ {
			for x := 200; x < 300; x++ {
				if ok[y*tw+x] {
					n++
				}
			}
		}
		if n < c.least || n > c.most {
			t.Errorf("noise %.2f: %d of 10000 pixels are read", c.noise, n)
		}
	}
}
