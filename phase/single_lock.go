package phase

import (
	"math"

	"fairmetal/internal/rows"
)

// lock is the phase-locked loop: the predicted turns on cells of q px over the part of the photo that shows stripes.
type lock struct {
	r      *raster
	c      *carrier
	square bool
	x0, y0 int // px of the first cell's corner in the working photo
	q      int
	cols   int
	rows   int
	phi    grid      // predicted turns at the cells' middles
	levels levels    // on these cells
	trust  []float32 // 0 to 1: how much a cell takes part
	purity []float32
	slope  []float32 // size of the gradient of phi, turns per px
	sums   cellSums
	ok     []bool // cells to be believed
	folded []bool // cells enclosed by them that cannot
}

// cellSums is what one look at the photo gathers on each cell.
type cellSums struct {
	move   []float32 // edges: twice the distance that they should move, turns x px
	edge   []float32 // edges: twice their length, px
	agree  []float32 // photo x prediction
	pred2  []float32 // prediction squared
	sumI   []float32
	sumS   []float32
	sumIS  []float32
	count  []float32
	differ []float32 // |photo - prediction|
}

func newLock(r *raster, c *carrier, square bool) *lock {
	l := &lock{r: r, c: c, square: square, q: max(2, int(math.Round(c.period/cellsPerStripe)))}
	l.x0, l.y0 = max(0, c.x0), max(0, c.y0)
	l.cols, l.rows = (min(c.x1, r.w)-l.x0)/l.q, (min(c.y1, r.h)-l.y0)/l.q
	l.phi = newGrid(l.cols*l.q, l.rows*l.q, l.q)
	t := terms()
	n := l.cols * l.rows
	l.levels = levels{make([]float32, n), make([]float32, n)}
	l.trust = make([]float32, n)
	rows.Do(l.rows, func(j0, j1 int) {
		for j := j0; j < j1; j++ {
			for i := range l.cols {
				k := j*l.cols + i
				px, py := float64(l.x0)+(float64(i)+0.5)*float64(l.q), float64(l.y0)+(float64(j)+0.5)*float64(l.q)
				l.phi.v[k] = float32(c.at(px, py, t))
				m := min(int(py)/c.q, c.rows-1)*c.cols + min(int(px)/c.q, c.cols-1)
				l.levels.mid[k], l.levels.half[k] = c.levels.mid[m], c.levels.half[m]
				l.trust[k] = 1
			}
		}
	})
	return l
}

// cellsPerStripe: five nodes on a stripe pair carry bends of the stripes down to half its width.
const cellsPerStripe = 5

// each visits the rows of pixels with their predicted turns; every row of cells is seen by one worker.
func (l *lock) each(visit func(first int, row, t []float32)) {
	rows.Do(l.rows, func(j0, j1 int) {
		line, t := make([]float32, l.cols), make([]float32, l.cols*l.q)
		for y := j0 * l.q; y < j1*l.q; y++ {
			l.phi.row(y, line, t)
			p := (l.y0+y)*l.r.w + l.x0
			visit(y/l.q*l.cols, l.r.pix[p:p+l.cols*l.q], t)
		}
	})
}

// acquire takes the phase against the trend from a window of half a stripe pair and makes it continuous.
func (l *lock) acquire() bool {
	n := l.cols * l.rows
	if n < minStripeCells {
		return false
	}
	re, im := make([]float32, n), make([]float32, n)
	l.each(func(first int, row, t []float32) {
		k, x := first, 0
		for range l.cols {
			mid, gain := l.levels.mid[k], 1/l.levels.half[k]
			var a, b float32
			for range l.q {
				g := min(max((row[x]-mid)*gain, -maxSwing), maxSwing)
				sin, cos := sincosTurns(t[x])
				a += g * cos
				b -= g * sin
				x++
			}
			re[k] += a
			im[k] += b
			k++
		}
	})
	sigma := 0.5 * cellsPerStripe
	re, im = smooth(re, l.cols, l.rows, sigma), smooth(im, l.cols, l.rows, sigma)
	l.purity = make([]float32, n)
	psi := make([]float32, n)
	for i := range re {
		l.purity[i] = float32(math.Hypot(float64(re[i]), float64(im[i]))) / float32(l.q*l.q)
		psi[i] = float32(math.Atan2(float64(im[i]), float64(re[i])) / (2 * math.Pi))
	}
	traceV("acq_purity", l.cols, l.rows, l.purity)
	traceV("acq_psi", l.cols, l.rows, psi)
	ok := make([]bool, n)
	for i, p := range l.purity {
		ok[i] = p > minPurity
	}
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
	traceV("acq_phi", l.cols, l.rows, psi)
	return true
}

// bridge fills what is not ok by a smooth continuation of its surroundings.
func (l *lock) bridge(v []float32, ok []bool) {
	n := len(v)
	known := make([]float32, n)
	val := make([]float32, n)
	for i := range v {
		if ok[i] {
			known[i], val[i] = 1, v[i]
		}
	}
	// Wider and wider windows reach farther and farther into the gaps.
	left := true
	for s := 1.0; left && s < 200; s *= 2 {
		num, den := smooth(val, l.cols, l.rows, s), smooth(known, l.cols, l.rows, s)
		left = false
		for i := range v {
			if ok[i] || known[i] > 0 {
				continue
			}
			if den[i] > 0.02 {
				v[i] = num[i] / den[i]
			} else {
				left = true
			}
		}
		for i := range v {
			if known[i] == 0 && den[i] > 0.02 {
				known[i], val[i] = 1, v[i]
			}
		}
	}
}

// look compares photo and prediction.
func (l *lock) look() {
	n := l.cols * l.rows
	if l.sums.move == nil {
		for _, p := range []*[]float32{&l.sums.move, &l.sums.edge, &l.sums.agree, &l.sums.pred2, &l.sums.sumI, &l.sums.sumS, &l.sums.sumIS, &l.sums.count, &l.sums.differ} {
			*p = make([]float32, n)
		}
		l.slope = make([]float32, n)
	}
	for _, p := range [][]float32{l.sums.move, l.sums.edge, l.sums.agree, l.sums.pred2, l.sums.sumI, l.sums.sumS, l.sums.sumIS, l.sums.count, l.sums.differ} {
		clear(p)
	}
	l.measureSlope()
	l.each(func(first int, row, t []float32) {
		k, x := first, 0
		for range l.cols {
			mid, gain := l.levels.mid[k], 1/l.levels.half[k]
			grad := l.slope[k]
			// A pixel's mean over an edge: the edge is as wide as the pixel.
			sharp := 1 / max(0.5*grad, 1e-3)
			var move, edge, agree, pred2, sI, sS, sIS, differ float32
			for range l.q {
				v := row[x]
				g := min(max((v-mid)*gain, -maxSwing), maxSwing)
				f := t[x] - float32(int32(t[x]+4096)-4096)
				var d, pol float32
				if f < 0.5 {
					d, pol = f-0.25, -1
				} else {
					d, pol = f-0.75, 1
				}
				var s float32
				if l.square {
					s = pol * min(max(d*sharp, -1), 1)
				} else {
					_, s = sincosTurns(f)
				}
				e := g - s
				move += e * pol
				u := 1 - 16*d*d // 0 half-way to the next edges
				edge += u
				agree += g * s
				pred2 += s * s
				differ += max(e, -e)
				sI += v
				sS += s
				sIS += v * s
				x++
			}
			l.sums.move[k] += move * grad
			// The integral of 1-16 d^2 between -1/4 and 1/4 is 1/3.
			l.sums.edge[k] += 2 * 3 * edge * grad
			l.sums.agree[k] += agree
			l.sums.pred2[k] += pred2
			l.sums.differ[k] += differ
			l.sums.sumI[k] += sI
			l.sums.sumS[k] += sS
			l.sums.sumIS[k] += sIS
			k++
		}
	})
}

func (l *lock) measureSlope() {
	rows.Do(l.rows, func(j0, j1 int) {
		for j := j0; j < j1; j++ {
			for i := range l.cols {
				k := j*l.cols + i
				gx, gy := l.gradient(l.phi.v, i, j)
				l.slope[k] = float32(math.Sqrt(float64(gx*gx + gy*gy)))
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

// weighted smooths a times trust.
func (l *lock) weighted(a []float32, sigma float64) []float32 {
	b := make([]float32, len(a))
	for i, v := range a {
		b[i] = v * l.trust[i]
	}
	return smooth(b, l.cols, l.rows, sigma)
}

var Schedule = []float64{0.5, 0.5, 0.4, 0.35, 0.35, 0.3, 0.3, 0.3}

// settle runs the loop.
func (l *lock) settle() {
	for round, win := range Schedule {
		l.look()
		if round < 3 {
			l.relevel()
			l.look()
		}
		sigma := win * cellsPerStripe
		move, edge := l.weighted(l.sums.move, sigma), l.weighted(l.sums.edge, sigma)
		agree, pred2 := smooth(l.sums.agree, l.cols, l.rows, 0.5*cellsPerStripe), smooth(l.sums.pred2, l.cols, l.rows, 0.5*cellsPerStripe)
		mean := meanOf(edge, l.trust)
		for i := range move {
			d := move[i] / (edge[i] + 0.1*mean)
			l.phi.v[i] += min(max(d, -0.2), 0.2)
			l.purity[i] = agree[i] / max(pred2[i], 1e-3)
		}
		traceV("purity_"+string(rune('0'+round)), l.cols, l.rows, l.purity)
	}
	l.look()
	traceV("phi", l.cols, l.rows, l.phi.v)
	traceV("slope", l.cols, l.rows, l.slope)
	traceV("differ", l.cols, l.rows, l.sums.differ)
	traceV("trust", l.cols, l.rows, l.trust)
	traceV("half", l.cols, l.rows, l.levels.half)
}

func meanOf(v, w []float32) float32 {
	var s, n float64
	for i := range v {
		s += float64(v[i] * w[i])
		n += float64(w[i])
	}
	return float32(s / max(n, 1))
}

// relevel fits the levels to the photo: brightness = mid + half x prediction over a window of 1.5 stripe pairs.
func (l *lock) relevel() {
	for i := range l.sums.count {
		l.sums.count[i] = float32(l.q * l.q)
	}
	s := 1.5 * cellsPerStripe
	n, sI, sS := l.weighted(l.sums.count, s), l.weighted(l.sums.sumI, s), l.weighted(l.sums.sumS, s)
	sIS, sSS := l.weighted(l.sums.sumIS, s), l.weighted(l.sums.pred2, s)
	for i := range n {
		det := n[i]*sSS[i] - sS[i]*sS[i]
		if n[i] < 1 || det < 0.05*n[i]*n[i] {
			continue
		}
		half := (n[i]*sIS[i] - sI[i]*sS[i]) / det
		if half > 0 {
			l.levels.half[i] = half
			l.levels.mid[i] = (sI[i] - half*sS[i]) / n[i]
		}
	}
}
