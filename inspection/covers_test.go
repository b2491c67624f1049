package inspection

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"fairmetal/card"
	"fairmetal/mirror"
	"fairmetal/photo"
	"fairmetal/pose"
	"fairmetal/scene"
)

// covered is bowls with a hole, a moulding and a badge on the metal, and a lamp beside the board that glares in it.
func covered() scene.Spec {
	s := bowls()
	s.Panel.Covers = []scene.Cover{
		{XMM: 4, YMM: -34, LengthMM: 11, WidthMM: 11, Round: true},
		{XMM: 10, YMM: 58, LengthMM: 400, WidthMM: 9, AngleDeg: 2, Albedo: 0.03},
		{XMM: -46, YMM: -32, LengthMM: 34, WidthMM: 16, AngleDeg: -20, Albedo: 0.5},
	}
	s.Board.Lamps = []scene.Lamp{{UMM: 300, VMM: -180, WidthMM: 120, HeightMM: 90, Level: 12}}
	s.Board.WidthMM, s.Board.HeightMM = 520, 420
	return s
}

// TestCovered: holes, trim, badges and glare are no marks, leave those beside them as they are, and are told for what they are.
func TestCovered(t *testing.T) {
	s := covered()
	r := measured(t, s)
	for _, want := range s.Panel.Marks {
		found := false
		for _, m := range r.Marks {
			found = found || math.Hypot(m.XMM-want.XMM, m.YMM-want.YMM) < 1 && math.Abs(m.DepthUM/want.DepthUM-1) < 0.03
		}
		if !found {
			t.Errorf("mark %s is not among %+v", want.ID, r.Marks)
		}
	}
	for i, c := range s.Panel.Covers {
		told := false
		for _, a := range r.Areas {
			told = told || a.Kind == "covered" && math.Abs(a.XMM-c.XMM) < (a.WidthMM+c.LengthMM)/2 && math.Abs(a.YMM-c.YMM) < 8
		}
		if !told {
			t.Errorf("cover %d is not told: %+v", i, r.Areas)
		}
	}
	if len(r.Areas) != len(s.Panel.Covers) || len(r.Notices) != 0 {
		t.Errorf("areas %+v, notices %v", r.Areas, r.Notices)
	}
}

// TestOffPaper: what is seen of a card is not read, however its paper swings with the stripes; the metal beside it is. Card A still has its strip for
// words, B was trimmed.
func TestOffPaper(t *testing.T) {
	r := lined(mirror.Fold{Angle: 1.8, S0: 30, Step: -0.06, Width: 3}, 0, func(p r3.Vec, _ float64) bool { return math.Abs(p.X) < 220 && math.Abs(p.Y) < 160 })
	at := func(x, y float64) (u, v float32) {
		z, _, _ := r.res.Calibration.Form.Eval(x, y)
		px, py, _ := r.cam.Project(r3.Vec{X: x, Y: y, Z: z})
		i := int(py)*r.u.W + int(px)
		return r.u.X[i], r.v.X[i]
	}
	for _, c := range []*pose.Placed{&r.res.Frame.A, &r.res.Frame.B} {
		for k, d := range [4][2]float64{{-28, 28}, {28, 28}, {28, -28}, {-28, -28}} {
			c.Corners[k] = r3.Add(c.Centre, r3.Vec{X: d[0], Y: d[1]})
		}
		c.SideMM = 56. * card.Modules / (card.Modules + 2*card.QuietModules)
	}
	r.res.Photo = photo.NewImage(r.u.W, r.u.H)
	for i := range r.res.Photo.Pix {
		p, _, _, _ := r.res.Calibration.Form.Hit(r.cam.Centre, r.cam.Ray(float64(i%r.u.W)+0.5, float64(i/r.u.W)+0.5))
		r.res.Photo.Pix[i] = 0.2
		if x := math.Abs(math.Abs(p.X) - 150); x < 28 && p.Y < 28 && (p.Y > -28 || p.X < 0 && p.Y > -28-card.LabelMM) {
			r.res.Photo.Pix[i] = 0.8
		}
	}
	r.offPaper()
	for _, x := range []float64{-150, 150} {
		for _, d := range []float64{-24, 0, 24} {
			if u, v := at(x+d, d); u == u || v == v {
				t.Errorf("%.0f mm from the middle of a card it reads %g, %g", d, u, v)
			}
			if u, v := at(x+d, 33); u != u || v != v {
				t.Errorf("the metal above a card is not read")
			}
			if u, v := at(x+d, -33); (u == u && v == v) != (x > 0) {
				t.Errorf("below the card at %g it reads %g, %g", x, u, v)
			}
		}
	}
}
