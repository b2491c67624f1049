package fair

import (
	"math"

	"fairmetal/internal/rows"
	"fairmetal/surface"
)

// thinMM is the pitch of the raster that is judged: a tenth of the shortest wave that counts.
const thinMM = PeelMM / 10

// relief is the metal's slope without orange peel on a thinned raster, with what it takes to judge it.
type relief struct {
	g      surface.Grid
	zx, zy []float32     // slope, NaN where not measured
	sx, sy []float32     // the same without waves under MiddleMM
	um     []float32     // height, um, peel included, mean of the thinned cells
	sigma  []float32     // of the height, um
	ok     []bool        // measured, with enough metal round it to judge
	known  int           // cells measured
	judged int           // cells with ok
	plane  [2][3]float64 // slope along x and y over the whole area: a, b x, c y
	coarse *course
	pitch  float64 // of the measured raster, mm
}

func newRelief(s *surface.Surface) *relief {
	zx, zy := slope(s)
	sd := surface.GaussCutoff(PeelMM)
	fx, fy := surface.Gauss(s.Grid, zx, sd), surface.Gauss(s.Grid, zy, sd)
	k := max(1, int(thinMM/s.PitchMM+1e-9))
	r := &relief{pitch: s.PitchMM}
	// Whole blocks from the middle outwards, so that a turned or mirrored surface is thinned alike.
	cols, rws := (s.Cols-1)/k+1, (s.Rows-1)/k+1
	c0, r0 := (s.Cols-1-(cols-1)*k)/2, (s.Rows-1-(rws-1)*k)/2
	r.g = surface.Grid{Cols: cols, Rows: rws, PitchMM: s.PitchMM * float64(k), X0MM: s.X0MM + float64(c0)*s.PitchMM, Y0MM: s.Y0MM + float64(r0)*s.PitchMM}
	n := r.g.Len()
	r.zx, r.zy, r.um, r.sigma = make([]float32, n), make([]float32, n), make([]float32, n), make([]float32, n)
	for j := range rws {
		for i := range cols {
			src, dst := (r0+j*k)*s.Cols+c0+i*k, j*cols+i
			r.zx[dst], r.zy[dst] = fx[src], fy[src]
			r.um[dst], r.sigma[dst] = 1000*s.Height[src], 1000*s.Sigma[src]
			if s.Sigma[src] != s.Sigma[src] {
				r.sigma[dst] = 0
			}
			if fx[src] == fx[src] {
				r.known++
			}
		}
	}
	sd30 := surface.GaussCutoff(MiddleMM)
	rest := math.Sqrt(sd30*sd30 - sd*sd) // Gaussians add by their variances
	r.sx, r.sy = surface.Gauss(r.g, r.zx, rest), surface.Gauss(r.g, r.zy, rest)
	r.inner()
	r.coarse = newCourse(r)
	r.plane = r.coarse.plane()
	return r
}

// rimMM is how much metal a place needs round it: within 2.7 standard deviations of the filter of orange peel, beyond which its
// weight is 0.4 %; nearer to the rim slopes come from one side and their noise is several times as large.
const rimMM = PeelMM / 2

// inner marks the cells that can be judged: all metal measured rimMM to each side.
func (r *relief) inner() {
	n := int(math.Round(rimMM / r.g.PitchMM))
	rowOK := make([]bool, len(r.zx))
	r.ok = make([]bool, len(r.zx))
	for q := range r.g.Rows {
		run := 0
		for c := range r.g.Cols {
			i := q*r.g.Cols + c
			if r.zx[i] != r.zx[i] {
				run = 0
				continue
			}
			if run++; run > 2*n {
				rowOK[i-n] = true
			}
		}
	}
	for c := range r.g.Cols {
		run := 0
		for q := range r.g.Rows {
			i := q*r.g.Cols + c
			if !rowOK[i] {
				run = 0
				continue
			}
			if run++; run > 2*n {
				r.ok[i-n*r.g.Cols] = true
				r.judged++
			}
		}
	}
}

// off is the slope less the smooth course, the latter drawn two ways: by cx and cy, the course of a view on the blocks, and straight
// over the whole area. At the rim a course drawn from one side follows waves in part; what counts is the smaller deviation.
func (r *relief) off(i int, cx, cy []float64) (ax, ay, bx, by float64) {
	x, y := r.g.XY(i%r.g.Cols, i/r.g.Cols)
	zx, zy := float64(r.zx[i]), float64(r.zy[i])
	ax, ay = r.coarse.at(cx, cy, x, y)
	return zx - ax, zy - ay,
		zx - r.plane[0][0] - r.plane[0][1]*x - r.plane[0][2]*y, zy - r.plane[1][0] - r.plane[1][1]*x - r.plane[1][2]*y
}

// slope differentiates heights by central differences, one-sided beside unmeasured cells; NaN where the cell or all its neighbours
// along an axis are unmeasured.
func slope(s *surface.Surface) (zx, zy []float32) {
	n := s.Len()
	zx, zy = make([]float32, n), make([]float32, n)
	nan := float32(math.NaN())
	p := float32(s.PitchMM)
	one := func(i, lo, hi int) float32 {
		a, b, h := float32(math.NaN()), float32(math.NaN()), s.Height[i]
		if lo >= 0 {
			a = s.Height[lo]
		}
		if hi >= 0 {
			b = s.Height[hi]
		}
		switch {
		case a == a && b == b:
			return (b - a) / (2 * p)
		case b == b:
			return (b - h) / p
		case a == a:
			return (h - a) / p
		}
		return nan
	}
	rows.Do(s.Rows, func(r0, r1 int) {
		for r := r0; r < r1; r++ {
			for c := range s.Cols {
				i := r*s.Cols + c
				zx[i], zy[i] = nan, nan
				if s.Height[i] != s.Height[i] {
					continue
				}
				l, h, d, u := i-1, i+1, i-s.Cols, i+s.Cols
				if c == 0 {
					l = -1
				}
				if c == s.Cols-1 {
					h = -1
				}
				if r == s.Rows-1 {
					u = -1
				}
				x, y := one(i, l, h), one(i, d, u)
				if x == x && y == y {
					zx[i], zy[i] = x, y
				}
			}
		}
	})
	return zx, zy
}

// hessian returns the curvature of larger magnitude, 1/mm, of slopes at a cell; NaN at the rim.
func hessian(g surface.Grid, zx, zy []float32, i int) float64 {
	c, r := i%g.Cols, i/g.Cols
	if c == 0 || r == 0 || c == g.Cols-1 || r == g.Rows-1 {
		return math.NaN()
	}
	d := 2 * g.PitchMM
	xx := float64(zx[i+1]-zx[i-1]) / d
	yy := float64(zy[i+g.Cols]-zy[i-g.Cols]) / d
	xy := (float64(zx[i+g.Cols]-zx[i-g.Cols]) + float64(zy[i+1]-zy[i-1])) / (2 * d)
	return math.Abs(xx+yy)/2 + math.Hypot((xx-yy)/2, xy)
}
