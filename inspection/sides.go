package inspection

import (
	"cmp"
	"math"
	"slices"
	"sync"
	"sync/atomic"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"fairmetal/internal/order"
	"fairmetal/internal/rows"
	"fairmetal/mirror"
	"fairmetal/pose"
)

// sides are the two sides of a line that a single photo does not read across: the metal between the cards, and what lies beyond.
type sides struct {
	far  []bool       // pixels that can be read
	line [][2]float64 // px of places on the line
}

// apart finds the metal that does not hang together with that between the cards; nil where it is too little to matter.
func (r *run) apart() *sides {
	s := &sides{far: r.farSide()}
	var far, all atomic.Int64
	rows.Do(len(s.far), func(i0, i1 int) {
		f, a := 0, 0
		for i := i0; i < i1; i++ {
			if s.far[i] {
				f++
			}
			if r.reads(i) {
				a++
			}
		}
		far.Add(int64(f))
		all.Add(int64(a))
	})
	if float64(far.Load()) < leastFar*float64(all.Load()) {
		for i, v := range s.far {
			if v {
				r.u.X[i] = float32(math.NaN()) // crumbs that nothing places
			}
		}
		return nil
	}
	gap := int(widestSeam * r.res.Quality.StripePX)
	w, h := r.u.W, r.u.H
	walk := func(start, step, n int) (on [][2]float64) {
		last, was := -1, 0 // the last pixel that can be read, and its side
		for k := range n {
			i := start + k*step
			if r.onSeamPX(i) || !r.reads(i) {
				continue
			}
			side := 1
			if s.far[i] {
				side = 2
			}
			if was != 0 && side != was && k-last <= gap {
				m := start + (k+last)/2*step
				on = append(on, [2]float64{float64(m%w) + 0.5, float64(m/w) + 0.5})
			}
			last, was = k, side
		}
		return on
	}
	across := (h + lineStepPX - 1) / lineStepPX
	found := make([][][2]float64, across+(w+lineStepPX-1)/lineStepPX)
	rows.Do(len(found), func(k0, k1 int) {
		for k := k0; k < k1; k++ {
			if k < across {
				found[k] = walk(k*lineStepPX*w, 1, w)
			} else {
				found[k] = walk((k-across)*lineStepPX, w, h)
			}
		}
	})
	s.line = slices.Concat(found...)
	return s
}

func (r *run) reads(i int) bool { return r.u.X[i] == r.u.X[i] && r.v.X[i] == r.v.X[i] }

func (r *run) onSeamPX(i int) bool { return r.seam != nil && r.seam[i] }

const (
	leastFar   = 0.04 // of what can be read
	widestSeam = 5.0  // stripe pairs
	// struckStripes is how many stripe pairs to either side of a line are left unread.
	struckStripes = 1.5
	lineStepPX    = 4
)

// foldThrough fits a bent line to places of the panel, robustly: the feature line between two sides, its normal towards far. ok is false where
// they lie on no line.
func foldThrough(p [][2]float64, far [2]float64) (f mirror.Fold, ok bool) {
	if len(p) < leastOnLine {
		return f, false
	}
	w := make([]float64, len(p))
	for i := range w {
		w[i] = 1
	}
	var sin, cos float64
	var c [3]float64
	for range 15 {
		var n, mx, my, xx, xy, yy float64
		for i, q := range p {
			n, mx, my = n+w[i], mx+w[i]*q[0], my+w[i]*q[1]
		}
		mx, my = mx/n, my/n
		for i, q := range p {
			dx, dy := q[0]-mx, q[1]-my
			xx, xy, yy = xx+w[i]*dx*dx, xy+w[i]*dx*dy, yy+w[i]*dy*dy
		}
		// The line runs along the larger axis; its normal, towards far.
		a := 0.5*math.Atan2(2*xy, xx-yy) + math.Pi/2
		sin, cos = math.Sincos(a)
		if cos*(far[0]-mx)+sin*(far[1]-my) < 0 {
			a, sin, cos = a+math.Pi, -sin, -cos
		}
		f.Angle = math.Mod(a, 2*math.Pi)
		if c, ok = parabola(p, w, sin, cos); !ok {
			return f, false
		}
		var off []float64
		for _, q := range p {
			t := -sin*q[0] + cos*q[1]
			off = append(off, math.Abs(cos*q[0]+sin*q[1]-c[0]-c[1]*t-c[2]*t*t))
		}
		sorted := slices.Clone(off)
		cut := max(4.685*order.Median(sorted)/0.6745, 2)
		for i, v := range off {
			w[i] = 0
			if q := v / cut; q < 1 {
				w[i] = (1 - q*q) * (1 - q*q)
			}
		}
	}
	// Turn the normal so that the run along t vanishes at t = 0.
	da := math.Atan(c[1])
	f.Angle -= da
	f.S0, f.Bend, f.Width = c[0]*math.Cos(da), c[2], usualLineMM
	lo, hi, on := math.Inf(1), math.Inf(-1), 0.0
	for i, q := range p {
		if w[i] > 0 {
			t := -sin*q[0] + cos*q[1]
			lo, hi, on = min(lo, t), max(hi, t), on+1
		}
	}
	return f, hi-lo > leastLineMM && 2*on > float64(len(p))
}

const (
	leastOnLine = 12
	leastLineMM = 50.0
	usualLineMM = 6.0
)

// parabola fits s = c0 + c1 t + c2 t^2 to places by weight, s along (cos, sin) and t across.
func parabola(p [][2]float64, w []float64, sin, cos float64) (c [3]float64, ok bool) {
	a, b := mat.NewDense(3, 3, nil), mat.NewVecDense(3, nil)
	for i, q := range p {
		s, t := cos*q[0]+sin*q[1], -sin*q[0]+cos*q[1]
		v := [3]float64{1, t / formMM, t * t / (formMM * formMM)}
		for j := range 3 {
			b.SetVec(j, b.AtVec(j)+w[i]*v[j]*s)
			for k := range 3 {
				a.Set(j, k, a.At(j, k)+w[i]*v[j]*v[k])
			}
		}
	}
	var x mat.VecDense
	if err := x.SolveVec(a, b); err != nil {
		return c, false
	}
	return [3]float64{x.AtVec(0), x.AtVec(1) / formMM, x.AtVec(2) / (formMM * formMM)}, true
}

const formMM = mirror.FormScaleMM

// count is by how many stripes the far side may have been counted off, and the line's step that goes with it.
type count struct {
	u, v       int
	step, miss float64 // miss in mm on the board
}

// anyCount bars no count.
func anyCount(count) bool { return true }

// nearLine has the near side's form bend at the line, where that explains its rim: a wide line bends the metal some
// centimetres beside it. It returns the line's width besides.
func (r *run) nearLine(near *mirror.Calibration, line mirror.Fold, sights []mirror.Sight, far []bool, prior mirror.Prior) (*mirror.Calibration, float64) {
	var inside []mirror.Sight
	for _, t := range sights {
		if !far[int(t.PY)*r.u.W+int(t.PX)] {
			inside = append(inside, t)
		}
	}
	line.Step = usualStep
	prior.Smooth, prior.Rough, prior.Begin = true, true, &mirror.Start{Lines: []mirror.Fold{line}}
	if c, err := mirror.Calibrate(&r.res.Frame, inside, prior); err == nil && len(c.Form.Folds) > 0 && misfit(c) < misfit(near) {
		return c, c.Form.Folds[0].Width
	}
	return near, line.Width
}

// usualStep of a feature line, in slope; the fit finds its sense and size from there.
const usualStep = -0.05

// counts lists the counts of the far side with which its stripes beside the line are nearest to those of the near side's form bent at the
// line by any step, best first. Across the line the metal does not tear: its slopes may step along the normal only, so that of all counts
// in both directions few come near.
func (r *run) counts(near *mirror.Calibration, line mirror.Fold, sights []mirror.Sight, far []bool) []count {
	const unit = 0.01
	line.Step = unit
	flat, bent := near.Form, near.Form
	flat.Folds, bent.Folds = nil, []mirror.Fold{line}
	cam := &near.Frame.Camera
	type pull struct{ du, dv, wu, wv float64 }
	var all []pull
	for _, t := range sights {
		if !far[int(t.PY)*r.u.W+int(t.PX)] {
			continue
		}
		ray := cam.Ray(t.PX, t.PY)
		p, zx, zy, ok := flat.Hit(cam.Centre, ray)
		q, qx, qy, okBent := bent.Hit(cam.Centre, ray)
		if s, _, _ := line.Across(p.X, p.Y); !ok || !okBent || s > besideMM {
			continue
		}
		u, v, ok := near.Board.Reflect(ray, p, zx, zy)
		bu, bv, okBent := near.Board.Reflect(ray, q, qx, qy)
		if ok && okBent && math.Hypot(bu-u, bv-v) < unit*mostPull*r3.Norm(near.Board.Centre) {
			all = append(all, pull{t.U - near.ShiftU - u, t.V - near.ShiftV - v, (bu - u) / unit, (bv - v) / unit})
		}
	}
	if len(all) < leastOnLine {
		return nil
	}
	// What is left over is quadratic in the counts: its sums are made once.
	var ww, wu, wv, wd, du, dv, dd float64
	for _, p := range all {
		ww, wu, wv, wd = ww+p.wu*p.wu+p.wv*p.wv, wu+p.wu, wv+p.wv, wd+p.wu*p.du+p.wv*p.dv
		du, dv, dd = du+p.du, dv+p.dv, dd+p.du*p.du+p.dv*p.dv
	}
	n := float64(len(all))
	var list []count
	for ku := -mostHidden; ku <= mostHidden; ku++ {
		for kv := -mostHidden; kv <= mostHidden; kv++ {
			u, v := float64(ku)*r.u.PitchMM, float64(kv)*r.v.PitchMM
			wd, dd := wd+u*wu+v*wv, dd+2*(u*du+v*dv)+n*(u*u+v*v)
			if step := wd / ww; math.Abs(step) < mostStep {
				list = append(list, count{ku, kv, step, math.Sqrt(max(0, dd-step*wd) / n)})
			}
		}
	}
	slices.SortStableFunc(list, func(a, b count) int { return cmp.Compare(a.miss, b.miss) })
	return list
}

const (
	besideMM    = 80.0 // of the line: farther out the near side's form says little
	mostHidden  = 40   // stripes: a step of 0.1 in slope, half a metre from the board, hides eleven of 9 mm, and where nothing hangs together the far side is placed by its trend
	mostStep    = 0.15
	mostPull    = 6.0  // board distances by which a ray moves for a step of one: two, and aslant more
	clearMM     = 15.0 // beside a line in which its own section bends the metal
	likelyOnFew = 5    // counts tried on few sights
	likelyOnAll = 2    // and on all
	plainly     = 1.15 // times the best one's misfit on few sights: not that count
)

// countSides solves the set-up of a single photo on the near side of a line, and counts the far side against it. Where no count fits, the far
// side is left out.
func (r *run) countSides(s *sides, prior mirror.Prior) (*mirror.Calibration, error) {
	sights := mirror.Sights(r.u.Untorn(tornPX), r.v.Untorn(tornPX))
	var inside []mirror.Sight
	clear := clearMM * r.cam.FocalPX / r3.Norm(r.cam.Centre)
	for _, t := range sights {
		near := func(q [2]float64) bool { return math.Hypot(q[0]-t.PX, q[1]-t.PY) < clear }
		if !s.far[int(t.PY)*r.u.W+int(t.PX)] && !slices.ContainsFunc(s.line, near) {
			inside = append(inside, t)
		}
	}
	near, err := r.nearSide(inside, prior)
	if err != nil {
		return nil, err
	}
	if line, ok := r.lineBetween(near, s); ok {
		if best := r.countAcross(near, &line, sights, s.far, prior, anyCount); best != nil && r.bearsOut(best.cal) {
			r.u, r.v = r.u.Moved(s.far, best.u), r.v.Moved(s.far, best.v)
			r.strike(best.cal, fitted(line, best.cal), s.far)
			return best.cal, nil
		}
	}
	for i, v := range s.far {
		if v || r.onSeamPX(i) {
			r.u.X[i] = float32(math.NaN())
		}
	}
	r.beyondSeam = s.far
	if near, err = mirror.Calibrate(&r.res.Frame, inside, prior); err != nil {
		return nil, err
	}
	r.note(Warning, "feature-line", "how many stripes a feature line hides cannot be told from a single photo: the metal beyond the line got no value", beyondAdvice)
	return near, nil
}

// fitted is the line as the form has it; as it was where the form has none there, too faint a step to keep it.
func fitted(line mirror.Fold, cal *mirror.Calibration) mirror.Fold {
	for _, f := range cal.Form.Folds {
		if math.Abs(f.S0-line.S0) < fittedMM && math.Abs(math.Remainder(f.Angle-line.Angle, 2*math.Pi)) < fittedMM/lineReachMM {
			return f
		}
	}
	return line
}

// fittedMM is how far a fit may move a line, and at lineReachMM turn it.
const fittedMM = 20.0

// partAtStrip counts the far side of a line that takes the stripes of a single photo along most of its way against the near one, where what hangs together past its ends fits no
// form; nil: there is none, or no count fits.
func (r *run) partAtStrip(prior mirror.Prior) *mirror.Calibration {
	p := r.acrossStrip(int(stripStripes*r.res.Quality.StripePX), prior, anyCount)
	if p == nil || !r.bearsOut(p.cal) {
		return nil
	}
	r.u, r.v = p.u, p.v
	r.strike(p.cal, p.line, p.far)
	return p.cal
}

// stripStripes is how many stripe pairs a line hides of a single photo to either side.
const stripStripes = 1.5

// nearSide solves the set-up from the sights on the near side of a line, clear of it.
func (r *run) nearSide(inside []mirror.Sight, prior mirror.Prior) (*mirror.Calibration, error) {
	prior.Smooth = true
	for i, c := range [2]pose.Placed{r.res.Frame.A, r.res.Frame.B} {
		x, y, _ := r.cam.Project(c.Centre)
		reach := 0.0
		for _, q := range c.Corners {
			cx, cy, _ := r.cam.Project(q)
			reach = max(reach, besideCard*math.Hypot(cx-x, cy-y))
		}
		prior.Beyond[i] = !slices.ContainsFunc(inside, func(t mirror.Sight) bool { return math.Hypot(t.PX-x, t.PY-y) < reach })
	}
	if prior.Beyond[0] && prior.Beyond[1] {
		prior.Beyond = [2]bool{}
	}
	return mirror.Calibrate(&r.res.Frame, inside, prior)
}

// besideCard is how far from a card's middle, in halves of its diagonal, sights lie on the same side as it.
const besideCard = 1.3

// countAcross is the count, of those that may be, of a line's far side that fits best with the form of the near one, and sets the line's width; nil: none fits.
func (r *run) countAcross(near *mirror.Calibration, line *mirror.Fold, sights []mirror.Sight, far []bool, prior mirror.Prior, may func(count) bool) (best *trial) {
	near, line.Width = r.nearLine(near, *line, sights, far, prior)
	list := slices.DeleteFunc(r.counts(near, *line, sights, far), func(c count) bool { return !may(c) })
	for _, t := range r.tryCounts(list, *line, sights, far, prior) {
		if t.cal != nil && (best == nil || misfit(t.cal) < misfit(best.cal)) {
			best = &t
		}
	}
	return best
}

// trial is a count and the fit with it; nil: there is none.
type trial struct {
	count
	cal  *mirror.Calibration
	line mirror.Fold // its normal to the side that was counted
}

// tryCounts fits the set-up with the likeliest counts on few sights, and with those that fit best on all, from where they came to.
func (r *run) tryCounts(list []count, line mirror.Fold, sights []mirror.Sight, far []bool, prior mirror.Prior) []trial {
	var all []trial
	for _, c := range list[:min(likelyOnFew, len(list))] {
		all = append(all, trial{count: c})
	}
	// The fits are small: they go side by side.
	fit := func(rough bool) {
		var wg sync.WaitGroup
		for i := range all {
			t, prior := &all[i], prior
			prior.Rough = rough
			if rough {
				line := line
				line.Step = t.step
				prior.Begin = &mirror.Start{Lines: []mirror.Fold{line}}
			} else if t.cal != nil {
				prior.Begin = t.cal.Settled
			}
			wg.Go(func() {
				moved := slices.Clone(sights)
				for i := range moved {
					if m := &moved[i]; far[int(m.PY)*r.u.W+int(m.PX)] {
						m.U, m.V = m.U+float64(t.u)*r.u.PitchMM, m.V+float64(t.v)*r.v.PitchMM
					}
				}
				cal, err := mirror.Calibrate(&r.res.Frame, moved, prior)
				if t.cal = cal; err != nil {
					t.cal = nil
				}
			})
		}
		wg.Wait()
	}
	fit(true)
	rank := func(t trial) float64 {
		if t.cal == nil {
			return math.Inf(1)
		}
		return misfit(t.cal)
	}
	slices.SortStableFunc(all, func(a, b trial) int { return cmp.Compare(rank(a), rank(b)) })
	n := min(likelyOnAll, len(all))
	for n > 1 && rank(all[n-1]) > plainly*rank(all[0]) {
		n--
	}
	all = all[:n]
	fit(false)
	return all
}

// strike leaves a stripe pair beside a line unread, and what near it was taken for the other side: where the stripes of one direction were followed across as if there
// were no line, they are wrong there. The line's normal points to the far side.
func (r *run) strike(cal *mirror.Calibration, line mirror.Fold, far []bool) {
	cam := &cal.Frame.Camera
	wide := struckStripes * r.stripeMM(cam)
	r.struckMM = wide
	nan := float32(math.NaN())
	// off is how far beyond the line the metal lies that a pixel shows, mm; NaN where it shows none.
	off := func(px, py float64) float64 {
		p, _, _, ok := cal.Form.Hit(cam.Centre, cam.Ray(px, py))
		if !ok {
			return math.NaN()
		}
		d, _, _ := line.Across(p.X, p.Y)
		return d
	}
	const block = 8 * lineStepPX
	clear := max(wide, astrayMM) + 2*block*r3.Norm(cam.Centre)/cam.FocalPX // of the line, from the middle of a block that it does not touch
	rows.Do((r.u.H+lineStepPX-1)/lineStepPX, func(y0, y1 int) {
		for y := y0 * lineStepPX; y < y1*lineStepPX; y += lineStepPX {
			away := false
			for x := 0; x < r.u.W; x += lineStepPX {
				if x%block == 0 {
					away = math.Abs(off(float64(x)+block/2, float64(y)+lineStepPX/2)) > clear
				}
				if away {
					continue
				}
				d := off(float64(x)+lineStepPX/2, float64(y)+lineStepPX/2)
				for j := y; j < min(y+lineStepPX, r.u.H); j++ {
					for i := j*r.u.W + x; i < j*r.u.W+min(x+lineStepPX, r.u.W); i++ {
						if math.Abs(d) <= wide || math.Abs(d) < astrayMM && far[i] != (d > 0) {
							r.u.X[i], r.v.X[i] = nan, nan
						}
					}
				}
			}
		}
	})
}

// astrayMM is how far from a line metal of one side may have been taken for the other.
const astrayMM = 30.0

// lineBetween is the feature line between two sides, on the form of the near one.
func (r *run) lineBetween(near *mirror.Calibration, s *sides) (mirror.Fold, bool) {
	cam := &near.Frame.Camera
	place := func(px, py float64) (xy [2]float64, ok bool) {
		p, _, _, ok := near.Form.Hit(cam.Centre, cam.Ray(px, py))
		return [2]float64{p.X, p.Y}, ok
	}
	var on [][2]float64
	for _, q := range s.line {
		if p, ok := place(q[0], q[1]); ok {
			on = append(on, p)
		}
	}
	var far [2]float64
	n := 0.0
	for i := 0; i < len(s.far); i += 97 {
		if !s.far[i] {
			continue
		}
		if p, ok := place(float64(i%r.u.W), float64(i/r.u.W)); ok {
			far[0], far[1], n = far[0]+p[0], far[1]+p[1], n+1
		}
	}
	return foldThrough(on, [2]float64{far[0] / n, far[1] / n})
}
