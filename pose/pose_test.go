package pose

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"fairmetal/card"
	"fairmetal/internal/laid"
)

// seen projects a card that lies at centre with the given axes through a camera at the panel frame's cam.
func seen(cam Camera, letter string, centre, x, y r3.Vec) card.Card {
	col := func(q r3.Vec) [3]float64 {
		w := r3.Dot(q, cam.Forward)
		return [3]float64{cam.FocalPX*r3.Dot(q, cam.Right) + cam.CX*w, cam.FocalPX*r3.Dot(q, cam.Down) + cam.CY*w, w}
	}
	a, b, c := col(x), col(y), col(r3.Sub(centre, cam.Centre))
	k := card.Card{Letter: letter, SideMM: 40}
	for r := range 3 {
		k.H[3*r], k.H[3*r+1], k.H[3*r+2] = a[r]/c[2], b[r]/c[2], c[r]/c[2]
	}
	return k
}

// TestFromCards puts two cards on a crowned panel and wants the camera back in the panel frame.
func TestFromCards(t *testing.T) {
	for _, tilt := range []float64{15, 33, 55} {
		sin, cos := math.Sincos(tilt * math.Pi / 180)
		const d = 450.0
		want := Camera{FocalPX: 1300, CX: 810, CY: 590, Centre: r3.Vec{X: 12, Y: -d * sin, Z: d * cos},
			Right: r3.Vec{X: 1}, Down: r3.Vec{Y: -cos, Z: -sin}, Forward: r3.Vec{Y: sin, Z: -cos}}
		const r = 2500.0
		lay := func(letter string, x, turned float64) card.Card {
			n := r3.Unit(r3.Vec{X: x / r, Z: 1})
			ax := r3.Vec{X: math.Cos(turned), Y: math.Sin(turned)}
			ax = r3.Unit(r3.Sub(ax, r3.Scale(r3.Dot(ax, n), n)))
			return seen(want, letter, r3.Add(r3.Vec{X: x, Z: -x * x / (2 * r)}, r3.Scale(CardThicknessMM, n)), ax, r3.Cross(n, ax))
		}
		fr, err := FromCards(lay("A", -150, 0.05), lay("B", 150, -0.02), 1300, 810, 590, 1600, 1200)
		if err != nil {
			t.Fatal(err)
		}
		if e := r3.Norm(r3.Sub(fr.Camera.Centre, want.Centre)); e > 0.02 {
			t.Errorf("tilt %g: camera %.3f mm off", tilt, e)
		}
		if math.Abs(fr.SagMM-150*150/(2*r)) > 0.01 {
			t.Errorf("tilt %g: sag %.3f mm, want %.3f", tilt, fr.SagMM, 150*150/(2*r))
		}
		px, py, _ := fr.Camera.Project(r3.Vec{X: 40, Y: 30, Z: 1})
		qx, qy, _ := want.Project(r3.Vec{X: 40, Y: 30, Z: 1})
		if math.Hypot(px-qx, py-qy) > 0.05 {
			t.Errorf("tilt %g: a point projects to (%.2f, %.2f), want (%.2f, %.2f)", tilt, px, py, qx, qy)
		}
		if fr.A.MisfitPX > 1e-6 {
			t.Errorf("a flat square card misfits by %g px", fr.A.MisfitPX)
		}
	}
}

// TestRayProject: both directions of the pinhole agree.
func TestRayProject(t *testing.T) {
	c := Camera{FocalPX: 900, CX: 400, CY: 300, Centre: r3.Vec{X: 5, Y: -200, Z: 300},
		Right: r3.Vec{X: 1}, Down: r3.Vec{Y: -0.8, Z: -0.6}, Forward: r3.Vec{Y: 0.6, Z: -0.8}}
	d := c.Ray(123.5, 456.25)
	px, py, _ := c.Project(r3.Add(c.Centre, r3.Scale(777, d)))
	if math.Hypot(px-123.5, py-456.25) > 1e-9 {
		t.Errorf("comes back at (%v, %v)", px, py)
	}
}

func TestRefusesStackedCards(t *testing.T) {
	cam := Camera{FocalPX: 1300, CX: 800, CY: 600, Centre: r3.Vec{Z: 400}, Right: r3.Vec{X: 1}, Down: r3.Vec{Y: -1}, Forward: r3.Vec{Z: -1}}
	a := seen(cam, "A", r3.Vec{X: -5}, r3.Vec{X: 1}, r3.Vec{Y: 1})
	b := seen(cam, "B", r3.Vec{X: 5}, r3.Vec{X: 1}, r3.Vec{Y: 1})
	if _, err := FromCards(a, b, 1300, 800, 600, 1600, 1200); err == nil {
		t.Error("two cards on top of each other were accepted")
	}
}

// TestWithLens: cards seen through a lens that moves the corners of the picture by 1.7 % give the camera back once that is told, to what is
// left of the bend within a card.
func TestWithLens(t *testing.T) {
	const d, k1 = 450.0, 0.03
	sin, cos := math.Sincos(0.5)
	want := Camera{FocalPX: 1300, CX: 800, CY: 600, K1: k1, W: 1600, H: 1200, Centre: r3.Vec{Y: -d * sin, Z: d * cos},
		Right: r3.Vec{X: 1}, Down: r3.Vec{Y: -cos, Z: -sin}, Forward: r3.Vec{Y: sin, Z: -cos}}
	lay := func(letter string, x float64) card.Card {
		k, err := laid.Card(want.Project, letter, r3.Vec{X: x, Z: CardThicknessMM}, r3.Vec{X: 1}, r3.Vec{Y: 1})
		if err != nil {
			t.Fatal(err)
		}
		return k
	}
	told, err := FromCards(lay("A", -150), lay("B", 150), 1325, 800, 600, 1600, 1200)
	if err != nil {
		t.Fatal(err)
	}
	right, err := told.WithLens(1300, k1)
	if err != nil {
		t.Fatal(err)
	}
	off := func(f Frame) float64 { return r3.Norm(r3.Sub(f.Camera.Centre, want.Centre)) }
	if off(right) > 0.5 || off(told) < 5 {
		t.Errorf("camera %.2f mm off with the right lens, %.2f with the one told", off(right), off(told))
	}
	px, py, _ := want.Project(r3.Vec{X: 200, Y: 90})
	if r := want.Ray(px, py); r3.Norm(r3.Cross(r, r3.Unit(r3.Sub(r3.Vec{X: 200, Y: 90}, want.Centre)))) > 1e-9 {
		t.Error("ray and projection disagree under distortion")
	}
	if _, err := (&Frame{}).WithLens(1300, 0); err == nil {
		t.Error("a frame without cards took another lens")
	}
}
