package phase

import (
	"math"
	"slices"

	"fairmetal/internal/rows"
)

// cellSums is what one look at the photo gathers on each cell. The photo counts in half swings from the middle of its local
// levels, the prediction from -1 to 1.
type cellSums struct {
	move  []float32 // edges: twice the distance they should move, turns, times their length, px
	edge  []float32 // edges: twice their length, px
	agree []float32 // photo times prediction
	pred2 []float32 // prediction squared
	real2 []float32 // photo squared
	photo []float32 // brightness
	pred  []float32 // prediction
	cross []float32 // brightness times prediction
	core  []float32 // agree, off the edges alone
	coreN []float32 // pred2, off the edges alone
	loud  []float32 // the photo, unbounded
}

func (s *cellSums) all() []*[]float32 {
	return []*[]float32{&s.move, &s.edge, &s.agree, &s.pred2, &s.real2, &s.photo, &s.pred, &s.cross, &s.core, &s.coreN, &s.loud}
}

// coreTurns is how far from an edge, in turns, the inside of a stripe begins: orange peel moves edges by a tenth of a turn.
const coreTurns = 0.1

// look compares photo and prediction.
//
// Square stripes: at an edge the photo differs from the prediction over the strip between the real edge and the predicted one;
// summed over the strip, with the sign of the step, the difference is 2 (twice the half swing) times its breadth. That holds for
// blurred edges and sine stripes too, whose differences on both sides of an edge cancel. The breadth counts in turns by the
// local slope of the prediction, and an edge counts as long as it runs through the cell.
//
// Cells whose prediction has hardly moved since keep what was gathered then, and those that do not count in among (nil: all do) wait until they
// count.
func (l *lock) look(how care, among []float32) {
	n := l.cols * l.rows
	for _, p := range l.sums.all() {
		if *p == nil {
			*p = make([]float32, n)
		}
	}
	if l.seen == nil {
		l.seen, l.due, l.now = make([]float32, n), make([]bool, n), make([]bool, n)
		for i := range l.seen {
			l.seen[i] = float32(math.NaN())
		}
	}
	l.callDue(how.still, among)
	l.measureSlope()
	l.each(l.now, func(first int, lines, turns [][]float32) {
		for k := first; k < first+l.cols; k++ {
			if !l.now[k] {
				continue
			}
			mid, gain, grad := l.levels.mid[k], 1/l.levels.half[k], l.slope[k]
			sharp := edgeSharpness(grad)
			x := (k - first) * l.q
			var move, edge, agree, pred2, real2, photo, pred, cross, core, coreN float32
			for y, line := range lines {
				t := turns[y][x : x+l.q]
				for i, v := range line[x : x+l.q] {
					g := bounded((v-mid)*gain, maxSwing)
					f, d, pole := nearestEdge(t[i])
					s := l.stripes(f, d, pole, sharp)
					move += (g - s) * pole
					edge += 1 - 16*d*d
					agree += g * s
					pred2 += s * s
					real2 += g * g
					if how.core && (d > coreTurns || d < -coreTurns) {
						core += g * s
						coreN += s * s
					}
					photo += v
					pred += s
					cross += v * s
				}
			}
			sums := &l.sums
			sums.move[k] = move * grad
			// 1 - 16 d^2 has the integral 1/3 between the middles of the stripes, d = -1/4 and 1/4.
			sums.edge[k] = 2 * 3 * edge * grad
			sums.agree[k], sums.pred2[k], sums.real2[k] = agree, pred2, real2
			sums.photo[k], sums.pred[k], sums.cross[k] = photo, pred, cross
			sums.core[k], sums.coreN[k], sums.loud[k] = core, coreN, (photo-mid*float32(l.q*l.q))*gain
		}
	})
}

// callDue picks the cells to look at now: those between nodes of which one has moved since. Stripes that cross others are looked at
// everywhere, since the others move as well.
func (l *lock) callDue(still float32, among []float32) {
	moved := l.now
	rows.Do(len(moved), func(k0, k1 int) {
		for k := k0; k < k1; k++ {
			d := l.phi.v[k] - l.seen[k]
			if moved[k] = l.other != nil || !(d < still && d > -still); moved[k] {
				l.seen[k] = l.phi.v[k]
			}
		}
	})
	rows.Do(l.rows, func(j0, j1 int) {
		for j := j0; j < j1; j++ {
			due := l.due[j*l.cols : (j+1)*l.cols]
			for y := max(0, j-1); y <= min(l.rows-1, j+1); y++ {
				for i, v := range moved[y*l.cols : (y+1)*l.cols] {
					if !v {
						continue
					}
					for x := max(0, i-1); x <= min(l.cols-1, i+1); x++ {
						due[x] = true
					}
				}
			}
		}
	})
	rows.Do(len(moved), func(k0, k1 int) {
		for k := k0; k < k1; k++ {
			l.now[k] = l.due[k] && (among == nil || among[k] > 0)
			l.due[k] = l.due[k] && !l.now[k]
		}
	})
}

// care is how carefully photo and prediction are compared.
type care struct {
	still float32 // turns by which a prediction has hardly moved
	core  bool    // the inside of the stripes is looked at by itself
}

var (
	// closely, at the end: still by a twentieth of what orange peel moves an edge by.
	closely = care{still: 0.004, core: true}
	// roughly, on the way: still by a quarter of it.
	roughly = care{still: 0.02}
)

// edgeSharpness is how steeply a predicted edge rises per turn, where a px is so many turns: a pixel is the mean of its square, and
// an edge as wide as a pixel.
func edgeSharpness(turnsPerPX float32) float32 { return 1 / max(0.5*turnsPerPX, 1e-3) }

// nearestEdge takes the part of a turn, 0 to 1, and the distance from the nearest edge there, whose pole is 1 where dark turns bright.
func nearestEdge(t float32) (part, d, pole float32) {
	part = t - float32(int32(t+floorBias)-floorBias)
	if part < 0.5 {
		return part, part - 0.25, -1
	}
	return part, part - 0.75, 1
}

// stripes is the brightness that is predicted there, -1 to 1.
func (l *lock) stripes(part, d, pole, sharp float32) float32 {
	if l.square {
		return pole * bounded(d*sharp, 1)
	}
	return cosTurns(part)
}

// bounded is v within -limit and limit; branches that seldom turn are quicker here than the built-in functions, which mind NaN and zero's
// sign.
func bounded(v, limit float32) float32 {
	if v > limit {
		return limit
	}
	if v < -limit {
		return -limit
	}
	return v
}

// floorBias makes a float's conversion to an integer, which cuts towards zero, a floor; no photo shows as many stripes.
const floorBias = 4096

// each visits the rows of cells, first the number of each one's first cell, with their lines of pixels and the turns predicted there; cells that
// are not due (nil: all are) may lack them, and rows without one that is are left out. Every row of cells is seen by one worker.
func (l *lock) each(due []bool, visit func(first int, lines, turns [][]float32)) {
	rows.Do(l.rows, func(j0, j1 int) {
		w := l.cols * l.q
		line := make([]float32, l.cols)
		var otherLine, otherTurns []float32
		if o := l.other; o != nil {
			otherLine, otherTurns = make([]float32, o.cols), make([]float32, o.cols*o.q)
		}
		lines, turns, own := make([][]float32, l.q), make([][]float32, l.q), make([][]float32, l.q)
		for y := range l.q {
			turns[y] = make([]float32, w)
			if l.other != nil {
				own[y] = make([]float32, w)
			}
		}
		for j := j0; j < j1; j++ {
			var here []bool
			if due != nil {
				if here = due[j*l.cols : (j+1)*l.cols]; !slices.Contains(here, true) {
					continue
				}
			}
			for k := range l.q {
				y := j*l.q + k
				l.phi.fine(y, 1, line, turns[k], here)
				p := (l.y0+y)*l.r.w + l.x0
				lines[k] = l.r.pix[p : p+w]
				if l.other != nil {
					copy(own[k], lines[k])
					l.other.takeOff(l.y0+y, l.x0, own[k], otherLine, otherTurns)
					lines[k] = own[k]
				}
			}
			visit(j*l.cols, lines, turns)
		}
	})
}

func (l *lock) measureSlope() {
	rows.Do(l.rows, func(j0, j1 int) {
		for j := j0; j < j1; j++ {
			for i := range l.cols {
				gx, gy := l.gradient(l.phi.v, i, j)
				l.slope[j*l.cols+i] = float32(math.Sqrt(float64(gx*gx + gy*gy)))
			}
		}
	})
}

// gradient of a raster at a cell, per px; one-sided at the rim.
func (l *lock) gradient(v []float32, i, j int) (gx, gy float32) {
	i0, i1, j0, j1 := max(0, i-1), min(l.cols-1, i+1), max(0, j-1), min(l.rows-1, j+1)
	gx = (v[j*l.cols+i1] - v[j*l.cols+i0]) / float32((i1-i0)*l.q)
	gy = (v[j1*l.cols+i] - v[j0*l.cols+i]) / float32((j1-j0)*l.q)
	return gx, gy
}

// purify measures how well photo and prediction agree over a window around each cell, 1 on undamaged metal, among the cells that
// count in among (nil: all).
func (l *lock) purify(among []float32) {
	agree, pred2, real2, dim := l.take(), l.take(), l.take(), l.take()
	rows.Do(len(agree), func(i0, i1 int) {
		for i := i0; i < i1; i++ {
			w := float32(1)
			if among != nil {
				w = among[i]
			}
			p := w * l.sums.pred2[i]
			agree[i], pred2[i], real2[i], dim[i] = w*l.sums.agree[i], p, w*l.sums.real2[i], l.dimmed(i)*p
		}
	})
	s := purityWindow * l.stripe
	for _, v := range [][]float32{agree, pred2, real2, dim} {
		l.smooth(v, s)
	}
	rows.Do(len(agree), func(i0, i1 int) {
		for i := i0; i < i1; i++ {
			full := max(pred2[i], 1e-3)
			// What swings less by lens and pixels must agree in where it runs, not in how far it swings.
			swing := float32(math.Sqrt(float64(full * max(real2[i], 0))))
			l.purity[i] = agree[i] / min(max(swing, dim[i], 1e-3), full)
		}
	})
	l.scratch.give(agree, pred2, real2, dim)
}

// dimmed is what lens and pixels may leave at a cell of the swing of stripes that crowd beside that of the undamaged ones around, which the levels
// hold: a blur of standard deviation s takes exp(-2 (pi s f)^2) off a wave of f turns a pixel.
func (l *lock) dimmed(i int) float32 {
	s := l.slope[i]
	return swingLeft((s*s - l.even[i]) * (2 * math.Pi * math.Pi * mostBlurPX * mostBlurPX))
}

// swingLeft is exp(-more), 1 at most and leastSwing at least.
func swingLeft(more float32) float32 {
	switch {
	case more <= 0:
		return 1
	case more < mostDimming:
		return swingTable[int32(more*swingSteps)]
	}
	return leastSwing // also of what is no number
}

// swingTable holds exp(-x) up to mostDimming in steps of 1/swingSteps, each at its middle.
var swingTable = func() (t [mostDimming * swingSteps]float32) {
	for i := range t {
		t[i] = float32(math.Exp(-(float64(i) + 0.5) / swingSteps))
	}
	return t
}()

const (
	swingSteps  = 1024
	mostDimming = 1.0625 // a little over -ln leastSwing
)

const (
	// mostBlurPX is the blur of photos whose stripes are still counted sharp: a defocus of a pixel, and a pixel's own breadth.
	mostBlurPX = 1.1
	// leastSwing of stripes that count as such: three times the noise of dark metallic paint.
	leastSwing = 0.35
)

// purityWindow in stripe pairs: an edge always lies inside.
const purityWindow = 0.4

// relevel fits the levels to the photo: brightness = mid + half x prediction, over a window that holds some stripes. What was gathered
// under other levels is forgotten.
func (l *lock) relevel() {
	s := levelWindow * l.stripe
	fit := func(a []float32) []float32 {
		multiply(a, l.weight)
		l.smooth(a, s)
		return a
	}
	ones := l.take()
	for i := range ones {
		ones[i] = float32(l.q * l.q)
	}
	n, photo, pred, cross, pred2 := fit(ones), fit(l.copied(l.sums.photo)), fit(l.copied(l.sums.pred)), fit(l.copied(l.sums.cross)), fit(l.copied(l.sums.pred2))
	for i := range n {
		det := n[i]*pred2[i] - pred[i]*pred[i]
		if n[i] < 1 || det < 0.05*n[i]*n[i] {
			continue // too little to go by: one stripe at most
		}
		if half := (n[i]*cross[i] - photo[i]*pred[i]) / det; half > 0 {
			mid := (photo[i] - half*pred[i]) / n[i]
			if a, b := half-l.levels.half[i], mid-l.levels.mid[i]; max(a, -a)+max(b, -b) > levelStill*half {
				l.seen[i] = float32(math.NaN())
			}
			l.levels.half[i], l.levels.mid[i] = half, mid
		}
	}
	l.scratch.give(n, photo, pred, cross, pred2)
}

// levelWindow in stripe pairs: wide enough to hold both levels everywhere, narrow enough to follow the light.
const levelWindow = 1.5

// levelStill is by how much of the half swing levels may change without a new look: less than noise does.
const levelStill = 0.02

// take is scratch of a number for each cell, which holds anything.
func (l *lock) take() []float32 { return l.scratch.take(l.cols * l.rows) }

func (l *lock) copied(v []float32) []float32 {
	out := l.take()
	copy(out, v)
	return out
}

// smooth smooths a raster of cells in place.
func (l *lock) smooth(v []float32, sigma float64) {
	tmp := l.take()
	smoothIn(v, tmp, l.cols, l.rows, sigma)
	l.scratch.give(tmp)
}

// multiply multiplies a by b.
func multiply(a, b []float32) {
	b = b[:len(a)]
	for i, v := range b {
		a[i] *= v
	}
}

func meanOf(v, w []float32) float32 {
	var s, n float64
	for i := range v {
		s += float64(v[i] * w[i])
		n += float64(w[i])
	}
	return float32(s / max(n, 1))
}
