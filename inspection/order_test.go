package inspection

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"fairmetal/capture"
	"fairmetal/mirror"
	"fairmetal/phase"
	"fairmetal/pose"
)

// lined is a sweep of stripes of linedMM over a crowned panel with a feature line, of which what seen says is readable, s mm beyond the line; its far side is
// counted off stripes too far.
func lined(line mirror.Fold, off float64, seen func(p r3.Vec, s float64) bool) *run {
	const w, h = 480, 360
	sin, cos := math.Sincos(30 * math.Pi / 180)
	cam := pose.Camera{FocalPX: 390, CX: w / 2, CY: h / 2, W: w, H: h, Centre: r3.Vec{Y: -430 * sin, Z: 430 * cos},
		Right: r3.Vec{X: 1}, Down: r3.Vec{Y: -cos, Z: -sin}, Forward: r3.Vec{Y: sin, Z: -cos}}
	form := mirror.NewForm()
	form.C[3], form.C[4], form.C[5], form.C[9] = -3.1, 0.2, -5.2, 0.15
	form.Folds = []mirror.Fold{line}
	card := func(x float64) pose.Placed {
		z, zx, zy := form.Eval(x, 0)
		n := r3.Unit(r3.Vec{X: -zx, Y: -zy, Z: 1})
		return pose.Placed{Centre: r3.Add(r3.Vec{X: x, Z: z}, r3.Scale(pose.CardThicknessMM, n)), Normal: n}
	}
	fr := pose.Frame{Camera: cam, A: card(-150), B: card(150), SagMM: 3.1}
	truth := mirror.Calibration{Frame: fr, Board: mirror.Nominal(&cam, 480), Form: form}
	u, v := truth.Expected(&cam, w, h)
	rnd := rand.New(rand.NewPCG(3, 4))
	mod := make([]float32, len(u))
	for i := range u {
		p, _, _, ok := form.Hit(cam.Centre, cam.Ray(float64(i%w)+0.5, float64(i/w)+0.5))
		s, _, _ := line.Across(p.X, p.Y)
		if !ok || !seen(p, s) {
			u[i], v[i] = float32(math.NaN()), float32(math.NaN())
			continue
		}
		if s > 0 {
			v[i] += float32(off * linedMM)
		}
		u[i], v[i], mod[i] = u[i]+float32(0.1*rnd.NormFloat64()), v[i]+float32(0.1*rnd.NormFloat64()), 0.1
	}
	field := func(x []float32) *phase.Field { return &phase.Field{W: w, H: h, X: x, Mod: mod, PitchMM: linedMM} }
	r := &run{set: capture.Set{Kind: capture.Sweep}, res: &Result{Frame: fr}, u: field(u), v: field(v)}
	r.cam = &r.res.Frame.Camera
	return r
}

const linedMM = 12.0

// counts wants a run to find its line, and a form with it that explains so much of the panel.
func counts(t *testing.T, r *run, line mirror.Fold, explained float64) {
	t.Helper()
	cal, err := r.countOut(mirror.Prior{DistanceMM: 480, WidthMM: 1200, HeightMM: 900, PeriodU: linedMM, PeriodV: linedMM})
	if err != nil {
		t.Fatal(err)
	}
	if len(cal.Form.Folds) != 1 || math.Abs(cal.Form.Folds[0].Step-line.Step) > 2e-3 || cal.Undamaged < explained || cal.RMSMM > 0.15 {
		t.Errorf("lines %+v, %.2f of the panel to %.2f mm; want a step of %g", cal.Form.Folds, cal.Undamaged, cal.RMSMM, line.Step)
	}
}

// TestCountsBeyondStrip: a sweep whose stripes are lost along a feature line, its far side counted three stripes off, is counted out against the
// mirror model.
func TestCountsBeyondStrip(t *testing.T) {
	line := mirror.Fold{Angle: 1.8, S0: 30, Step: -0.06, Width: 3}
	counts(t, lined(line, 3, func(p r3.Vec, s float64) bool {
		return math.Abs(s) > 5 && math.Abs(p.X) < 220 && math.Abs(p.Y) < 160
	}), line, 0.97)
}

// TestLineAtTheRim: a line that cuts a strip off a small view, and hides no stripe, is found where it parts what the form does not explain from the rest.
func TestLineAtTheRim(t *testing.T) {
	for _, line := range []mirror.Fold{{Angle: 1.75, S0: 60, Step: -0.03, Width: 3}, {Angle: 1.8, S0: 62, Step: 0.04, Width: 3}} {
		// What lies where the line bends most fits no hyperbola to a hundredth of a millimetre.
		counts(t, lined(line, 0, func(p r3.Vec, _ float64) bool { return math.Abs(p.X) < 95 && p.Y > -70 && p.Y < 72 }), line, 0.93)
	}
}
