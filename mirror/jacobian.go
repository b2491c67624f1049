package mirror

import (
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"fairmetal/internal/rows"
)

// Steps of the difference quotients along a ray, mm, and of a slope.
const (
	alongStep = 0.05
	slopeStep = 1e-5
)

// jacobian fills the columns of solve's residuals. A sight's ray is followed to the metal once: the board's unknowns move what it sees from
// there, those of the form move the place along the ray and turn the metal under it, which the chain rule carries on. A form raised by
// phi(x, y) is met dt = phi / (d.Z - zx d.X - zy d.Y) further along a ray of direction d.
func (s *solver) jacobian(x, step []float64, cols [][]float64) {
	used := (len(s.sights) + s.stride - 1) / s.stride
	nForm := nBoard + len(s.exps)
	nShape := nForm + s.folds*foldUnknowns
	b, f, see := s.board(x), s.form(x), s.view(x)

	// moved is the set-up with one unknown a step further.
	type moved struct {
		board Board
		form  Form
		see   view
	}
	of := make([]moved, len(x))
	priors := make([]float64, len(cols[0])-2*used)
	s.priors(b, f, &see, x, priors)
	for j := range x {
		m := moved{b, f, see}
		xj := slices.Clone(x)
		xj[j] += step[j]
		switch {
		case j < nBoard:
			m.board = s.board(xj)
		case j < nShape:
			m.form = s.form(xj)
		default:
			m.see = s.view(xj)
		}
		of[j] = m
		tail := cols[j][2*used:]
		s.priors(m.board, m.form, &m.see, xj, tail)
		for k := range tail {
			tail[k] = (tail[k] - priors[k]) / step[j]
		}
	}

	rows.Do(used, func(k0, k1 int) {
		terms := make([][3]float64, len(s.exps))
		for k := k0; k < k1; k++ {
			i := k * s.stride
			w := s.rootWeight(i)
			if w == 0 {
				continue
			}
			ray := see.ray(i)
			p, zx, zy, ok := s.hit(&f, see.eye, ray, i)
			if !ok {
				continue
			}
			u, v, ok := b.Reflect(ray, p, zx, zy)
			if !ok {
				continue
			}
			// by is the derivative of what is seen, weighted; 0 where the step leaves the board.
			by := func(board *Board, ray, p r3.Vec, zx, zy, step float64) (du, dv float64) {
				u2, v2, ok := board.Reflect(ray, p, zx, zy)
				if !ok {
					return 0, 0
				}
				return w * (u2 - u) / step, w * (v2 - v) / step
			}
			for j := range nBoard {
				cols[j][2*k], cols[j][2*k+1] = by(&of[j].board, ray, p, zx, zy, step[j])
			}
			q := r3.Vec{X: p.X + alongStep*ray.X, Y: p.Y + alongStep*ray.Y, Z: p.Z + alongStep*ray.Z}
			_, qx, qy := f.Eval(q.X, q.Y)
			tu, tv := by(&b, ray, q, qx, qy, alongStep)
			xu, xv := by(&b, ray, p, zx+slopeStep, zy, slopeStep)
			yu, yv := by(&b, ray, p, zx, zy+slopeStep, slopeStep)
			den := ray.Z - zx*ray.X - zy*ray.Y
			tu, tv = tu/den, tv/den
			raise := func(j int, z, zx, zy float64) {
				cols[j][2*k], cols[j][2*k+1] = tu*z+xu*zx+yu*zy, tv*z+xv*zx+yv*zy
			}
			formTerms(p.X, p.Y, terms)
			for j, t := range terms {
				raise(nBoard+j, t[0], t[1], t[2])
			}
			for j := nForm; j < nShape; j++ {
				n := (j - nForm) / foldUnknowns
				z0, x0, y0 := f.Folds[n].eval(p.X, p.Y)
				z1, x1, y1 := of[j].form.Folds[n].eval(p.X, p.Y)
				raise(j, (z1-z0)/step[j], (x1-x0)/step[j], (y1-y0)/step[j])
			}
			for j := nShape; j < len(x); j++ {
				ray := of[j].see.ray(i)
				at := s.along[i]
				if p, zx, zy, ok := f.hitFrom(of[j].see.eye, ray, &at); ok {
					cols[j][2*k], cols[j][2*k+1] = by(&b, ray, p, zx, zy, step[j])
				}
			}
		}
	})
}

// formTerms fills height and gradient at (x, y) mm of each term of the form's polynomial, in the order of Exponents.
func formTerms(x, y float64, terms [][3]float64) {
	var u, v [FormDegree + 1]float64
	u[0], v[0] = 1, 1
	for k := range FormDegree {
		u[k+1], v[k+1] = u[k]*x/FormScaleMM, v[k]*y/FormScaleMM
	}
	k := 0
	for d := 0; d <= FormDegree; d++ {
		for j := 0; j <= d; j++ {
			i := d - j
			t := [3]float64{u[i] * v[j], 0, 0}
			if i > 0 {
				t[1] = float64(i) * u[i-1] * v[j] / FormScaleMM
			}
			if j > 0 {
				t[2] = float64(j) * u[i] * v[j-1] / FormScaleMM
			}
			terms[k] = t
			k++
		}
	}
}
