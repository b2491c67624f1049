package phase

import (
	"math"

	"fairmetal/internal/rows"
)

// lock is the phase-locked loop: the predicted turns on cells of q px over the part of the photo that shows stripes.
type lock struct {
	r      *raster
	square bool
	x0, y0 int     // px of the first cell's corner in the working photo
	q      int     // px
	stripe float64 // cells a stripe pair
	cols   int
	rows   int
	phi    grid      // predicted turns at the cells' middles
	trend  []float32 // the carrier there
	levels levels    // on these cells
	bare   []float32 // 1: paint; 0: covered
	trust  []float32 // 1: followed, or on trial; 0: not
	weight []float32 // trust times agreement: how much a cell takes part
	purity []float32 // agreement of photo and prediction
	slope  []float32 // size of the gradient of phi, turns per px
	even   []float32 // of that of the trend, squared
	sums   cellSums
	ok     []bool     // cells to be believed
	folded []bool     // cells enclosed by them that cannot be
	holes  []bool     // cells that cannot be read, in places thicker than a seam
	seam   []bool     // cells on a feature line that cuts the stripes; nil: none
	faint  *faintSeam // nil: none
	middle float64    // turns that were taken off the prediction to count from the board's middle
	seen   []float32  // the prediction at the last look at each cell
	due    []bool     // cells to look at when they count
	now    []bool     // those of the last look
	other  *lock      // of stripes that cross these; nil: none

	scratch scratch // of a number for each cell
}

// cellsPerStripe: as many nodes on a stripe pair carry bends of the stripes down to half its width.
const cellsPerStripe = 4.5

func newLock(r *raster, c *carrier, square bool) *lock {
	l := &lock{r: r, square: square, q: max(2, int(math.Round(c.period/cellsPerStripe)))}
	l.stripe = c.period / float64(l.q)
	l.x0, l.y0 = max(0, c.x0), max(0, c.y0)
	l.cols, l.rows = (min(c.x1, r.w)-l.x0)/l.q, (min(c.y1, r.h)-l.y0)/l.q
	n := l.cols * l.rows
	if float64(n) < minStripes*cellsPerStripe*cellsPerStripe || l.cols < minSide || l.rows < minSide {
		return nil
	}
	l.phi = newGrid(l.cols*l.q, l.rows*l.q, l.q)
	l.bare = r.bare(l.x0, l.y0, l.q, l.cols, l.rows)
	l.levels = levels{make([]float32, n), make([]float32, n)}
	for _, p := range []*[]float32{&l.trust, &l.weight, &l.purity, &l.trend, &l.slope, &l.even} {
		*p = make([]float32, n)
	}
	t := terms()
	mid, half := grid{c.cols, c.rows, c.q, c.levels.mid}, grid{c.cols, c.rows, c.q, c.levels.half}
	rows.Do(l.rows, func(j0, j1 int) {
		for j := j0; j < j1; j++ {
			for i := range l.cols {
				k := j*l.cols + i
				px, py := float64(l.x0)+(float64(i)+0.5)*float64(l.q), float64(l.y0)+(float64(j)+0.5)*float64(l.q)
				l.trend[k] = float32(c.at(px, py, t))
				l.phi.v[k] = l.trend[k]
				l.levels.mid[k], l.levels.half[k] = mid.at(px, py), half.at(px, py)
			}
		}
	})
	for j := range l.rows {
		for i := range l.cols {
			tx, ty := l.gradient(l.trend, i, j)
			l.even[j*l.cols+i] = tx*tx + ty*ty
		}
	}
	return l
}

// minSide of the part with stripes, cells: three stripe pairs.
const minSide = 14

// acquire takes the phase against the trend from a window of half a stripe pair and makes it continuous. It tells whether there
// is anything to follow.
func (l *lock) acquire() bool {
	n := l.cols * l.rows
	re, im := l.take(), l.take()
	l.each(nil, func(first int, lines, turns [][]float32) {
		for k := first; k < first+l.cols; k++ {
			if l.bare[k] == 0 {
				re[k], im[k] = 0, 0
				continue
			}
			mid, gain, x := l.levels.mid[k], 1/l.levels.half[k], (k-first)*l.q
			var a, b float32
			for y, line := range lines {
				t := turns[y][x : x+l.q]
				for i, v := range line[x : x+l.q] {
					g := bounded((v-mid)*gain, maxSwing)
					sin, cos := sincosTurns(t[i])
					a += g * cos
					b -= g * sin
				}
			}
			re[k], im[k] = a, b
		}
	})
	s := acquireWindow * l.stripe
	l.smooth(re, s)
	l.smooth(im, s)
	psi, ok := make([]float32, n), make([]bool, n)
	for i := range re {
		l.purity[i] = float32(math.Hypot(float64(re[i]), float64(im[i]))) / float32(l.q*l.q)
		psi[i] = float32(math.Atan2(float64(im[i]), float64(re[i])) / (2 * math.Pi))
		ok[i] = l.purity[i] > minPurity && l.bare[i] > 0
	}
	l.scratch.give(re, im)
	ok = follow(psi, l.purity, ok, l.cols, l.rows)
	if ok == nil {
		return false
	}
	l.bridge(psi, ok)
	for i := range psi {
		l.phi.v[i] += psi[i]
		l.trust[i] = 0
		if ok[i] {
			l.trust[i] = 1
		}
	}
	return true
}

// acquireWindow in stripe pairs: it passes stripes a third denser or wider than the trend by two thirds and keeps their double
// frequency out.
const acquireWindow = 0.5

// bridge fills what is not ok by a smooth continuation of its surroundings: wider and wider windows reach farther into the gaps.
func (l *lock) bridge(v []float32, ok []bool) {
	known, val := make([]float32, len(v)), make([]float32, len(v))
	for i := range v {
		if ok[i] {
			known[i], val[i] = 1, v[i]
		}
	}
	const told = 0.02 // of the window
	for s, left := 1.0, true; left && s < float64(l.cols+l.rows); s *= 2 {
		num, den := smooth(val, l.cols, l.rows, s), smooth(known, l.cols, l.rows, s)
		left = false
		for i := range v {
			switch {
			case known[i] > 0:
			case den[i] > told:
				v[i] = num[i] / den[i]
				known[i], val[i] = 1, v[i]
			default:
				left = true
			}
		}
	}
}

// The loop's rounds. Each gives the cells around the followed ones a trial, so that it works its way inwards where a dent or a
// high crowds or spreads the stripes: trials rounds reach some three stripe pairs. The plate starts stiff, to settle the whole, and
// then bends as the stripes do; the last rounds are for those that passed alone.
var (
	stiffSpans = []float64{0.32, 0.21} // plate's span of the first rounds, stripe pairs
	span       = 0.15                  // of all others: bends of half a stripe pair pass
)

const (
	trials = 7
	finals = 3
	// Steps of the plate's solver. The next round goes on; half as many again change nothing that is measured, as the panels of docs/accuracy.md
	// have it.
	trialSteps = 10
	finalSteps = 16
)

var roundsInAll = len(stiffSpans) + trials + finals

// round is the n-th of the loop.
func (l *lock) round(n int) {
	first := roundsInAll - finals
	if n > 0 && n < first {
		l.reach()
	}
	if n == first {
		l.forget()
	}
	if n < first {
		l.look(roughly, l.trust)
	} else {
		l.look(closely, l.trust)
	}
	l.weigh()
	if n == 0 || n == 2 || n == first {
		l.relevel()
	}
	switch {
	case n < len(stiffSpans):
		l.move(stiffSpans[n], trialSteps)
	case n >= first:
		l.move(span, finalSteps)
	default:
		l.move(span, trialSteps)
	}
}

// move brings the prediction to the edges by a plate that spans so many stripe pairs.
func (l *lock) move(span float64, steps int) {
	psi, w, m := l.take(), l.take(), l.take()
	rows.Do(len(psi), func(i0, i1 int) {
		for i := i0; i < i1; i++ {
			t := l.weight[i]
			w[i], m[i] = t*l.sums.edge[i], t*l.sums.move[i]
			psi[i] = l.phi.v[i] - l.trend[i]
		}
	})
	// The plate's balance of edges and stiffness, w = stiff k^4, puts the wave number k that passes by half at 1/span.
	stiff := meanOf(l.sums.edge, l.trust) * float32(math.Pow(span*l.stripe, 4))
	d := plate(psi, w, m, l.seam, l.cols, l.rows, stiff, steps, &l.scratch)
	rows.Do(len(d), func(i0, i1 int) {
		for i := i0; i < i1; i++ {
			l.phi.v[i] += min(max(d[i], -maxMove), maxMove)
		}
	})
	l.scratch.give(psi, w, m, d)
}

// maxMove in turns: an edge farther off than a quarter may be the next one.
const maxMove = 0.2

// weigh lets each cell on trust take part as far as it agrees with the photo; where it doesn't at all, or shows something that is
// no stripe, trust ends.
func (l *lock) weigh() {
	l.purify(l.trust)
	loud := loudSwing * float32(l.q*l.q)
	if l.other != nil {
		loud *= 2 // where the stripes that cross are not known they stay in
	}
	rows.Do(len(l.trust), func(i0, i1 int) {
		for i := i0; i < i1; i++ {
			t := l.trust[i]
			if v := l.sums.loud[i]; v > loud || v < -loud {
				t = 0
			}
			l.weight[i] = t * min(max((l.purity[i]-trustNone)/(trustFull-trustNone), 0), 1)
			if l.weight[i] == 0 {
				l.trust[i] = 0
			}
		}
	})
}

const (
	// Agreement with which a cell takes part in full, and not at all. Stripes predicted at random agree by 0, half a turn off by -1.
	trustFull, trustNone = 0.75, 0.45
	// loudSwing is how far off the middle, in half swings, a cell's mean is none of the stripes: a card's paper in dark paint. Sharp
	// stripes reach 1, those blurred to a sine pi/2, and the levels are known to a tenth.
	loudSwing = 2
)

// reach continues the prediction over the rim of the trusted cells, by their value and slope, and gives those cells a trial.
func (l *lock) reach() {
	gx, gy, known := l.take(), l.take(), make([]bool, len(l.trust))
	rows.Do(l.rows, func(j0, j1 int) {
		for j := j0; j < j1; j++ {
			for i := range l.cols {
				k := j*l.cols + i
				if l.trust[k] == 0 {
					continue
				}
				sx, okX := l.step(k, 1, i > 0, i+1 < l.cols)
				sy, okY := l.step(k, l.cols, j > 0, j+1 < l.rows)
				if okX && okY {
					known[k], gx[k], gy[k] = true, sx, sy
				}
			}
		}
	})
	kernel := gaussKernel(reachWindow)
	near := within(known, l.cols, l.rows, len(kernel)-1)
	rows.Do(l.rows, func(j0, j1 int) {
		for j := j0; j < j1; j++ {
			for i := range l.cols {
				if k := j*l.cols + i; near[k] && l.trust[k] == 0 && l.bare[k] > 0 {
					if sum, all := l.tangents(i, j, known, kernel, gx, gy); all >= reachTold {
						l.phi.v[k], l.trust[k] = sum/all, 1
					}
				}
			}
		}
	})
	l.scratch.give(gx, gy)
}

// tangents adds up what the tangents at the known cells around say of one cell, weighted by a kernel, and the weights.
func (l *lock) tangents(i, j int, known []bool, kernel, gx, gy []float32) (sum, all float32) {
	half := len(kernel) - 1
	for y := max(0, j-half); y <= min(l.rows-1, j+half); y++ {
		dy := j - y
		wy := kernel[max(dy, -dy)]
		for x := max(0, i-half); x <= min(l.cols-1, i+half); x++ {
			if k, dx := y*l.cols+x, i-x; known[k] {
				w := wy * kernel[max(dx, -dx)]
				all += w
				sum += w * (l.phi.v[k] + gx[k]*float32(dx) + gy[k]*float32(dy))
			}
		}
	}
	return sum, all
}

const (
	reachWindow = 1.2  // cells
	reachTold   = 0.02 // of the window: two cells beyond a straight rim
)

// step is the change of the prediction from cell to cell along one direction, among trusted cells.
func (l *lock) step(k, d int, before, after bool) (s float32, ok bool) {
	before, after = before && l.trust[k-min(d, k)] > 0, after && l.trust[min(k+d, len(l.trust)-1)] > 0
	switch {
	case before && after:
		return (l.phi.v[k+d] - l.phi.v[k-d]) / 2, true
	case before:
		return l.phi.v[k] - l.phi.v[k-d], true
	case after:
		return l.phi.v[k+d] - l.phi.v[k], true
	}
	return 0, false
}
