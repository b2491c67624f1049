package inspection

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"fairmetal/mark"
)

// misread lists the marks that a single photo cannot have shown: metal that bends so sharply folds the reflection, and what was read there are stripes counted wrong. What
// is told to fold may bend more, within reason: metal between the seams of two directions that part was counted off by whole stripes, and read as millimetres.
func (r *run) misread() []mark.Mark {
	cam, board := r.res.Calibration.Frame.Camera.Centre, r.res.Calibration.Board.Centre
	return slices.DeleteFunc(slices.Clone(r.res.Marks), func(m mark.Mark) bool {
		z, zx, zy := r.res.Calibration.Form.Eval(m.XMM, m.YMM)
		p := vec(m.XMM, m.YMM, z)
		toCam, toBoard := r3.Sub(cam, p), r3.Sub(board, p)
		n := r3.Unit(r3.Vec{X: -zx, Y: -zy, Z: 1})
		cos := r3.Dot(n, r3.Unit(toCam))
		// Coddington's equations across the plane of incidence, where a bowl must bend more to fold than in it.
		fold := (1/r3.Norm(toCam) + 1/r3.Norm(toBoard)) / (2 * max(cos, 0.1))
		if m.Kind == mark.High {
			fold *= flankOfTop
		}
		s := max(m.WidthMM, leastWidthMM) / 2 / tenthAt
		times := misreadTimes
		if m.Folded {
			times = foldedTimes
		}
		return m.DepthUM/1000/(s*s) < times*fold
	})
}

const (
	// misreadTimes what folds is no bowl read a little beyond its fold: those of up to 1.3 times are measured.
	misreadTimes = 2.5
	// foldedTimes is the same of what is told to fold: its depth is that of the flanks that are read.
	foldedTimes = 20.0
	// flankOfTop is how much less a Gaussian high's flank bends inwards than its top outwards: e^1.5/2.
	flankOfTop = 2.24
	// tenthAt is the Gaussian standard deviations to a tenth of the depth.
	tenthAt      = 2.146
	leastWidthMM = 2.0
)

// strikeMarks has the metal in and close to some marks count as folded, with nothing read there.
func (r *run) strikeMarks(marks []mark.Mark) {
	nan := float32(math.NaN())
	g := r.res.Surface.Grid
	for _, m := range marks {
		reach := int((misreadScale*m.LengthMM/2 + misreadMM) / g.PitchMM)
		c, w := g.Cell(m.XMM, m.YMM)
		for j := int(w) - reach; j <= int(w)+reach; j++ {
			for i := int(c) - reach; i <= int(c)+reach; i++ {
				x, y := g.XY(i, j)
				if !m.Inside(x, y, misreadScale, misreadMM) {
					continue
				}
				ix, iy := r.seenAt(x, y)
				for v := max(0, iy-1); v <= min(r.u.H-1, iy+1); v++ {
					for u := max(0, ix-1); u <= min(r.u.W-1, ix+1); u++ {
						k := v*r.u.W + u
						r.u.X[k], r.v.X[k], r.folded[k] = nan, nan, true
					}
				}
			}
		}
	}
}

// What is misread is struck a little beyond its outline.
const (
	misreadScale = 1.3
	misreadMM    = 3.0
)
