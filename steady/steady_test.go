package steady

import (
	"math"
	"testing"

	"fairmetal/photo"
)

// blocks is a picture of soft blocks, moved by m, brighter by gain.
func blocks(m Move, gain float64) *photo.Image {
	p := photo.NewImage(240, 160)
	for y := range p.H {
		for x := range p.W {
			// Where in the reference does this pixel lie? Invert the similarity.
			n := m.A*m.A + m.B*m.B
			dx, dy := float64(x)-m.DX, float64(y)-m.DY
			u, v := (m.A*dx+m.B*dy)/n, (-m.B*dx+m.A*dy)/n
			p.Pix[y*p.W+x] = float32(gain * (0.4 + 0.2*math.Tanh(3*math.Sin(u/5))*math.Tanh(3*math.Cos(v/4)) + 0.1*math.Sin(u/17+v/13)))
		}
	}
	return p
}

func TestFindsAndUndoesAMove(t *testing.T) {
	ref := blocks(Still, 1)
	a, b := Box{20, 60, 60, 100}, Box{180, 60, 220, 100}
	for _, want := range []Move{{1, 0, 0.3, -0.4}, {1.0005, 0.002, 1.2, 0.9}, {0.9995, -0.004, -3.1, 2.2}, {1, 0.001, 5.4, -4.3}} {
		img := blocks(want, 1.04)
		got, ok := Between(ref, img, a, b)
		if !ok {
			t.Fatalf("%+v was lost", want)
		}
		for _, p := range [][2]float64{{0, 0}, {239, 0}, {120, 159}} {
			wx, wy := want.At(p[0], p[1])
			gx, gy := got.At(p[0], p[1])
			if math.Hypot(wx-gx, wy-gy) > 0.05 {
				t.Errorf("%+v: %v goes to (%.2f, %.2f), want (%.2f, %.2f)", want, p, gx, gy, wx, wy)
			}
		}
		back := Undo(img, got)
		for y := 20; y < 140; y += 7 {
			for x := 20; x < 220; x += 7 {
				if d := float64(back.At(x, y))/1.04 - float64(ref.At(x, y)); math.Abs(d) > 0.01 {
					t.Fatalf("%+v: pixel (%d, %d) is %.3f off", want, x, y, d)
				}
			}
		}
	}
}

func TestFlatPatchIsNoHold(t *testing.T) {
	flat := photo.NewImage(100, 100)
	if _, _, ok := Shift(flat, flat, Box{20, 20, 60, 60}); ok {
		t.Error("a flat patch was followed")
	}
}
