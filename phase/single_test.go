package phase

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"fairmetal/photo"
)

// mirrored is a made-up photo of stripes: the board coordinate at each pixel and how it is shown.
type mirrored struct {
	w, h  int
	x     func(px, py float64) float64 // mm on the board
	pitch float64
	off   float64 // of the stripes, pitches
	sine  bool
	noise float64 // of half a swing
	blur  int     // px, a box
	level float64 // of the dark stripes against half a swing
	light func(px, py float64) float64
	hide  func(px, py float64) (v float64, hidden bool) // what stands before the board's image
}

// photo renders with 4 x 4 rays a pixel.
func (m mirrored) photo() *photo.Image {
	img := photo.NewImage(m.w, m.h)
	rnd := rand.New(rand.NewPCG(3, 4))
	for y := range m.h {
		for x := range m.w {
			var s float64
			for k := range 16 {
				px, py := float64(x)+(float64(k%4)+0.5)/4, float64(y)+(float64(k/4)+0.5)/4
				if m.hide != nil {
					if v, hidden := m.hide(px, py); hidden {
						s += v / 16
						continue
					}
				}
				c := math.Cos(2 * math.Pi * (m.x(px, py)/m.pitch - m.off))
				if !m.sine {
					c = math.Copysign(1, c)
				}
				s += (1 + m.level + c) / 16
			}
			l := 0.15
			if m.light != nil {
				l *= m.light(float64(x), float64(y))
			}
			img.Pix[y*m.w+x] = float32(l * (s + m.noise*rnd.NormFloat64()))
		}
	}
	if m.blur > 1 {
		out := make([]float32, len(img.Pix))
		for y := range m.h {
			for x := range m.w {
				var s, n float32
				for j := -m.blur / 2; j <= m.blur/2; j++ {
					for i := -m.blur / 2; i <= m.blur/2; i++ {
						if u, v := x+i, y+j; u >= 0 && v >= 0 && u < m.w && v < m.h {
							s += img.Pix[v*m.w+u]
							n++
						}
					}
				}
				out[y*m.w+x] = s / n
			}
		}
		img.Pix = out
	}
	return img
}

const (
	sw, sh  = 480, 360
	perPX   = 0.75 // mm on the board for each px: stripes of 12 mm are 16 px apart
	singleP = 12.0
)

// dent displaces the board coordinate as a Gaussian dent does whose middle is ratio times as deep as folds the reflection: there
// the coordinate's gradient is 1 - ratio of the undamaged one (negative: a high). s is its standard deviation in px.
func dent(cx, cy, s, ratio float64) func(px, py float64) float64 {
	return func(px, py float64) float64 {
		dx, dy := px-cx, py-cy
		return -perPX * ratio * dx * math.Exp(-(dx*dx+dy*dy)/(2*s*s))
	}
}

func plain(px, py float64) float64 {
	return perPX*(px-sw/2) + 0.05*(py-sh/2) + 2e-4*(px-sw/2)*(px-sw/2)
}

// rough is a guide that is a fifth off.
func rough(px, py float64) (float64, bool) { return 0.8 * perPX * (px - sw/2), true }

func read(t *testing.T, m mirrored, boardMM float64) *Single {
	t.Helper()
	s, err := Demodulate("u", m.photo(), m.pitch, !m.sine, boardMM, rough, nil)
	if err != nil {
		t.Fatal(err)
	}
	if s.W != m.w || s.H != m.h || len(s.X) != m.w*m.h || len(s.Folded) != len(s.X) || len(s.Mod) != len(s.X) {
		t.Fatalf("a field of %d x %d with %d values for a photo of %d x %d", s.W, s.H, len(s.X), m.w, m.h)
	}
	return s
}

// compare returns the share of readable pixels in a rectangle, and the rms and the largest error of the rest, mm, after the free
// constant.
func compare(s *Single, x func(px, py float64) float64, x0, y0, x1, y1 int) (read, rms, worst float64) {
	var sum, n float64
	each := func(f func(e float64)) {
		for y := y0; y < y1; y++ {
			for q := x0; q < x1; q++ {
				if v := float64(s.X[y*s.W+q]); v == v {
					f(v - x(float64(q)+0.5, float64(y)+0.5))
				}
			}
		}
	}
	each(func(e float64) { sum += e; n++ })
	mean := sum / n
	sum = 0
	each(func(e float64) { sum += (e - mean) * (e - mean); worst = max(worst, math.Abs(e-mean)) })
	return n / float64((x1-x0)*(y1-y0)), math.Sqrt(sum / n), worst
}

// Metal whose reflection does not fold is read all over. An edge tells where it is to a twentieth of a pixel, 0.04 mm, twice a
// stripe; between edges a bend of standard deviation s is carried on by the plate: the tolerance is 1.5 % of the pitch, 4 % where
// the stripes are spread to five times their breadth.
func TestSingleFollows(t *testing.T) {
	two := func(a, b func(px, py float64) float64) func(px, py float64) float64 {
		return func(px, py float64) float64 { return plain(px, py) + a(px, py) + b(px, py) }
	}
	none := func(px, py float64) float64 { return 0 }
	cases := []struct {
		name  string
		m     mirrored
		rms   float64 // of the pitch
		worst float64
	}{
		{"plain", mirrored{x: two(none, none)}, 0.008, 0.03},
		{"shallow", mirrored{x: two(dent(150, 180, 18, 0.4), dent(330, 180, 18, -0.4))}, 0.008, 0.05},
		{"nearly folded", mirrored{x: two(dent(150, 180, 24, 0.8), dent(330, 180, 24, 0.7))}, 0.015, 0.12},
		{"highs crowd stripes", mirrored{x: two(dent(150, 180, 20, -1.2), dent(330, 180, 24, -1.6))}, 0.015, 0.12},
		{"sine", mirrored{x: two(dent(150, 180, 18, 0.4), dent(330, 180, 18, -0.4)), sine: true}, 0.008, 0.05},
		{"noise", mirrored{x: two(dent(150, 180, 18, 0.4), dent(330, 180, 18, -0.4)), noise: 0.3}, 0.015, 0.08},
		{"blur", mirrored{x: two(dent(150, 180, 18, 0.4), dent(330, 180, 18, -0.4)), blur: 5}, 0.01, 0.06},
		{"pale", mirrored{x: two(dent(150, 180, 18, 0.4), dent(330, 180, 18, -0.4)), level: 9, noise: 0.05}, 0.01, 0.06},
		{"uneven light", mirrored{x: two(dent(150, 180, 18, 0.4), dent(330, 180, 18, -0.4)), light: func(px, py float64) float64 { return 0.5 + px/sw + 0.3*py/sh }}, 0.01, 0.06},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			c.m.w, c.m.h, c.m.pitch, c.m.off = sw, sh, singleP, 0.3
			s := read(t, c.m, 2*sw*perPX)
			share, rms, worst := compare(s, c.m.x, 24, 24, sw-24, sh-24)
			if share < 0.999 || rms > c.rms*singleP || worst > c.worst*singleP {
				t.Errorf("%.1f %% read, rms %.3f mm, worst %.2f mm", 100*share, rms, worst)
			}
			for i, f := range s.Folded {
				if f {
					t.Fatalf("folded at (%d, %d)", i%sw, i/sw)
				}
			}
			// What it says about its noise is of the right size on undamaged metal.
			if _, r, _ := compare(s, c.m.x, 24, 24, sw-24, 100); s.SigmaMM > 6*r+0.05 || s.SigmaMM < r/6 {
				t.Errorf("sigma %.3f mm for errors of %.3f mm rms", s.SigmaMM, r)
			}
		})
	}
}

// Where the reflection folds nothing is given: where the true coordinate runs backwards, and where the field is given it is on the
// right stripe. Dents smaller than half a stripe pair can hide from stripes altogether and are left out.
func TestSingleFolds(t *testing.T) {
	const sw, sh = 320, 240
	for _, s := range []float64{12, 18, 26} {
		for _, ratio := range []float64{1.8, 2.5, 4, 7} {
			for _, off := range []float64{0, 0.25, 0.6} {
				d := dent(sw/2, sh/2, s, ratio)
				m := mirrored{w: sw, h: sh, pitch: singleP, off: off, noise: 0.05, x: func(px, py float64) float64 { return plain(px, py) + d(px, py) }}
				f := read(t, m, 2*sw*perPX)
				backwards, given, marked := 0, 0, 0
				for y := 1; y < sh-1; y++ {
					for x := 1; x < sw-1; x++ {
						if m.x(float64(x)+1.5, float64(y)+0.5) > m.x(float64(x)-0.5, float64(y)+0.5) {
							continue
						}
						backwards++
						if v := f.X[y*sw+x]; v == v {
							given++
						}
						if f.Folded[y*sw+x] {
							marked++
						}
					}
				}
				_, _, worst := compare(f, m.x, 24, 24, sw-24, sh-24)
				// A twentieth of the fold may be its rim, where the coordinate stands; a third of a pitch is no other stripe.
				if 20*given > backwards || 20*marked < 19*backwards || worst > singleP/3 {
					t.Errorf("s %g px, %g times the fold, offset %g: of %d px that run backwards %d given, %d marked; worst error %.1f mm", s, ratio, off, backwards, given, marked, worst)
				}
			}
		}
	}
}

// Neither exposure nor the colour that comes first changes the field, a mirrored photo gives the mirrored field, and stripes of
// twice the pitch on a board twice as far along give twice the coordinates.
func TestSingleProperties(t *testing.T) {
	d := dent(200, 170, 18, 0.6)
	m := mirrored{w: sw, h: sh, pitch: singleP, off: 0.1, noise: 0.02, x: func(px, py float64) float64 { return plain(px, py) + d(px, py) }}
	img := m.photo()
	field := func(img *photo.Image, pitch float64, g Guide) *Single {
		t.Helper()
		s, err := Demodulate("u", img, pitch, true, 2*sw*perPX*pitch/singleP, g, nil)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	a := field(img, singleP, rough)
	same := func(name string, tolerance float64, b func(x, y int) float32) {
		t.Helper()
		first := math.NaN()
		for y := 30; y < sh-30; y++ {
			for x := 30; x < sw-30; x++ {
				e := float64(a.X[y*sw+x] - b(x, y))
				if math.IsNaN(first) {
					first = e
				}
				if !(math.Abs(e-first) < tolerance) {
					t.Fatalf("%s: off by %g mm at (%d, %d)", name, e-first, x, y)
				}
			}
		}
	}
	scaled := photo.NewImage(sw, sh)
	for i, v := range img.Pix {
		scaled.Pix[i] = 0.02 + 2.5*v
	}
	b := field(scaled, singleP, rough)
	same("brighter", 0.02, func(x, y int) float32 { return b.X[y*sw+x] })

	flipped := photo.NewImage(sw, sh)
	for i := range img.Pix {
		flipped.Pix[i] = img.Pix[i/sw*sw+sw-1-i%sw]
	}
	c := field(flipped, singleP, func(px, py float64) (float64, bool) {
		x, ok := rough(sw-px, py)
		return -x, ok
	})
	// Cells lie otherwise in the flipped photo: a fraction of what the stripes can tell.
	same("flipped", 0.02*singleP, func(x, y int) float32 { return -c.X[y*sw+sw-1-x] })

	e := field(img, 2*singleP, func(px, py float64) (float64, bool) {
		x, ok := rough(px, py)
		return 2 * x, ok
	})
	same("twice the pitch", 0.02, func(x, y int) float32 { return e.X[y*sw+x] / 2 })
}

// Stripes of 8 px that a high crowds to under 4 in a slightly blurred photo hardly swing, but are read all the same.
func TestSingleReadsCrowdedStripes(t *testing.T) {
	high := dent(240, 180, 12, -1.3)
	x := func(px, py float64) float64 { return plain(px, py) + high(px, py) }
	m := mirrored{w: sw, h: sh, pitch: singleP / 2, off: 0.3, noise: 0.05, blur: 3, x: x}
	if share, rms, worst := compare(read(t, m, 2*sw*perPX), x, 200, 140, 280, 220); share < 1 || rms > 0.04*m.pitch || worst > 0.4*m.pitch {
		t.Errorf("%.1f %% read, rms %.3f mm, worst %.2f mm", 100*share, rms, worst)
	}
}

// A card is not read, nor the room beside the board, whose edges make the coordinate absolute to half a stripe.
func TestSingleCardAndRoom(t *testing.T) {
	const board = 260.0
	m := mirrored{w: sw, h: sh, pitch: singleP, off: 0.37, noise: 0.03, x: plain}
	onCard := func(px, py float64) bool { return px > 300 && px < 380 && py > 150 && py < 220 }
	m.hide = func(px, py float64) (float64, bool) {
		x := plain(px, py)
		switch {
		case onCard(px, py):
			if int(px/9)%2 == int(py/9)%2 { // its print
				return 0.4, true
			}
			return 6, true
		case x < -board/2 || x > board/2 || py < 40 || py > 320:
			return 0.3, true
		}
		return 0, false
	}
	s := read(t, m, board)
	inside, n := 0, 0
	for y := range sh {
		for x := range sw {
			px, py := float64(x)+0.5, float64(y)+0.5
			v := float64(s.X[y*sw+x])
			if _, hidden := m.hide(px, py); hidden {
				// A pixel may count to the board whose neighbour does.
				if _, near := m.hide(px+1, py); v == v && near {
					t.Fatalf("%.1f mm read at (%d, %d), where no board shows", v, x, y)
				}
				continue
			}
			if px > 290 && px < 390 && py > 140 && py < 230 || math.Abs(plain(px, py)) > board/2-singleP || py < 56 || py > 304 {
				continue // a stripe at the rim may go
			}
			n++
			if v != v {
				continue
			}
			inside++
			if e := v - plain(px, py); math.Abs(e) > singleP/2 {
				t.Fatalf("off by %.1f mm at (%d, %d)", e, x, y)
			}
		}
	}
	if 100*inside < 99*n {
		t.Errorf("%d of %d pixels read", inside, n)
	}
}

// A feature line sharper than stripes can be told apart hides some of them. The board's edges tell how many; without them the far side
// stays whole stripes off.
func TestSingleSeam(t *testing.T) {
	const hidden = 3 // stripe pairs
	line := func(px, py float64) float64 { return px - (250 + 0.1*(py-sh/2) + 0.0004*(py-sh/2)*(py-sh/2)) }
	x := func(px, py float64) float64 {
		// The step runs over some four pixels.
		return plain(px, py) + hidden*singleP*0.5*(1+math.Tanh(line(px, py)))
	}
	m := mirrored{w: sw, h: sh, pitch: singleP, off: 0.1, noise: 0.03, x: x}
	const lo, hi = -118.8, 169.2 // in the middle of bright stripes
	room := func(px, py float64) (float64, bool) {
		v := x(px, py)
		return 0.2, v < lo || v > hi
	}
	for _, c := range []struct {
		name  string
		board float64
		hide  func(px, py float64) (float64, bool)
		sure  bool
	}{{"edges seen", hi - lo, room, true}, {"edges beyond the photo", 3 * (hi - lo), nil, false}, {"board of another size", 3 * (hi - lo), room, false}} {
		t.Run(c.name, func(t *testing.T) {
			m.hide = c.hide
			s := read(t, m, c.board)
			var n [2]int
			var sum [2]float64
			for y := 40; y < sh-40; y++ {
				for q := 110; q < 370; q++ {
					px, py := float64(q)+0.5, float64(y)+0.5
					if v := float64(s.X[y*sw+q]); v == v && math.Abs(line(px, py)) > 16 {
						side := 0
						if line(px, py) > 0 {
							side = 1
						}
						n[side]++
						sum[side] += v - x(px, py)
					}
				}
			}
			if n[0] < 10000 || n[1] < 10000 {
				t.Fatalf("%d and %d pixels of the sides read", n[0], n[1])
			}
			d := sum[1]/float64(n[1]) - sum[0]/float64(n[0])
			if !c.sure {
				d -= singleP * math.Round(d/singleP)
			}
			if math.Abs(d) > 0.05*singleP {
				t.Errorf("the sides lie %.1f mm apart", d)
			}
		})
	}
}

// No stripes, stripes of the other direction, noise and a guide that knows nothing are refused with advice.
func TestSingleRefuses(t *testing.T) {
	rnd := rand.New(rand.NewPCG(7, 8))
	noise, flat := photo.NewImage(sw, sh), photo.NewImage(sw, sh)
	for i := range noise.Pix {
		noise.Pix[i] = rnd.Float32()
		flat.Pix[i] = 0.4
	}
	level := mirrored{w: sw, h: sh, pitch: singleP, x: func(px, py float64) float64 { return perPX * py }}.photo()
	stripes := mirrored{w: sw, h: sh, pitch: singleP, x: plain}.photo()
	blind := func(px, py float64) (float64, bool) { return 0, false }
	still := func(px, py float64) (float64, bool) { return 7, true }
	for name, c := range map[string]struct {
		img   *photo.Image
		guide Guide
	}{
		"noise": {noise, rough}, "flat": {flat, rough}, "other direction": {level, rough}, "black": {photo.NewImage(sw, sh), rough},
		"blind guide": {stripes, blind}, "still guide": {stripes, still}, "tiny": {photo.NewImage(7, 5), rough}, "empty": {photo.NewImage(0, 0), rough},
	} {
		s, err := Demodulate("u", c.img, singleP, true, 800, c.guide, nil)
		var none *NoStripesError
		if !errors.As(err, &none) || none.Axis != "u" || none.PitchMM != singleP {
			t.Errorf("%s: %v, %v", name, s != nil, err)
		}
	}
}

// TestCoveredPaint: a bright card on the paint is no stripe. Beside it, where its brightness would pass for that of the stripes, they are read as well
// as anywhere, and on it they are not.
func TestCoveredPaint(t *testing.T) {
	const x0, y0, x1, y1 = 190, 130, 290, 230
	for _, sine := range []bool{true, false} {
		m := mirrored{w: sw, h: sh, x: plain, pitch: singleP, sine: sine, level: 1, noise: 0.02, hide: func(px, py float64) (float64, bool) {
			v := 6.0
			if in := px > x0+20 && px < x1-20 && py > y0+20 && py < y1-20; in && (int(px/4)+int(py/4))%2 == 0 {
				v = 0.5
			}
			return v, px > x0 && px < x1 && py > y0 && py < y1
		}}
		covered := func(px, py float64) bool { return px > x0-3 && px < x1+3 && py > y0-3 && py < y1+3 }
		beside := func(covered Covered) (worst float64) {
			s, err := Demodulate("u", m.photo(), singleP, !sine, 800, rough, covered)
			if err != nil {
				t.Fatal(err)
			}
			for i, v := range s.X {
				if x, y := float64(i%sw)+0.5, float64(i/sw)+0.5; covered != nil && covered(x, y) && v == v {
					t.Fatalf("sine %v: read on the card at (%g, %g)", sine, x, y)
				}
			}
			for _, r := range [][4]int{{x0, y0 - 40, x1, y0 - 8}, {x0, y1 + 8, x1, y1 + 40}, {x0 - 40, y0, x0 - 8, y1}, {x1 + 8, y0, x1 + 40, y1}} {
				read, _, e := compare(s, plain, r[0], r[1], r[2], r[3])
				if worst = max(worst, e); covered != nil && read < 0.8 {
					t.Errorf("sine %v: %.0f %% of the metal beside the card is read", sine, 100*read)
				}
			}
			return worst
		}
		with, without := beside(covered), beside(nil)
		t.Logf("sine %v: worst %.3f mm, %.3f where the card is not known", sine, with, without)
		if with > 0.02*singleP || !(with < without/2) {
			t.Errorf("sine %v: %.2f mm off beside a card, %.2f where it is not known", sine, with, without)
		}
	}
}
