package surface

import (
	"errors"
	"math"

	"fairmetal/internal/rows"
)

// ErrNoCells says that there is nothing to integrate.
var ErrNoCells = errors.New("no part of the panel has slopes to integrate")

// Integrate returns the height z, in mm and free by a constant for each connected part, whose differences best fit the slopes
// zx, zy (row-major on g, NaN where unknown) in the weighted least-squares sense: over all pairs of neighbouring known cells
//
//	sum w ((z_j - z_i) - (s_i + s_j)/2 pitch)^2
//
// with s the slope along the pair [Southwell1980]. weight, one for each cell and may be nil, enters by its harmonic mean over
// the pair. start, which may be nil, is a first guess. The equations are solved by conjugate gradients, preconditioned by one
// V-cycle of multigrid on 2 x 2 aggregates, to a relative residual of tol (0: 1e-6).
func Integrate(g Grid, zx, zy, weight []float32, start []float64, tol float64) ([]float64, error) {
	if tol == 0 {
		tol = 1e-6
	}
	fine := newLevel(g.Cols, g.Rows)
	rhs := make([]float64, g.Len())
	known := 0
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
	for y := range g.Rows {
		for x := range g.Cols {
			i := y*g.Cols + x
			if !cell(i) {
				continue
			}
			known++
			if x+1 < g.Cols && cell(i+1) {
				w := pair(i, i+1)
				fine.wx[i] = w
				d := w * 0.5 * (float64(zx[i]) + float64(zx[i+1])) * g.PitchMM
				rhs[i] -= d
				rhs[i+1] += d
			}
			if y+1 < g.Rows && cell(i+g.Cols) {
				w := pair(i, i+g.Cols)
				fine.wy[i] = w
				d := w * 0.5 * (float64(zy[i]) + float64(zy[i+g.Cols])) * g.PitchMM
				rhs[i] -= d
				rhs[i+g.Cols] += d
			}
		}
	}
	if known == 0 {
		return nil, ErrNoCells
	}
	fine.finish()
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
	label := make([]int32, g.Len())
	cell := func(i int) bool { return zx[i] == zx[i] && zy[i] == zy[i] }
	var sizes []int
	var queue []int32
	for start := range label {
		if label[start] != 0 || !cell(start) {
			continue
		}
		id := int32(len(sizes) + 1)
		label[start] = id
		queue = append(queue[:0], int32(start))
		for q := 0; q < len(queue); q++ {
			i := int(queue[q])
			c := i % g.Cols
			visit := func(j int) {
				if label[j] == 0 && cell(j) {
					label[j] = id
					queue = append(queue, int32(j))
				}
			}
			if c > 0 {
				visit(i - 1)
			}
			if c+1 < g.Cols {
				visit(i + 1)
			}
			if i >= g.Cols {
				visit(i - g.Cols)
			}
			if i+g.Cols < len(label) {
				visit(i + g.Cols)
			}
		}
		sizes = append(sizes, len(queue))
	}
	best := int32(0)
	for i, n := range sizes {
		if best == 0 || n > sizes[best-1] {
			best = int32(i + 1)
		}
	}
	nan := float32(math.NaN())
	for i, l := range label {
		switch {
		case l == 0:
		case l == best:
			kept++
		default:
			dropped++
			zx[i], zy[i] = nan, nan
		}
	}
	return kept, dropped
}

// level is a graph Laplacian on a raster: wx[i] couples cell i with i+1, wy[i] with the cell below.
type level struct {
	cols, rows int
	wx, wy     []float64
	diag, inv  []float64
	x, b, r    []float64
}

func newLevel(cols, rws int) *level {
	n := cols * rws
	return &level{cols: cols, rows: rws, wx: make([]float64, n), wy: make([]float64, n),
		diag: make([]float64, n), inv: make([]float64, n), x: make([]float64, n), b: make([]float64, n), r: make([]float64, n)}
}

func (l *level) finish() {
	for y := range l.rows {
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
			}
		}
	}
}

// coarsen aggregates 2 x 2 cells. Summing the couplings that cross between two aggregates makes them twice too stiff for
// smooth fields on a raster (two parallel links over a doubled distance), hence the half.
func (l *level) coarsen() *level {
	c := newLevel((l.cols+1)/2, (l.rows+1)/2)
	for y := range l.rows {
		for x := range l.cols {
			i := y*l.cols + x
			k := (y/2)*c.cols + x/2
			if x%2 == 1 {
				c.wx[k] += 0.5 * l.wx[i]
			}
			if y%2 == 1 {
				c.wy[k] += 0.5 * l.wy[i]
			}
		}
	}
	c.finish()
	return c
}

// sweep relaxes one colour of the checkerboard.
func (l *level) sweep(x, b []float64, colour int) {
	do := func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			row := y * l.cols
			for c := (y + colour) & 1; c < l.cols; c += 2 {
				i := row + c
				if l.inv[i] == 0 {
					continue
				}
				s := b[i]
				if c > 0 {
					s += l.wx[i-1] * x[i-1]
				}
				if c+1 < l.cols {
					s += l.wx[i] * x[i+1]
				}
				if y > 0 {
					s += l.wy[i-l.cols] * x[i-l.cols]
				}
				if y+1 < l.rows {
					s += l.wy[i] * x[i+l.cols]
				}
				x[i] = s * l.inv[i]
			}
		}
	}
	l.parallel(do)
}

func (l *level) parallel(do func(y0, y1 int)) {
	if l.cols*l.rows < 20000 {
		do(0, l.rows)
		return
	}
	rows.Do(l.rows, do)
}

// apply sets out = L x.
func (l *level) apply(x, out []float64) {
	l.parallel(func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			for c := range l.cols {
				i := y*l.cols + c
				if l.inv[i] == 0 {
					out[i] = 0
					continue
				}
				s := l.diag[i] * x[i]
				if c > 0 {
					s -= l.wx[i-1] * x[i-1]
				}
				if c+1 < l.cols {
					s -= l.wx[i] * x[i+1]
				}
				if y > 0 {
					s -= l.wy[i-l.cols] * x[i-l.cols]
				}
				if y+1 < l.rows {
					s -= l.wy[i] * x[i+l.cols]
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

// cycle applies one symmetric V-cycle: x ~ L^-1 b, from zero.
func (h hierarchy) cycle(k int, x, b []float64) {
	l := h[k]
	for i := range x {
		x[i] = 0
	}
	if k == len(h)-1 {
		for range 12 {
			l.sweep(x, b, 0)
			l.sweep(x, b, 1)
			l.sweep(x, b, 1)
			l.sweep(x, b, 0)
		}
		return
	}
	l.sweep(x, b, 0)
	l.sweep(x, b, 1)
	l.sweep(x, b, 0)
	l.apply(x, l.r)
	c := h[k+1]
	for i := range c.b {
		c.b[i] = 0
	}
	for y := range l.rows {
		for q := range l.cols {
			i := y*l.cols + q
			if l.inv[i] != 0 {
				c.b[(y/2)*c.cols+q/2] += b[i] - l.r[i]
			}
		}
	}
	h.cycle(k+1, c.x, c.b)
	for y := range l.rows {
		for q := range l.cols {
			i := y*l.cols + q
			if l.inv[i] != 0 {
				x[i] += c.x[(y/2)*c.cols+q/2]
			}
		}
	}
	l.sweep(x, b, 0)
	l.sweep(x, b, 1)
	l.sweep(x, b, 0)
}

// solve runs preconditioned conjugate gradients.
func (h hierarchy) solve(x, b []float64, tol float64) (iterations int) {
	l := h[0]
	n := len(x)
	r, z, p, ap := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	l.apply(x, ap)
	var norm float64
	for i := range r {
		r[i] = b[i] - ap[i]
		norm += b[i] * b[i]
	}
	if norm == 0 {
		return 0
	}
	h.cycle(0, z, r)
	copy(p, z)
	rz := dot(r, z)
	const maxIter = 200
	for it := range maxIter {
		if dot(r, r) <= tol*tol*norm {
			return it
		}
		l.apply(p, ap)
		den := dot(p, ap)
		if den <= 0 {
			return it
		}
		alpha := rz / den
		for i := range x {
			x[i] += alpha * p[i]
			r[i] -= alpha * ap[i]
		}
		h.cycle(0, z, r)
		next := dot(r, z)
		beta := next / rz
		rz = next
		for i := range p {
			p[i] = z[i] + beta*p[i]
		}
	}
	return maxIter
}

func dot(a, b []float64) float64 {
	var s float64
	for i, v := range a {
		s += v * b[i]
	}
	return s
}
