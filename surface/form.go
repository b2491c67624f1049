package surface

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"fairmetal/internal/order"
	"fairmetal/internal/rows"
)

// Smooth is a smooth remainder of the undamaged form over a grid: a polynomial in Legendre products, and beyond each feature
// line a quadratic of its own, since the two sides of a fold are pressed on their own.
type Smooth struct {
	Degree         int
	x0, y0, sx, sy float64 // maps mm to [-1, 1]
	lines          []Across
	C              []float64
}

// Across tells the distance s of a place from a feature line and the place t along it, mm.
type Across func(x, y float64) (s, t float64)

// sideTerms is the number of terms of a quadratic in s and t.
const sideTerms = 6

// side fills b with the terms of what lies beyond a line: a quadratic where s > 0, else zero. The step and bend at the line
// itself are left to AlongLine.
func (s *Smooth) side(line Across, x, y float64, b []float64) {
	d, t := line(x, y)
	if d <= 0 {
		clear(b[:sideTerms])
		return
	}
	d, t = d/s.sy, t/s.sx
	b[0], b[1], b[2], b[3], b[4], b[5] = 1, d, t, d*d, d*t, t*t
}

// legendre fills p with P_0..P_n at t.
func legendre(t float64, p []float64) {
	p[0] = 1
	if len(p) > 1 {
		p[1] = t
	}
	for k := 2; k < len(p); k++ {
		p[k] = (float64(2*k-1)*t*p[k-1] - float64(k-1)*p[k-2]) / float64(k)
	}
}

func (s *Smooth) polynomial() int { return (s.Degree + 1) * (s.Degree + 2) / 2 }

func (s *Smooth) terms() int { return s.polynomial() + sideTerms*len(s.lines) }

func (s *Smooth) basis(x, y float64, px, py, b []float64) {
	legendre((x-s.x0)/s.sx, px)
	legendre((y-s.y0)/s.sy, py)
	k := 0
	for d := 0; d <= s.Degree; d++ {
		for j := 0; j <= d; j++ {
			b[k] = px[d-j] * py[j]
			k++
		}
	}
	for _, l := range s.lines {
		s.side(l, x, y, b[k:])
		k += sideTerms
	}
}

// Grid evaluates the remainder on every cell of g, mm.
func (s *Smooth) Grid(g Grid) []float64 {
	n := s.Degree + 1
	px, py := make([][]float64, g.Cols), make([][]float64, g.Rows)
	for c := range px {
		px[c] = make([]float64, n)
		x, _ := g.XY(c, 0)
		legendre((x-s.x0)/s.sx, px[c])
	}
	for r := range py {
		py[r] = make([]float64, n)
		_, y := g.XY(0, r)
		legendre((y-s.y0)/s.sy, py[r])
	}
	out := make([]float64, g.Len())
	rows.Do(g.Rows, func(r0, r1 int) {
		var b [sideTerms]float64
		for r := r0; r < r1; r++ {
			// Fold the y factors into one polynomial in x a row.
			a := make([]float64, n)
			k := 0
			for d := 0; d <= s.Degree; d++ {
				for j := 0; j <= d; j++ {
					a[d-j] += s.C[k] * py[r][j]
					k++
				}
			}
			for c := range g.Cols {
				var z float64
				for i, v := range a {
					z += v * px[c][i]
				}
				for l, line := range s.lines {
					x, y := g.XY(c, r)
					s.side(line, x, y, b[:])
					for i, v := range b {
						z += s.C[s.polynomial()+l*sideTerms+i] * v
					}
				}
				out[r*g.Cols+c] = z
			}
		}
	})
	return out
}

// Flatten returns the smooth remainder of the undamaged form in a height map (mm, NaN where unknown), fitted to what is not
// damaged: a polynomial by iteratively reweighted least squares whose cut (Tukey's biweight) tightens to the spread of the
// undamaged metal. The degree grows from low to high only while that visibly calms the undamaged metal, so that a wide
// shallow low is not swallowed. lines are the feature lines that cross the map. spreadMM is the robust standard deviation that is left there.
func Flatten(g Grid, h []float64, lines ...Across) (s *Smooth, spreadMM float64, err error) {
	stride := max(1, int(thinMM/g.PitchMM))
	cells := thin(g, h, stride)
	if len(cells) < 60 {
		return nil, 0, ErrNoCells
	}
	const low, high = 4, 6
	for degree := low; degree <= high; degree++ {
		next, spread, ferr := fitRobust(g, cells, degree, lines, maxRounds)
		if ferr != nil {
			if s != nil {
				break
			}
			return nil, 0, ferr
		}
		// A fifth less spread is worth two more orders; orange peel alone never gives it.
		if s == nil || spread < 0.8*spreadMM {
			s, spreadMM = next, spread
		}
	}
	return s, spreadMM, nil
}

// Rough is a Flatten in few steps and without lines, good to some tens of micrometres: to tell where the metal stands, not how fair it is.
func Rough(g Grid, h []float64) (*Smooth, error) {
	cells := thin(g, h, max(1, int(2*thinMM/g.PitchMM)))
	s, _, err := fitRobust(g, cells, 4, nil, 4)
	return s, err
}

// maxRounds bounds the reweighting of Flatten; it rests after six to twelve.
const maxRounds = 25

type sampleCell struct{ x, y, h, w float64 }

func thin(g Grid, h []float64, stride int) []sampleCell {
	var cells []sampleCell
	for r := stride / 2; r < g.Rows; r += stride {
		for c := stride / 2; c < g.Cols; c += stride {
			if v := h[r*g.Cols+c]; !math.IsNaN(v) {
				x, y := g.XY(c, r)
				cells = append(cells, sampleCell{x, y, v, 1})
			}
		}
	}
	return cells
}

// thinMM is the spacing of the cells that the fit uses: orange peel is hardly correlated over it.
const thinMM = 3.5

// biweight is Tukey's cut in robust standard deviations (Beaton & Tukey 1974).
const biweight = 4.685

func fitRobust(g Grid, cells []sampleCell, degree int, lines []Across, rounds int) (*Smooth, float64, error) {
	for i := range cells {
		cells[i].w = 1
	}
	s := &Smooth{Degree: degree, lines: lines, x0: g.X0MM + float64(g.Cols-1)*g.PitchMM/2, y0: g.Y0MM + float64(g.Rows-1)*g.PitchMM/2,
		sx: max(1, float64(g.Cols-1)*g.PitchMM/2), sy: max(1, float64(g.Rows-1)*g.PitchMM/2)}
	n := s.terms()
	basis := make([]float64, n*len(cells))
	rows.Do(len(cells), func(i0, i1 int) {
		px, py := make([]float64, degree+1), make([]float64, degree+1)
		for i := i0; i < i1; i++ {
			s.basis(cells[i].x, cells[i].y, px, py, basis[i*n:(i+1)*n])
		}
	})
	res, abs := make([]float64, len(cells)), make([]float64, len(cells))
	spread := math.Inf(1)
	for range rounds {
		if err := s.solve(cells, basis); err != nil {
			return nil, 0, err
		}
		rows.Do(len(cells), func(i0, i1 int) {
			for i := i0; i < i1; i++ {
				var z float64
				for k, b := range basis[i*n : (i+1)*n] {
					z += s.C[k] * b
				}
				res[i] = cells[i].h - z
				abs[i] = math.Abs(res[i])
			}
		})
		next := order.Median(abs) / 0.6745
		for i, v := range res {
			q := v / (biweight * max(next, 1e-6))
			cells[i].w = 0
			if q > -1 && q < 1 {
				cells[i].w = (1 - q*q) * (1 - q*q)
			}
		}
		if math.Abs(next-spread) < 1e-3*next {
			break
		}
		spread = next
	}
	return s, spread, nil
}

func (s *Smooth) solve(cells []sampleCell, basis []float64) error {
	n := s.terms()
	a, rhs := make([]float64, n*n), make([]float64, n)
	// Sums over fixed lots of cells, added up in their order: the same to the last digit on any machine.
	const lot = 512
	type part struct {
		a, rhs []float64
		used   float64
	}
	parts := make([]part, (len(cells)+lot-1)/lot)
	rows.Do(len(parts), func(k0, k1 int) {
		for k := k0; k < k1; k++ {
			t := part{a: make([]float64, n*n), rhs: make([]float64, n)}
			// Two cells at a time: half the sums to fetch and to store.
			last := -1
			both := func(i, j int, wi, wj float64) {
				c, d := cells[i], cells[j]
				b, e := basis[i*n:(i+1)*n], basis[j*n:(j+1)*n]
				for p, v := range b {
					wb, we := wi*v, wj*e[p]
					t.rhs[p] += wb*c.h + we*d.h
					row, b, e := t.a[p*n+p:(p+1)*n], b[p:], e[p:]
					b, e = b[:len(row)], e[:len(row)]
					for q := range row {
						row[q] += wb*b[q] + we*e[q]
					}
				}
				t.used += wi + wj
			}
			for i := k * lot; i < min((k+1)*lot, len(cells)); i++ {
				switch {
				case cells[i].w == 0:
				case last < 0:
					last = i
				default:
					both(last, i, cells[last].w, cells[i].w)
					last = -1
				}
			}
			if last >= 0 {
				both(last, last, cells[last].w/2, cells[last].w/2)
			}
			parts[k] = t
		}
	})
	var used float64
	for _, t := range parts {
		used += t.used
		for k, v := range t.a {
			a[k] += v
		}
		for k, v := range t.rhs {
			rhs[k] += v
		}
	}
	if used < float64(2*n) {
		return ErrNoCells
	}
	sym := mat.NewSymDense(n, nil)
	for p := range n {
		for q := p; q < n; q++ {
			sym.SetSym(p, q, a[p*n+q])
		}
		// A ridge of a millionth keeps terms that the mask leaves undetermined at zero.
		sym.SetSym(p, p, a[p*n+p]+1e-6*used)
	}
	var chol mat.Cholesky
	if !chol.Factorize(sym) {
		return ErrNoCells
	}
	v := mat.NewVecDense(n, nil)
	if err := chol.SolveVecTo(v, mat.NewVecDense(n, rhs)); err != nil {
		return err
	}
	s.C = slices.Clone(v.RawVector().Data)
	return nil
}
