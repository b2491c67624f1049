package surface

import (
	"errors"
	"math"
	"sync/atomic"

	"fairmetal/internal/rows"
)

// ErrNoCells says that there is nothing to integrate.
var ErrNoCells = errors.New("no part of the panel has slopes to integrate")

// Integrate returns the height z, in mm and free by a constant for each connected part, whose differences best fit the slopes
// zx, zy (row-major on g, NaN where unknown) in the weighted least-squares sense: over all pairs of neighbouring known cells
//
//	sum w ((z_j - z_i) - rise)^2
//
// with the rise of the slopes s along the pair [Southwell1980], by cubic interpolation (13 (s_i + s_j) - s_h - s_k)/24 pitch where the
// cells h and k before and behind are known too, else by the mean of both: over half a millimetre that takes a hundredth off a mark of
// 7 mm. weight, one for each cell and may be nil, enters by its harmonic mean over
// the pair. start, which may be nil, is a first guess. The equations are solved by conjugate gradients, preconditioned by one
// V-cycle of multigrid on 2 x 2 aggregates, to a relative residual of tol (0: 1e-6).
func Integrate(g Grid, zx, zy, weight []float32, start []float64, tol float64) ([]float64, error) {
	if tol == 0 {
		tol = 1e-6
	}
	fine := newLevel(g.Cols, g.Rows)
	rhs := make([]float64, g.Len())
	cell := func(i int) bool { return zx[i] == zx[i] && zy[i] == zy[i] }
	pair := func(i, j int) float64 {
		if weight == nil {
			return 1
		}
		a, b := float64(weight[i]), float64(weight[j])
		if !(a > 0 && b > 0) {
			return 0
		}
		return 2 * a * b / (a + b)
	}
	// rise is what s rises by from cell i to the next, step cells on; before and behind tell whether there are cells there.
	rise := func(s []float32, i, step int, before, behind bool) float64 {
		both := float64(s[i]) + float64(s[i+step])
		if before && behind && cell(i-step) && cell(i+2*step) {
			return g.PitchMM / 24 * (13*both - float64(s[i-step]) - float64(s[i+2*step]))
		}
		return g.PitchMM / 2 * both
	}
	right, up := make([]float64, g.Len()), make([]float64, g.Len())
	rows.Do(g.Rows, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			for x := range g.Cols {
				i := y*g.Cols + x
				if !cell(i) {
					continue
				}
				if x+1 < g.Cols && cell(i+1) {
					w := pair(i, i+1)
					fine.wx[i], right[i] = float32(w), w*rise(zx, i, 1, x > 0, x+2 < g.Cols)
				}
				if y+1 < g.Rows && cell(i+g.Cols) {
					w := pair(i, i+g.Cols)
					fine.wy[i], up[i] = float32(w), w*rise(zy, i, g.Cols, y > 0, y+2 < g.Rows)
				}
			}
		}
	})
	rows.Do(g.Rows, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			for x := range g.Cols {
				i := y*g.Cols + x
				s := -right[i] - up[i]
				if x > 0 {
					s += right[i-1]
				}
				if y > 0 {
					s += up[i-g.Cols]
				}
				rhs[i] = s
			}
		}
	})
	if !fine.finish() {
		return nil, ErrNoCells
	}
	z := make([]float64, g.Len())
	for i, v := range start {
		if v == v { // not NaN
			z[i] = v
		}
	}
	newHierarchy(fine).solve(z, rhs, tol)
	for i := range z {
		if fine.diag[i] == 0 {
			z[i] = math.NaN()
		}
	}
	return z, nil
}

// KeepLargest sets all but the largest connected part of the known slopes to NaN: parts that only touch through unknown
// metal have no height against each other. It returns the number of cells kept and dropped.
func KeepLargest(g Grid, zx, zy []float32) (kept, dropped int) {
	return KeepMost(g, zx, zy, func(int) bool { return false })
}

// KeepMost is KeepLargest for the part that holds most of the cells that count; among parts with as many the largest.
func KeepMost(g Grid, zx, zy []float32, counts func(i int) bool) (kept, dropped int) {
	// Runs of known cells along rows hang together where those of the row before overlap them; the first of a part stands for it.
	type run struct{ from, to, first int }
	var runs []run
	first := func(k int) int {
		for runs[k].first != k {
			runs[k].first = runs[runs[k].first].first
			k = runs[k].first
		}
		return k
	}
	above, here := 0, 0
	for r := range g.Rows {
		above, here = here, len(runs)
		for i, end := r*g.Cols, (r+1)*g.Cols; i < end; i++ {
			if zx[i] != zx[i] || zy[i] != zy[i] {
				continue
			}
			k := len(runs)
			runs = append(runs, run{from: i, first: k})
			for i < end && zx[i] == zx[i] && zy[i] == zy[i] {
				i++
			}
			runs[k].to = i
			for above < here && runs[above].to+g.Cols <= runs[k].from {
				above++
			}
			for q := above; q < here && runs[q].from+g.Cols < i; q++ {
				a, b := first(q), first(k)
				runs[max(a, b)].first = min(a, b)
			}
		}
	}
	size, worth := make([]int, len(runs)), make([]int, len(runs))
	for k, v := range runs {
		p := first(k)
		size[p] += v.to - v.from
		for i := v.from; i < v.to; i++ {
			if counts(i) {
				worth[p]++
			}
		}
	}
	best := -1
	for k := range runs {
		if runs[k].first == k && (best < 0 || worth[k] > worth[best] || worth[k] == worth[best] && size[k] > size[best]) {
			best = k
		}
	}
	nan := float32(math.NaN())
	for k, v := range runs {
		if first(k) == best {
			kept += v.to - v.from
			continue
		}
		dropped += v.to - v.from
		for i := v.from; i < v.to; i++ {
			zx[i], zy[i] = nan, nan
		}
	}
	return kept, dropped
}

// level is a graph Laplacian on a raster: wx[i] couples cell i with i+1, wy[i] with the cell below. The V-cycle only has to be near
// the inverse, so it runs in single precision; the conjugate gradients around it in double.
type level struct {
	cols, rows int
	wx, wy     []float32
	diag, inv  []float32
	x, b, r    []float32
}

func newLevel(cols, rws int) *level {
	n := cols * rws
	mem := make([]float32, 7*n)
	part := func(k int) []float32 { return mem[k*n : (k+1)*n : (k+1)*n] }
	return &level{cols: cols, rows: rws, wx: part(0), wy: part(1), diag: part(2), inv: part(3), x: part(4), b: part(5), r: part(6)}
}

// finish works out the diagonal; it tells whether anything is coupled at all.
func (l *level) finish() bool {
	var any atomic.Bool
	l.parallel(func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			for x := range l.cols {
				i := y*l.cols + x
				d := l.wx[i] + l.wy[i]
				if x > 0 {
					d += l.wx[i-1]
				}
				if y > 0 {
					d += l.wy[i-l.cols]
				}
				l.diag[i] = d
				if d > 0 {
					l.inv[i] = 1 / d
					any.Store(true)
				}
			}
		}
	})
	return any.Load()
}

// coarsen aggregates 2 x 2 cells. Summing the couplings that cross between two aggregates makes them twice too stiff for
// smooth fields on a raster (two parallel links over a doubled distance), hence the half.
func (l *level) coarsen() *level {
	c := newLevel((l.cols+1)/2, (l.rows+1)/2)
	c.parallel(func(y0, y1 int) {
		for k := y0; k < y1; k++ {
			for y := 2 * k; y < min(2*k+2, l.rows); y++ {
				for x := range l.cols {
					i := y*l.cols + x
					j := k*c.cols + x/2
					if x%2 == 1 {
						c.wx[j] += 0.5 * l.wx[i]
					}
					if y%2 == 1 {
						c.wy[j] += 0.5 * l.wy[i]
					}
				}
			}
		}
	})
	c.finish()
	return c
}

// sweep relaxes one colour of the checkerboard. fresh tells that x is zero everywhere yet.
func (l *level) sweep(x, b []float32, colour int, fresh bool) {
	w, cols := l.wx, l.cols
	l.parallel(func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			row := y * cols
			first := (y + colour) & 1
			if fresh {
				for i := row + first; i < row+cols; i += 2 {
					x[i] = b[i] * l.inv[i]
				}
				continue
			}
			for c := first; c < cols; c += 2 {
				i := row + c
				if l.inv[i] == 0 {
					continue
				}
				s := b[i]
				if c > 0 {
					s += w[i-1] * x[i-1]
				}
				if c+1 < cols {
					s += w[i] * x[i+1]
				}
				if y > 0 {
					s += l.wy[i-cols] * x[i-cols]
				}
				if y+1 < l.rows {
					s += l.wy[i] * x[i+cols]
				}
				x[i] = s * l.inv[i]
			}
		}
	})
}

func (l *level) parallel(do func(y0, y1 int)) {
	if l.cols*l.rows < 20000 {
		do(0, l.rows)
		return
	}
	rows.Do(l.rows, do)
}

// apply sets out = L x.
func apply[T float32 | float64](l *level, x, out []T) {
	l.parallel(func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			for c := range l.cols {
				i := y*l.cols + c
				if l.inv[i] == 0 {
					out[i] = 0
					continue
				}
				// As sums of differences: no digits are lost where x is large and even.
				v := x[i]
				var s T
				if c > 0 {
					s += T(l.wx[i-1]) * (v - x[i-1])
				}
				if c+1 < l.cols {
					s += T(l.wx[i]) * (v - x[i+1])
				}
				if y > 0 {
					s += T(l.wy[i-l.cols]) * (v - x[i-l.cols])
				}
				if y+1 < l.rows {
					s += T(l.wy[i]) * (v - x[i+l.cols])
				}
				out[i] = s
			}
		}
	})
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

// cycle applies one symmetric V-cycle to level k: x ~ L^-1 b, from zero.
func (h hierarchy) cycle(k int) {
	l := h[k]
	x, b := l.x, l.b
	clear(x)
	if k == len(h)-1 {
		for range 12 {
			l.sweep(x, b, 0, false)
			l.sweep(x, b, 1, false)
			l.sweep(x, b, 1, false)
			l.sweep(x, b, 0, false)
		}
		return
	}
	l.sweep(x, b, 0, true)
	l.sweep(x, b, 1, false)
	l.sweep(x, b, 0, false)
	apply(l, x, l.r)
	c := h[k+1]
	c.parallel(func(y0, y1 int) {
		for q := y0; q < y1; q++ {
			clear(c.b[q*c.cols : (q+1)*c.cols])
			for y := 2 * q; y < min(2*q+2, l.rows); y++ {
				for p := range l.cols {
					if i := y*l.cols + p; l.inv[i] != 0 {
						c.b[q*c.cols+p/2] += b[i] - l.r[i]
					}
				}
			}
		}
	})
	h.cycle(k + 1)
	l.parallel(func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			for p := range l.cols {
				if i := y*l.cols + p; l.inv[i] != 0 {
					x[i] += c.x[(y/2)*c.cols+p/2]
				}
			}
		}
	})
	l.sweep(x, b, 0, false)
	l.sweep(x, b, 1, false)
	l.sweep(x, b, 0, false)
}

// precondition sets z ~ L^-1 r by one V-cycle. Residuals are scaled to the size of one, so that single precision holds them.
func (h hierarchy) precondition(z, r []float64, size float64) {
	l := h[0]
	each(len(r), func(i0, i1 int) {
		for i := i0; i < i1; i++ {
			l.b[i] = float32(r[i] / size)
		}
	})
	h.cycle(0)
	each(len(r), func(i0, i1 int) {
		for i := i0; i < i1; i++ {
			z[i] = float64(l.x[i]) * size
		}
	})
}

// solve runs preconditioned conjugate gradients in the flexible form of Polak and Ribiere, which forgives a preconditioner that
// rounds.
func (h hierarchy) solve(x, b []float64, tol float64) (iterations int) {
	l := h[0]
	n := len(x)
	mem := make([]float64, 4*n)
	r, z, p, ap := mem[:n:n], mem[n:2*n:2*n], mem[2*n:3*n:3*n], mem[3*n:]
	apply(l, x, ap)
	each(n, func(i0, i1 int) {
		for i := i0; i < i1; i++ {
			r[i] = b[i] - ap[i]
		}
	})
	norm := dot(b, b)
	if norm == 0 {
		return 0
	}
	rr := dot(r, r)
	if rr <= tol*tol*norm {
		return 0
	}
	h.precondition(z, r, math.Sqrt(rr/float64(n)))
	copy(p, z)
	rz := dot(r, z)
	const maxIter = 200
	for it := range maxIter {
		apply(l, p, ap)
		den := dot(p, ap)
		if den <= 0 {
			return it
		}
		alpha := rz / den
		each(n, func(i0, i1 int) {
			for i := i0; i < i1; i++ {
				x[i] += alpha * p[i]
				r[i] -= alpha * ap[i]
			}
		})
		if rr = dot(r, r); rr <= tol*tol*norm {
			return it + 1
		}
		h.precondition(z, r, math.Sqrt(rr/float64(n)))
		// r now is r before less alpha ap, so z'(r - r before) = -alpha z'ap.
		next := dot(r, z)
		beta := -alpha * dot(z, ap) / rz
		rz = next
		each(n, func(i0, i1 int) {
			for i := i0; i < i1; i++ {
				p[i] = z[i] + beta*p[i]
			}
		})
	}
	return maxIter
}

// lot is how many numbers are summed in one go: lots are added in their order, so that a sum is the same on any machine.
const lot = 1 << 14

// each runs f over lots of n numbers, several at a time.
func each(n int, f func(i0, i1 int)) {
	if n < 4*lot {
		f(0, n)
		return
	}
	rows.Do((n+lot-1)/lot, func(k0, k1 int) { f(k0*lot, min(k1*lot, n)) })
}

func dot(a, b []float64) float64 {
	parts := make([]float64, (len(a)+lot-1)/lot)
	rows.Do(len(parts), func(k0, k1 int) {
		for k := k0; k < k1; k++ {
			i1 := min((k+1)*lot, len(a))
			p, q := a[k*lot:i1], b[k*lot:i1]
			var s float64
			for i, v := range p {
				s += v * q[i]
			}
			parts[k] = s
		}
	})
	var s float64
	for _, v := range parts {
		s += v
	}
	return s
}
