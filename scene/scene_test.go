package scene

import (
	"bytes"
	"encoding/json"
	"image/jpeg"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

func small(p Panel) Spec {
	return Spec{Name: "test", Seed: 1, Panel: p, Board: Board{DistanceMM: 450, WidthMM: 900, HeightMM: 700, RoomLevel: 0.05}, Cards: cards(120),
		Camera: Camera{DistanceMM: 430, TiltDeg: 33, FocalPX: 260, W: 320, H: 240}, Sets: []Set{{Kind: "shifted", FineMM: 32, CoarseMM: 256}}}
}

func setup(t *testing.T, s Spec) *rig {
	t.Helper()
	x, y := s.reach()
	g, err := setUp(&s, cast(s.Panel, x, y, s.Seed))
	if err != nil {
		t.Fatal(err)
	}
	return g
}

// TestPlaneMirror: in a flat panel the board point seen lies where the straight line to its mirror image starts (plane mirror,
// any textbook), and angles in and out are equal.
func TestPlaneMirror(t *testing.T) {
	g := setup(t, small(Panel{}))
	for _, px := range [][2]float64{{160, 120}, {100, 150}, {210, 90}} {
		dir := g.ray(px[0], px[1])
		s := g.look(dir)
		if s.kind != paint || s.u != s.u {
			t.Fatalf("at %v: %+v", px, s)
		}
		q := r3.Add(g.board.c, r3.Add(r3.Scale(s.u, g.board.u), r3.Scale(s.v, g.board.v)))
		q.Z = -q.Z
		if d := r3.Norm(r3.Cross(r3.Unit(r3.Sub(q, g.eye)), dir)); d > 1e-9 {
			t.Errorf("at %v the ray misses the mirror image by %g rad", px, d)
		}
	}
}

// TestSphereNormalBisects: on a crown the exact condition of reflection holds (Alhazen's problem): the normal through the centre of
// the sphere halves the angle between eye and board point. The biquadratic form is a sphere to x^2/R^2 near the middle.
func TestSphereNormalBisects(t *testing.T) {
	g := setup(t, small(Panel{RXMM: 2000, RYMM: 2000}))
	dir := g.ray(163, 118)
	p, _, _, ok := g.hit(dir)
	s := g.look(dir)
	if !ok || s.u != s.u {
		t.Fatal("no reflection")
	}
	q := r3.Add(g.board.c, r3.Add(r3.Scale(s.u, g.board.u), r3.Scale(s.v, g.board.v)))
	n := r3.Unit(r3.Sub(p, r3.Vec{Z: -2000}))
	in, out := r3.Dot(r3.Unit(r3.Sub(g.eye, p)), n), r3.Dot(r3.Unit(r3.Sub(q, p)), n)
	if math.Abs(in-out) > 1e-6 {
		t.Errorf("cosines %.9f and %.9f", in, out)
	}
}

// TestFoldLimit: a Gaussian dent of depth d and width s folds the mirror image from d = s^2/2 (1/B + 1/C + 2/R) at its middle, seen
// square on (Coddington's equations). Just below the limit the board coordinate still runs forward, just above backward.
func TestFoldLimit(t *testing.T) {
	const s, R = 8.0, 2500.0
	spec := small(Panel{RXMM: R, RYMM: R})
	spec.Camera.TiltDeg = 0.5
	B, C := spec.Board.DistanceMM, spec.Camera.DistanceMM
	limit := s * s / 2 * (1/B + 1/C + 2/R)
	for _, f := range []float64{0.93, 1.07} {
		spec.Panel.Extra = func(x, y float64) float64 { return -f * limit * math.Exp(-(x*x+y*y)/(2*s*s)) }
		g := setup(t, spec)
		a, b := g.look(r3.Unit(r3.Sub(r3.Vec{X: -0.2}, g.eye))), g.look(r3.Unit(r3.Sub(r3.Vec{X: 0.2}, g.eye)))
		if forward := b.u > a.u; forward != (f < 1) {
			t.Errorf("%.2f of the limit: u runs from %.4f to %.4f", f, a.u, b.u)
		}
	}
}

// TestFresnel: at normal incidence ((n-1)/(n+1))^2, 4.00 % for n = 1.5; at grazing all (Fresnel, any textbook); the p wave vanishes at
// Brewster's angle, so that half of the s wave is left there: 7.4 % for n = 1.5.
func TestFresnel(t *testing.T) {
	if r := fresnel(1, 1.5); math.Abs(r-0.04) > 1e-12 {
		t.Errorf("normal incidence %v", r)
	}
	if r := fresnel(1e-9, 1.5); math.Abs(r-1) > 1e-6 {
		t.Errorf("grazing %v", r)
	}
	if r := fresnel(math.Cos(math.Atan(1.5)), 1.5); math.Abs(r-0.0740) > 1e-4 {
		t.Errorf("Brewster %v", r)
	}
}

// TestSplineGradient compares the traced surface's gradient with differences.
func TestSplineGradient(t *testing.T) {
	p := Panel{RXMM: 3000, RYMM: 1500, TwistPerMM: 1e-5, Cubic: [4]float64{1e-7, 0, 2e-7, -1e-7}, PeelUM: 0.6, Folds: []Fold{{AngleDeg: 70, OffsetMM: 10, Step: 0.06, WidthMM: 8}},
		Marks: []Mark{{Kind: "star", LengthMM: 30, WidthMM: 28, DepthUM: 600, CrownUM: 30, Arms: 4}}}
	m := cast(p, 100, 100, 3)
	const h = 1e-5
	for _, q := range [][2]float64{{0.3, 0.2}, {7, -5}, {-14, 9}, {12, 3.4}} {
		_, zx, zy := m.surface(q[0], q[1])
		a, _, _ := m.surface(q[0]+h, q[1])
		b, _, _ := m.surface(q[0]-h, q[1])
		c, _, _ := m.surface(q[0], q[1]+h)
		d, _, _ := m.surface(q[0], q[1]-h)
		if math.Abs((a-b)/(2*h)-zx) > 1e-5 || math.Abs((c-d)/(2*h)-zy) > 1e-5 {
			t.Errorf("at %v: gradient (%g, %g), differences (%g, %g)", q, zx, zy, (a-b)/(2*h), (c-d)/(2*h))
		}
	}
}

// TestSameSeedSameBytes, and another seed other noise.
func TestSameSeedSameBytes(t *testing.T) {
	s := small(Panel{RXMM: 4000, RYMM: 2000, PeelUM: 0.5})
	a, err := Render(s, nil)
	if err != nil {
		t.Fatal(err)
	}
	b, err := Render(s, nil)
	if err != nil {
		t.Fatal(err)
	}
	s.Seed = 2
	c, err := Render(s, nil)
	if err != nil {
		t.Fatal(err)
	}
	if len(a.Files) != 17 {
		t.Errorf("%d files", len(a.Files))
	}
	for n, f := range a.Files {
		if !bytes.Equal(f, b.Files[n]) {
			t.Errorf("%s differs", n)
		}
		if n != "capture.json" && bytes.Equal(f, c.Files[n]) {
			t.Errorf("%s is the same for another seed", n)
		}
	}
}

// TestSetsAndOrientation: every kind of set is rendered, the orientation is stored, capture.json lists what is there.
func TestSetsAndOrientation(t *testing.T) {
	s := small(Panel{RXMM: 4000, RYMM: 2000})
	s.Camera.Orientation, s.Camera.HideLens, s.Camera.ShakePX = 6, true, 0.3
	s.Sets = []Set{{Kind: "single", Profile: "square", FineMM: 30}, {Kind: "sweep", FineMM: 30, Frames: 7}, {Kind: "single", FineMM: 40, Crossed: true}}
	c, err := Render(s, nil)
	if err != nil {
		t.Fatal(err)
	}
	var d struct {
		Camera *struct{} `json:"camera"`
		Sets   []struct {
			Kind   string
			Frames []struct{ File string }
		}
	}
	if err := json.Unmarshal(c.Files["capture.json"], &d); err != nil {
		t.Fatal(err)
	}
	if d.Camera != nil || len(d.Sets) != 3 || len(d.Sets[1].Frames) != 14 {
		t.Errorf("%+v", d)
	}
	for _, q := range d.Sets {
		for _, f := range q.Frames {
			m, err := jpeg.Decode(bytes.NewReader(c.Files[f.File]))
			if err != nil || m.Bounds().Dx() != 240 || m.Bounds().Dy() != 320 {
				t.Errorf("%s: %v, %v", f.File, err, m.Bounds())
			}
		}
	}
}

// TestPace: by Coddington's equations the mirror map's determinant at the middle of a Gaussian dent of f times the fold's depth, seen
// square on, is (1 - f)^2 of the undamaged; it is least where the hollow is cylindrical, and beyond the fold it turns negative around
// the middle.
func TestPace(t *testing.T) {
	const wide, R = 24.0, 2500.0
	s := wide / (2 * math.Sqrt(2*math.Ln10))
	spec := small(Panel{RXMM: R, RYMM: R})
	spec.Camera.TiltDeg = 0.5
	limit := 1000 * s * s / 2 * (1/spec.Board.DistanceMM + 1/spec.Camera.DistanceMM + 2/R)
	for _, f := range []float64{0.5, 0.9, 1.4} {
		spec.Panel.Marks = []Mark{{Kind: "round", LengthMM: wide, WidthMM: wide, DepthUM: f * limit}}
		tr := setup(t, spec).truth()
		c, r := int(math.Round(-tr.X0MM/tr.PitchMM)), int(math.Round(-tr.Y0MM/tr.PitchMM))
		// Steps of 0.3 mm and the base form's own change take some hundredths.
		if got := float64(tr.Pace[r*tr.Cols+c]); math.Abs(got-(1-f)*(1-f)) > 0.02 {
			t.Errorf("%g of the fold: pace %.3f at the middle", f, got)
		}
		if (tr.Marks[0].LeastPace < 0) != (f > 1) {
			t.Errorf("%g of the fold: least pace %.3f", f, tr.Marks[0].LeastPace)
		}
		if far := tr.Pace[len(tr.Pace)-1]; math.Abs(float64(far)-1) > 1e-3 {
			t.Errorf("pace %.4f on undamaged metal", far)
		}
	}
}

// TestTruth: the marks of truth are those that were asked for.
func TestTruth(t *testing.T) {
	s := small(Panel{RXMM: 4000, RYMM: 2000, Marks: []Mark{{ID: "a", Kind: "round", XMM: 10, YMM: -5, LengthMM: 24, WidthMM: 18, DepthUM: 200, AngleDeg: 30}, {ID: "b", Kind: "high", XMM: -30, LengthMM: 8, WidthMM: 8, DepthUM: 40}}})
	tr := setup(t, s).truth()
	a := tr.Marks[0]
	if math.Abs(a.DepthUM-200) > 1 || math.Abs(a.LengthMM-24) > 0.6 || math.Abs(a.WidthMM-18) > 0.6 || math.Hypot(a.XMM-10, a.YMM+5) > 0.2 || math.Abs(a.AngleDeg-30) > 6 {
		t.Errorf("%+v", a)
	}
	if b := tr.Marks[1]; b.Kind != "high" || math.Abs(b.DepthUM-40) > 1 {
		t.Errorf("%+v", b)
	}
}

// TestCardsAreReal: an independent reader decodes a card in a rendered photo.
func TestCardsAreReal(t *testing.T) {
	tool, err := exec.LookPath("zbarimg")
	if err != nil {
		t.Skip("zbarimg (package zbar-tools) is not on this machine: the rendered cards were not read")
	}
	s := small(Panel{RXMM: 5000, RYMM: 5000})
	s.Camera.TiltDeg, s.Camera.FocalPX, s.Camera.W, s.Camera.H = 12, 900, 1100, 800
	s.Sets = []Set{{Kind: "single", FineMM: 60}}
	c, err := Render(s, nil)
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "u.jpg")
	if err := os.WriteFile(file, c.Files["single-u.jpg"], 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command(tool, "-q", "--raw", file).Output()
	if err != nil || !strings.Contains(string(out), "FM1 A 40") || !strings.Contains(string(out), "FM1 B 40") {
		t.Errorf("read %q, %v", out, err)
	}
}

func TestRefuses(t *testing.T) {
	for _, s := range []Spec{{}, {Camera: Camera{W: 100, H: 100}}, {Camera: Camera{W: 100, H: 100, FocalPX: 100, DistanceMM: 100}, Board: Board{DistanceMM: 1}}} {
		if _, err := Render(s, nil); err == nil {
			t.Errorf("%+v was rendered", s)
		}
	}
}

// TestSharp: every panel holds twelve sharp marks that stand clear of each other and of the cards.
func TestSharp(t *testing.T) {
	for seed := range uint64(20) {
		s := Sharp(seed)
		if len(s.Panel.Marks) != 12 {
			t.Fatalf("seed %d: %d marks", seed, len(s.Panel.Marks))
		}
		for i, m := range s.Panel.Marks {
			if m.WidthMM < 6 || m.WidthMM > 14 || m.DepthUM < 50 {
				t.Errorf("seed %d: %+v", seed, m)
			}
			for _, o := range s.Panel.Marks[:i] {
				if d := math.Hypot(o.XMM-m.XMM, o.YMM-m.YMM); d < 0.55*(o.LengthMM+m.LengthMM) {
					t.Errorf("seed %d: %s and %s lie %.0f mm apart", seed, o.ID, m.ID, d)
				}
			}
			for _, c := range s.Cards {
				if d := math.Hypot(c.XMM-m.XMM, c.YMM-m.YMM); d < m.LengthMM/2+c.SideMM*0.7 {
					t.Errorf("seed %d: %s lies %.0f mm from a card", seed, m.ID, d)
				}
			}
		}
	}
}
