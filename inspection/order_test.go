package inspection

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"fairmetal/capture"
	"fairmetal/mirror"
	"fairmetal/phase"
	"fairmetal/pose"
)

// lined, calibrated, is a sweep of stripes of linedMM over a crowned panel with a feature line, of which what seen says is readable, s mm beyond the line; its far side is
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
		p := pose.Placed{Centre: r3.Add(r3.Vec{X: x, Z: z}, r3.Scale(pose.CardThicknessMM, n)), Normal: n}
		for i, k := range [4][2]float64{{-28, 28}, {28, 28}, {28, -28}, {-28, -28}} {
			p.Corners[i] = r3.Add(p.Centre, r3.Vec{X: k[0], Y: k[1]})
		}
		return p
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
	r.res.Calibration = &truth
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

// TestCountsBothWays: the far side of a line, counted off in both directions so that hardly a step is left of it, is counted out against the near one; also where it is but a
// strip at the rim.
func TestCountsBothWays(t *testing.T) {
	for _, c := range []struct {
		name      string
		line      mirror.Fold
		u, v      float64
		seen      func(p r3.Vec, s float64) bool
		explained float64
	}{
		{"panel", mirror.Fold{Angle: 1.8, S0: 30, Step: -0.08, Width: 3}, 1, 3, func(p r3.Vec, s float64) bool {
			return math.Abs(s) > 1 && math.Abs(p.X) < 220 && math.Abs(p.Y) < 160
		}, 0.89},
		{"strip", mirror.Fold{Angle: 1.3, S0: 55, Step: -0.08, Width: 3}, -1, 5, func(p r3.Vec, s float64) bool {
			return math.Abs(s) > 3 && math.Abs(p.X) < 120 && p.Y > -70 && p.Y < 72
		}, 0.93},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := lined(c.line, c.v, c.seen)
			for i := range r.u.X {
				if s, ok := across(&c.line, r.res.Calibration, float64(i%r.u.W)+0.5, float64(i/r.u.W)+0.5); ok && s > 0 {
					r.u.X[i] += float32(c.u * linedMM)
				}
			}
			counts(t, r, c.line, c.explained)
		})
	}
}

// TestLineAtEdge: where the order of the stripes is known, a corner of a narrow view that a line cuts off has the form bend at it.
func TestLineAtEdge(t *testing.T) {
	line := mirror.Fold{Angle: 1.4, S0: 55, Step: -0.03, Width: 5}
	r := lined(line, 0, func(p r3.Vec, _ float64) bool { return math.Abs(p.X) < 180 && p.Y > -60 && p.Y < 58 })
	prior := mirror.Prior{DistanceMM: 480, WidthMM: 1200, HeightMM: 900, PeriodU: linedMM, PeriodV: linedMM}
	smooth := prior
	smooth.Smooth = true
	cal, err := mirror.Calibrate(&r.res.Frame, mirror.Sights(r.u, r.v), smooth)
	if err != nil {
		t.Fatal(err)
	}
	cal.Edge = &mirror.Fold{Angle: 1.42, S0: 50, Step: -0.02, Width: 10}
	cal = r.lineAtEdge(cal, prior)
	if len(cal.Form.Folds) != 1 || math.Abs(cal.Form.Folds[0].Step-line.Step) > 2e-3 || cal.Stray > 0.01 {
		t.Errorf("lines %+v, %.3f left over; want a step of %g", cal.Form.Folds, cal.Stray, line.Step)
	}
}

// TestAligned: a line is found anew by the stripes on it, though they are counted wrong there, from a few millimetres and a degree off and of another width.
func TestAligned(t *testing.T) {
	line := mirror.Fold{Angle: 1.8, S0: 30, Step: -0.06, Width: 7, Arc: true}
	r := lined(line, 0, func(p r3.Vec, _ float64) bool { return math.Abs(p.X) < 220 && math.Abs(p.Y) < 160 })
	truth := r.res.Calibration
	rnd := rand.New(rand.NewPCG(5, 6))
	for i := range r.v.X {
		if s, ok := across(&line, truth, float64(i%r.v.W)+0.5, float64(i/r.v.W)+0.5); ok && math.Abs(s) < 5 {
			r.v.X[i] += linedMM * float32(rnd.IntN(5)-2)
		}
	}
	near := 0
	for _, off := range []mirror.Fold{{S0: 3, Width: 3}, {S0: -4, Angle: 0.02, Width: 15}, {S0: 2, Angle: -0.02, Width: 7}, {}} {
		cal := *truth
		f := line
		f.S0, f.Angle = f.S0+off.S0, f.Angle+off.Angle
		if off.Width > 0 {
			f.Width = off.Width
		}
		cal.Form.Folds = []mirror.Fold{f}
		got := r.aligned(&cal).Form.Folds[0]
		if math.Abs(got.S0-line.S0) > 0.5 || math.Abs(got.Angle-line.Angle) > 0.003 || math.Abs(math.Log(got.Width/line.Width)) > 0.35 || !got.Arc {
			t.Errorf("from %+v to %+v, want %+v", f, got, line)
		}
		if f.S0 != cal.Form.Folds[0].S0 {
			t.Error("the calibration itself was changed")
		}
		near++
	}
	smooth := *truth
	smooth.Form.Folds = nil
	if near != 4 || r.aligned(&smooth) != &smooth {
		t.Error("a form without lines has nothing to align")
	}
}

// TestShiftedLine: a line moved, turned and bent at the ends of its way lies where it was told to.
func TestShiftedLine(t *testing.T) {
	f := mirror.Fold{Angle: 0.9, S0: 40, Bend: 1e-4, Step: 0.05, Width: 4}
	const at, turn, bend, mid, half = 0.8, -1.1, 0.4, 25.0, 120.0
	g := shiftedLine(f, at, turn, bend, mid, half)
	sin, cos := math.Sincos(f.Angle)
	for _, q := range []float64{-1, -0.5, 0, 0.5, 1} {
		tt := mid + q*half
		s := f.S0 + f.Bend*tt*tt + at + turn*q + bend*q*q
		if d, _ := g.Line(cos*s-sin*tt, sin*s+cos*tt); math.Abs(d) > 0.03 {
			t.Errorf("%g of the way on it lies %.3f mm off", q, d)
		}
	}
}

// TestRecountsTheLine: of a sweep of which the stripes on a line were counted by chance, all are counted right in the end.
func TestRecountsTheLine(t *testing.T) {
	line := mirror.Fold{Angle: 1.8, S0: 30, Step: -0.06, Width: 7, Arc: true}
	r := lined(line, 2, func(p r3.Vec, _ float64) bool { return math.Abs(p.X) < 220 && math.Abs(p.Y) < 160 })
	truth := r.res.Calibration
	for i := range r.v.X {
		x, y := i%r.v.W, i/r.v.W
		if s, ok := across(&line, truth, float64(x)+0.5, float64(y)+0.5); ok && math.Abs(s) < 4 {
			r.v.X[i] += linedMM * float32((x/20)%3-1)
		}
	}
	if _, err := r.countOut(mirror.Prior{DistanceMM: 480, WidthMM: 1200, HeightMM: 900, PeriodU: linedMM, PeriodV: linedMM}); err != nil {
		t.Fatal(err)
	}
	u, v := truth.Expected(r.cam, r.u.W, r.u.H)
	for _, f := range []struct {
		got  []float32
		want []float32
	}{{r.u.X, u}, {r.v.X, v}} {
		votes, all := map[int]int{}, 0
		for i, x := range f.got {
			if d := x - f.want[i]; d == d {
				votes[int(math.Round(float64(d)/linedMM))]++
				all++
			}
		}
		most := 0
		for _, n := range votes {
			most = max(most, n)
		}
		if float64(most) < 0.999*float64(all) || all < 20000 {
			t.Errorf("counts %v of %d", votes, all)
		}
	}
}

// TestContradictions: stripes counted off over a part of the panel are told of, and the heights there and beside are less sure; a few blocks at a crease are not.
func TestContradictions(t *testing.T) {
	r := lined(mirror.Fold{Angle: 1.8, S0: 30, Step: -0.06, Width: 3}, 0, func(mirrored r3.Vec, _ float64) bool { return math.Abs(mirrored.X) < 220 && math.Abs(mirrored.Y) < 160 })
	told := func() bool {
		if err := r.surface(); err != nil {
			t.Fatal(err)
		}
		return slices.ContainsFunc(r.res.Notices, func(n Notice) bool { return n.Code == "contrary" && n.Severity == Warning })
	}
	if told() || r.res.Quality.ContraryMM2 > 100 {
		t.Errorf("sound metal is told to contradict itself over %.0f mm2", r.res.Quality.ContraryMM2)
	}
	sure := r.res.Surface.Sigma
	for y := 180; y < 260; y++ {
		for x := 200; x < 300; x++ {
			r.v.X[y*r.v.W+x] += linedMM
		}
	}
	if !told() || r.res.Quality.ContraryMM2 < contraryMM2 {
		t.Errorf("stripes counted wrong are not told of: %.0f mm2", r.res.Quality.ContraryMM2)
	}
	less := 0
	for i, v := range r.res.Surface.Sigma {
		if v > 3*sure[i] {
			less++
		}
	}
	if less < 1000 {
		t.Errorf("%d cells are less sure", less)
	}
}
