package register

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"fairmetal/internal/rows"
)

// point is a place of the first surface and its height, mm.
type point struct{ x, y, h float64 }

// tie says that a place of the second surface lies at a place of the first, give or take sigma mm, along a direction.
type tie struct {
	bx, by float64 // place in the second frame
	ax, ay float64 // place in the first
	nx, ny float64 // unit direction along which they agree
	sigma  float64 // mm
}

// problem is the alignment of a field with points: over the move and the terms of a smooth difference
//
//	sum rho(h(p) - B(q(p)) - sum c_k b_k(p)) + sum rho(ties) + prior,  q = c + R(-turn)(p - c - s)
//
// rho is Tukey's biweight, whose cut narrows from the largest residual to 4.685 robust standard deviations [BeatonTukey1974]: wide at
// first, so that marks pull from afar, narrow at last, so that worked ones drop out.
type problem struct {
	points []point
	basis  []float64 // terms a point
	terms  int
	b      field
	ties   []tie
	// loose points tell of the smooth difference alone, not of the move; nil: none is loose.
	loose []bool
	// prior, mm and rad: how far from nil the move may be; 0: anything.
	priorMM, priorTurn float64
	cx, cy             float64 // the turn's centre, in both frames: the middle of the points
	narrowing          float64 // of the cut at each step: the slower, the farther it sees
}

// solution is the solved move about the centre, with what it leaves.
type solution struct {
	sx, sy, turn float64 // mm, rad
	coef         []float64
	cov          [3][3]float64 // mm, rad
	spreadMM     float64       // robust spread of the heights' residuals
	kept         []float64     // weight of each point at the end, 0 to 1
	ok           bool
}

func (p *problem) centre() {
	p.cx, p.cy = 0, 0
	for _, q := range p.points {
		p.cx, p.cy = p.cx+q.x, p.cy+q.y
	}
	n := float64(max(1, len(p.points)))
	p.cx, p.cy = p.cx/n, p.cy/n
}

// move turns a solution into a move about the origin.
func (p *problem) move(s solution) Move {
	sin, cos := math.Sincos(s.turn)
	return Move{XMM: p.cx + s.sx - cos*p.cx + sin*p.cy, YMM: p.cy + s.sy - sin*p.cx - cos*p.cy, TurnDeg: s.turn * 180 / math.Pi}
}

// from is move backwards.
func (p *problem) from(m Move) (sx, sy, turn float64) {
	x, y := m.To(p.cx, p.cy)
	return x - p.cx, y - p.cy, m.TurnDeg * math.Pi / 180
}

const (
	biweight  = 4.685 // [BeatonTukey1974]
	maxSteps  = 40
	stepMM    = 3.0   // longest step
	stepTurn  = 0.035 // rad
	blockMM   = 12.0  // residuals farther apart count as independent: twice the longest wave of orange peel
	minShared = 400   // points in common
)

// row is one residual with its derivatives by the move.
type row struct {
	r, jx, jy, jt float64
	w             float64
	ok            bool
}

// fit solves the problem from a start; narrow starts with the last cut, for a start that is right to a millimetre.
func (p *problem) fit(start Move, narrow bool) solution {
	sx, sy, turn := p.from(start)
	n := 3 + p.terms
	obs, ties := make([]row, len(p.points)), make([]row, len(p.ties))
	coef := make([]float64, p.terms)
	cut, out := math.Inf(1), solution{}
	if narrow {
		cut = 0
	}
	for step := range maxSteps {
		p.residuals(sx, sy, turn, coef, obs)
		spread, most := spreadOf(obs)
		if spread == 0 {
			return solution{}
		}
		out.spreadMM = max(spread, 1e-6)
		last := biweight * out.spreadMM
		cut = max(last, min(p.narrowing*cut, 2*most))
		weigh(obs, cut)
		p.tied(sx, sy, turn, ties)
		a, rhs := p.normal(obs, n)
		for _, t := range ties {
			j := [3]float64{t.jx, t.jy, t.jt}
			// Ties weigh as heights do: in units of the spread.
			k := t.w * out.spreadMM * out.spreadMM
			for u := range 3 {
				rhs[u] -= k * j[u] * t.r
				for v := u; v < 3; v++ {
					a.SetSym(u, v, a.At(u, v)+k*j[u]*j[v])
				}
			}
		}
		if p.priorMM > 0 {
			for u, k := range []struct{ off, sigma float64 }{{sx, p.priorMM}, {sy, p.priorMM}, {turn, p.priorTurn}} {
				w := out.spreadMM * out.spreadMM / (k.sigma * k.sigma)
				a.SetSym(u, u, a.At(u, u)+w)
				rhs[u] -= w * k.off
			}
		}
		var chol mat.Cholesky
		// A ridge far below any information keeps what nothing determines where it started.
		for u := range n {
			a.SetSym(u, u, a.At(u, u)*(1+1e-9)+1e-30)
		}
		if !chol.Factorize(a) {
			return solution{}
		}
		d := mat.NewVecDense(n, nil)
		if chol.SolveVecTo(d, mat.NewVecDense(n, rhs)) != nil {
			return solution{}
		}
		dx, dy, dt := limit(d.AtVec(0), stepMM), limit(d.AtVec(1), stepMM), limit(d.AtVec(2), stepTurn)
		sx, sy, turn = sx+dx, sy+dy, turn+dt
		for k := range coef {
			coef[k] += d.AtVec(3 + k)
		}
		if cut <= last*1.001 && math.Hypot(dx, dy) < 1e-4 && math.Abs(dt) < 1e-6 || step == maxSteps-1 {
			out.cov = p.sandwich(&chol, obs, ties, out.spreadMM, n)
			steep := slope(obs, cut)
			for a := range out.cov {
				for b := range out.cov[a] {
					out.cov[a][b] /= steep * steep
				}
			}
			out.kept = make([]float64, len(obs))
			for i, o := range obs {
				out.kept[i] = o.w
			}
			break
		}
	}
	out.sx, out.sy, out.turn, out.coef, out.ok = sx, sy, turn, coef, true
	return out
}

func limit(v, most float64) float64 { return min(max(v, -most), most) }

// spreadOf returns the robust spread of residuals, zero where there are too few, and the largest.
func spreadOf(obs []row) (spread, most float64) {
	var abs []float64
	stride := max(1, len(obs)/5000)
	shared := 0
	for i, o := range obs {
		if !o.ok {
			continue
		}
		shared++
		v := math.Abs(o.r)
		most = max(most, v)
		if i%stride == 0 {
			abs = append(abs, v)
		}
	}
	if shared < minShared || len(abs) == 0 {
		return 0, 0
	}
	slices.Sort(abs)
	return abs[len(abs)/2] / 0.6745, most
}

func weigh(obs []row, cut float64) {
	for i := range obs {
		obs[i].w = 0
		if q := obs[i].r / cut; obs[i].ok && q > -1 && q < 1 {
			obs[i].w = (1 - q*q) * (1 - q*q)
		}
	}
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

func (p *problem) residuals(sx, sy, turn float64, coef []float64, obs []row) {
	sin, cos := math.Sincos(turn)
	rows.Do(len(obs), func(i0, i1 int) {
		for i := i0; i < i1; i++ {
			q := p.points[i]
			vx, vy := q.x-p.cx-sx, q.y-p.cy-sy
			wx, wy := cos*vx+sin*vy, -sin*vx+cos*vy
			z, gx, gy, ok := p.b.at(p.cx+wx, p.cy+wy)
			obs[i] = row{ok: ok}
			if !ok {
				continue
			}
			r := q.h - z
			for k, c := range coef {
				r -= c * p.basis[i*p.terms+k]
			}
			obs[i] = row{r: r, ok: true}
			if p.loose == nil || !p.loose[i] {
				obs[i].jx, obs[i].jy, obs[i].jt = cos*gx-sin*gy, sin*gx+cos*gy, gy*wx-gx*wy
			}
		}
	})
}

// tied fills the rows of the ties; their weights hold the variance and a cut of their own.
func (p *problem) tied(sx, sy, turn float64, out []row) {
	sin, cos := math.Sincos(turn)
	for i, t := range p.ties {
		vx, vy := t.bx-p.cx, t.by-p.cy
		wx, wy := cos*vx-sin*vy, sin*vx+cos*vy
		dx, dy := p.cx+sx+wx-t.ax, p.cy+sy+wy-t.ay
		r := t.nx*dx + t.ny*dy
		o := row{r: r, jx: t.nx, jy: t.ny, jt: -t.nx*wy + t.ny*wx, ok: true}
		if q := r / (biweight * t.sigma); q > -1 && q < 1 {
			o.w = (1 - q*q) * (1 - q*q) / (t.sigma * t.sigma)
		}
		out[i] = o
	}
}

// normal adds up the normal equations, in lots of fixed size so that the sum is the same on any machine.
func (p *problem) normal(obs []row, n int) (*mat.SymDense, []float64) {
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
func (p *problem) sandwich(chol *mat.Cholesky, obs []row, ties []row, spread float64, n int) [3][3]float64 {
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
	var cov [3][3]float64
	v := mat.NewVecDense(n, nil)
	for _, k := range order {
		if chol.SolveVecTo(v, mat.NewVecDense(n, sums[k])) != nil {
			continue
		}
		for a := range 3 {
			for b := range 3 {
				cov[a][b] += v.AtVec(a) * v.AtVec(b)
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
