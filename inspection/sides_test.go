package inspection

import (
	"context"
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"fairmetal/capture"
	"fairmetal/mirror"
	"fairmetal/scene"
)

// TestFoldThrough: a bent line is found through its places and a card's beside it, its normal towards the far side.
func TestFoldThrough(t *testing.T) {
	sin, cos := math.Sincos(2.0)
	var p [][2]float64
	for k := -60; k <= 60; k++ {
		u := 2 * float64(k)
		s := 41 + 3e-4*u*u + 0.4*math.Sin(float64(k*k))
		if k > 5 && k < 20 {
			s -= 22
		}
		p = append(p, [2]float64{cos*s - sin*u, sin*s + cos*u})
	}
	f, ok := foldThrough(p, [2]float64{100 * cos, 100 * sin})
	if !ok || math.Abs(f.Angle-2) > 0.01 || math.Abs(f.S0-41) > 0.5 || math.Abs(f.Bend-3e-4) > 4e-5 {
		t.Errorf("%+v, %v", f, ok)
	}
	if back, ok := foldThrough(p, [2]float64{-100 * cos, -100 * sin}); !ok || math.Abs(math.Remainder(back.Angle-2-math.Pi, 2*math.Pi)) > 0.01 || math.Abs(back.S0+41) > 0.5 {
		t.Errorf("the other way: %+v, %v", back, ok)
	}
	if f, ok := foldThrough(p[:10], [2]float64{}); ok {
		t.Errorf("a line through ten places: %+v", f)
	}
}

// TestSideCounted: beyond a line aslant to both directions of the stripes, which hides some of each, the metal is counted and measured, and the
// tape is not blamed.
func TestSideCounted(t *testing.T) {
	card := func(x float64) scene.Card { return scene.Card{SideMM: 40, XMM: x, LiftMM: 0.2} }
	_, r := rendered(t, scene.Spec{
		Name: "aslant", Seed: 8,
		Panel: scene.Panel{RXMM: 4200, RYMM: 2900, PeelUM: 0.3, Folds: []scene.Fold{{AngleDeg: 28, OffsetMM: 50, Step: -0.06, WidthMM: 3}},
			Marks: []scene.Mark{{ID: "low", Kind: "round", XMM: -30, YMM: 5, LengthMM: 36, WidthMM: 34, DepthUM: 70}}},
		Paint:  scene.Paint{Albedo: [3]float64{0.006, 0.006, 0.007}},
		Board:  scene.Board{DistanceMM: 430, WidthMM: 1000, HeightMM: 750, RoomLevel: 0.05},
		Cards:  [2]scene.Card{card(-125), card(125)},
		Camera: scene.Camera{DistanceMM: 450, TiltDeg: 30, AimMM: [2]float64{0, 6}, FocalPX: 760, W: 900, H: 675, BlurPX: 0.4},
		Sets:   []scene.Set{{Kind: "single", Profile: "square", FineMM: 12}},
	})
	if d := r3.Norm(r.Calibration.Board.Centre); math.Abs(d-430) > 6 {
		t.Errorf("the board at %.0f mm, it stands at 430", d)
	}
	for _, n := range r.Notices {
		if n.Code == "tape" || n.Code == "feature-line" || n.Code == "stray-form" {
			t.Error(n)
		}
	}
	if len(r.Marks) != 1 || math.Abs(r.Marks[0].DepthUM-70) > 5 {
		t.Errorf("marks %+v", r.Marks)
	}
	on := 0
	for _, a := range r.Areas {
		if a.Kind == "on-line" {
			on++
		}
	}
	if on == 0 {
		t.Errorf("the line itself is not told of: %+v", r.Areas)
	}
	if h := r.Surface.At(95, 40); !(math.Abs(h) < 0.005) {
		t.Errorf("%.4f mm beyond the line", h)
	}
}

// TestSmallFolds: folded places too small for a row of their own are told of together.
func TestSmallFolds(t *testing.T) {
	r := &run{res: &Result{Calibration: &mirror.Calibration{Board: mirror.Board{Centre: r3.Vec{Z: 500}}}}}
	r.foldedNotice(0, 0)
	if len(r.res.Notices) != 0 {
		t.Errorf("%v", r.res.Notices)
	}
	r.foldedNotice(2, 24)
	r.res.Areas = []Area{{Kind: "folded", AreaMM2: 80}}
	r.foldedNotice(2, 24)
	for i, want := range []string{"2 place(s) of under 60 mm2 each, 24 mm2", "1 place(s), 80 mm2 in all, and in 2 of under 60"} {
		if i >= len(r.res.Notices) || !strings.Contains(r.res.Notices[i].Text, want) {
			t.Errorf("%v, want %q", r.res.Notices, want)
		}
	}
}

// TestFaintLine: metal beyond a line whose step is too faint for the form to keep is measured all the same.
func TestFaintLine(t *testing.T) {
	_, r := rendered(t, scene.Gentle(217, 1200))
	if r.Quality.MeasuredCM2 < 1000 {
		t.Errorf("%.0f cm2 measured", r.Quality.MeasuredCM2)
	}
}

// TestRefusedForWhatWasWarnedOf: where no set-up fits, a warning on the way tells why.
func TestRefusedForWhatWasWarnedOf(t *testing.T) {
	r := &run{res: &Result{}}
	r.note(Info, "few-photos", "few photos", "take more")
	plain := r.refuseMirror(mirror.ErrNoFit).Error()
	if strings.Contains(plain, "few photos") || !strings.Contains(plain, "taped distance") {
		t.Error(plain)
	}
	r.note(Warning, "fine-stripes", "the order of the stripes tears", "take stripes twice as wide")
	if told := r.refuseMirror(mirror.ErrNoFit).Error(); !strings.Contains(told, "tears; take stripes twice as wide") {
		t.Error(told)
	}
}

// TestFaintSeam: where a line shows too faintly to be cut, the photo can be read as if cut there, with metal on both sides; few sights, with a
// line tried on them, bear the whole out here, so that it stays as it was read.
func TestFaintSeam(t *testing.T) {
	_, folder, facts := captured(t, scene.Gentle(222, 1200))
	r := &run{ctx: context.Background(), folder: folder, progress: func(string, float64) {}, res: &Result{Capture: facts, SetKind: capture.Single}}
	for _, step := range []func() error{func() error { return r.photos(facts.Sets[0]) }, r.cards, r.stripes} {
		if err := step(); err != nil {
			t.Fatal(err)
		}
	}
	board := facts.Board
	if r.doubt(mirror.Prior{DistanceMM: board.DistanceMM, WidthMM: board.WidthMM, HeightMM: board.HeightMM, PeriodU: r.period("u"), PeriodV: r.period("v")}) != nil {
		t.Error("a whole that fits was doubted")
	}
	told := 0
	for _, s := range r.readings {
		if s.Doubt == nil {
			continue
		}
		told++
		cut := s.Doubt()
		seam, read := 0, 0
		for i, on := range cut.Seam {
			if on {
				seam++
			}
			if cut.X[i] == cut.X[i] {
				read++
			}
		}
		if seam == 0 || read < len(cut.X)/10 {
			t.Errorf("%d pixels on the seam, %d read", seam, read)
		}
	}
	if told == 0 {
		t.Error("no line shows faintly")
	}
}

// TestLinesThatExplainLess: on sharp stripes, which leave ripples, feature lines were added until the whole fitted no panel; the panel's own, in a corner of
// what is seen, is all that stays.
func TestLinesThatExplainLess(t *testing.T) {
	spec := scene.Random(1004)
	_, r := rendered(t, spec)
	lines, own := r.Calibration.Form.Folds, spec.Panel.Folds[0]
	if len(lines) != 1 || math.Abs(lines[0].Step-own.Step) > 2e-3 || math.Abs(lines[0].S0-own.OffsetMM) > 1 || r.Quality.SpreadUM > 1.5 {
		t.Errorf("lines %+v, %.1f um of spread; want %+v", lines, r.Quality.SpreadUM, own)
	}
}
