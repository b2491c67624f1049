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

// TestCountsBeyondStrip: a sweep whose stripes are lost along a feature line, its far side counted three stripes off, is counted out against the
// mirror model.
func TestCountsBeyondStrip(t *testing.T) {
	const w, h, pitch, off = 480, 360, 12.0, 3
	sin, cos := math.Sincos(30 * math.Pi / 180)
	cam := pose.Camera{FocalPX: 390, CX: w / 2, CY: h / 2, W: w, H: h, Centre: r3.Vec{Y: -430 * sin, Z: 430 * cos},
		Right: r3.Vec{X: 1}, Down: r3.Vec{Y: -cos, Z: -sin}, Forward: r3.Vec{Y: sin, Z: -cos}}
	form := mirror.NewForm()
	form.C[3], form.C[4], form.C[5], form.C[9] = -3.1, 0.2, -5.2, 0.15
	line := mirror.Fold{Angle: 1.8, S0: 30, Step: -0.06, Width: 3}
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
	for i := range u {
		p, _, _, ok := form.Hit(cam.Centre, cam.Ray(float64(i%w)+0.5, float64(i/w)+0.5))
		s, _, _ := line.Across(p.X, p.Y)
		if !ok || math.Abs(s) < 5 || math.Abs(p.X) > 220 || math.Abs(p.Y) > 160 {
			u[i], v[i] = float32(math.NaN()), float32(math.NaN())
			continue
		}
		if s > 0 {
			v[i] += off * pitch
		}
		u[i], v[i] = u[i]+float32(0.1*rnd.NormFloat64()), v[i]+float32(0.1*rnd.NormFloat64())
	}
	field := func(x []float32) *phase.Field { return &phase.Field{W: w, H: h, X: x, PitchMM: pitch} }
	r := &run{set: capture.Set{Kind: capture.Sweep}, res: &Result{Frame: fr}, u: field(u), v: field(v)}
	r.cam = &r.res.Frame.Camera
	cal, err := r.countOut(mirror.Prior{DistanceMM: 480, WidthMM: 1200, HeightMM: 900, PeriodU: pitch, PeriodV: pitch})
	if err != nil {
		t.Fatal(err)
	}
	if len(cal.Form.Folds) != 1 || math.Abs(cal.Form.Folds[0].Step-line.Step) > 1e-3 || cal.Undamaged < 0.97 || cal.RMSMM > 0.15 {
		t.Errorf("lines %+v, %.2f of the panel to %.2f mm; want a step of %g", cal.Form.Folds, cal.Undamaged, cal.RMSMM, line.Step)
	}
}
