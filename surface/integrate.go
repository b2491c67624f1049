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
	rhs := links(g, zx, zy, weight, fine)
	if !fine.finish() {
		return nil, ErrNoCells
	}
	z := make([]float64, fine.size())
	cells := z[g.Cols : g.Cols+g.Len()]
	for i, v := range start {
		if v == v { // not NaN
			cells[i] = v
		}
	}
	newHierarchy(fine).solve(z, rhs, tol)
	for i, v := range fine.inv[g.Cols : g.Cols+g.Len()] {
		if v == 0 {
			cells[i] = math.NaN()
		}
	}
	return cells, nil
}

// links sets the couplings of l to the weights of the pairs of known cells and returns the right side of the equations: what the slopes
// rise by into each cell, less what they rise by out of it.
func links(g Grid, zx, zy, weight []float32, l *level) []float32 {
	cols := g.Cols
	known := make([]bool, g.Len())
	rows.Do(g.Rows, func(y0, y1 int) {
		i0, i1 := y0*cols, y1*cols
		x, y, k := zx[i0:i1], zy[i0:i1], known[i0:i1]
		for i, v := range x {
			k[i] = v == v && y[i] == y[i]
		}
	})
	pair := func(i, j int) float32 {
		if weight == nil {
			return 1
		}
		a, b := float64(weight[i]), float64(weight[j])
		if !(a > 0 && b > 0) {
			return 0
		}
		return float32(2 * a * b / (a + b))
	}
	// rise is what s rises by from cell i to the one step cells on, in cells; far tells that the grid has one before and one behind.
	rise := func(s []float32, i, step int, far bool) float64 {
		both := float64(s[i]) + float64(s[i+step])
		if far && known[i-step] && known[i+2*step] {
			return (13*both - float64(s[i-step]) - float64(s[i+2*step])) / 24
		}
		return both / 2
	}
	// down are the weighted rises of a row's cells to the row below.
	down := func(y int, wy []float32, out []float64) {
		far := y > 0 && y+2 < g.Rows
		for x := range out {
			i := y*cols + x
			wy[x], out[x] = 0, 0
			if y+1 < g.Rows && known[i] && known[i+cols] {
				wy[x] = pair(i, i+cols)
				out[x] = float64(wy[x]) * rise(zy, i, cols, far)
			}
		}
	}
	rhs := make([]float32, l.size())
	rows.Do(g.Rows, func(y0, y1 int) {
		above, below, spare := make([]float64, cols), make([]float64, cols), make([]float32, cols)
		if y0 > 0 {
			down(y0-1, spare, above)
		}
		for y := y0; y < y1; y++ {
			down(y, l.row(l.wy, y), below)
			wx, out := l.row(l.wx, y), l.row(rhs, y)
			left := 0.0
			for x := range cols {
				i, right := y*cols+x, 0.0
				if x+1 < cols && known[i] && known[i+1] {
					wx[x] = pair(i, i+1)
					right = float64(wx[x]) * rise(zx, i, 1, x > 0 && x+2 < cols)
				}
				out[x] = float32(g.PitchMM * (left + above[x] - right - below[x]))
				left = right
			}
			above, below = below, above
		}
	})
	return rhs
}
