package register

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"fairmetal/internal/rows"
)

// equations are normal equations, factorised with each unknown in units of its own: a turn held by a wide prior alone stands beside terms
// of the form that thousands of heights hold.
type equations struct {
	chol mat.Cholesky
	unit []float64
	ok   bool
}

func factorise(a *mat.SymDense) *equations {
	n := a.SymmetricDim()
	e := &equations{unit: make([]float64, n)}
	for u := range n {
		// Nothing known of it: it stays.
		e.unit[u] = 1
		if v := a.At(u, u); v > 0 {
			e.unit[u] = 1 / math.Sqrt(v)
		} else {
			a.SetSym(u, u, 1)
		}
	}
	for u := range n {
		for v := u; v < n; v++ {
			a.SetSym(u, v, a.At(u, v)*e.unit[u]*e.unit[v])
		}
		a.SetSym(u, u, 1+1e-10)
	}
	e.ok = e.chol.Factorize(a)
	return e
}

func (e *equations) solve(rhs []float64) ([]float64, bool) {
	if !e.ok {
		return nil, false
	}
	x := mat.NewVecDense(len(rhs), nil)
	for i, v := range rhs {
		x.SetVec(i, v*e.unit[i])
	}
	if e.chol.SolveVecTo(x, x) != nil {
		return nil, false
	}
	out := x.RawVector().Data
	for i := range out {
		out[i] *= e.unit[i]
	}
	return out, true
}

// normal makes the normal equations. free: the move takes part, with its ties and its prior.
func (p *problem) normal(x []float64, obs, ties []row, spread float64, free bool) (*equations, []float64) {
	a, rhs := p.heights(obs, len(x))
	if !free {
		return factorise(a), rhs
	}
	for _, t := range ties {
		j := [3]float64{t.jx, t.jy, t.jt}
		// Ties weigh as heights do: in units of the spread.
		k := t.w * spread * spread
		for u := range 3 {
			rhs[u] -= k * j[u] * t.r
			for v := u; v < 3; v++ {
				a.SetSym(u, v, a.At(u, v)+k*j[u]*j[v])
			}
		}
	}
	if p.priorMM > 0 {
		for u, sigma := range []float64{p.priorMM, p.priorMM, p.priorTurn} {
			w := spread * spread / (sigma * sigma)
			a.SetSym(u, u, a.At(u, u)+w)
			rhs[u] -= w * x[u]
		}
	}
	return factorise(a), rhs
}

// heights adds up the points' part, in lots of fixed size so that the sum is the same on any machine.
func (p *problem) heights(obs []row, n int) (*mat.SymDense, []float64) {
	const lot = 2048
	type part struct{ a, rhs []float64 }
	parts := make([]part, (len(obs)+lot-1)/lot)
	rows.Do(len(parts), func(k0, k1 int) {
		j := make([]float64, n)
		for k := k0; k < k1; k++ {
			t := part{make([]float64, n*n), make([]float64, n)}
			for i := k * lot; i < min((k+1)*lot, len(obs)); i++ {
				o := obs[i]
				if o.w == 0 {
					continue
				}
				p.derivatives(i, o, j)
				for u, v := range j {
					w := o.w * v
					t.rhs[u] -= w * o.r
					for q := u; q < n; q++ {
						t.a[u*n+q] += w * j[q]
					}
				}
			}
			parts[k] = t
		}
	})
	a, rhs := mat.NewSymDense(n, nil), make([]float64, n)
	for _, t := range parts {
		for u := range n {
			rhs[u] += t.rhs[u]
			for q := u; q < n; q++ {
				a.SetSym(u, q, a.At(u, q)+t.a[u*n+q])
			}
		}
	}
	return a, rhs
}

func (p *problem) derivatives(i int, o row, j []float64) {
	j[0], j[1], j[2] = o.jx, o.jy, o.jt
	for k := range p.terms {
		j[3+k] = -p.basis[i*p.terms+k]
	}
}

// sandwich is the covariance of the move from the residuals themselves, those of one block of blockMM taken as one observation (the
// sandwich of [Huber1967], with clusters): neighbouring cells share their orange peel, and one mark that was worked is one mistake, not a thousand.
func (p *problem) sandwich(eq *equations, obs []row, ties []row, spread float64, n int) [3][3]float64 {
	type key struct{ x, y int }
	sums, holds := map[key][]float64{}, map[key]bool{}
	var order []key
	j := make([]float64, n)
	add := func(k key, w, r float64) {
		g := sums[k]
		if g == nil {
			g = make([]float64, n)
			sums[k] = g
			order = append(order, k)
		}
		for u, v := range j {
			g[u] += w * r * v
			holds[k] = holds[k] || u < 3 && v != 0
		}
	}
	for i, o := range obs {
		if o.w > 0 {
			p.derivatives(i, o, j)
			add(key{int(math.Floor(p.points[i].x / blockMM)), int(math.Floor(p.points[i].y / blockMM))}, o.w, o.r)
		}
	}
	for i, t := range ties {
		clear(j)
		j[0], j[1], j[2] = t.jx, t.jy, t.jt
		// A tie's residual is at least its own sigma: few of them may agree by chance.
		r := math.Copysign(max(math.Abs(t.r), p.ties[i].sigma), t.r)
		add(key{1 << 30, i}, t.w*spread*spread, r)
	}
	if p.priorMM > 0 {
		for u, sigma := range []float64{p.priorMM, p.priorMM, p.priorTurn} {
			clear(j)
			j[u] = 1
			add(key{1<<30 + 1, u}, spread*spread/(sigma*sigma), sigma)
		}
	}
	var cov [3][3]float64
	for _, k := range order {
		v, ok := eq.solve(sums[k])
		if !ok {
			continue
		}
		for a := range 3 {
			for b := range 3 {
				cov[a][b] += v[a] * v[b]
			}
		}
	}
	// Few observations for three unknowns: their scatter is too small by so much.
	held := 0.0
	for _, h := range holds {
		if h {
			held++
		}
	}
	small := held / max(1, held-3)
	for a := range 3 {
		for b := range 3 {
			cov[a][b] *= small
		}
	}
	return cov
}

// slope is the mean slope of the biweight's influence over that of its weights: what the normal equations, made of weights, take too much
// credit for [Huber1967].
func slope(obs []row, cut float64) float64 {
	var s, w float64
	for _, o := range obs {
		if o.w > 0 && (o.jx != 0 || o.jy != 0) {
			q := o.r * o.r / (cut * cut)
			s += (1 - q) * (1 - 5*q)
			w += o.w
		}
	}
	if w == 0 {
		return 1
	}
	return max(0.3, s/w)
}
