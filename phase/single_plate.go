package phase

import (
	"sync"

	"fairmetal/internal/rows"
)

// plate draws a thin plate over the edges of the stripes: it returns the d, cell by cell, that minimises
//
//	sum w (d - m/w)^2 + stiff sum (Laplacian (psi + d))^2
//
// with w the length of edges in a cell and m/w the distance they should move. The plate spans by itself what lies between edges
// and where there are none (w = 0); where seam, which may be nil, is true it is broken and no bend is felt across.
//
// Conjugate gradients from d = 0. The edges bound the operator's spread of eigenvalues, so that plateRounds settle all but wide
// gaps, which keep what they had; the loop around comes back anyway.
func plate(psi, w, m []float32, seam []bool, cols, rws int, stiff float32, rounds int) []float32 {
	n := len(psi)
	s := solvePlate{cols: cols, rws: rws, stiff: stiff, w: w, seam: seam, lap: make([]float32, n),
		d: make([]float32, n), res: make([]float32, n), p: make([]float32, n), ap: make([]float32, n)}
	s.bend(psi)
	rz := s.sum(func(i0, i1 int) (sum float64) {
		for i := i0; i < i1; i++ {
			s.res[i] = m[i] - stiff*s.ap[i]
			z := s.res[i] / (w[i] + middle*stiff)
			s.p[i] = z
			sum += float64(z * s.res[i])
		}
		return sum
	})
	start := rz
	for range rounds {
		s.bend(s.p)
		pap := s.sum(func(i0, i1 int) (sum float64) {
			for i := i0; i < i1; i++ {
				v := stiff*s.ap[i] + w[i]*s.p[i]
				s.ap[i] = v
				sum += float64(v * s.p[i])
			}
			return sum
		})
		if pap <= 0 || rz <= plateTolerance*start {
			break
		}
		a := float32(rz / pap)
		next := s.sum(func(i0, i1 int) (sum float64) {
			for i := i0; i < i1; i++ {
				s.d[i] += a * s.p[i]
				r := s.res[i] - a*s.ap[i]
				s.res[i] = r
				sum += float64(r * r / (w[i] + middle*stiff))
			}
			return sum
		})
		b := float32(next / rz)
		rz = next
		s.sum(func(i0, i1 int) float64 {
			for i := i0; i < i1; i++ {
				s.p[i] = s.res[i]/(w[i]+middle*stiff) + b*s.p[i]
			}
			return 0
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
}

// sum adds up what f returns for ranges of cells, several at a time.
func (s *solvePlate) sum(f func(i0, i1 int) float64) float64 {
	var mu sync.Mutex
	total := 0.0
	rows.Do(s.rws, func(r0, r1 int) {
		v := f(r0*s.cols, r1*s.cols)
		mu.Lock()
		total += v
		mu.Unlock()
	})
	return total
}

// bend sets ap = L'L v with L the five-point Laplacian inside the raster.
func (s *solvePlate) bend(v []float32) {
	c := s.cols
	rows.Do(s.rws, func(r0, r1 int) {
		for r := max(1, r0); r < min(s.rws-1, r1); r++ {
			o := s.lap[r*c : (r+1)*c]
			mid, up, down := v[r*c:(r+1)*c], v[(r-1)*c:r*c], v[(r+1)*c:(r+2)*c]
			for i := 1; i < c-1; i++ {
				o[i] = mid[i-1] + mid[i+1] + up[i] + down[i] - 4*mid[i]
			}
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
	rows.Do(s.rws, func(r0, r1 int) {
		for r := r0; r < r1; r++ {
			o := s.ap[r*c : (r+1)*c]
			mid, up, down := row(r), row(r-1), row(r+1)
			o[0] = mid[1] + up[0] + down[0] - 4*mid[0]
			for i := 1; i < c-1; i++ {
				o[i] = mid[i-1] + mid[i+1] + up[i] + down[i] - 4*mid[i]
			}
			o[c-1] = mid[c-2] + up[c-1] + down[c-1] - 4*mid[c-1]
		}
	})
}
