package inspection

import (
	"context"
	"io/fs"
	"math"
	"strings"
	"testing"

	"fairmetal/capture"
	"fairmetal/internal/memfs"
	"fairmetal/scene"
	"fairmetal/surface"
)

// bowls is a small made-up capture: a round low and a shallower one on a crowned panel.
func bowls() scene.Spec {
	return scene.Spec{Name: "bowls", Seed: 5,
		Panel: scene.Panel{Name: "bowls", Material: "steel", ThicknessMM: 0.7, RXMM: 4000, RYMM: 2600, PeelUM: 0.3, Marks: []scene.Mark{
			{ID: "a", Kind: "round", XMM: -24, YMM: 14, LengthMM: 40, WidthMM: 34, DepthUM: 300, AngleDeg: 30},
			{ID: "b", Kind: "round", XMM: 33, YMM: -12, LengthMM: 30, WidthMM: 28, DepthUM: 90}}},
		Paint:  scene.Paint{Name: "black", Albedo: [3]float64{0.006, 0.006, 0.007}},
		Board:  scene.Board{DistanceMM: 420, WidthMM: 900, HeightMM: 700, RoomLevel: 0.04},
		Cards:  [2]scene.Card{{SideMM: 60, XMM: -120, AngleDeg: 2, LiftMM: 0.2}, {SideMM: 60, XMM: 120, AngleDeg: -3, LiftMM: 0.2}},
		Camera: scene.Camera{DistanceMM: 430, TiltDeg: 30, FocalPX: 400, W: 500, H: 375, BlurPX: 0.5, Jitter: 0.01},
		Sets:   []scene.Set{{Kind: "shifted", FineMM: 26, CoarseMM: 128}}}
}

// measured measures a made-up panel of two marks.
func measured(t *testing.T, s scene.Spec) *Result {
	t.Helper()
	_, r := rendered(t, s)
	if len(r.Marks) != 2 {
		t.Fatalf("%d marks", len(r.Marks))
	}
	return r
}

// rendered renders a made-up panel and measures it.
func rendered(t *testing.T, s scene.Spec) (*scene.Capture, *Result) {
	t.Helper()
	made, folder, facts := captured(t, s)
	r, err := RunCapture(context.Background(), folder, facts, nil)
	if err != nil {
		t.Fatal(err)
	}
	return made, r
}

// captured renders a made-up panel: its folder, and what that says of the capture.
func captured(t testing.TB, s scene.Spec) (*scene.Capture, fs.FS, capture.Capture) {
	t.Helper()
	made, err := scene.Render(s, nil)
	if err != nil {
		t.Fatal(err)
	}
	folder := memfs.FS(made.Files)
	facts, err := capture.ReadDir(folder)
	if err != nil {
		t.Fatal(err)
	}
	return made, folder, facts
}

// apart is the rms difference of two surfaces between the cards, um, the second looked up at what place makes of each place and times k.
func apart(a, b *surface.Surface, k float64, place func(x, y float64) (float64, float64)) float64 {
	var sum, n float64
	for y := -45.0; y <= 45; y++ {
		for x := -70.0; x <= 70; x++ {
			p, q := place(x, y)
			if d := 1000 * (a.At(x, y) - k*b.At(p, q)); d == d {
				sum, n = sum+d*d, n+1
			}
		}
	}
	return math.Sqrt(sum / n)
}

// TestSurfaceKeepsStill: the metal does not care where the camera stands, how it is painted, or whether it is the other side's panel; and
// a mark twice as deep comes out twice as deep. One micrometre is thrice what peel, noise and half-millimetre pixels leave; a hundredth of
// the deeper mark is three.
func TestSurfaceKeepsStill(t *testing.T) {
	same := func(x, y float64) (float64, float64) { return x, y }
	base := measured(t, bowls())
	for name, c := range map[string]struct {
		change func(s *scene.Spec)
		place  func(x, y float64) (float64, float64)
		k      float64
		limit  float64
	}{
		"camera turned": {func(s *scene.Spec) {
			s.Camera.TurnDeg, s.Camera.TiltDeg, s.Camera.RollDeg, s.Camera.DistanceMM = 14, 38, 4, 450
		}, same, 1, 1.2},
		"white paint": {func(s *scene.Spec) { s.Paint = scene.Paint{Name: "white", Albedo: [3]float64{0.6, 0.6, 0.58}} }, same, 1, 1.5},
		"mirrored panel": {func(s *scene.Spec) {
			for i := range s.Panel.Marks {
				m := &s.Panel.Marks[i]
				m.XMM, m.AngleDeg = -m.XMM, -m.AngleDeg
			}
		}, func(x, y float64) (float64, float64) { return -x, y }, 1, 1.2},
		"twice as deep": {func(s *scene.Spec) {
			for i := range s.Panel.Marks {
				s.Panel.Marks[i].DepthUM *= 2
			}
		}, same, 0.5, 1.5},
	} {
		s := bowls()
		c.change(&s)
		r := measured(t, s)
		if d := apart(base.Surface, r.Surface, c.k, c.place); !(d < c.limit) {
			t.Errorf("%s: the surface changed by %.2f um rms", name, d)
		}
		for i, m := range r.Marks {
			if d := c.k*m.DepthUM/base.Marks[i].DepthUM - 1; math.Abs(d) > 0.03 {
				t.Errorf("%s: mark %d is %.1f um deep, %.1f before", name, i, c.k*m.DepthUM, base.Marks[i].DepthUM)
			}
		}
	}
}

// TestMissingCard: the refusal says which card is missing and why.
func TestMissingCard(t *testing.T) {
	for want, change := range map[string]func(s *scene.Spec){
		"card A is not in the photos (card B is): the picture ends": func(s *scene.Spec) { s.Camera.AimMM[0] = 200 },
		"lay it to the right of the damage":                         func(s *scene.Spec) { s.Cards[1].Missing = true },
	} {
		s := bowls()
		change(&s)
		c, err := scene.Render(s, nil)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := Run(context.Background(), memfs.FS(c.Files), nil); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v, want %q", err, want)
		}
	}
}
