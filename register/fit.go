package register

import (
	"math"

	"fairmetal/internal/order"
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
	maxSteps           int
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
	biweight = 4.685 // [BeatonTukey1974]
	maxSteps = 60
	// maxHalvings of a step that makes things worse.
	maxHalvings = 6
	stepMM      = 3.0   // longest step
	stepTurn    = 0.035 // rad
	blockMM     = 12.0  // residuals farther apart count as independent: twice the longest wave of orange peel
	minShared   = 400   // points in common
	finestMM    = 5e-5  // two captures of a mirror never agreed better
)

// row is one residual with its derivatives by the move.
type row struct {
	r, jx, jy, jt float64
	w             float64
	ok            bool
}

// fit solves the problem from a start; narrow starts with the last cut, for a start that is right to a millimetre.
func (p *problem) fit(start Move, narrow bool) solution {
	n := 3 + p.terms
	x := make([]float64, n) // shift, turn, terms of the difference
	x[0], x[1], x[2] = p.from(start)
	obs, ties := make([]row, len(p.points)), make([]row, len(p.ties))
	var base, d []float64 // the last step and where it began
	var before float64
	cut, out := math.Inf(1), solution{}
	if narrow {
		cut = 0
	}
	for step, halved := 0, 0; ; step++ {
		p.residuals(x, obs)
		p.tied(x, ties)
		if d != nil && halved < maxHalvings && p.cost(x, obs, ties, cut, out.spreadMM) > before {
			halved++
			for u := range d {
				d[u] /= 2
				x[u] = base[u] + d[u]
			}
			continue
		}
		halved = 0
		spread, most := spreadOf(obs)
		if spread == 0 {
			return solution{}
		}
		out.spreadMM = max(spread, finestMM)
		last := biweight * out.spreadMM
		cut = max(last, min(p.narrowing*cut, 2*most))
		weigh(obs, cut)
		before = p.cost(x, obs, ties, cut, out.spreadMM)
		if d == nil {
			hold(obs)
		}
		eq, rhs := p.normal(x, obs, ties, out.spreadMM, d != nil)
		var ok bool
		base = append(base[:0], x...)
		if d, ok = eq.solve(rhs); !ok {
			return solution{}
		}
		// The smooth difference and the move hang together: a step too long is shortened as a whole.
		short := min(1, stepMM/math.Hypot(d[0], d[1]), stepTurn/math.Abs(d[2]))
		for u := range d {
			d[u] *= short
			x[u] += d[u]
		}
		if step > 0 && cut <= last*1.001 && math.Hypot(d[0], d[1]) < 1e-4 && math.Abs(d[2]) < 1e-6 || step >= p.maxSteps {
			out.cov = p.sandwich(eq, obs, ties, out.spreadMM, n)
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
	out.sx, out.sy, out.turn, out.coef, out.ok = x[0], x[1], x[2], x[3:], true
	return out
}

// hold takes the move out of the rows: the smooth difference, which starts from nothing, comes first.
func hold(obs []row) {
	for i := range obs {
		obs[i].jx, obs[i].jy, obs[i].jt = 0, 0, 0
	}
}

// cost is what the fit minimises, with a cut and a spread held: a place that the second surface lacks costs as much as one far off.
func (p *problem) cost(x []float64, obs, ties []row, cut, spread float64) float64 {
	rho := func(r, cut float64) float64 {
		q := min(1, r*r/(cut*cut))
		return cut * cut / 6 * (1 - (1-q)*(1-q)*(1-q))
	}
	var s float64
	for _, o := range obs {
		if o.ok {
			s += rho(o.r, cut)
		} else {
			s += cut * cut / 6
		}
	}
	for i, t := range ties {
		sigma := p.ties[i].sigma
		s += spread * spread / (sigma * sigma) * rho(t.r, biweight*sigma)
	}
	if p.priorMM > 0 {
		s += spread * spread / 2 * ((x[0]*x[0]+x[1]*x[1])/(p.priorMM*p.priorMM) + x[2]*x[2]/(p.priorTurn*p.priorTurn))
	}
	return s
}

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
	return order.Median(abs) / 0.6745, most
}

func weigh(obs []row, cut float64) {
	for i := range obs {
		obs[i].w = 0
		if q := obs[i].r / cut; obs[i].ok && q > -1 && q < 1 {
			obs[i].w = (1 - q*q) * (1 - q*q)
		}
	}
}

func (p *problem) residuals(x []float64, obs []row) {
	sx, sy, turn, coef := x[0], x[1], x[2], x[3:]
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
func (p *problem) tied(x []float64, out []row) {
	sx, sy, turn := x[0], x[1], x[2]
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
