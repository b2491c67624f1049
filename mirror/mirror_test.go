package mirror

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"fairmetal/card"
	"fairmetal/internal/laid"
	"fairmetal/phase"
	"fairmetal/pose"
)

// camera looks down at the origin from the near side, 30 degrees off the normal.
func camera() pose.Camera {
	sin, cos := math.Sincos(30 * math.Pi / 180)
	const d = 430.0
	return pose.Camera{FocalPX: 1300, CX: 800, CY: 600, W: 1600, H: 1200,
		Centre: r3.Vec{Y: -d * sin, Z: d * cos}, Right: r3.Vec{X: 1}, Down: r3.Vec{Y: -cos, Z: -sin}, Forward: r3.Vec{Y: sin, Z: -cos}}
}

// TestPlaneMirror: a flat mirror shows the board as if it stood behind the mirror, at equal distance (Euclid, Catoptrics;
// any textbook). The line of sight to the image point of (u, v) must meet the plane where Reflect says it sees (u, v).
func TestPlaneMirror(t *testing.T) {
	cam := camera()
	b := Nominal(&cam, 500)
	flat := NewForm()
	for _, uv := range [][2]float64{{0, 0}, {120, -80}, {-200, 150}, {333, 10}} {
		q := b.At(uv[0], uv[1])
		image := r3.Vec{X: q.X, Y: q.Y, Z: -q.Z}
		dir := r3.Unit(r3.Sub(image, cam.Centre))
		p, zx, zy, ok := flat.Hit(cam.Centre, dir)
		if !ok {
			t.Fatal("no hit")
		}
		u, v, ok := b.Reflect(dir, p, zx, zy)
		if !ok || math.Hypot(u-uv[0], v-uv[1]) > 1e-9 {
			t.Errorf("sees (%.9f, %.9f), want %v", u, v, uv)
		}
	}
}

// TestBisector: Slopes inverts Reflect for any slope (law of reflection).
func TestBisector(t *testing.T) {
	cam := camera()
	b := Nominal(&cam, 450)
	r := rand.New(rand.NewPCG(1, 2))
	for range 200 {
		p := r3.Vec{X: 200 * (r.Float64() - 0.5), Y: 150 * (r.Float64() - 0.5), Z: -3 * r.Float64()}
		zx, zy := 0.2*(r.Float64()-0.5), 0.2*(r.Float64()-0.5)
		dir := r3.Unit(r3.Sub(p, cam.Centre))
		u, v, ok := b.Reflect(dir, p, zx, zy)
		if !ok {
			continue
		}
		gx, gy := Slopes(cam.Centre, p, b.At(u, v))
		if math.Hypot(gx-zx, gy-zy) > 1e-12 {
			t.Fatalf("slopes (%g, %g) come back as (%g, %g)", zx, zy, gx, gy)
		}
	}
}

// TestStretchOnCrown checks the derivative of the board coordinate along the panel against Coddington's equations for a convex
// mirror of curvature k0 at incidence a (Born & Wolf, Principles of Optics, 4.6; restated in docs/method/optics.md):
// dX/dx = cos a (1 + B/C) + 2 B k0 in the plane of incidence, (1 + B/C) + 2 B k0 cos a across it.
func TestStretchOnCrown(t *testing.T) {
	cam := camera()
	const dist = 500.0
	b := Nominal(&cam, dist)
	for _, k0 := range []float64{0, 1.0 / 3000, 1.0 / 1200} {
		f := NewForm()
		f.C[3] = -k0 / 2 * FormScaleMM * FormScaleMM
		f.C[5] = f.C[3]
		see := func(x, y float64) (float64, float64) {
			z, zx, zy := f.Eval(x, y)
			p := r3.Vec{X: x, Y: y, Z: z}
			u, v, _ := b.Reflect(r3.Unit(r3.Sub(p, cam.Centre)), p, zx, zy)
			return u, v
		}
		const h = 0.01
		u1, _ := see(h, 0)
		u0, _ := see(-h, 0)
		_, v1 := see(0, h)
		_, v0 := see(0, -h)
		ratio := dist / r3.Norm(cam.Centre)
		cos := math.Cos(30 * math.Pi / 180)
		if got, want := (u1-u0)/(2*h), 1+ratio+2*dist*k0*cos; math.Abs(got/want-1) > 1e-6 {
			t.Errorf("k0 %g across: %g, want %g", k0, got, want)
		}
		// v grows down, y up.
		if got, want := -(v1-v0)/(2*h), cos*(1+ratio)+2*dist*k0; math.Abs(got/want-1) > 1e-6 {
			t.Errorf("k0 %g in plane: %g, want %g", k0, got, want)
		}
	}
}

// beyond is a feature line that leaves card B beyond it; without seeking it the fit bends so far that no step is left to see.
var beyond = Fold{Angle: 2.34, S0: 57, Step: -0.04, Width: 5}

// TestCalibrateFindsSetUp makes sights from a known set-up, a dented patch among them, and wants the set-up back: board
// distance to 0.2 % although the tape is 1 % off, crown to 0.5 %.
func TestCalibrateFindsSetUp(t *testing.T) {
	for _, fold := range []Fold{{}, {Angle: 1.5, S0: 45, Step: -0.05, Width: 1}, {Angle: 1.5, S0: 45, Step: -0.05, Width: 9, Arc: true}, beyond} {
		cam := camera()
		form := NewForm()
		form.C[3], form.C[4], form.C[5], form.C[9] = -3.1, 0.2, -5.2, 0.15
		if fold.Step != 0 {
			form.Folds = []Fold{fold}
		}
		board := Nominal(&cam, 480)
		turn := r3.NewRotation(0.04, r3.Unit(r3.Vec{X: 1, Y: 0.4, Z: -0.3}))
		board.U, board.V, board.N = turn.Rotate(board.U), turn.Rotate(board.V), turn.Rotate(board.N)
		board.Centre = r3.Add(board.Centre, r3.Vec{X: 12, Y: -9})
		board.Centre = r3.Scale(480/r3.Norm(board.Centre), board.Centre)
		rnd := rand.New(rand.NewPCG(3, 4))
		var sights []Sight
		step := 12.0
		if fold == beyond {
			step = 24 // as far apart as sights of small photos lie on the metal
		}
		for py := 250.0; py < 1000; py += step {
			for px := 250.0; px < 1350; px += step {
				dir := cam.Ray(px, py)
				p, zx, zy, ok := form.Hit(cam.Centre, dir)
				if !ok {
					continue
				}
				if d := math.Hypot(p.X-20, p.Y+10); d < 25 {
					zx += 0.05 * (p.X - 20) / 12 * math.Exp(-d*d/288)
				}
				u, v, ok := board.Reflect(dir, p, zx, zy)
				if ok && math.Abs(u) < 400 && math.Abs(v) < 300 {
					sights = append(sights, Sight{PX: px, PY: py, U: u + 0.1*rnd.NormFloat64(), V: v + 0.1*rnd.NormFloat64(), Weight: 1})
				}
			}
		}
		card := func(x float64) pose.Placed {
			z, zx, zy := form.Eval(x, 0)
			n := r3.Unit(r3.Vec{X: -zx, Y: -zy, Z: 1})
			return pose.Placed{Centre: r3.Add(r3.Vec{X: x, Z: z}, r3.Scale(pose.CardThicknessMM, n)), Normal: n}
		}
		fr := pose.Frame{Camera: cam, A: card(-150), B: card(150), SagMM: 3.1}
		c, err := Calibrate(&fr, sights, Prior{DistanceMM: 480 * 1.01, SeekLine: true})
		if err != nil {
			t.Fatalf("fold %.2f: %v", fold.Angle, err)
		}
		if d := r3.Norm(c.Board.Centre); math.Abs(d/480-1) > 2e-3 {
			t.Errorf("fold %.2f: distance %.2f mm, want 480", fold.Angle, d)
		}
		if math.Abs(c.TapeRatio-1.01) > 3*c.TapeRatioSigma+1e-3 {
			t.Errorf("fold %.2f: tape ratio %.4f +- %.4f, want 1.01", fold.Angle, c.TapeRatio, c.TapeRatioSigma)
		}
		if math.Abs(c.Form.C[3]/form.C[3]-1) > 5e-3 || math.Abs(c.Form.C[5]/form.C[5]-1) > 5e-3 {
			t.Errorf("fold %.2f: crown %.3f, %.3f, want %.3f, %.3f", fold.Angle, c.Form.C[3], c.Form.C[5], form.C[3], form.C[5])
		}
		if len(c.Form.Folds) != len(form.Folds) {
			t.Fatalf("fold %.2f: %d feature lines found", fold.Angle, len(c.Form.Folds))
		}
		if fold.Step != 0 && (math.Abs(c.Form.Folds[0].Step-fold.Step) > 2e-3 || math.Abs(c.Form.Folds[0].S0-fold.S0) > 1) {
			t.Errorf("feature line %+v", c.Form.Folds[0])
		}
		if fold.Arc && (!c.Form.Folds[0].Arc || math.Abs(c.Form.Folds[0].Width-fold.Width) > 1) {
			t.Errorf("arc %+v", c.Form.Folds[0])
		}
		if fold.Width == 1 {
			toldApart(t, &fr, sights, c)
		}
	}
}

// toldApart wants few sights to tell a side of the line that was counted one stripe off, the line known.
func toldApart(t *testing.T, fr *pose.Frame, sights []Sight, c *Calibration) {
	t.Helper()
	line := c.Form.Folds[0]
	line.S0 += 2
	misfit := func(by float64) (all, few float64) {
		moved := slices.Clone(sights)
		for i := range moved {
			m := &moved[i]
			if p, _, _, ok := c.Form.Hit(c.Frame.Camera.Centre, c.Frame.Camera.Ray(m.PX, m.PY)); ok {
				if s, _, _ := c.Form.Folds[0].Across(p.X, p.Y); s > 0 {
					m.V += by
				}
			}
		}
		r, err := Calibrate(fr, moved, Prior{DistanceMM: 480, PeriodU: 12, PeriodV: 12, Begin: &Start{Lines: []Fold{line}}, Smooth: true, Rough: true})
		if err != nil {
			t.Fatal(err)
		}
		few, _, err = Misfit(fr, moved, Prior{DistanceMM: 480, PeriodU: 12, PeriodV: 12, Lines: c.Form.Folds})
		if err != nil {
			t.Fatal(err)
		}
		return r.RMSMM / (r.Undamaged * r.Undamaged), few
	}
	right, rightFew := misfit(0)
	for _, by := range []float64{12, -12} {
		if wrong, few := misfit(by); wrong < 1.05*right || few < 1.05*rightFew {
			t.Errorf("counted %.0f mm off: %.3f mm, right: %.3f; on few sights %.3f and %.3f", by, wrong, right, few, rightFew)
		}
	}
}

// TestFormGradient compares the analytic gradient with differences, folds included.
func TestFormGradient(t *testing.T) {
	f := NewForm()
	for i := range f.C {
		f.C[i] = math.Sin(float64(3*i + 1))
	}
	f.Folds = []Fold{{Angle: 0.7, S0: 12, Bend: 2e-4, Step: 0.08, Width: 3}}
	const h = 1e-4
	for _, p := range [][2]float64{{0, 0}, {40, -70}, {-120, 33}, {15, 9}} {
		z, zx, zy := f.Eval(p[0], p[1])
		a, _, _ := f.Eval(p[0]+h, p[1])
		b, _, _ := f.Eval(p[0]-h, p[1])
		c, _, _ := f.Eval(p[0], p[1]+h)
		d, _, _ := f.Eval(p[0], p[1]-h)
		if math.Abs((a-b)/(2*h)-zx) > 1e-7 || math.Abs((c-d)/(2*h)-zy) > 1e-7 {
			t.Errorf("at %v: gradient (%g, %g), differences (%g, %g)", p, zx, zy, (a-b)/(2*h), (c-d)/(2*h))
		}
		level := f.level(p[1])
		if lz, lx, ly := level.eval(p[0]); math.Abs(lz-z) > 1e-12 || math.Abs(lx-zx) > 1e-12 || math.Abs(ly-zy) > 1e-12 {
			t.Errorf("at %v: (%g, %g, %g), along its level (%g, %g, %g)", p, z, zx, zy, lz, lx, ly)
		}
	}
}

// TestCalibrateRefuses wants an error, not a wild answer, from stripes that no mirror explains.
func TestCalibrateRefuses(t *testing.T) {
	cam := camera()
	rnd := rand.New(rand.NewPCG(5, 6))
	var sights []Sight
	for range 500 {
		sights = append(sights, Sight{PX: 1600 * rnd.Float64(), PY: 1200 * rnd.Float64(), U: 800 * (rnd.Float64() - 0.5), V: 600 * (rnd.Float64() - 0.5), Weight: 1})
	}
	flat := pose.Placed{Centre: r3.Vec{X: -150}, Normal: r3.Vec{Z: 1}}
	other := pose.Placed{Centre: r3.Vec{X: 150}, Normal: r3.Vec{Z: 1}}
	if c, err := Calibrate(&pose.Frame{Camera: cam, A: flat, B: other}, sights, Prior{DistanceMM: 500}); err == nil {
		t.Errorf("random sights gave a set-up with rms %.1f mm", c.RMSMM)
	}
}

// TestCalibrateFindsLens: with a focal length told 1.5 % wrong and a distortion of 1.2 % at the corners that was not told at all, the fit
// finds most of both. The priors hold a fifth of the way back.
func TestCalibrateFindsLens(t *testing.T) {
	fr, sights := throughLens(t)
	c, err := Calibrate(&fr, sights, Prior{DistanceMM: 480})
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(c.FocalRatio*1.015-1) > 0.006 || math.Abs(c.CornerShare-0.012) > 0.004 {
		t.Errorf("focal length %.4f of what was told, corners %.4f; want %.4f and 0.012", c.FocalRatio, c.CornerShare, 1/1.015)
	}
}

// throughLens is what a camera with a focal length told 1.5 % too long and some distortion sees of a crowned panel with cards.
func throughLens(t *testing.T) (pose.Frame, []Sight) {
	t.Helper()
	truth := camera()
	truth.K1 = 0.012 * truth.FocalPX * truth.FocalPX / (800*800 + 600*600)
	form := NewForm()
	form.C[3], form.C[5], form.C[9] = -3.1, -5.2, 0.1
	board := Nominal(&truth, 480)
	see := func(letter string, x float64) card.Card {
		z, zx, zy := form.Eval(x, 0)
		n := r3.Unit(r3.Vec{X: -zx, Y: -zy, Z: 1})
		right := r3.Unit(r3.Sub(r3.Vec{X: 1}, r3.Scale(n.X, n)))
		up := r3.Cross(n, right)
		c := r3.Add(r3.Vec{X: x, Z: z}, r3.Scale(pose.CardThicknessMM, n))
		k, err := laid.Card(truth.Project, letter, c, right, up)
		if err != nil {
			t.Fatal(err)
		}
		return k
	}
	fr, err := pose.FromCards(see("A", -150), see("B", 150), truth.FocalPX*1.015, truth.CX, truth.CY, truth.W, truth.H)
	if err != nil {
		t.Fatal(err)
	}
	rnd := rand.New(rand.NewPCG(7, 8))
	var sights []Sight
	for py := 200.0; py < 1050; py += 12 {
		for px := 150.0; px < 1450; px += 12 {
			dir := truth.Ray(px, py)
			p, zx, zy, ok := form.Hit(truth.Centre, dir)
			if !ok {
				continue
			}
			if u, v, ok := board.Reflect(dir, p, zx, zy); ok {
				sights = append(sights, Sight{PX: px, PY: py, U: u + 0.1*rnd.NormFloat64(), V: v + 0.1*rnd.NormFloat64(), Weight: 1})
			}
		}
	}
	return fr, sights
}

// TestJacobian compares the chain rule of every unknown, a feature line's and the lens's among them, with central differences.
func TestJacobian(t *testing.T) {
	fr, sights := throughLens(t)
	s := newSolver(&fr, sights, Prior{DistanceMM: 470})
	s.sigma, s.stride, s.folds = 1, 7, 1
	s.weight[14] = 0
	x := s.start()
	x[1], x[3] = 5, 0.02
	line := Fold{Angle: 0.3, S0: 30, Bend: 2e-4, Step: 0.03, Width: 6}
	x = append(x, line.unknowns()...)
	s.freeLens()
	if s.lens == nil {
		t.Fatal("the lens cannot be freed")
	}
	x = append(x, 1e-3, -1e-3)
	step := s.steps()
	m := 2*((len(sights)+s.stride-1)/s.stride) + s.priorRows()
	cols := make([][]float64, len(x))
	for j := range cols {
		cols[j] = make([]float64, m)
	}
	s.jacobian(x, step, cols)
	lo, hi := make([]float64, m), make([]float64, m)
	for j := range x {
		was := x[j]
		x[j] = was - step[j]/2
		s.misfits(x, lo)
		x[j] = was + step[j]/2
		s.misfits(x, hi)
		x[j] = was
		var off, size float64
		for k := range lo {
			want := (hi[k] - lo[k]) / step[j]
			off, size = off+(cols[j][k]-want)*(cols[j][k]-want), size+want*want
		}
		if size == 0 || math.Sqrt(off/size) > 2e-3 {
			t.Errorf("unknown %d is %.2g of its size off", j, math.Sqrt(off/size))
		}
	}
}

// TestExtentToTheLastRow: what can be read in a photo's last rows counts, whatever its height.
func TestExtentToTheLastRow(t *testing.T) {
	for _, h := range []int{10, 12, 15, 16} {
		cam := pose.Camera{FocalPX: 10, CX: 5, CY: 5, W: 10, H: h, Centre: r3.Vec{Z: 100}, Right: r3.Vec{X: 1}, Down: r3.Vec{Y: -1}, Forward: r3.Vec{Z: -1}}
		x := make([]float32, 10*h)
		f := &phase.Field{W: 10, H: h, X: x}
		_, y0, _, _ := (&Calibration{Form: NewForm()}).Extent(&cam, f, f)
		last := 3 + 6*((h-4)/6)
		if want := -10 * (float64(last) + 0.5 - 5); math.Abs(y0-want) > 1e-6 {
			t.Errorf("%d rows: down to %.1f mm, want %.1f", h, y0, want)
		}
	}
}

// TestArc: an arc is a kink smeared by a Gaussian of the standard deviation that an even spread of its width has, here by numerical convolution; its slope is the
// derivative of its height; far beside it the metal is straight.
func TestArc(t *testing.T) {
	f := Fold{Angle: 0.6, S0: 5, Step: 0.08, Width: 7, Arc: true}.Prepared()
	sigma := f.Width / math.Sqrt(12)
	sin, cos := math.Sincos(f.Angle)
	for s := -20.0; s <= 20; s += 0.7 {
		x, y := cos*(s+f.S0)-sin*30, sin*(s+f.S0)+cos*30
		z, zx, zy := f.eval(x, y)
		smeared := 0.0
		const step = 1e-3
		for q := -8.0; q < 8; q += step {
			m := q + step/2
			smeared += f.Step * max(0, s-sigma*m) * math.Exp(-m*m/2) / math.Sqrt(2*math.Pi) * step
		}
		if math.Abs(z-smeared) > 1e-6 {
			t.Errorf("at %.1f mm %.7f mm high, smeared %.7f", s, z, smeared)
		}
		const h = 1e-3
		up, _, _ := f.eval(x+h, y)
		down, _, _ := f.eval(x-h, y)
		side, _, _ := f.eval(x, y+h)
		other, _, _ := f.eval(x, y-h)
		if math.Abs((up-down)/(2*h)-zx) > 1e-6 || math.Abs((side-other)/(2*h)-zy) > 1e-6 {
			t.Errorf("at %.1f mm slopes %.7f %.7f, differences %.7f %.7f", s, zx, zy, (up-down)/(2*h), (side-other)/(2*h))
		}
	}
}

// TestReversed: a line with its normal to the other side is the same line.
func TestReversed(t *testing.T) {
	f := Fold{Angle: 2.3, S0: 17, Bend: 4e-4, Step: 0.05, Width: 4}
	g := f.Reversed()
	for _, p := range [][2]float64{{0, 0}, {30, -20}, {-70, 55}} {
		s, along := f.Line(p[0], p[1])
		if back, other := g.Line(p[0], p[1]); math.Abs(s+back) > 1e-9 || math.Abs(along+other) > 1e-9 {
			t.Errorf("%v: %g, %g and %g, %g", p, s, along, back, other)
		}
	}
}
