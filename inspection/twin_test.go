package inspection

import (
	"math"
	"os"
	"strings"
	"testing"

	"fairmetal/internal/memfs"
	"fairmetal/scene"
	"fairmetal/surface"
)

// bonnet is half a made-up bonnet with a feature line; mirrored is its other half, whose skin differs a little in crown.
func bonnet(mirrored bool) scene.Spec {
	s := scene.Spec{
		Name: "bonnet, left half", Seed: 31,
		Panel: scene.Panel{Name: "bonnet", Material: "steel", ThicknessMM: 0.7, RXMM: 3100, RYMM: 1900, TwistPerMM: -9e-6, Cubic: [4]float64{2e-8, -3e-8, 6e-8, 5e-8}, PeelUM: 0.4,
			Folds: []scene.Fold{{AngleDeg: 86, OffsetMM: 14, Step: -0.06, WidthMM: 7}},
			// A broad low pressed across the line.
			Marks: []scene.Mark{{ID: "a", Kind: "line", XMM: 6, YMM: 12, LengthMM: 110, WidthMM: 64, DepthUM: 1500, AngleDeg: 8}}},
		Paint:  scene.Paint{Name: "black", Albedo: [3]float64{0.006, 0.006, 0.007}},
		Board:  scene.Board{DistanceMM: 320, TapedMM: 321, WidthMM: 1000, HeightMM: 800, TiltDeg: [2]float64{1, -0.6}, RollDeg: 0.4, OffsetMM: [2]float64{5, -8}, RoomLevel: 0.04},
		Cards:  [2]scene.Card{{SideMM: 40, XMM: -140, AngleDeg: 1.5, LiftMM: 0.2}, {SideMM: 40, XMM: 140, AngleDeg: -2.2, LiftMM: 0.2}},
		Camera: scene.Camera{DistanceMM: 450, TiltDeg: 35, TurnDeg: 4, AimMM: [2]float64{0, 6}, FocalPX: 780, W: 960, H: 720, Jitter: 0.01, BlurPX: 0.5},
		Sets:   []scene.Set{{Kind: "shifted", FineMM: 16, CoarseMM: 128}},
	}
	s.Panel.Extra = swage
	if mirrored {
		p := &s.Panel
		p.Extra = func(x, y float64) float64 { return swage(-x, y) }
		s.Name, s.Seed = "bonnet, right half", 32
		p.Marks, p.RXMM, p.TwistPerMM = nil, 3180, -p.TwistPerMM
		p.Cubic[0], p.Cubic[2] = -p.Cubic[0], -p.Cubic[2]
		p.Folds = []scene.Fold{{AngleDeg: 180 - p.Folds[0].AngleDeg, OffsetMM: p.Folds[0].OffsetMM, Step: p.Folds[0].Step, WidthMM: p.Folds[0].WidthMM}}
		// Cards laid by eye, camera and board set up anew.
		s.Cards[0].XMM, s.Cards[0].YMM, s.Cards[1].XMM, s.Cards[1].YMM = -137, 2, 144, 4
		s.Board.DistanceMM, s.Board.TapedMM, s.Board.TiltDeg = 335, 333, [2]float64{-0.8, 1.1}
		s.Camera.TiltDeg, s.Camera.TurnDeg = 37, -5
	}
	return s
}

// swage is a pressed ridge of 0.5 mm that runs out under the damage: part of the panel's form, and none that a fill could know.
func swage(x, y float64) float64 {
	t := min(max((x+50)/100, 0), 1)
	return 0.5 * t * t * (3 - 2*t) * math.Exp(-(y+22)*(y+22)/(2*13*13))
}

// BenchmarkTwin renders and measures both halves, and prints the rms error in the damage and beside it, um, with and without the twin.
func BenchmarkTwin(b *testing.B) {
	for b.Loop() {
		var captures [2]*scene.Capture
		for i, mirrored := range []bool{false, true} {
			c, err := scene.Render(bonnet(mirrored), nil)
			if err != nil {
				b.Fatal(err)
			}
			captures[i] = c
		}
		run := func(c *scene.Capture, twin *Stored) *Result {
			r, err := RunTwin(b.Context(), memfs.FS(c.Files), twin, nil)
			if err != nil {
				b.Fatal(err)
			}
			return r
		}
		over := run(captures[0], stored(run(captures[1], nil)))
		for name, r := range map[string]*Result{"alone": run(captures[0], nil), "twin": over} {
			in, beside := swageError(r, &captures[0].Truth)
			b.ReportMetric(in, "um-damage-"+name)
			b.ReportMetric(beside, "um-beside-"+name)
		}
	}
}

// swageError is the rms error in the damage and beside it, um.
func swageError(r *Result, truth *scene.Truth) (in, beside float64) {
	var s, n [2]float64
	for i, h := range r.Surface.Height {
		x, y := r.Surface.XY(i%r.Surface.Cols, i/r.Surface.Cols)
		c, k := int(math.Round((x-truth.X0MM)/truth.PitchMM)), int(math.Round((y-truth.Y0MM)/truth.PitchMM))
		if h != h || c < 0 || k < 0 || c >= truth.Cols || k >= truth.Rows {
			continue
		}
		want := float64(truth.Height[k*truth.Cols+c]) - swage(x, y)
		where := 0
		if want > -0.003 {
			where = 1
		}
		s[where] += (float64(h) - want) * (float64(h) - want)
		n[where]++
	}
	return 1000 * math.Sqrt(s[0]/n[0]), 1000 * math.Sqrt(s[1]/n[1])
}

// stored is a result as it would be read back.
func stored(r *Result) *Stored {
	s := &Stored{Surface: r.Surface, AbsoluteMM: r.AbsoluteMM, Marks: r.Marks}
	s.Grid = r.Surface.Grid
	return s
}

// TestTwin: over a twin that is the mirrored form of the panel itself, laid 3 mm off, the dent is as deep as over the smooth fill; a twin
// of another panel is refused and said so.
func TestTwin(t *testing.T) {
	alone := measure(t, "testdata/one-ding")
	g := alone.Surface.Grid
	twin := stored(alone)
	twin.Grid.X0MM = -(g.X0MM + float64(g.Cols-1)*g.PitchMM) + 3
	twin.Surface = surface.New(twin.Grid)
	twin.AbsoluteMM = make([]float32, g.Len())
	for i := range twin.AbsoluteMM {
		twin.AbsoluteMM[i] = alone.AbsoluteMM[i/g.Cols*g.Cols+g.Cols-1-i%g.Cols]
		twin.Surface.Height[i] = 0
	}
	over := func() *Result {
		r, err := RunTwin(t.Context(), os.DirFS("testdata/one-ding"), twin, nil)
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	// 0.2 %: the smooth difference is of lower degree than the fill.
	if r := over(); r.Twin == nil || len(r.Marks) != 1 || math.Abs(r.Marks[0].DepthUM/alone.Marks[0].DepthUM-1) > 0.002 {
		t.Errorf("%+v, marks %+v, %v", r.Twin, r.Marks, r.Notices)
	}
	for i := range twin.AbsoluteMM {
		x, y := g.XY(i%g.Cols, i/g.Cols)
		twin.AbsoluteMM[i] += float32(0.2 * math.Cos(x/9) * math.Cos(y/8))
	}
	r := over()
	if r.Twin != nil || len(r.Notices) != 1 || r.Notices[0].Code != "twin" || r.Marks[0].DepthUM != alone.Marks[0].DepthUM {
		t.Errorf("%+v, %v", r.Twin, r.Notices)
	}
	twin.AbsoluteMM = nil
	if _, err := twin.Reference(); err == nil || !strings.Contains(err.Error(), "measure it again") {
		t.Errorf("%v", err)
	}
}
