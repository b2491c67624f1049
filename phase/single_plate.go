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
	start, b := rz, float32(0)
	for range rounds {
		pap := s.turned(b, func(i0, i1 int) float64 {
			return pull(s.ap[i0:i1], s.p[i0:i1], w[i0:i1], stiff)
		})
		if pap <= 0 || rz <= plateTolerance*start {
			break
		}
		a := float32(rz / pap)
		next := s.sum(func(i0, i1 int) float64 {
			return advance(s.d[i0:i1], s.res[i0:i1], s.p[i0:i1], s.ap[i0:i1], s.inv[i0:i1], a)
		})
		b = float32(next / rz)
		rz = next
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
	return total(part)
}

func total(part []float64) (sum float64) {
	for _, v := range part {
		sum += v
	}
	return sum
}

// bend sets ap = L'L v with L the five-point Laplacian inside the raster, and sums over it as it goes.
func (s *solvePlate) bend(v []float32, f func(i0, i1 int) float64) float64 {
	part := make([]float64, s.rws)
	rows.Pipeline(s.rws, func(r int) { s.laplacian(v, r) }, s.transposed(part, f))
	return total(part)
}

// turned is bend of p, once that has been turned to the inverse of the diagonal times the residual, and b times itself.
func (s *solvePlate) turned(b float32, f func(i0, i1 int) float64) float64 {
	part := make([]float64, s.rws)
	rows.Pipeline(s.rws, func(r int) {
		if b == 0 {
			return // the first p is set
		}
		i0, i1 := r*s.cols, (r+1)*s.cols
		p, res, inv := s.p[i0:i1], s.res[i0:i1], s.inv[i0:i1]
		for i, q := range p {
			p[i] = res[i]*inv[i] + b*q
		}
	}, func(r int) { s.laplacian(s.p, r) }, s.transposed(part, f))
	return total(part)
}

// laplacian fills row r of lap with that of v; there is none on the raster's rim and beside a seam.
func (s *solvePlate) laplacian(v []float32, r int) {
	if r == 0 || r == s.rws-1 {
		return
	}
	c := s.cols
	o := s.lap[r*c : (r+1)*c]
	laplace(o[1:c-1], v[r*c:(r+1)*c], v[(r-1)*c+1:], v[(r+1)*c+1:])
	if s.seam == nil {
		return
	}
	for i := r*c + 1; i < (r+1)*c-1; i++ {
		if s.seam[i] || s.seam[i-1] || s.seam[i+1] || s.seam[i-c] || s.seam[i+c] {
			s.lap[i] = 0
		}
	}
}

// transposed is the stage that fills a row of ap with L' lap and notes in part what f sums over it.
func (s *solvePlate) transposed(part []float64, f func(i0, i1 int) float64) func(r int) {
	c := s.cols
	zero := make([]float32, c)
	row := func(r int) []float32 {
		if r < 0 || r >= s.rws {
			return zero
		}
		return s.lap[r*c : (r+1)*c]
	}
	return func(r int) {
		o, mid, up, down := s.ap[r*c:(r+1)*c], row(r), row(r-1), row(r+1)
		o[0] = mid[1] + up[0] + down[0] - 4*mid[0]
		laplace(o[1:c-1], mid, up[1:], down[1:])
		o[c-1] = mid[c-2] + up[c-1] + down[c-1] - 4*mid[c-1]
		part[r] = f(r*c, (r+1)*c)
	}
}

// laplace fills o with the five-point Laplacian of mid, which reaches one cell further to either side.
func laplace(o, mid, up, down []float32) {
	left, mid, right, up, down := mid[:len(o)], mid[1:len(o)+1], mid[2:len(o)+2], up[:len(o)], down[:len(o)]
	for i := range o {
		o[i] = left[i] + right[i] + up[i] + down[i] - 4*mid[i]
	}
}

// pull adds the edges' w p to stiff ap and returns the product with p: two sums side by side are quicker than one.
func pull(ap, p, w []float32, stiff float32) float64 {
	var even, odd float32
	ap, w = ap[:len(p)], w[:len(p)]
	i := 0
	for ; i+1 < len(p); i += 2 {
		q0, q1 := p[i], p[i+1]
		v0, v1 := stiff*ap[i]+w[i]*q0, stiff*ap[i+1]+w[i+1]*q1
		ap[i], ap[i+1] = v0, v1
		even += v0 * q0
		odd += v1 * q1
	}
	for ; i < len(p); i++ {
		v := stiff*ap[i] + w[i]*p[i]
		ap[i] = v
		even += v * p[i]
	}
	return float64(even) + float64(odd)
}

// advance goes the step a along p and returns the residual's product with the inverse of the diagonal times itself.
func advance(d, res, p, ap, inv []float32, a float32) float64 {
	var even, odd float32
	d, res, ap, inv = d[:len(p)], res[:len(p)], ap[:len(p)], inv[:len(p)]
	i := 0
	for ; i+1 < len(p); i += 2 {
		d[i] += a * p[i]
		d[i+1] += a * p[i+1]
		r0, r1 := res[i]-a*ap[i], res[i+1]-a*ap[i+1]
		res[i], res[i+1] = r0, r1
		even += r0 * r0 * inv[i]
		odd += r1 * r1 * inv[i+1]
	}
	for ; i < len(p); i++ {
		d[i] += a * p[i]
		res[i] -= a * ap[i]
		even += res[i] * res[i] * inv[i]
	}
	return float64(even) + float64(odd)
}
