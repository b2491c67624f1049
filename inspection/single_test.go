package inspection

import (
	"context"
	"math"
	"testing"

	"fairmetal/capture"
	"fairmetal/internal/memfs"
	"fairmetal/mark"
	"fairmetal/scene"
	"fairmetal/surface"
)

// gentle is a panel with marks that do not fold the reflection, up to 0.85 of the fold, and one that does, seen by a pair of single
// photos and by one of crossed stripes.
func gentle(t *testing.T) (*scene.Capture, capture.Capture) {
	t.Helper()
	card := func(x float64) scene.Card { return scene.Card{SideMM: 40, XMM: x, LiftMM: 0.2} }
	c, _, facts := captured(t, scene.Spec{
		Name: "gentle", Seed: 5,
		Panel: scene.Panel{RXMM: 5200, RYMM: 2600, TwistPerMM: 5e-6, PeelUM: 0.4, Marks: []scene.Mark{
			{ID: "wide", Kind: "round", XMM: -48, YMM: 6, LengthMM: 40, WidthMM: 38, DepthUM: 100},
			{ID: "low", Kind: "round", XMM: 28, YMM: -30, LengthMM: 22, WidthMM: 20, DepthUM: 26},
			{ID: "high", Kind: "high", XMM: -8, YMM: 34, LengthMM: 17, WidthMM: 15, DepthUM: 35},
			{ID: "sharp", Kind: "round", XMM: 54, YMM: 16, LengthMM: 26, WidthMM: 24, DepthUM: 420},
		}},
		Paint:  scene.Paint{Albedo: [3]float64{0.006, 0.006, 0.007}},
		Board:  scene.Board{DistanceMM: 420, WidthMM: 1000, HeightMM: 750, RoomLevel: 0.05, TiltDeg: [2]float64{1, -1}},
		Cards:  [2]scene.Card{card(-125), card(125)},
		Camera: scene.Camera{DistanceMM: 450, TiltDeg: 30, AimMM: [2]float64{0, 6}, FocalPX: 760, W: 900, H: 675, BlurPX: 0.5},
		Sets:   []scene.Set{{Kind: "single", Profile: "square", FineMM: 12}, {Kind: "single", Profile: "square", FineMM: 12, Crossed: true}},
	})
	return c, facts
}

// TestGentleMarks: marks that do not fold the reflection are measured from single photos and from crossed stripes, 50 um and more within
// 10 % and shallower ones within 10 um; the one that folds is reported as such and at most as the least it can be, gets no value where the mirror map's determinant is
// negative, and there is no other mark.
func TestGentleMarks(t *testing.T) {
	made, facts := gentle(t)
	for i, name := range []string{"pair", "crossed"} {
		t.Run(name, func(t *testing.T) {
			one := facts
			one.Sets = facts.Sets[i : i+1]
			r, err := RunCapture(context.Background(), memfs.FS(made.Files), one, nil)
			if err != nil {
				t.Fatal(err)
			}
			found, steep := 0, 0
			for _, m := range r.Marks {
				for _, k := range made.Truth.Marks {
					near := 4.0
					if k.LeastPace < 0 {
						near = k.LengthMM / 2 // a flank may be all that is seen
					}
					if math.Hypot(m.XMM-k.XMM, m.YMM-k.YMM) > near || (m.Kind == mark.High) != (k.Kind == "high") {
						continue
					}
					if k.LeastPace < 0 {
						if steep++; !m.Folded || m.DepthUM > k.DepthUM {
							t.Errorf("%s folds, but is given as %.1f um, no more than the least it can be: %.1f", k.ID, m.DepthUM, k.DepthUM)
						}
						continue
					}
					found++
					if off := math.Abs(m.DepthUM - k.DepthUM); m.Folded || off > 10 || off > 0.1*k.DepthUM && k.DepthUM >= 50 {
						t.Errorf("%s: %.1f um, want %.1f (folded %v, pace %.2f)", k.ID, m.DepthUM, k.DepthUM, m.Folded, k.LeastPace)
					}
				}
			}
			if found != 3 || len(r.Marks) != 3+steep {
				t.Errorf("%d of 3 marks found, %d in all", found, len(r.Marks))
			}
			folded := 0
			for _, a := range r.Areas {
				if a.Kind == "folded" && math.Hypot(a.XMM-54, a.YMM-16) < 5 {
					folded++
				}
			}
			if folded != 1 {
				t.Errorf("areas %+v", r.Areas)
			}
			tr := &made.Truth
			given, folds, sum, n := 0, 0, 0.0, 0.0
			for i, pace := range tr.Pace {
				h := r.Surface.At(tr.X0MM+float64(i%tr.Cols)*tr.PitchMM, tr.Y0MM+float64(i/tr.Cols)*tr.PitchMM)
				if pace < 0 {
					folds++
				}
				if h != h {
					continue
				}
				if pace < 0 {
					given++
				}
				e := 1000 * (h - float64(tr.Height[i]))
				sum, n = sum+e*e, n+1
			}
			// The fold's rim, where stripes stand, is known to half a stripe.
			if 20*given > folds {
				t.Errorf("a value for %d of %d cells that fold", given, folds)
			}
			if rms := math.Sqrt(sum / n); rms > 2 {
				t.Errorf("%.2f um rms", rms)
			}
		})
	}
}

// TestSharpMarksNotSilent: a mark that folds within the breadth of a stripe, so that nothing else tells, is measured right or called the least it can
// be.
func TestSharpMarksNotSilent(t *testing.T) {
	told, near := 0, 0
	for _, seed := range []uint64{52, 57} {
		s := scene.Sharp(seed)
		s.Sets = []scene.Set{{Kind: "single", Profile: "square", FineMM: 14}}
		made, r := rendered(t, s)
		for _, k := range made.Truth.Marks {
			for _, m := range r.Marks {
				if k.LeastPace > 0 || math.Hypot(m.XMM-k.XMM, m.YMM-k.YMM) > 4 {
					continue
				}
				near++
				if m.Folded {
					told++
				} else if off := math.Abs(m.DepthUM - k.DepthUM); off > 10 && off > 0.1*k.DepthUM {
					t.Errorf("panel %d, %s: %.1f um without a word, it is %.1f (pace %.2f)", seed, k.ID, m.DepthUM, k.DepthUM, k.LeastPace)
				}
			}
		}
	}
	if near < 4 || told == 0 || told == near {
		t.Errorf("of %d marks that fold and are found %d are told as the least they can be", near, told)
	}
}

// TestOwnTop: a high with a small hole on top is one whatever hides there, and so is one that goes up into the hole from all sides; a ring round a wide
// hole, a piece of one, and a rim that is nearly all hole may be crowns.
func TestOwnTop(t *testing.T) {
	g := surface.Grid{Cols: 161, Rows: 161, PitchMM: 0.5, X0MM: -40, Y0MM: -40}
	for _, c := range []struct {
		name                            string
		lengthMM, widthMM, holeMM, upUM float64
		slope                           float64 // into the hole
		want                            bool
	}{
		{"top", 18, 16, 6, 66, 0, true},
		{"flat top", 18, 16, 6, 12, 0, false},
		{"flanks", 18, 16, 12, 12, 2e-3, true},
		{"crest", 18, 16, 12, 12, -2e-3, false},
		{"speck in a flank", 42, 40, 6, 12, 2e-3, false},
		{"ring", 76, 74, 54, 72, 0, false},
		{"ring of flanks", 66, 40, 30, 12, 2e-3, false},
		{"ring about dents", 64, 50, 30, 16, 2e-3, false},
		{"low ring", 36, 30, 18, 7, 2e-3, false},
		{"piece", 42, 21, 10, 66, 0, false},
		{"rim", 18, 16, 14, 66, 2e-3, false},
	} {
		s := surface.New(g)
		for i := range s.Height {
			x, y := g.XY(i%g.Cols, i/g.Cols)
			s.Height[i] = float32(-c.slope * math.Hypot(x, y))
			if math.Hypot(x, y) < c.holeMM/2 {
				s.Height[i] = float32(math.NaN())
			}
		}
		m := mark.Mark{Kind: mark.High, LengthMM: c.lengthMM, WidthMM: c.widthMM, DepthUM: c.upUM, Folded: true}
		if got := ownTop(s, &m); got != c.want {
			t.Errorf("%s: %v", c.name, got)
		}
	}
}

// TestCrownOfFold: a high around the flank of a low that folds is its crown; one around the same flank without a fold, or beside a fold
// without a flank, is a high of its own.
func TestCrownOfFold(t *testing.T) {
	g := surface.Grid{Cols: 81, Rows: 81, PitchMM: 0.5, X0MM: -20, Y0MM: -20}
	m := mark.Mark{Kind: mark.High, YMM: -6, LengthMM: 30, WidthMM: 14, DepthUM: 30}
	folds := func(x, y float64) bool { return math.Hypot(x, y) < 5 }
	for _, c := range []struct {
		name    string
		flankUM float64
		folded  func(x, y float64) bool
		want    bool
	}{
		{"crown", -40, folds, true},
		{"no fold", -40, func(x, y float64) bool { return false }, false},
		{"no flank", -2, folds, false},
	} {
		s := surface.New(g)
		for i := range s.Height {
			x, y := g.XY(i%g.Cols, i/g.Cols)
			switch d := math.Hypot(x, y); {
			case d < 5:
				s.Height[i] = float32(math.NaN())
			case d < 7:
				s.Height[i] = float32(c.flankUM / 1000)
			case d < 14 && y < 0:
				s.Height[i] = 0.03
			default:
				s.Height[i] = 0
			}
		}
		if got := crownOfFold(s, &m, 1, c.folded); got != c.want {
			t.Errorf("%s: %v", c.name, got)
		}
	}
}
