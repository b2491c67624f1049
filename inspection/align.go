package inspection

import (
	"math"
	"slices"

	"fairmetal/internal/rows"
	"fairmetal/mirror"
)

// aligned is a calibration whose feature lines lie, and are as wide, as the stripes on them say whatever their count: the metal on both sides
// tells neither, and on the line itself the stripes may have been counted wrong.
func (r *run) aligned(cal *mirror.Calibration) *mirror.Calibration {
	if len(cal.Form.Folds) == 0 {
		return cal
	}
	out := *cal
	out.Form.Folds = slices.Clone(cal.Form.Folds)
	for k := range out.Form.Folds {
		r.align(&out, k)
	}
	return &out
}

// align sets place, turn, bend and width of line k to those with which the form mirrors the stripes on it best.
func (r *run) align(cal *mirror.Calibration, k int) {
	line := &cal.Form.Folds[k]
	var all []placed
	for y := 0; y < r.u.H; y += alignStepPX {
		for x := 0; x < r.u.W; x += alignStepPX {
			if s, t, ok := acrossAlong(line, cal, float64(x)+0.5, float64(y)+0.5); ok && math.Abs(s) < alignMM {
				all = append(all, placed{y*r.u.W + x, t})
			}
		}
	}
	on := thinned(all, alignPixels)
	if len(on) < leastAligned {
		return
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, p := range on {
		lo, hi = min(lo, p.t), max(hi, p.t)
	}
	mid, half := (lo+hi)/2, max(1, (hi-lo)/2)
	// fits are how well the form fits with another line, in each piece of its way.
	fits := func(f mirror.Fold) (pieces [alignPieces]float64) {
		c := *cal
		c.Form.Folds = slices.Clone(cal.Form.Folds)
		c.Form.Folds[k] = f
		parts := make([][alignPieces]float64, (len(on)+alignBlock-1)/alignBlock)
		rows.Do(len(parts), func(b0, b1 int) {
			for b := b0; b < b1; b++ {
				for _, p := range on[b*alignBlock : min(len(on), (b+1)*alignBlock)] {
					piece := min(alignPieces-1, int((p.t-lo)/(2*half)*alignPieces))
					parts[b][piece] += r.agrees(&c, p.i)
				}
			}
		})
		for _, p := range parts {
			for j, v := range p {
				pieces[j] += v
			}
		}
		return pieces
	}
	total := func(f mirror.Fold) (sum float64) {
		for _, v := range fits(f) {
			sum += v
		}
		return sum
	}
	best := *line
	most := total(best)
	try := func(f mirror.Fold, better float64) {
		if v := total(f); v > most+(better-1)*math.Abs(most) {
			best, most = f, v
		}
	}
	for w := alignNarrow; w <= alignWide; w *= 1.5 {
		f := *line
		f.Width, f.Arc = w, true
		var table [alignPlaces][alignPieces]float64
		for d := range table {
			g := f
			g.S0 += float64(d-alignPlaces/2) * alignStepMM
			table[d] = fits(g)
		}
		at, _, _ := likeliest(&table, 0)
		try(shiftedLine(f, at*alignStepMM, 0, 0, mid, half), 1)
		at, turn, bend := likeliest(&table, 1)
		try(shiftedLine(f, at*alignStepMM, turn*alignStepMM, bend*alignStepMM, mid, half), plainlyTurned)
	}
	tails := best
	tails.Arc = false
	tails.Width /= mirror.ArcOfTails
	try(tails, 1)
	for step := 0.5; step > 0.1; step /= 2 {
		for _, d := range [2]float64{-step, step} {
			try(shiftedLine(best, d, 0, 0, mid, half), 1)
			try(shiftedLine(best, 0, d, 0, mid, half), plainlyTurned)
			try(shiftedLine(best, 0, 0, d, mid, half), plainlyTurned)
			f := best
			f.Width *= 1 + d/2
			try(f, 1)
		}
	}
	*line = best
}

// placed is a pixel and how far along a line it shows metal, mm.
type placed struct {
	i int
	t float64
}

// likeliest is the place at the middle of a line's way, by how much more it lies aside at the end, and by how much more at both ends, all in steps, with which its
// pieces fit best; of a line that is not free, 0, the place alone.
func likeliest(table *[alignPlaces][alignPieces]float64, free int) (at, turn, bend float64) {
	most := math.Inf(-1)
	const h = alignPlaces / 2
	for a := -h; a <= h; a++ {
		for b := -h * free; b <= h*free; b++ {
			for c := -alignBend * free; c <= alignBend*free; c++ {
				sum := 0.0
				for j := range alignPieces {
					q := (2*float64(j)+1)/alignPieces - 1
					d := float64(a) + float64(b)*q + float64(c)*q*q + h
					n := int(math.Floor(d))
					if n < 0 || n+1 >= alignPlaces {
						sum = math.Inf(-1)
						break
					}
					sum += table[n][j] + (d-float64(n))*(table[n+1][j]-table[n][j])
				}
				if sum > most {
					most, at, turn, bend = sum, float64(a), float64(b), float64(c)
				}
			}
		}
	}
	return at, turn, bend
}

// shiftedLine is a line that lies at mm further at the middle of its way, by turn more half a way on and by turn less half a way back, and by bend more at both.
func shiftedLine(f mirror.Fold, at, turn, bend, mid, half float64) mirror.Fold {
	beta, gamma := turn/half, bend/(half*half)
	s0 := f.S0 + at - beta*mid + gamma*mid*mid
	d := -math.Atan(beta - 2*gamma*mid)
	return mirror.Fold{Angle: f.Angle + d, S0: s0 * math.Cos(d), Bend: f.Bend + gamma, Step: f.Step, Width: f.Width, Arc: f.Arc}.Prepared()
}

// agrees is how well what a pixel sees of a form fits the stripes there, by their swing.
func (r *run) agrees(cal *mirror.Calibration, i int) float64 {
	cam := &cal.Frame.Camera
	ray := cam.Ray(float64(i%r.u.W)+0.5, float64(i/r.u.W)+0.5)
	p, zx, zy, ok := cal.Form.Hit(cam.Centre, ray)
	if !ok {
		return 0
	}
	u, v, ok := cal.Board.Reflect(ray, p, zx, zy)
	if !ok {
		return 0
	}
	return r.u.Agrees(i, u+cal.ShiftU) + r.v.Agrees(i, v+cal.ShiftV)
}

// thinned is at most about n of what there is, evenly.
func thinned(all []placed, n int) []placed {
	step := (len(all) + n - 1) / n
	if step < 2 {
		return all
	}
	out := make([]placed, 0, n)
	for i := 0; i < len(all); i += step {
		out = append(out, all[i])
	}
	return out
}

const (
	alignStepPX  = 2
	alignMM      = 14.0 // beside a line
	alignPixels  = 1600
	leastAligned = 100
	alignBlock   = 64
	alignPieces  = 8
	alignNarrow  = 1.5 // mm wide
	alignWide    = 18.0
	alignStepMM  = 0.75 // aside
	alignPlaces  = 25   // steps
	alignBend    = 2    // steps more at both ends
	// plainlyTurned is how much better a line must fit that lies or bends otherwise than the metal on both sides has it.
	plainlyTurned = 1.02
)
