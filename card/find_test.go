package card

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"fairmetal/photo"
)

// aShot is a photo of one card of module px a module before tilting, turned and lit at random.
func aShot(seed uint64, module, tilt float64) shot {
	rng := rand.New(rand.NewPCG(seed, 77))
	s := shot{
		w: int(40 * module), h: int(38 * module), focal: 1300, paper: 0.65 + 0.2*rng.Float64(), ink: 0.03 + 0.04*rng.Float64(),
		stripes: 8 + 10*rng.Float64(), square: seed%2 == 0, seed: seed,
		light: [3]float64{0.9, 0.4 * (rng.Float64() - 0.5), 0.4 * (rng.Float64() - 0.5)},
		blur:  0.5, noise: 0.01,
	}
	s.cards = []laid{{
		letter: "A", side: 40, z: s.focal * 40 / Modules / module, x: 10 * (rng.Float64() - 0.5), y: 10 * (rng.Float64() - 0.5),
		turn: 90*rng.Float64() - 45, azimuth: 360 * rng.Float64(), tilt: tilt,
	}}
	return s
}

// findOne returns the only card in a photo, or nil.
func findOne(t *testing.T, img *photo.Image) *Card {
	t.Helper()
	cards, err := Find(img)
	if err != nil {
		t.Fatal(err)
	}
	if len(cards) != 1 {
		return nil
	}
	return &cards[0]
}

func distances(c *Card, want [4][2]float64) (d []float64) {
	for i, q := range c.Corners() {
		d = append(d, math.Hypot(q[0]-want[i][0], q[1]-want[i][1]))
	}
	return d
}

// Tilted to 60 degrees, turned to 45, blurred to a quarter of the short module and noisy to 3 %, over stripes: every card is found
// and its corners are right to hundredths of a pixel, as often within the stated uncertainty as they should be.
func TestFindMadePhotos(t *testing.T) {
	var all, pulls []float64
	seed := uint64(0)
	for _, module := range []float64{4.5, 7} {
		for _, tilt := range []float64{0, 30, 45, 60} {
			for _, bn := range [][2]float64{{0.4, 0.01}, {0.9, 0.02}, {1.1, 0.03}} {
				seed++
				s := aShot(seed, module, tilt)
				s.blur, s.noise = bn[0], bn[1]
				c := findOne(t, s.render())
				if c == nil {
					t.Errorf("seed %d: module %v, tilt %v, blur %v, noise %v: not found", seed, module, tilt, bn[0], bn[1])
					continue
				}
				if c.Letter != "A" || c.SideMM != 40 {
					t.Errorf("seed %d: read %s %v", seed, c.Letter, c.SideMM)
				}
				if short := module * math.Cos(tilt*math.Pi/180); c.ModulePX < 0.85*short || c.ModulePX > 1.15*module {
					t.Errorf("seed %d: module of %.2f px, true %.2f x %.2f", seed, c.ModulePX, module, short)
				}
				for _, d := range distances(c, s.corners(s.cards[0])) {
					all = append(all, d)
					pulls = append(pulls, d/math.Sqrt2/c.SigmaPX)
				}
			}
		}
	}
	slices.Sort(all)
	slices.Sort(pulls)
	median, most, worst := all[len(all)/2], all[len(all)*95/100], all[len(all)-1]
	pull := pulls[len(pulls)/2]
	t.Logf("corner error: median %.4f, 95 %% %.4f, worst %.4f px; median pull %.2f", median, most, worst, pull)
	if median > 0.02 || most > 0.05 || worst > 0.1 {
		t.Errorf("corner error: median %.4f, 95 %% %.4f, worst %.4f px; want 0.02, 0.05, 0.1", median, most, worst)
	}
	// The distance of two normal errors is below 1.18 standard deviations half of the time: 0.83 after division by sqrt 2.
	if pull < 0.5 || pull > 1.2 {
		t.Errorf("median of error over stated uncertainty is %.2f, want 0.83", pull)
	}
}

// Small turned cards, under two pixels a module: the second, wider look finds most that the first leaves out.
func TestFindSmall(t *testing.T) {
	first, all := 0, 0
	for seed := range uint64(6) {
		s := aShot(300+seed, 1.9, 35)
		s.blur = 0.85
		img := s.render()
		first += len(searchAt(&pyramid{img}, 0, slacks[0], nil))
		if findOne(t, img) != nil {
			all++
		}
	}
	if all < first+3 {
		t.Errorf("%d small cards of 6 found, %d of them at the first look", all, first)
	}
}

// A card on a curved panel: its tangent plane is found whatever the lens. Fitted as flat, the corners would be off by tenths of
// a pixel.
func TestFindBent(t *testing.T) {
	for seed, k := range []struct{ radius, focal, tilt float64 }{
		{1500, 1300, 30}, {1500, 400, 45}, {1300, 900, 55}, {3000, 600, 45}, {-2000, 700, 40},
	} {
		s := aShot(uint64(100+seed), 7, k.tilt)
		s.focal = k.focal
		s.cards[0].z = k.focal * 40 / Modules / 7
		s.cards[0].radius = k.radius
		c := findOne(t, s.render())
		if c == nil {
			t.Errorf("seed %d: not found", seed)
			continue
		}
		d := distances(c, s.corners(s.cards[0]))
		t.Logf("radius %v, focal %v, tilt %v: %.3f px", k.radius, k.focal, k.tilt, d)
		if slices.Max(d) > 0.06 {
			t.Errorf("radius %v, focal %v, tilt %v: corners off by %.3f px", k.radius, k.focal, k.tilt, d)
		}
	}
}

// What prints, cameras and hands do to a card.
func TestFindSpoilt(t *testing.T) {
	for _, k := range []struct {
		name  string
		limit float64 // px, worst corner
		spoil func(s *shot)
		paint func(s *shot, img *photo.Image)
	}{
		{name: "ink grown by 0.1 mm", limit: 0.05, spoil: func(s *shot) { s.growth = 0.1 }},
		{name: "paper clipped", limit: 0.1, spoil: func(s *shot) { s.light[0] = 1.6 }},
		{name: "grey card", limit: 0.1, spoil: func(s *shot) { s.paper, s.ink = 0.3, 0.15 }},
		{name: "light falls off to a third", limit: 0.1, spoil: func(s *shot) { s.light = [3]float64{0.6, 0.8, 0.3} }},
		{name: "thumb on the data", limit: 0.04, paint: func(s *shot, img *photo.Image) {
			x, y := s.corners(s.cards[0])[2][0], s.corners(s.cards[0])[2][1] // bottom right: no finder there
			for py := range img.H {
				for px := range img.W {
					if math.Hypot(float64(px)-x, float64(py)-y) < 32 {
						img.Pix[py*img.W+px] = 0.4
					}
				}
			}
		}},
	} {
		s := aShot(7, 7, 40)
		if k.spoil != nil {
			k.spoil(&s)
		}
		img := s.render()
		if k.paint != nil {
			k.paint(&s, img)
		}
		c := findOne(t, img)
		if c == nil {
			t.Errorf("%s: not found", k.name)
			continue
		}
		d := slices.Max(distances(c, s.corners(s.cards[0])))
		t.Logf("%s: %.3f px", k.name, d)
		if d > k.limit {
			t.Errorf("%s: corners off by %.3f px, want %.3f", k.name, d, k.limit)
		}
	}
}

// Corners keep to the printed upright however the photo is held.
func TestFindTurned(t *testing.T) {
	for turn := 0.0; turn < 360; turn += 90 {
		s := aShot(9, 6, 20)
		s.cards[0].turn = turn + 8
		c := findOne(t, s.render())
		if c == nil {
			t.Errorf("turned by %v: not found", turn)
			continue
		}
		if d := slices.Max(distances(c, s.corners(s.cards[0]))); d > 0.05 {
			t.Errorf("turned by %v: corners off by %.3f px", turn, d)
		}
		if x, y := c.Project(0, 0); math.Hypot(x-c.H[2], y-c.H[5]) > 1e-9 || c.H[8] != 1 {
			t.Errorf("turned by %v: the origin is not at H's last column", turn)
		}
	}
}

// Two cards in a large photo are found at reduced size and fitted on the photo's own pixels; A before B.
func TestFindTwo(t *testing.T) {
	s := aShot(3, 7, 35)
	s.w, s.h = 1700, 1000
	a := s.cards[0]
	b := a
	a.x, b.x, b.letter, b.tilt, b.side = -110, 110, "B", 50, 35
	s.cards = []laid{b, a}
	img := s.render()
	cards, err := Find(img)
	if err != nil {
		t.Fatal(err)
	}
	if len(cards) != 2 || cards[0].Letter != "A" || cards[1].Letter != "B" || cards[1].SideMM != 35 {
		t.Fatalf("found %+v", cards)
	}
	for i, l := range []laid{a, b} {
		if d := slices.Max(distances(&cards[i], s.corners(l))); d > 0.05 {
			t.Errorf("card %s: corners off by %.3f px", l.letter, d)
		}
	}
}

// Of two cards with one letter, one is returned, fitted to one of them.
func TestFindSameLetter(t *testing.T) {
	s := aShot(4, 6, 25)
	s.w = 560
	a := s.cards[0]
	b := a
	a.x, b.x = -45, 45
	s.cards = []laid{a, b}
	c := findOne(t, s.render())
	if c == nil {
		t.Fatal("not one card")
	}
	if d := min(slices.Max(distances(c, s.corners(a))), slices.Max(distances(c, s.corners(b)))); d > 0.05 {
		t.Errorf("corners off by %.3f px", d)
	}
}

// Photos without a card give none, and no error.
func TestFindNothing(t *testing.T) {
	paint := func(w, h int, v func(x, y int) float64) *photo.Image {
		img := photo.NewImage(w, h)
		for i := range img.Pix {
			img.Pix[i] = float32(v(i%w, i/w))
		}
		return img
	}
	rng := rand.New(rand.NewPCG(11, 12))
	s := aShot(5, 6, 20)
	card := s.render()
	for name, img := range map[string]*photo.Image{
		"black":    photo.NewImage(300, 200),
		"white":    paint(300, 200, func(x, y int) float64 { return 1 }),
		"noise":    paint(400, 300, func(x, y int) float64 { return rng.Float64() }),
		"stripes":  paint(640, 480, func(x, y int) float64 { return 0.5 + 0.5*math.Cos(float64(x)/2) }),
		"squares":  paint(640, 480, func(x, y int) float64 { return float64((x/9 + y/9) % 2) }),
		"rings":    paint(640, 480, func(x, y int) float64 { return float64(max(x%35, y%35) / 5 % 2) }),
		"nan":      paint(320, 240, func(x, y int) float64 { return math.NaN() }),
		"infinite": paint(320, 240, func(x, y int) float64 { return math.Inf(1 - 2*(x/5%2)) }),
		"one":      photo.NewImage(1, 1),
		"flat":     photo.NewImage(5000, 1),
		"small":    photo.NewImage(57, 57),
		"mirrored": paint(card.W, card.H, func(x, y int) float64 { return float64(card.At(card.W-1-x, y)) }),
		"negative": paint(card.W, card.H, func(x, y int) float64 { return 1 - float64(card.At(x, y)) }),
		"cut":      paint(card.W/2, card.H, func(x, y int) float64 { return float64(card.At(x, y)) }),
	} {
		cards, err := Find(img)
		if err != nil || len(cards) != 0 {
			t.Errorf("%s: found %v, %v", name, cards, err)
		}
	}
	if c := findOne(t, card); c == nil {
		t.Error("the card that was mirrored, inverted and cut is not found as it was")
	}
}

func TestFindRefuses(t *testing.T) {
	for _, img := range []*photo.Image{nil, {}, {W: 10, H: 10}, {W: -1, H: -1}, {W: 10, H: 10, Pix: make([]float32, 99)}} {
		if _, err := Find(img); err == nil || !strings.Contains(err.Error(), "photograph again") {
			t.Errorf("%v: error %v does not say what to do", img, err)
		}
	}
}
