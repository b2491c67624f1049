package phase

import "fairmetal/internal/rows"

// plate draws a thin plate over the edges of the stripes: it returns the d, cell by cell, that minimises
//
//	sum w (d - m/w)^2 + stiff sum (Laplacian (psi + d))^2
//
// with w the length of edges in a cell and m/w the distance they should move. The plate spans by itself what lies between edges
// and where there are none (w = 0); where seam, which may be nil, is true it is broken and no bend is felt across.
//
// Conjugate gradients from d = 0. The edges bound the operator's spread of eigenvalues, so that plateRounds settle all but wide
// gaps, which keep what they had; the loop around comes back anyway. Its rasters, d as well, come from scratch.
func plate(psi, w, m []float32, seam []bool, cols, rws int, stiff float32, rounds int, scratch *scratch) []float32 {
	take := func() []float32 { return scratch.take(len(psi)) }
	s := solvePlate{cols: cols, rws: rws, stiff: stiff, w: w, seam: seam, lap: take(), d: take(), res: take(), p: take(), ap: take(), inv: take()}
	defer func() { scratch.give(s.lap, s.res, s.p, s.ap, s.inv) }()
	clear(s.d)
	clear(s.lap)
	rz := s.bend(psi, func(i0, i1 int) (sum float64) {
		for i := i0; i < i1; i++ {
			s.inv[i] = 1 / (w[i] + middle*stiff)
			s.res[i] = m[i] - stiff*s.ap[i]
			z := s.res[i] * s.inv[i]
			s.p[i] = z
			sum += float64(z * s.res[i])
		}
		return sum
	})
	start := rz
	for range rounds {
		pap := s.bend(s.p, func(i0, i1 int) (sum float64) {
			ap, p, w := s.ap[i0:i1], s.p[i0:i1], w[i0:i1]
			for i, q := range p {
				v := stiff*ap[i] + w[i]*q
				ap[i] = v
				sum += float64(v * q)
			}
			return sum
		})
		if pap <= 0 || rz <= plateTolerance*start {
			break
		}
		a := float32(rz / pap)
		next := s.sum(func(i0, i1 int) (sum float64) {
			d, p, res, ap, inv := s.d[i0:i1], s.p[i0:i1], s.res[i0:i1], s.ap[i0:i1], s.inv[i0:i1]
			for i, q := range p {
				d[i] += a * q
				r := res[i] - a*ap[i]
				res[i] = r
				sum += float64(r * r * inv[i])
			}
			return sum
		})
		b := float32(next / rz)
		rz = next
		rows.Do(rws, func(r0, r1 int) {
			p, res, inv := s.p[r0*cols:r1*cols], s.res[r0*cols:r1*cols], s.inv[r0*cols:r1*cols]
			for i, q := range p {
				p[i] = res[i]*inv[i] + b*q
			}
		})
	}
	return s.d
}

const (
	middle         = 20   // of the squared five-point Laplacian: the diagonal
	plateTolerance = 1e-5 // of the squared residual
)

type solvePlate struct {
	cols, rws     int
	stiff         float32
	w             []float32
	seam          []bool
	lap           []float32
	d, res, p, ap []float32
	inv           []float32 // of the operator's diagonal
}

// sum adds up what f returns for each row of cells, in their order: the same on every machine.
func (s *solvePlate) sum(f func(i0, i1 int) float64) float64 {
	part := make([]float64, s.rws)
	rows.Do(s.rws, func(r0, r1 int) {
		for r := r0; r < r1; r++ {
			part[r] = f(r*s.cols, (r+1)*s.cols)
		}
	})
	total := 0.0
	for _, v := range part {
		total += v
	}
	return total
}

// bend sets ap = L'L v with L the five-point Laplacian inside the raster, and sums over it as it goes.
func (s *solvePlate) bend(v []float32, f func(i0, i1 int) float64) float64 {
	c := s.cols
	rows.Do(s.rws, func(r0, r1 int) {
		for r := max(1, r0); r < min(s.rws-1, r1); r++ {
			o := s.lap[r*c : (r+1)*c]
			laplace(o[1:c-1], v[r*c:(r+1)*c], v[(r-1)*c+1:], v[(r+1)*c+1:])
			if s.seam == nil {
				continue
			}
			for i := r*c + 1; i < (r+1)*c-1; i++ {
				if s.seam[i] || s.seam[i-1] || s.seam[i+1] || s.seam[i-c] || s.seam[i+c] {
					s.lap[i] = 0
				}
			}
		}
	})
	zero := make([]float32, c)
	row := func(r int) []float32 {
		if r < 0 || r >= s.rws {
			return zero
		}
		return s.lap[r*c : (r+1)*c]
	}
	return s.sum(func(i0, i1 int) float64 {
		r := i0 / c
		o, mid, up, down := s.ap[i0:i1], row(r), row(r-1), row(r+1)
		o[0] = mid[1] + up[0] + down[0] - 4*mid[0]
		laplace(o[1:c-1], mid, up[1:], down[1:])
		o[c-1] = mid[c-2] + up[c-1] + down[c-1] - 4*mid[c-1]
		return f(i0, i1)
	})
}

// laplace fills o with the five-point Laplacian of mid, which reaches one cell further to either side.
func laplace(o, mid, up, down []float32) {
	left, mid, right, up, down := mid[:len(o)], mid[1:len(o)+1], mid[2:len(o)+2], up[:len(o)], down[:len(o)]
	for i := range o {
		o[i] = left[i] + right[i] + up[i] + down[i] - 4*mid[i]
	}
}
