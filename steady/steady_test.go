package steady

import (
	"math"
	"math/rand/v2"
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
	a, b := Box{X0: 20, Y0: 60, X1: 60, Y1: 100}, Box{X0: 180, Y0: 60, X1: 220, Y1: 100}
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
	if _, _, ok := Shift(flat, flat, Box{X0: 20, Y0: 20, X1: 60, Y1: 60}); ok {
		t.Error("a flat patch was followed")
	}
}

// TestFollowsFineModules: a symbol whose modules are two or three pixels wide, moved by half of one or a whole one, all but repeats itself a
// module further on; what lies beyond its rim moves otherwise and must not count.
func TestFollowsFineModules(t *testing.T) {
	rnd := rand.New(rand.NewPCG(3, 4))
	var dark [60][60]float64
	for i := range dark {
		for j := range dark {
			dark[i][j] = float64(rnd.IntN(2))
		}
	}
	at := func(x, y, module, stripes float64) float32 {
		if x < 30 || x > 93 || y < 30 || y > 93 {
			return float32(0.3 + 0.2*math.Sin((x+3*y)/4+stripes))
		}
		v := 0.0
		for i := range 100 { // a pixel and its blur
			v += 0.1 + 0.7*dark[int((x+float64(i%10)/5)/module)][int((y+float64(i/10)/5)/module)]
		}
		return float32(v / 100)
	}
	for _, k := range []struct{ module, dx, dy float64 }{{3, 0.6, -1.5}, {2.1, -2.4, 0.6}, {2.1, 1.8, 2.2}, {2.1, -1.7, -2.6}, {2.1, 3.4, 0.4}, {2.1, -2, 0}, {1.8, 1.1, 1.5}, {1.8, -2.5, 0.5}} {
		ref, img := photo.NewImage(130, 130), photo.NewImage(130, 130)
		for i := range ref.Pix {
			x, y := float64(i%130), float64(i/130)
			ref.Pix[i], img.Pix[i] = at(x, y, k.module, 0), at(x-k.dx, y-k.dy, k.module, 2)
		}
		b := Box{X0: 20, Y0: 20, X1: 104, Y1: 104, Rim: [][2]float64{{33, 33}, {91, 33}, {91, 91}, {33, 91}}}
		if dx, dy, ok := Shift(ref, img, b); !ok || math.Hypot(dx-k.dx, dy-k.dy) > 0.2 { // the modules lie near what pixels resolve; a module is two or three
			t.Errorf("modules of %g px moved by (%.2f, %.2f), %v; want (%.2f, %.2f)", k.module, dx, dy, ok, k.dx, k.dy)
		}
	}
}
