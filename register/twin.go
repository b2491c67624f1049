package register

import (
	"errors"
	"math"

	"fairmetal/internal/rows"
	"fairmetal/surface"
)

// Twin is a reference form laid under a damaged panel.
type Twin struct {
	Base     []float64 // mm on the panel's grid: the twin, moved, with the smooth difference; NaN where the twin was not measured
	Move     Move      // of the twin's frame
	SpreadMM float64   // robust spread of the undamaged metal over it
	Scale    float64   // of the twin's heights, found with the difference
	Degree   int       // of the smooth difference
}

// ErrTwin says that a twin does not fit.
var ErrTwin = errors.New("the twin does not cover the panel")

const (
	// Cards are laid on a twin as in a mirror, by eye.
	twinPlaceMM = 12.0
	twinTurnDeg = 2.5
	// The smooth difference takes up what both set-ups leave in the form, and how far two pressed skins differ: the crown at least, more
	// orders where a fifth less spread is won, as surface.Flatten has it.
	twinLowDegree, twinHighDegree = 2, 4
	twinGain                      = 0.8
	// Styling that the damage half hides is followed only while the cut narrows slowly.
	twinNarrowing = 0.7
	twinSteps     = 60
	// twinPointMM is the spacing of the heights that the fit uses: half the width of a feature line's fold.
	twinPointMM = 3.0
)

// Under lays a reference (already mirrored) under the heights z of a damaged panel, mm on g in the panel's frame, NaN where not
// measured: by shift and turn, a smooth difference and, where lined (a feature line crosses the panel), the scale of the heights, which
// two set-ups never measure quite alike. Damage drops out by its own residual.
func Under(g surface.Grid, z []float64, ref surface.Reference, lined bool) (Twin, error) {
	p := &problem{b: field{ref.Grid, ref.Z}, priorMM: twinPlaceMM, priorTurn: twinTurnDeg * math.Pi / 180, narrowing: twinNarrowing, maxSteps: twinSteps}
	stride := max(1, int(math.Round(twinPointMM/g.PitchMM)))
	for r := 0; r < g.Rows; r += stride {
		for c := 0; c < g.Cols; c += stride {
			if h := z[r*g.Cols+c]; h == h {
				x, y := g.XY(c, r)
				p.points = append(p.points, point{x, y, h})
			}
		}
	}
	p.centre()
	var best solution
	var out Twin
	start := Move{}
	for degree := twinLowDegree; degree <= twinHighDegree; degree++ {
		s := p.under(g, degree, lined, start)
		if !s.ok {
			break
		}
		if best.ok && s.spreadMM > twinGain*best.spreadMM {
			continue
		}
		best, out.Degree = s, degree
		start = p.move(s)
	}
	if !best.ok {
		return Twin{}, ErrTwin
	}
	out.Move, out.SpreadMM, out.Scale = p.move(best), best.spreadMM, 1
	n := len(exponents(out.Degree))
	if lined {
		out.Scale += best.coef[n]
	}
	e := exponents(out.Degree)
	out.Base = make([]float64, g.Len())
	rows.Do(g.Rows, func(r0, r1 int) {
		b := make([]float64, n)
		for r := r0; r < r1; r++ {
			for c := range g.Cols {
				x, y := g.XY(c, r)
				t, _, _, ok := p.b.at(out.Move.From(x, y))
				if !ok {
					out.Base[r*g.Cols+c] = math.NaN()
					continue
				}
				t *= out.Scale
				powers(g, e, x, y, b)
				for k, v := range b {
					t += best.coef[k] * v
				}
				out.Base[r*g.Cols+c] = t
			}
		}
	})
	return out, nil
}

// under fits with a smooth difference of one degree; the scale's column is the twin itself where the last round put it.
func (p *problem) under(g surface.Grid, degree int, lined bool, m Move) solution {
	e := exponents(degree)
	p.terms = len(e)
	if lined {
		p.terms++
	}
	p.basis = make([]float64, p.terms*len(p.points))
	var s solution
	for round := range 3 {
		for i, q := range p.points {
			b := p.basis[i*p.terms:]
			powers(g, e, q.x, q.y, b[:len(e)])
			if lined {
				// Where the twin is unknown the point takes no part.
				b[len(e)], _, _, _ = p.b.at(m.From(q.x, q.y))
				if b[len(e)] != b[len(e)] {
					b[len(e)] = 0
				}
			}
		}
		if s = p.fit(m, round > 0); !s.ok {
			return s
		}
		m = p.move(s)
	}
	return s
}

// exponents lists the powers of x and y up to a total degree, constant first.
func exponents(degree int) [][2]int {
	var e [][2]int
	for d := 0; d <= degree; d++ {
		for j := 0; j <= d; j++ {
			e = append(e, [2]int{d - j, j})
		}
	}
	return e
}

// powers fills b with the terms at a place, of coordinates that span -1 to 1 over the grid.
func powers(g surface.Grid, e [][2]int, x, y float64, b []float64) {
	u, v := (x-g.X0MM)/(float64(g.Cols)*g.PitchMM/2)-1, (y-g.Y0MM)/(float64(g.Rows)*g.PitchMM/2)-1
	var pu, pv [twinHighDegree + 1]float64
	pu[0], pv[0] = 1, 1
	for k := 1; k < len(pu); k++ {
		pu[k], pv[k] = pu[k-1]*u, pv[k-1]*v
	}
	for k, d := range e {
		b[k] = pu[d[0]] * pv[d[1]]
	}
}
