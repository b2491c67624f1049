package inspection

import (
	"math"
	"slices"

	"fairmetal/mirror"
	"fairmetal/phase"
	"fairmetal/surface"
)

// countOut calibrates a set of one pitch, whose order of stripes rests on continuity alone, and puts the order right on the way:
// metal beyond a feature line may have been counted whole stripes off, and on the line itself the stripes run too densely to be
// counted at all.
func (r *run) countOut(prior mirror.Prior) (*mirror.Calibration, error) {
	fit := func(u, v *phase.Field) (*mirror.Calibration, error) {
		return mirror.Calibrate(&r.res.Frame, mirror.Sights(u.Untorn(tornPX), v.Untorn(tornPX)), prior)
	}
	cal, err := fit(r.u, r.v)
	if err != nil {
		return nil, err
	}
	prior.Lines = cal.Form.Folds // other counts need not seek them far
	for i := range cal.Form.Folds {
		if i < len(cal.Form.Folds) { // a better count may need fewer
			cal = r.place(i, cal, fit)
		}
	}
	slipped := max(r.u.Torn(), r.v.Torn()) > tornShare
	if len(cal.Form.Folds) > 0 || slipped {
		cal = r.reorder(cal, prior)
	}
	return cal, nil
}

// fitting fits the mirror model to the stripes counted so.
type fitting func(u, v *phase.Field) (*mirror.Calibration, error)

// misfit grows with what the model misses and with how much of the panel it leaves out.
func misfit(c *mirror.Calibration) float64 { return c.RMSMM / (c.Undamaged * c.Undamaged) }

// bearsOut tells whether most of the panel fits the mirror model as well as orange peel lets it, no part at its rim is left over, and the
// board stands where it was taped.
func (r *run) bearsOut(c *mirror.Calibration) bool {
	if off := math.Abs(c.TapeRatio - 1); off > tapeWarn && off > 3*c.TapeRatioSigma {
		return false
	}
	return c.Undamaged >= seamUndamaged && c.Stray <= strayWarn && c.RMSMM < seamMisfit*r.u.PitchMM
}

const (
	// seamMisfit of a pitch: the roughest paint leaves a thirtieth, a side counted wrong a twelfth.
	seamMisfit = 0.04
)

// farSide masks what is readable beyond the seam, or hidden in it, from the part between the cards: the damage lies there.
func (r *run) farSide() []bool {
	u, v := slices.Clone(r.u.X), slices.Clone(r.v.X)
	for i := range u {
		if r.onSeamPX(i) {
			u[i] = float32(math.NaN())
		}
	}
	a, b := r.res.Frame.A.Centre, r.res.Frame.B.Centre
	ax, ay, _ := r.cam.Project(a)
	bx, by, _ := r.cam.Project(b)
	half := math.Hypot(bx-ax, by-ay) / 2
	surface.KeepMost(surface.Grid{Cols: r.u.W, Rows: r.u.H}, u, v, func(i int) bool {
		return math.Hypot(float64(i%r.u.W)-(ax+bx)/2, float64(i/r.u.W)-(ay+by)/2) < half
	})
	far := make([]bool, len(u))
	for i := range far {
		far[i] = r.reads(i) && u[i] != u[i] && !r.onSeamPX(i)
	}
	return far
}

const (
	// tornShare of the links torn asks for a count against the form: a sharp mark tears some hundred links of a million.
	tornShare = 5e-4
	// tornPX is how far around a slip of the order pixels are not believed.
	tornPX = 3
	// beyondPX is the side of the blocks of which the corners tell on which side of a line they lie.
	beyondPX = 8
	// maxCount bounds how many stripes a side may have been counted off.
	maxCount = 5
)

// place moves the smaller side of a feature line by whole stripes as long as the mirror model explains the whole better.
func (r *run) place(fold int, cal *mirror.Calibration, fit fitting) *mirror.Calibration {
	line := cal.Form.Folds[fold]
	side := r.beyond(&line, cal)
	alongU := math.Abs(math.Cos(line.Angle)) > math.Abs(math.Sin(line.Angle))
	best := cal
	u0, v0 := r.u, r.v
	moved := func(k int) (u, v *phase.Field) {
		if alongU {
			return u0.Moved(side, k), v0
		}
		return u0, v0.Moved(side, k)
	}
	for _, way := range [2]int{1, -1} {
		improved := false
		for k := 1; k <= maxCount; k++ {
			u, v := moved(way * k)
			next, err := fit(u, v)
			if err != nil || next.RMSMM >= best.RMSMM {
				break
			}
			best, improved = next, true
			r.u, r.v = u, v
		}
		if improved {
			break
		}
	}
	return best
}

// beyond masks the pixels on the smaller side of a feature line.
func (r *run) beyond(line *mirror.Fold, cal *mirror.Calibration) []bool {
	cam := &cal.Frame.Camera
	over := func(x, y int) bool {
		ray := cam.Ray(float64(x)+0.5, float64(y)+0.5)
		p, _, _, ok := cal.Form.Hit(cam.Centre, ray)
		if !ok {
			return false
		}
		s, _, _ := line.Across(p.X, p.Y)
		return s > 0
	}
	w, h := r.u.W, r.u.H
	side := make([]bool, len(r.u.X))
	for y0 := 0; y0 < h; y0 += beyondPX {
		for x0 := 0; x0 < w; x0 += beyondPX {
			x1, y1 := min(x0+beyondPX, w), min(y0+beyondPX, h)
			first := over(x0, y0)
			whole := over(x1-1, y0) == first && over(x0, y1-1) == first && over(x1-1, y1-1) == first
			for y := y0; y < y1; y++ {
				for x := x0; x < x1; x++ {
					side[y*w+x] = whole && first || !whole && over(x, y)
				}
			}
		}
	}
	n, all := 0, 0
	for i, on := range side {
		if r.u.X[i] != r.u.X[i] {
			side[i] = false
			continue
		}
		all++
		if on {
			n++
		}
	}
	if 2*n > all {
		for i := range side {
			side[i] = !side[i]
		}
	}
	return side
}

// reorderGrowth is how much more misfit a new count may leave than the metal beside the feature line did: the line itself fits a little
// worse than smooth metal, a side counted one stripe wrong several times as badly.
const reorderGrowth = 1.5

// reorder counts the stripes against the form found: across a feature line they run too densely to be counted by continuity alone, and in
// noise links slip.
// The count is kept where the mirror model bears it out.
func (r *run) reorder(cal *mirror.Calibration, prior mirror.Prior) *mirror.Calibration {
	eu, ev := cal.Expected(&cal.Frame.Camera, r.u.W, r.u.H)
	u, v := r.u.Reorder(eu), r.v.Reorder(ev)
	again, err := mirror.Calibrate(&r.res.Frame, mirror.Sights(u, v), prior)
	if err != nil || again.RMSMM > reorderGrowth*cal.RMSMM {
		return cal
	}
	r.u, r.v = u, v
	return again
}
