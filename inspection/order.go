package inspection

import (
	"math"

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
	if r.seam != nil && cal.RMSMM > seamMisfit*r.u.PitchMM {
		r.keepOneSide()
		if cal, err = fit(r.u, r.v); err != nil {
			return nil, err
		}
	}
	for i := range cal.Form.Folds {
		if i < len(cal.Form.Folds) { // a better count may need fewer
			cal = r.place(i, cal, fit)
		}
	}
	if len(cal.Form.Folds) > 0 {
		cal = r.reorder(cal, prior)
	}
	return cal, nil
}

// seamMisfit is the share of a pitch by which the mirror model must miss the stripes for a side beyond a seam to be counted wrong: what
// fits, on the roughest paint, is missed by a fiftieth.
const seamMisfit = 0.05

// keepOneSide leaves only the largest readable part of the photo that no seam divides.
func (r *run) keepOneSide() {
	for i, v := range r.seam {
		if v {
			r.u.X[i] = float32(math.NaN())
		}
	}
	surface.KeepLargest(surface.Grid{Cols: r.u.W, Rows: r.u.H}, r.u.X, r.v.X)
}

const (
	// tornPX is how far around a slip of the order pixels are not believed.
	tornPX = 3
	// maxCount bounds how many stripes a side may have been counted off.
	maxCount = 5
)

// place moves the smaller side of a feature line by whole stripes as long as the mirror model explains the whole better.
func (r *run) place(fold int, cal *mirror.Calibration, fit func(u, v *phase.Field) (*mirror.Calibration, error)) *mirror.Calibration {
	line := cal.Form.Folds[fold]
	side := r.beyond(&line, cal)
	alongU := math.Abs(math.Cos(line.Angle)) > math.Abs(math.Sin(line.Angle))
	best := cal
	u0, v0 := r.u, r.v
	for _, way := range [2]int{1, -1} {
		improved := false
		for k := 1; k <= maxCount; k++ {
			u, v := u0, v0
			if alongU {
				u = u0.Moved(side, way*k)
			} else {
				v = v0.Moved(side, way*k)
			}
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
	side := make([]bool, len(r.u.X))
	cam := &cal.Frame.Camera
	n, all := 0, 0
	for i := range side {
		if r.u.X[i] != r.u.X[i] {
			continue
		}
		all++
		ray := cam.Ray(float64(i%r.u.W)+0.5, float64(i/r.u.W)+0.5)
		if p, _, _, ok := cal.Form.Hit(cam.Centre, ray); ok {
			if s, _, _ := line.Across(p.X, p.Y); s > 0 {
				side[i] = true
				n++
			}
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

// reorder counts the stripes against the form found: across a feature line they run too densely to be counted by continuity alone.
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
