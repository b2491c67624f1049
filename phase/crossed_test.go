package phase

import (
	"errors"
	"math"
	"testing"

	"fairmetal/photo"
)

// crossedX is the board coordinate along one axis: u as in plain, v down the photo, turned by 3 degrees.
func crossedX(axis int, d func(px, py float64) float64) func(px, py float64) float64 {
	if axis == 0 {
		return func(px, py float64) float64 { return plain(px, py) + d(px, py) }
	}
	return func(px, py float64) float64 { return perPX*(py-sh/2) - 0.04*(px-sw/2) + d(py, px) }
}

// crossedPhoto is the mean of two photos: light adds up.
func crossedPhoto(m mirrored, x [2]func(px, py float64) float64) *photo.Image {
	m.x = x[0]
	a := m.photo()
	m.x = x[1]
	b := m.photo()
	for i, v := range b.Pix {
		a.Pix[i] = (a.Pix[i] + v) / 2
	}
	return a
}

// Both directions are read from one photo as they are from two: the same limits as in TestSingleFollows, and a little more at single
// pixels, where edges of both directions meet.
func TestCrossedFollows(t *testing.T) {
	none := func(px, py float64) float64 { return 0 }
	two := func(px, py float64) float64 {
		return dent(150, 180, 18, 0.5)(px, py) + dent(330, 180, 18, -0.5)(px, py)
	}
	cases := []struct {
		name  string
		m     mirrored
		d     func(px, py float64) float64
		rms   float64 // of the pitch
		worst float64
	}{
		{"plain", mirrored{noise: 0.02}, none, 0.012, 0.06},
		{"dent and high", mirrored{noise: 0.02}, two, 0.015, 0.12},
		{"blur", mirrored{blur: 3, noise: 0.02}, two, 0.015, 0.12},
		{"sine", mirrored{sine: true, noise: 0.02}, two, 0.015, 0.12},
		{"pale", mirrored{level: 9, noise: 0.05}, two, 0.015, 0.12},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			c.m.w, c.m.h, c.m.pitch, c.m.off = sw, sh, singleP, 0.3
			x := [2]func(px, py float64) float64{crossedX(0, c.d), crossedX(1, c.d)}
			u, v, err := DemodulateCrossed(crossedPhoto(c.m, x), singleP, !c.m.sine, [2]float64{2 * sw * perPX, 2 * sh * perPX}, crossedGuides, nil)
			if err != nil {
				t.Fatal(err)
			}
			for i, s := range []*Single{u, v} {
				if share, rms, worst := compare(s, x[i], 24, 24, sw-24, sh-24); share < 0.999 || rms > c.rms*singleP || worst > c.worst*singleP {
					t.Errorf("%s: %.1f %% read, rms %.3f mm, worst %.2f mm", axes[i], 100*share, rms, worst)
				}
			}
		})
	}
}

// crossedGuides are a fifth off.
var crossedGuides = [2]Guide{rough, func(px, py float64) (float64, bool) { return 0.8 * perPX * (py - sh/2), true }}

// Turning the photo over its diagonal exchanges u and v, and a brighter photo gives the same.
func TestCrossedProperties(t *testing.T) {
	const n = 320
	d := dent(170, 150, 16, 0.5)
	x := [2]func(px, py float64) float64{func(px, py float64) float64 { return perPX*(px-n/2) + d(px, py) }, func(px, py float64) float64 { return perPX * (py - n/2) }}
	m := mirrored{w: n, h: n, pitch: singleP, off: 0.2, noise: 0.02}
	guides := [2]Guide{func(px, py float64) (float64, bool) { return perPX * (px - n/2), true }, func(px, py float64) (float64, bool) { return perPX * (py - n/2), true }}
	img := crossedPhoto(m, x)
	over := photo.NewImage(n, n)
	for i := range img.Pix {
		over.Pix[i%n*n+i/n] = 0.01 + 2*img.Pix[i]
	}
	read := func(img *photo.Image) (u, v *Single) {
		u, v, err := DemodulateCrossed(img, singleP, true, [2]float64{600, 600}, guides, nil)
		if err != nil {
			t.Fatal(err)
		}
		return u, v
	}
	u, v := read(img)
	a, b := read(over)
	for _, p := range [][2]*Single{{u, b}, {v, a}} {
		first := math.NaN()
		for y := 30; y < n-30; y++ {
			for x := 30; x < n-30; x++ {
				e := float64(p[0].X[y*n+x] - p[1].X[x*n+y])
				if math.IsNaN(first) {
					first = e
				}
				// The loops take their turns the other way round: a fraction of what the stripes can tell.
				if !(math.Abs(e-first) < 0.03*singleP) {
					t.Fatalf("off by %g mm at (%d, %d)", e-first, x, y)
				}
			}
		}
	}
}

// A photo that shows one direction only is refused, and the missing one named.
func TestCrossedRefuses(t *testing.T) {
	img := mirrored{w: sw, h: sh, pitch: singleP, x: plain}.photo()
	_, _, err := DemodulateCrossed(img, singleP, true, [2]float64{800, 600}, crossedGuides, nil)
	var none *NoStripesError
	if !errors.As(err, &none) || none.Axis != "v" {
		t.Errorf("%v", err)
	}
	blind := func(px, py float64) (float64, bool) { return 0, false }
	if _, _, err := DemodulateCrossed(img, singleP, true, [2]float64{800, 600}, [2]Guide{rough, blind}, nil); !errors.As(err, &none) || none.Axis != "v" {
		t.Errorf("blind: %v", err)
	}
}
