package inspection

import (
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"fairmetal/mark"
	"fairmetal/mirror"
	"fairmetal/phase"
	"fairmetal/photo"
	"fairmetal/pose"
)

// TestResolve: a mark of ten pixels keeps its uncertainty on black paint; where the stripes swing by few of the steps in which the files
// keep them it grows, and the files are to blame; one of five pixels asks for a nearer camera.
func TestResolve(t *testing.T) {
	for _, c := range []struct {
		name                           string
		widthMM, level, contrast, step float64
		least, most                    float64 // of the uncertainty, um
		advice                         string
	}{
		{"ten pixels, black paint", 7, 0.06, 0.05, 4, 1, 3, ""},
		{"ten pixels, white paint", 7, 0.6, 0.012, 4, 5, 12, "best quality"},
		{"five pixels, black paint", 3.5, 0.06, 0.05, 1, 5, 12, "bring the camera from 490 to about"},
	} {
		w, h := 40, 30
		img := photo.NewImage(w, h)
		for i := range img.Pix {
			img.Pix[i] = float32(c.level)
		}
		r := &run{res: &Result{Photo: img, Calibration: &mirror.Calibration{Form: mirror.Form{C: make([]float64, len(mirror.Exponents(mirror.FormDegree)))}}, Marks: []mark.Mark{{ID: "m01", LengthMM: c.widthMM, WidthMM: c.widthMM, DepthUM: 100, DepthSigmaUM: 1}}},
			u: &phase.Field{W: w, H: h, X: make([]float32, w*h), Mod: make([]float32, w*h)}, frames: []frame{{step: c.step}},
			cam: &pose.Camera{FocalPX: 700, W: w, H: h, Centre: r3.Vec{Z: 490}, Right: r3.Vec{X: 1}, Down: r3.Vec{Y: -1}, Forward: r3.Vec{Z: -1}}}
		r.v = r.u
		for i := range r.u.Mod {
			r.u.Mod[i] = float32(c.contrast)
		}
		r.resolve()
		if s := r.res.Marks[0].DepthSigmaUM; !(s >= c.least && s <= c.most) {
			t.Errorf("%s: uncertainty %.2f um, want %g to %g", c.name, s, c.least, c.most)
		}
		var said string
		for _, n := range r.res.Notices {
			said += n.String()
		}
		if (said == "") != (c.advice == "") || !strings.Contains(said, c.advice) {
			t.Errorf("%s: %q", c.name, said)
		}
	}
}

// TestSmoothLeft: what single photos are said to leave of a bowl is under what the plate alone leaves of it, by no more than pixels and edges a
// stripe apart explain.
func TestSmoothLeft(t *testing.T) {
	const span = 0.15 // stripe pairs, of package phase
	for _, s := range []float64{0.33, 0.4, 0.5, 0.7, 1, 2} {
		// The top of a Gaussian bowl of standard deviation s through 1/(1 + (k span)^4), by its spectrum.
		left, dx := 0.0, 0.01
		for x := dx / 2; x < 8; x += dx {
			left += x * math.Exp(-x*x/2) / (1 + math.Pow(x*span/s, 4)) * dx
		}
		seen := 2 * 2.146 * s / math.Sqrt(left)
		if got := smoothLeft(seen, seen); got > left || got < left-0.06 {
			t.Errorf("a bowl seen %.1f stripe pairs wide: %.3f, the plate leaves %.3f", seen, got, left)
		}
	}
	if long, round := smoothLeft(9, 2), smoothLeft(2, 2); !(long > round && long < 1) {
		t.Errorf("a crease keeps %.3f, a bowl %.3f", long, round)
	}
}
