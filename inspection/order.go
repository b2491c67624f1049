package inspection

import (
	"cmp"
	"maps"
	"math"
	"slices"
	"sync"

	"fairmetal/internal/rows"
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
	read := [2]*phase.Field{r.u, r.v}
	cal, err := fit(r.u, r.v)
	if err != nil {
		return nil, err
	}
	if amiss(cal) || cal.Undamaged < explained {
		cal = r.alongStrip(cal, &prior, fit)
	}
	if amiss(cal) || bendsAtEdge(cal) {
		cal = r.seekLine(cal, prior)
	}
	cal = r.aligned(cal)
	prior.Lines = cal.Form.Folds // other counts need not seek them far
	if prior.Begin == nil && len(prior.Lines) > 0 {
		prior.Begin = &mirror.Start{Lines: prior.Lines}
	}
	for i := range cal.Form.Folds {
		if i < len(cal.Form.Folds) { // a better count may need fewer
			cal = r.place(i, cal, prior, fit)
		}
	}
	slipped := max(r.u.Torn(), r.v.Torn()) > tornShare
	if len(cal.Form.Folds) > 0 || slipped {
		cal = r.reorder(cal, prior)
	}
	switch {
	case amiss(cal) && len(cal.Form.Folds) > 0:
		cal = r.countBeyond(sharpest(cal.Form.Folds), cal, prior)
	case cal.Edge != nil:
		cal = r.countBeyond(*cal.Edge, cal, prior)
	}
	if amiss(cal) || !r.bearsOut(cal) {
		u, v := r.u, r.v
		r.u, r.v = read[0], read[1]
		if parted := r.acrossStrip(stripPX, prior, anyCount); parted != nil {
			r.u, r.v = parted.u, parted.v
			if lines := parted.cal.Form.Folds; len(lines) > 0 {
				prior.Begin, prior.Lines = &mirror.Start{Lines: lines}, lines
			}
			if next := r.reorder(r.aligned(parted.cal), prior); misfit(next) < misfit(cal) {
				return next, nil
			}
		}
		r.u, r.v = u, v
	}
	return cal, nil
}

// sharpest is the line with the largest step.
func sharpest(lines []mirror.Fold) mirror.Fold {
	return slices.MaxFunc(lines, func(a, b mirror.Fold) int { return cmp.Compare(math.Abs(a.Step), math.Abs(b.Step)) })
}

// countBeyond counts the far side of a line against the near one, in both directions at once, and keeps that where it explains more and leaves less over:
// metal beyond a line that is counted off by some of the stripes that the line hides passes for a fainter line, or for none.
func (r *run) countBeyond(line mirror.Fold, cal *mirror.Calibration, prior mirror.Prior) *mirror.Calibration {
	prior.Begin, prior.Lines = nil, nil
	far := r.beyond(&line, cal)
	best := r.parted(line, cal, far, mirror.Sights(r.u.Untorn(tornPX), r.v.Untorn(tornPX)), prior, anyCount)
	if best == nil || best.cal.Stray > leftOver*cal.Stray {
		return cal
	}
	u, v := r.u, r.v
	r.u, r.v = u.Moved(far, best.u), v.Moved(far, best.v)
	if lines := best.cal.Form.Folds; len(lines) > 0 {
		prior.Begin, prior.Lines = &mirror.Start{Lines: lines}, lines
	}
	next := r.reorder(r.aligned(best.cal), prior)
	if misfit(next) >= misfit(cal) {
		r.u, r.v = u, v
		return cal
	}
	return next
}

// lineAtEdge has the form bend at the line that parts what is left over at the rim from the rest, where that explains more; the stripes' order is known.
func (r *run) lineAtEdge(cal *mirror.Calibration, prior mirror.Prior) *mirror.Calibration {
	best := r.parted(*cal.Edge, cal, r.beyond(cal.Edge, cal), mirror.Sights(r.u, r.v), prior, counted)
	if best == nil || best.cal.Stray > leftOver*cal.Stray {
		return cal
	}
	return r.aligned(best.cal)
}

// parting is a set-up solved on both sides of a line, its normal to the far one, with the stripes as they are counted then.
type parting struct {
	cal  *mirror.Calibration
	line mirror.Fold
	far  []bool
	u, v *phase.Field
}

// acrossStrip solves the set-up on one side of the strip in which a line takes the stripes, and counts the other against it, of those counts that may be; nil: there
// is no strip, or no count fits. A sharp line amid the panel draws a fit that knows nothing of it so far off that it does not show in what is left over.
func (r *run) acrossStrip(reachPX int, prior mirror.Prior, may func(count) bool) *parting {
	line, ok := r.strip(reachPX)
	if !ok {
		return nil
	}
	prior.Begin, prior.Lines = nil, nil
	flat := &mirror.Calibration{Frame: r.res.Frame, Form: mirror.NewForm(), Undamaged: 1, RMSMM: math.Inf(1)}
	best := r.parted(line, flat, r.beyond(&line, flat), mirror.Sights(r.u.Untorn(tornPX), r.v.Untorn(tornPX)), prior, may)
	if best == nil {
		return nil
	}
	prior.Begin = best.cal.Settled
	// Now that its bend is known the line parts the metal otherwise at its ends.
	p := &parting{cal: best.cal, line: fitted(best.line, best.cal)}
	p.far = r.beyond(&p.line, p.cal)
	p.u, p.v = r.u.Moved(p.far, best.u), r.v.Moved(p.far, best.v)
	if next, err := mirror.Calibrate(&r.res.Frame, mirror.Sights(p.u.Untorn(tornPX), p.v.Untorn(tornPX)), prior); err == nil && misfit(next) < misfit(p.cal) {
		p.cal = next
	}
	return p
}

// counted bars all counts but that which was read.
func counted(c count) bool { return c.u == 0 && c.v == 0 }

// leftOver of what is left over at the rim is as much as a line that explains it may leave: its place is not sure yet.
const leftOver = 0.7

// parted is the likeliest of the counts of a line's far side that may be, with a fit that explains more than cal does; nil: none.
func (r *run) parted(line mirror.Fold, cal *mirror.Calibration, far []bool, sights []mirror.Sight, prior mirror.Prior, may func(count) bool) *trial {
	var inside []mirror.Sight
	outwards := 0
	for _, t := range sights {
		s, ok := across(&line, cal, t.PX, t.PY)
		if !ok || math.Abs(s) <= clearMM {
			continue
		}
		isFar := far[int(t.PY)*r.u.W+int(t.PX)]
		if isFar == (s > 0) {
			outwards++
		} else {
			outwards--
		}
		if !isFar {
			inside = append(inside, t)
		}
	}
	if outwards < 0 {
		line = line.Reversed()
	}
	near, err := r.nearSide(inside, prior)
	if err != nil {
		return nil
	}
	best := r.countAcross(near, &line, sights, far, prior, may)
	if best == nil || misfit(best.cal) >= misfit(cal) || amiss(best.cal) {
		return nil
	}
	best.line = line
	return best
}

// fitting fits the mirror model to the stripes counted so.
type fitting func(u, v *phase.Field) (*mirror.Calibration, error)

// amiss tells whether a part at the rim is left over, or the model misses by more than a panel's waviness.
func amiss(c *mirror.Calibration) bool { return c.Stray > strayWarn || c.RMSMM > goodModelMM }

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
	u, v := make([]float32, len(r.u.X)), make([]float32, len(r.v.X))
	nan := float32(math.NaN())
	rows.Do(r.u.H, func(y0, y1 int) {
		for i := y0 * r.u.W; i < y1*r.u.W; i++ {
			u[i], v[i] = r.u.X[i], r.v.X[i]
			if r.onSeamPX(i) {
				u[i] = nan
			}
		}
	})
	a, b := r.res.Frame.A.Centre, r.res.Frame.B.Centre
	ax, ay, _ := r.cam.Project(a)
	bx, by, _ := r.cam.Project(b)
	half := math.Hypot(bx-ax, by-ay) / 2
	surface.KeepMost(surface.Grid{Cols: r.u.W, Rows: r.u.H}, u, v, within((ax+bx)/2, (ay+by)/2, half))
	far := make([]bool, len(u))
	rows.Do(r.u.H, func(y0, y1 int) {
		for i := y0 * r.u.W; i < y1*r.u.W; i++ {
			far[i] = r.reads(i) && u[i] != u[i] && !r.onSeamPX(i)
		}
	})
	return far
}

const (
	// tornShare of the links torn asks for a count against the form: a deep crease alone tears 1.5 in a thousand, and there a count by
	// continuity that lost its bottom is better than one against the form; noise that lets patches slip tears five.
	tornShare = 3e-3
	// tornPX is how far around a slip of the order pixels are not believed.
	tornPX = 3
	// beyondPX is the side of the blocks of which the corners tell on which side of a line they lie.
	beyondPX = 8
	// maxCount bounds how many stripes a side may have been counted off.
	maxCount = 5
)

// place moves the smaller side of a feature line by whole stripes where the mirror model explains the whole better: few of the sights tell by how
// many, all must bear it out. The line hides stripes that run along it; where it lies aslant, others too. Stripes that run on across it are counted.
func (r *run) place(fold int, cal *mirror.Calibration, prior mirror.Prior, fit fitting) *mirror.Calibration {
	line := cal.Form.Folds[fold]
	side := r.beyond(&line, cal)
	alongU := math.Abs(math.Cos(line.Angle)) > math.Abs(math.Sin(line.Angle))
	for _, inU := range [2]bool{alongU, !alongU} {
		k := r.likely(side, inU, prior)
		if k == 0 || r.runsOn(&line, inU, cal) {
			continue
		}
		u, v := r.u, r.v
		if inU {
			u = u.Moved(side, k)
		} else {
			v = v.Moved(side, k)
		}
		if next, err := fit(u, v); err == nil && misfit(next) < misfit(cal) {
			cal, r.u, r.v = r.aligned(next), u, v
		}
	}
	return cal
}

// runsOn tells whether the stripes of a direction can be followed across a line.
func (r *run) runsOn(line *mirror.Fold, inU bool, cal *mirror.Calibration) bool {
	f := r.v
	if inU {
		f = r.u
	}
	w, h := r.u.W, r.u.H
	side := make([]int8, len(r.u.X))
	rows.Do((h+sidePX-1)/sidePX, func(b0, b1 int) {
		for y0 := b0 * sidePX; y0 < min(h, b1*sidePX); y0 += sidePX {
			for x0 := 0; x0 < w; x0 += sidePX {
				at := phase.Between
				if s, ok := across(line, cal, float64(x0)+sidePX/2, float64(y0)+sidePX/2); ok {
					switch {
					case s < -lineMM:
						at = phase.Near
					case s > lineMM:
						at = phase.Far
					}
				}
				for y := y0; y < min(h, y0+sidePX); y++ {
					for x := x0; x < min(w, x0+sidePX); x++ {
						side[y*w+x] = at
					}
				}
			}
		}
	})
	return f.RunsOn(side)
}

const (
	sidePX = 4    // side of the squares of which the middle tells on which side of a line they lie
	lineMM = 12.0 // to either side of a line, within which it may run and bend the metal
)

// likely is by how many stripes few of the sights say that a side was counted off.
func (r *run) likely(side []bool, alongU bool, prior mirror.Prior) (best int) {
	sights := mirror.Sights(r.u.Untorn(tornPX), r.v.Untorn(tornPX))
	try := func(k int) float64 {
		m := slices.Clone(sights)
		for i := range m {
			switch {
			case !side[int(m[i].PY)*r.u.W+int(m[i].PX)]:
			case alongU:
				m[i].U += float64(k) * r.u.PitchMM
			default:
				m[i].V += float64(k) * r.v.PitchMM
			}
		}
		rms, _, err := mirror.Misfit(&r.res.Frame, m, prior)
		if err != nil {
			return math.Inf(1)
		}
		return rms
	}
	least := try(0)
	for _, way := range [2]int{1, -1} {
		for k := 1; k <= maxCount; k++ {
			rms := try(way * k)
			if rms >= least {
				break
			}
			best, least = way*k, rms
		}
		if best != 0 {
			break
		}
	}
	return best
}

// across is how far, mm, what a place of the photo shows of the undamaged form lies beyond a line.
func across(line *mirror.Fold, cal *mirror.Calibration, px, py float64) (s float64, ok bool) {
	s, _, ok = acrossAlong(line, cal, px, py)
	return s, ok
}

// acrossAlong is across, and how far along the line that is.
func acrossAlong(line *mirror.Fold, cal *mirror.Calibration, px, py float64) (s, t float64, ok bool) {
	cam := &cal.Frame.Camera
	p, _, _, ok := cal.Form.Hit(cam.Centre, cam.Ray(px, py))
	if ok {
		s, t = line.Line(p.X, p.Y)
	}
	return s, t, ok
}

// beyond masks the pixels on the smaller side of a feature line.
func (r *run) beyond(line *mirror.Fold, cal *mirror.Calibration) []bool {
	over := func(x, y int) bool {
		s, ok := across(line, cal, float64(x)+0.5, float64(y)+0.5)
		return ok && s > 0
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

// alongStrip looks for a feature line where the stripes are lost along a strip, whose other side continuity counts by chance: of all counts
// that one is tried with which few of the sights fit a form with that line best, and kept if it explains more of the panel.
func (r *run) alongStrip(cal *mirror.Calibration, prior *mirror.Prior, fit fitting) *mirror.Calibration {
	line, ok := r.strip(stripPX)
	if !ok {
		return cal
	}
	start := *cal
	start.Form = mirror.NewForm()
	side := r.beyond(&line, &start)
	sights := mirror.Sights(r.u.Untorn(tornPX), r.v.Untorn(tornPX))
	alongU := math.Abs(math.Cos(line.Angle)) > math.Abs(math.Sin(line.Angle))
	least, best := math.Inf(1), [2]int{}
	var from *mirror.Start
	try := func(du, dv int) {
		m := slices.Clone(sights)
		for i := range m {
			if side[int(m[i].PY)*r.u.W+int(m[i].PX)] {
				m[i].U += float64(du) * r.u.PitchMM
				m[i].V += float64(dv) * r.v.PitchMM
			}
		}
		p := *prior
		p.Lines = []mirror.Fold{line}
		if v, found, err := mirror.Misfit(&r.res.Frame, m, p); err == nil && v < least {
			least, best, from = v, [2]int{du, dv}, found
		}
	}
	for k := -maxStrip; k <= maxStrip; k++ {
		if alongU {
			try(k, 0)
		} else {
			try(0, k)
		}
	}
	if from == nil {
		return cal
	}
	for at := best; ; at = best {
		try(at[0]+1, at[1])
		try(at[0]-1, at[1])
		try(at[0], at[1]+1)
		try(at[0], at[1]-1)
		if best == at {
			break
		}
	}
	prior.Begin = from
	u, v := r.u.Moved(side, best[0]), r.v.Moved(side, best[1])
	again, err := fit(u, v)
	if err != nil || misfit(again) >= stripBetter*misfit(cal) {
		prior.Begin = nil
		return cal
	}
	r.u, r.v = u, v
	return again
}

// strip finds the straight strip, right across what is seen, in which stripes are lost over up to twice reachPX: a feature line, its step unknown.
func (r *run) strip(reachPX int) (mirror.Fold, bool) {
	fr := &r.res.Frame
	half := (fr.B.Centre.X - fr.A.Centre.X) / 2
	lost := r.u.Doubtful(reachPX)
	for i, v := range r.v.Doubtful(reachPX) {
		lost[i] = lost[i] || v
	}
	type place struct{ x, y float64 }
	at := func(i int) place {
		ray := fr.Camera.Ray(float64(i%r.u.W)+0.5, float64(i/r.u.W)+0.5)
		z, p := 0.0, place{}
		for range 3 { // on the crown that the cards tell
			t := (z - fr.Camera.Centre.Z) / ray.Z
			p = place{fr.Camera.Centre.X + t*ray.X, fr.Camera.Centre.Y + t*ray.Y}
			z = -fr.SagMM * p.x * p.x / (half * half)
		}
		return p
	}
	var all []place
	for i, v := range lost {
		if v {
			all = append(all, at(i))
		}
	}
	var sound []place
	for i := 0; i < len(lost); i += 37 {
		if x := r.u.X[i] + r.v.X[i]; x == x && !lost[i] {
			sound = append(sound, at(i))
		}
	}
	const stepDeg, bin, run = 3, 3.0, 10.0
	most, lostMost, best := 0, 0, mirror.Fold{}
	for deg := 0; deg < 180; deg += stepDeg {
		sin, cos := math.Sincos(float64(deg) * math.Pi / 180)
		hit := map[int]map[int]int{}
		for _, p := range all {
			s, t := int(math.Floor((cos*p.x+sin*p.y)/bin)), int(math.Floor((cos*p.y-sin*p.x)/run))
			if hit[s] == nil {
				hit[s] = map[int]int{}
			}
			hit[s][t]++
		}
		for _, s := range slices.Sorted(maps.Keys(hit)) {
			n, lost := 0, 0
			for _, k := range hit[s] {
				lost += k
				if k >= 3 {
					n++
				}
			}
			if n < leastRuns || n < most || n == most && lost <= lostMost {
				continue
			}
			// How far sound metal reaches along the line, and that there is some on both sides.
			seen := map[int]bool{}
			var under, over int
			for _, p := range sound {
				d := (cos*p.x+sin*p.y)/bin - float64(s) - 0.5
				switch {
				case math.Abs(d) < 4:
					seen[int(math.Floor((cos*p.y-sin*p.x)/run))] = true
				case d < 0:
					under++
				default:
					over++
				}
			}
			if float64(n) > stripCovers*float64(len(seen)) && 25*min(under, over) > len(sound) {
				most, lostMost, best = n, lost, mirror.Fold{Angle: float64(deg) * math.Pi / 180, S0: (float64(s) + 0.5) * bin, Step: 0.03, Width: 6}
			}
		}
	}
	return best, most > 0
}

const (
	stripPX     = 6   // half the width of a strip without stripes
	maxStrip    = 6   // stripes that a strip may hide
	leastRuns   = 8   // of 10 mm that a strip runs through at least
	stripCovers = 0.6 // of its way over the panel
	stripBetter = 0.9 // the misfit with it over that without: ripples of sharp stripes feign strips
)

// reorderGrowth is how much more misfit a new count may leave than the metal beside the feature line did: the line itself fits a little
// worse than smooth metal, a side counted one stripe wrong several times as badly.
const reorderGrowth = 1.5

// reorder counts the stripes against the form found: across a feature line they run too densely to be counted by continuity alone, and in
// noise links slip. The count is kept where the mirror model bears it out.
func (r *run) reorder(cal *mirror.Calibration, prior mirror.Prior) *mirror.Calibration {
	like := cal
	u, v := r.u, r.v // as they were read: what was bridged where a line does not lie is lost
	for range mostReorders {
		next, ok := r.recount(u, v, like, cal.RMSMM, prior)
		if !ok {
			break
		}
		cal = r.aligned(next)
		if len(cal.Form.Folds) != len(like.Form.Folds) || !moved(cal, like) {
			break
		}
		like = cal
	}
	return cal
}

// mostReorders bounds how often the stripes are counted anew because a line turned out to lie elsewhere.
const mostReorders = 3

// recount counts the stripes against a form and fits another to them; ok is false, and all as before, where that misses by more than rms lets it.
func (r *run) recount(u, v *phase.Field, like *mirror.Calibration, rms float64, prior mirror.Prior) (next *mirror.Calibration, ok bool) {
	eu, ev := like.Expected(&like.Frame.Camera, r.u.W, r.u.H)
	var wg sync.WaitGroup
	wg.Go(func() { u = u.Reorder(eu) })
	v = v.Reorder(ev)
	wg.Wait()
	phase.Recount(u, v)
	if lines := like.Form.Folds; len(lines) > 0 {
		prior.Begin, prior.Lines = &mirror.Start{Lines: lines}, lines
	}
	// A patch across a kink averages what no place of the line shows, and would draw the line to it.
	sights := mirror.Sights(u.Untorn(0), v.Untorn(0))
	next, err := mirror.Calibrate(&r.res.Frame, sights, prior)
	if err != nil && like.Settled != nil {
		prior.Begin = like.Settled.With(like.Form.Folds)
		next, err = mirror.Calibrate(&r.res.Frame, sights, prior)
	}
	if err != nil || next.RMSMM > reorderGrowth*rms {
		return nil, false
	}
	r.u, r.v = u, v
	return next, true
}

// moved tells whether lines lie elsewhere than they were thought to by so much that stripes on them may be counted otherwise.
func moved(a, b *mirror.Calibration) bool {
	for k := range a.Form.Folds {
		f, g := &a.Form.Folds[k], &b.Form.Folds[k]
		if math.Abs(f.S0-g.S0) > movedMM || math.Abs(math.Remainder(f.Angle-g.Angle, 2*math.Pi)) > movedMM/lineReachMM {
			return true
		}
	}
	return false
}

const (
	movedMM     = 0.5
	lineReachMM = 150.0 // from its middle
)
