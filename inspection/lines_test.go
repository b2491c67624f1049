package inspection

import (
	"fmt"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"fairmetal/mark"
	"fairmetal/mirror"
	"fairmetal/pose"
	"fairmetal/scene"
	"fairmetal/surface"
)

// TestStrongLines: a sharp feature line amid the panel, which hides stripes, takes a card to its far side or runs through a dent, changes nothing about two dents. At first such
// sets were wrong as a whole, or hid the dents.
func TestStrongLines(t *testing.T) {
	shifted, sweep := scene.Set{Kind: "shifted", FineMM: 26, CoarseMM: 128}, scene.Set{Kind: "sweep", FineMM: 26, Frames: 8}
	for _, c := range []struct {
		set   scene.Set
		line  scene.Fold
		small bool // board
	}{
		{shifted, scene.Fold{AngleDeg: 114, OffsetMM: 30, Step: 0.1, WidthMM: 4}, false},
		{shifted, scene.Fold{AngleDeg: 159, OffsetMM: -1, Step: -0.13, WidthMM: 5}, true},
		{sweep, scene.Fold{AngleDeg: 159, OffsetMM: -1, Step: -0.13, WidthMM: 5}, false},
		{sweep, scene.Fold{AngleDeg: 159, OffsetMM: -1, Step: -0.13, WidthMM: 5}, true},
		{sweep, scene.Fold{AngleDeg: 174, OffsetMM: 40, Step: -0.1, WidthMM: 3}, true},
		{sweep, scene.Fold{AngleDeg: 257, OffsetMM: 4, Step: -0.1, WidthMM: 3}, false},
	} {
		t.Run(fmt.Sprintf("%s %+v %v", c.set.Kind, c.line, c.small), func(t *testing.T) {
			s := bowls()
			s.Panel.Folds, s.Sets = []scene.Fold{c.line}, []scene.Set{c.set}
			if c.small {
				s.Board.WidthMM, s.Board.HeightMM = 500, 350
			}
			r := measured(t, s)
			if r.Quality.SpreadUM > 1 {
				t.Errorf("sound metal scatters by %.1f um", r.Quality.SpreadUM)
			}
			for i, want := range s.Panel.Marks {
				m := r.Marks[i]
				if math.Hypot(m.XMM-want.XMM, m.YMM-want.YMM) > 1.5 || math.Abs(m.DepthUM/want.DepthUM-1) > 0.04 || m.Kind == mark.High {
					t.Errorf("%s at %.1f, %.1f mm, %.1f um; want %+v", m.Kind, m.XMM, m.YMM, m.DepthUM, want)
				}
			}
		})
	}
}

// TestLineAmidThePanel: a shifted set over a line of which no fit of the whole knew was wrong by half a millimetre; what the line hides on one side of it was
// dropped with that side, and its own gaps passed for marks.
func TestLineAmidThePanel(t *testing.T) {
	spec := scene.Random(11017)
	_, r := rendered(t, spec)
	if r.Quality.SpreadUM > 1 || len(r.Marks) != len(spec.Panel.Marks) {
		t.Errorf("%d marks, %.1f um of spread", len(r.Marks), r.Quality.SpreadUM)
	}
}

// TestPartedSingle: a line that hides stripes of a single photo along most of its way only, past whose ends both sides hang together, parts it all the same.
func TestPartedSingle(t *testing.T) {
	spec := scene.Gentle(11309, 1200)
	spec.Sets[0].Crossed, spec.Sets[0].Profile = true, "square"
	_, r := rendered(t, spec)
	found := 0
	for _, m := range spec.Panel.Marks {
		for _, got := range r.Marks {
			if math.Hypot(got.XMM-m.XMM, got.YMM-m.YMM) < 3 {
				found++
				break
			}
		}
	}
	if r.Quality.SpreadUM > 4 || found < 8 {
		t.Errorf("%d of %d marks, %.1f um of spread", found, len(spec.Panel.Marks), r.Quality.SpreadUM)
	}
}

// TestNearSide: one side of a sharp line is solved without the card beyond it, whose tilt is that of the other side.
func TestNearSide(t *testing.T) {
	line := mirror.Fold{Angle: 2.78, S0: -1, Step: -0.13, Width: 5}
	r := lined(line, 0, func(p r3.Vec, _ float64) bool { return math.Abs(p.X) < 220 && math.Abs(p.Y) < 160 })
	truth := r.res.Calibration
	var inside []mirror.Sight
	for _, s := range mirror.Sights(r.u, r.v) {
		if d, ok := across(&line, truth, s.PX, s.PY); ok && d < -clearMM {
			inside = append(inside, s)
		}
	}
	near, err := r.nearSide(inside, mirror.Prior{DistanceMM: 480, WidthMM: 1200, HeightMM: 900, PeriodU: linedMM, PeriodV: linedMM})
	if err != nil {
		t.Fatal(err)
	}
	if near.RMSMM > 0.15 || near.Undamaged < 0.85 || math.Abs(r3.Norm(near.Board.Centre)/480-1) > 0.05 {
		t.Errorf("%d sights to %.2f mm, %.0f %% of them; board %.0f mm away", len(inside), near.RMSMM, 100*near.Undamaged, r3.Norm(near.Board.Centre))
	}
}

// TestLows: a high too low to fold the reflection over as much metal as is hidden in it is the crown of a low; a cap is a high.
func TestLows(t *testing.T) {
	for _, c := range []struct {
		holeMM, upUM float64
		want         mark.Kind
	}{{30, 7, mark.Round}, {8, 60, mark.High}, {0, 7, mark.High}} {
		s := surface.New(surface.Grid{Cols: 161, Rows: 161, PitchMM: 0.5, X0MM: -40, Y0MM: -40})
		for i := range s.Height {
			if x, y := s.XY(i%s.Cols, i/s.Cols); math.Hypot(x, y) >= c.holeMM/2 {
				s.Height[i] = 0
			} else {
				s.Height[i] = float32(math.NaN())
			}
		}
		r := &run{res: &Result{Surface: s, Calibration: &mirror.Calibration{Board: mirror.Board{Centre: r3.Vec{Z: 435}}}, Marks: []mark.Mark{{ID: "m07", Kind: mark.High, LengthMM: 50, WidthMM: 40, DepthUM: c.upUM, Folded: true}}}}
		r.cam = &pose.Camera{Centre: r3.Vec{Z: 450}}
		r.lows()
		if m := r.res.Marks[0]; m.Kind != c.want || m.ID != "m07" || !m.Folded || m.DepthUM != c.upUM {
			t.Errorf("%g um over %g mm: %+v", c.upUM, c.holeMM, m)
		}
	}
}
