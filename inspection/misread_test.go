package inspection

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"fairmetal/mark"
	"fairmetal/mirror"
	"fairmetal/phase"
	"fairmetal/pose"
	"fairmetal/surface"
)

// TestMisread: what folds the reflection many times over cannot have been read from a single photo; a bowl at its fold, a high whose flanks are
// far from theirs, and what is told as folded can, unless it is wild. What is struck is read no more and counts as folded.
func TestMisread(t *testing.T) {
	const w, h = 400, 300
	cam := pose.Camera{FocalPX: 400, CX: w / 2, CY: h / 2, W: w, H: h, Centre: r3.Vec{Z: 500}, Right: r3.Vec{X: 1}, Down: r3.Vec{Y: -1}, Forward: r3.Vec{Z: -1}}
	cal := &mirror.Calibration{Frame: pose.Frame{Camera: cam}, Board: mirror.Board{Centre: r3.Vec{Z: 500}}, Form: mirror.NewForm()}
	blank := func() *phase.Field { return &phase.Field{W: w, H: h, X: make([]float32, w*h), PitchMM: 12} }
	s := surface.New(surface.Grid{Cols: 401, Rows: 301, PitchMM: 1, X0MM: -200, Y0MM: -150})
	r := &run{cam: &cam, u: blank(), v: blank(), folded: make([]bool, w*h), res: &Result{Calibration: cal, Surface: s}}
	// A bowl of 5 mm to a Gaussian radius folds from 2/500/2 x 25 mm.
	at := 1000 * 25 * 2.0 / 500 / 2
	bowl := func(id string, kind mark.Kind, depth float64, folded bool) mark.Mark {
		return mark.Mark{ID: id, Kind: kind, LengthMM: 30, WidthMM: 5 * 2 * 2.146, DepthUM: depth, Folded: folded}
	}
	r.res.Marks = []mark.Mark{bowl("at its fold", mark.Round, 1.2*at, false), bowl("high", mark.High, 4*at, false),
		bowl("told", mark.Round, 9*at, true), bowl("wrong", mark.Round, 3*at, false), bowl("wrong high", mark.High, 7*at, false), bowl("wild", mark.Round, 22*at, true)}
	wrong := r.misread()
	if len(wrong) != 3 || wrong[0].ID != "wrong" || wrong[1].ID != "wrong high" || wrong[2].ID != "wild" {
		t.Fatalf("%+v", wrong)
	}
	r.strikeMarks(wrong)
	for _, c := range []struct {
		x    float64
		gone bool
	}{{0, true}, {20, true}, {30, false}} {
		i, _ := r.seenIndex(c.x, 0)
		if r.folded[i] != c.gone || math.IsNaN(float64(r.u.X[i])) != c.gone || math.IsNaN(float64(r.v.X[i])) != c.gone {
			t.Errorf("%.0f mm from the middle: folded %v, u %v", c.x, r.folded[i], r.u.X[i])
		}
	}
}
