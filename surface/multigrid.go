package surface

import (
	"sync/atomic"

	"fairmetal/internal/rows"
)

// level is a graph Laplacian on a raster: wx couples a cell with the next of its row, wy with the one below. All its arrays have a row of
// zeros above the raster and one below, so that no cell asks whether it has neighbours: couplings over the rim are zero. The V-cycle only
// has to be near the inverse, so it runs in single precision.
type level struct {
	cols, rows int
	wx, wy     []float32
	inv        []float32 // one over the sum of a cell's couplings; 0 where there are none
	x, b       []float32
}

func newLevel(cols, rws int) *level {
	l := &level{cols: cols, rows: rws}
	n := l.size()
	mem := make([]float32, 5*n)
	part := func(k int) []float32 { return mem[k*n : (k+1)*n : (k+1)*n] }
	l.wx, l.wy, l.inv, l.x, l.b = part(0), part(1), part(2), part(3), part(4)
	return l
}

// size is the length of a level's arrays, both rows of zeros included.
func (l *level) size() int { return (l.rows + 2) * l.cols }

// row is row y of one of the level's arrays.
func (l *level) row(v []float32, y int) []float32 { return rowOf(l, v, y) }

func rowOf[T float32 | float64](l *level, v []T, y int) []T { return v[(y+1)*l.cols : (y+2)*l.cols] }

// around are row y of an array and its neighbours to the left and right, above and below, all of the row's length.
func around[T float32 | float64](l *level, v []T, y int) (mid, left, right, up, down []T) {
	n, o := l.cols, (y+1)*l.cols
	return v[o : o+n], v[o-1 : o-1+n], v[o+1 : o+1+n], v[o-n : o], v[o+n : o+2*n]
}

// couplings are those of the cells of row y to the left and right, above and below.
func (l *level) couplings(y int) (left, right, up, down []float32) {
	n, o := l.cols, (y+1)*l.cols
	return l.wx[o-1 : o-1+n], l.wx[o : o+n], l.wy[o-n : o], l.wy[o : o+n]
}

// finish works out the sums of the couplings; it tells whether there are any.
func (l *level) finish() bool {
	var any atomic.Bool
	l.parallel(l.rows, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			some := false
			inv := l.row(l.inv, y)
			left, right, up, down := l.couplings(y)
			n := len(inv)
			left, right, up, down = left[:n], right[:n], up[:n], down[:n]
			for i := range inv {
				if d := left[i] + right[i] + up[i] + down[i]; d > 0 {
					inv[i] = 1 / d
					some = true
				}
			}
			if some {
				any.Store(true)
			}
		}
	})
	return any.Load()
}

// coarsen aggregates 2 x 2 cells. Summing the couplings that cross between two aggregates makes them twice too stiff for
// smooth fields on a raster (two parallel links over a doubled distance), hence the half.
func (l *level) coarsen() *level {
	c := newLevel((l.cols+1)/2, (l.rows+1)/2)
	c.parallel(c.rows, func(y0, y1 int) {
		for q := y0; q < y1; q++ {
			wx, wy := c.row(c.wx, q), c.row(c.wy, q)
			for y := 2 * q; y < min(2*q+2, l.rows); y++ {
				fine := l.row(l.wx, y)
				for p := 1; p < len(fine); p += 2 {
					wx[p/2] += 0.5 * fine[p]
				}
			}
			if 2*q+1 < l.rows {
				for p, w := range l.row(l.wy, 2*q+1) {
					wy[p/2] += 0.5 * w
				}
			}
		}
	})
	c.finish()
	return c
}

func (l *level) parallel(n int, do func(y0, y1 int)) {
	if l.cols*l.rows < leastShared {
		do(0, n)
		return
	}
	rows.Do(n, do)
}

// pipeline runs stages over the rows: see rows.Pipeline.
func (l *level) pipeline(stages ...func(y int)) {
	if l.cols*l.rows >= leastShared {
		rows.Pipeline(l.rows, stages...)
		return
	}
	for _, do := range stages {
		for y := range l.rows {
			do(y)
		}
	}
}

// leastShared is how many cells are worth sharing between processors.
const leastShared = 20000

// fresh relaxes the even cells of row y, of a checkerboard, from zero.
func (l *level) fresh(y int) {
	x, b, inv := l.row(l.x, y), l.row(l.b, y), l.row(l.inv, y)
	n := len(x)
	b, inv = b[:n], inv[:n]
	for i := y & 1; i < n; i += 2 {
		x[i] = b[i] * inv[i]
	}
}

// relax relaxes the even (colour 0) or odd cells of row y.
func (l *level) relax(y, colour int) {
	b, inv := l.row(l.b, y), l.row(l.inv, y)
	x, xl, xr, xu, xd := around(l, l.x, y)
	wl, wr, wu, wd := l.couplings(y)
	n := len(x)
	b, inv, xl, xr, xu, xd = b[:n], inv[:n], xl[:n], xr[:n], xu[:n], xd[:n]
	wl, wr, wu, wd = wl[:n], wr[:n], wu[:n], wd[:n]
	for i := (y + colour) & 1; i < n; i += 2 {
		x[i] = (b[i] + wl[i]*xl[i] + wr[i]*xr[i] + wu[i]*xu[i] + wd[i]*xd[i]) * inv[i]
	}
}

// rest adds what is left of the equations at the odd cells of row y to the aggregates they lie in; at the even ones, just relaxed, nothing is.
func (l *level) rest(y int, sums []float32) {
	b := l.row(l.b, y)
	x, xl, xr, xu, xd := around(l, l.x, y)
	wl, wr, wu, wd := l.couplings(y)
	n := len(x)
	b, xl, xr, xu, xd = b[:n], xl[:n], xr[:n], xu[:n], xd[:n]
	wl, wr, wu, wd = wl[:n], wr[:n], wu[:n], wd[:n]
	for i := (y + 1) & 1; i < n; i += 2 {
		v := x[i]
		sums[i/2] += b[i] + wl[i]*(xl[i]-v) + wr[i]*(xr[i]-v) + wu[i]*(xu[i]-v) + wd[i]*(xd[i]-v)
	}
}

type hierarchy []*level

func newHierarchy(fine *level) hierarchy {
	h := hierarchy{fine}
	for {
		l := h[len(h)-1]
		if l.cols*l.rows <= 36 {
			return h
		}
		h = append(h, l.coarsen())
	}
}

// cycle applies one symmetric V-cycle to level k: x ~ L^-1 b, from zero. done, which may be nil, is told each row whose x is ready.
func (h hierarchy) cycle(k int, done func(y int)) {
	l := h[k]
	even, odd := func(y int) { l.relax(y, 0) }, func(y int) { l.relax(y, 1) }
	if k == len(h)-1 {
		clear(l.x)
		for range 12 {
			for _, colour := range [4]int{0, 1, 1, 0} {
				for y := range l.rows {
					l.relax(y, colour)
				}
			}
		}
		return
	}
	c := h[k+1]
	none := func(int) {}
	l.pipeline(l.fresh, odd, even, none, func(y int) {
		// A row of aggregates, once both its rows are there.
		if y%2 == 0 && y+1 < l.rows {
			return
		}
		sums := c.row(c.b, y/2)
		clear(sums)
		for q := y &^ 1; q <= y; q++ {
			l.rest(q, sums)
		}
	})
	h.cycle(k+1, nil)
	last := even
	if done != nil {
		last = func(y int) {
			l.relax(y, 0)
			done(y)
		}
	}
	l.pipeline(func(y int) {
		x, coarse := l.row(l.x, y), c.row(c.x, y/2)
		for i := (y + 1) & 1; i < len(x); i += 2 {
			x[i] += coarse[i/2]
		}
	}, even, odd, last)
}

// solve brings x to within tol of the solution of L x = b, by the size of what is left against b: by conjugate gradients preconditioned by
// a V-cycle, in the flexible form of Polak and Ribiere, which forgives a preconditioner that rounds. x is held in double precision, directions
// and what is left in single: beyond what that can tell, what is left is worked out anew. x and b have the length of the level's arrays.
func (h hierarchy) solve(x []float64, b []float32, tol float64) (iterations int) {
	l := h[0]
	p, ap := make([]float32, l.size()), make([]float32, l.size())
	parts := newParts(l.rows)
	goal := tol * tol * parts.sum(l, func(y int) (s float64) {
		for _, v := range l.row(b, y) {
			s += float64(v) * float64(v)
		}
		return s
	})
	for iterations < mostIterations {
		left := parts.sum(l, func(y int) float64 { return l.left(x, b, y) })
		if left <= goal {
			break
		}
		aim := goal
		if goal < singleReach*singleReach*left {
			aim = safeReach * safeReach * left
		}
		n, ok := h.gradients(x, p, ap, aim, mostIterations-iterations)
		iterations += n
		if !ok || aim == goal {
			break
		}
	}
	return iterations
}

const (
	mostIterations = 200
	// singleReach is how far down single precision carries what is left, safeReach how far it is carried before it is worked out anew.
	singleReach = 2e-6
	safeReach   = 1e-4
)

// gradients takes steps, most at most, from x until the square of what is left, the fine level's b, comes down to aim; p and ap are scratch.
// It is not ok where the steps lead nowhere.
func (h hierarchy) gradients(x []float64, p, ap []float32, aim float64, most int) (steps int, ok bool) {
	l := h[0]
	along, across := newParts(l.rows), newParts(l.rows)
	alpha, beta, slope := 0.0, 0.0, 0.0
	for steps < most {
		h.cycle(0, func(y int) { along[y], across[y] = products(l.row(l.x, y), l.row(l.b, y), l.row(ap, y)) })
		next := along.total()
		if steps > 0 {
			// b now is b before less alpha ap, so x'(b - b before) = -alpha x'ap.
			beta = -alpha * across.total() / slope
		}
		slope = next
		l.pipeline(func(y int) { towards(l.row(p, y), l.row(l.x, y), float32(beta)) }, func(y int) { along[y] = l.apply(p, ap, y) })
		den := along.total()
		if !(den > 0) {
			return steps, false
		}
		alpha = slope / den
		steps++
		if along.sum(l, func(y int) float64 {
			return step(rowOf(l, x, y), l.row(p, y), l.row(l.b, y), l.row(ap, y), alpha)
		}) <= aim {
			return steps, true
		}
	}
	return steps, false
}

// parts are sums over rows, added in their order, so that a sum is the same on any machine.
type parts []float64

func newParts(rws int) parts { return make(parts, rws) }

func (p parts) sum(l *level, of func(y int) float64) float64 {
	l.parallel(l.rows, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			p[y] = of(y)
		}
	})
	return p.total()
}

func (p parts) total() (s float64) {
	for _, v := range p {
		s += v
	}
	return s
}

// left sets row y of the level's b to b - L x and returns the sum of its squares.
func (l *level) left(x []float64, b []float32, y int) (sum float64) {
	out, b := l.row(l.b, y), l.row(b, y)
	mid, xl, xr, xu, xd := around(l, x, y)
	wl, wr, wu, wd := l.couplings(y)
	n := len(mid)
	out, b, xl, xr, xu, xd = out[:n], b[:n], xl[:n], xr[:n], xu[:n], xd[:n]
	wl, wr, wu, wd = wl[:n], wr[:n], wu[:n], wd[:n]
	for i, v := range mid {
		// As sums of differences: no digits are lost where x is large and even.
		s := float64(b[i]) + float64(wl[i])*(xl[i]-v) + float64(wr[i])*(xr[i]-v) + float64(wu[i])*(xu[i]-v) + float64(wd[i])*(xd[i]-v)
		out[i] = float32(s)
		sum += s * s
	}
	return sum
}

// apply sets row y of out to L p and returns its product with p. Differences of near numbers are exact, their sum is taken in double.
func (l *level) apply(p, out []float32, y int) (sum float64) {
	out = l.row(out, y)
	mid, pl, pr, pu, pd := around(l, p, y)
	wl, wr, wu, wd := l.couplings(y)
	n := len(mid)
	out, pl, pr, pu, pd = out[:n], pl[:n], pr[:n], pu[:n], pd[:n]
	wl, wr, wu, wd = wl[:n], wr[:n], wu[:n], wd[:n]
	for i, v := range mid {
		s := float64(wl[i])*float64(v-pl[i]) + float64(wr[i])*float64(v-pr[i]) + float64(wu[i])*float64(v-pu[i]) + float64(wd[i])*float64(v-pd[i])
		out[i] = float32(s)
		sum += s * float64(v)
	}
	return sum
}

// products are those of a row with two others.
func products(a, b, c []float32) (ab, ac float64) {
	b, c = b[:len(a)], c[:len(a)]
	for i, v := range a {
		ab += float64(v) * float64(b[i])
		ac += float64(v) * float64(c[i])
	}
	return ab, ac
}

// towards sets a row p to z + beta p.
func towards(p, z []float32, beta float32) {
	z = z[:len(p)]
	for i, v := range p {
		p[i] = z[i] + beta*v
	}
}

// step moves a row of x by alpha p, of r by -alpha ap, and returns the sum of the squares of r.
func step(x []float64, p, r, ap []float32, alpha float64) (sum float64) {
	p, r, ap = p[:len(x)], r[:len(x)], ap[:len(x)]
	a := float32(alpha)
	for i := range x {
		x[i] += alpha * float64(p[i])
		v := r[i] - a*ap[i]
		r[i] = v
		sum += float64(v) * float64(v)
	}
	return sum
}
