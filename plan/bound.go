package plan

import (
	"cmp"
	"fmt"
	"math"
	"runtime"
	"slices"
	"sync"
)

// Bound is how few hits any plan needs, and why.
type Bound struct {
	Hits int    `json:"hits"`
	Told int    `json:"told"` // hits of this plan if all land as told
	Why  string `json:"why"`
}

// docs/method/plan.md proves the bound.
const (
	// zoneCells is the radius of a disc cut out of a large patch of metal, 16 mm, aboutCells how far from its middle metal is looked at: hits
	// beyond the disc are hardly felt in its bends.
	zoneCells, aboutCells = 8, 2
	// mostPatch cells: a larger patch of metal is looked at in discs only.
	mostPatch = 900
	// excluded: that two hits do not do is shown, that three do not is not tried.
	excluded = 2
)

// spot is a cell at an offset with its weight in a look.
type spot struct {
	dc, dr int
	weight float64
}

// looks are what is looked at about a cell: its height; how far it stands over a ring about it, of 4 or 6 mm; and over what two rings, of 4 and 8
// or 6 and 12 mm, tell that the metal would stand at if it were only bent from afar. A field away from its hit is nearly harmonic, equal to its mean
// over a ring, and on a crown biharmonic: rings forget what is worked far away, but heights are allowed half as much or less.
var looks = [5][]spot{look(), look(around(2, 1)), look(around(3, 2)), look(around(2, 1), around(4, 3)), look(around(3, 2), around(6, 4))}

const lookCells = 6 // the widest ring

// around are eight cells about a cell, four straight on and four askew.
func around(straight, askew int) []spot {
	var out []spot
	for _, d := range aroundCell {
		out = append(out, spot{straight * d[0], straight * d[1], 0.125}, spot{askew * (d[0] - d[1]), askew * (d[0] + d[1]), 0.125})
	}
	return out
}

// look is the middle less the mean of a ring, or less that of two whose weights take constants and squares away.
func look(rings ...[]spot) []spot {
	out := []spot{{0, 0, 1}}
	weights := []float64{-1}
	if len(rings) == 2 {
		inner, outer := 0.0, 0.0
		for i, o := range rings[0] {
			inner += float64(o.dc*o.dc + o.dr*o.dr)
			outer += float64(rings[1][i].dc*rings[1][i].dc + rings[1][i].dr*rings[1][i].dr)
		}
		weights = []float64{-outer / (outer - inner), inner / (outer - inner)}
	}
	for k, ring := range rings {
		for _, o := range ring {
			out = append(out, spot{o.dc, o.dr, weights[k] * o.weight})
		}
	}
	return out
}

// look is a field as a look at an offset sees it.
func (f *field) look(k, dc, dr int) float64 {
	v := 0.0
	for _, o := range looks[k] {
		v += o.weight * f.at(dc+o.dc, dr+o.dr)
	}
	return v
}

// seen is a field as each look sees it, from (-n, -n) to (n, n).
type seen struct {
	n int
	v [len(looks)][]float64
}

// newSeen enters into beyond, for each look, the largest size at or beyond a whole distance in cells.
func newSeen(f *field, beyond *[len(looks)][]float64) *seen {
	s := &seen{n: f.n + lookCells}
	for k := range looks {
		far := make([]float64, max(int(math.Sqrt2*float64(s.n))+2, len(beyond[k])))
		copy(far, beyond[k])
		for dr := -s.n; dr <= s.n; dr++ {
			for dc := -s.n; dc <= s.n; dc++ {
				v, d := f.look(k, dc, dr), int(math.Hypot(float64(dc), float64(dr)))
				s.v[k] = append(s.v[k], v)
				far[d] = max(far[d], math.Abs(v))
			}
		}
		for d := len(far) - 2; d >= 0; d-- {
			far[d] = max(far[d], far[d+1])
		}
		beyond[k] = far
	}
	return s
}

func (s *seen) at(look, dc, dr int) float64 {
	if max(dc, -dc) > s.n || max(dr, -dr) > s.n {
		return 0
	}
	return s.v[look][(dr+s.n)*(2*s.n+1)+dc+s.n]
}

// patch is the metal that is worked on a mark's account.
type patch struct {
	cells []int
	sets  float64 // that this plan makes on it in sum
}

// bounder is what a bound is found from.
type bounder struct {
	*bench
	limit   []float64             // how far each cell may stand off in the end
	here    []*fields             // of hits on a cell
	shapes  map[*fields][]*seen   // of all hits that a plan may make there
	beyond  [len(looks)][]float64 // of all shapes
	most    float64               // largest set of one hit
	patches []patch
	others  [len(looks)][]float64 // what hits on other marks may do to each look at a cell, um
}

// zone is a part of a patch whose own hits are counted.
type zone struct {
	patch  int
	cells  []int
	middle int // of a disc; -1: the whole patch
}

// ask is what a look at a cell asks: |off + sum of set x move| <= give.
type ask struct {
	cell, look int
	off, give  float64
}

// need is how far it has to be brought, um; not positive where it is fair as it is.
func (a ask) need() float64 { return math.Abs(a.off) - a.give }

// bound adds up how many hits zones that share no place need, each of its own.
func (b *bench) bound() Bound {
	q := b.newBounder()
	zones := q.zones()
	hits := make([]int, len(zones))
	var wait sync.WaitGroup
	next := make(chan int)
	for range runtime.GOMAXPROCS(0) {
		wait.Go(func() {
			for i := range next {
				hits[i] = q.least(zones[i])
			}
		})
	}
	for i := range zones {
		next <- i
	}
	close(next)
	wait.Wait()
	whole, discs, places := make([]int, len(q.patches)), make([]int, len(q.patches)), 0
	for i, z := range zones {
		if z.middle < 0 {
			whole[z.patch] += hits[i]
		} else {
			discs[z.patch] += hits[i]
		}
	}
	bd := Bound{Told: len(b.done)}
	for p := range q.patches {
		n := max(whole[p], discs[p])
		bd.Hits += n
		if n > 0 {
			places++
		}
	}
	// Whatever stands off needs a hit.
	if bd.Hits == 0 && b.again().worst() > 1 {
		bd.Hits, places = 1, 1
	}
	bd.Why = fmt.Sprintf("%d hits if all land as told; no plan that comes as near and sets no more metal on any of %d places can do with fewer than %d", bd.Told, places, bd.Hits)
	return bd
}

func (b *bench) newBounder() *bounder {
	q := &bounder{bench: b, limit: make([]float64, len(b.h)), here: make([]*fields, len(b.h)), shapes: map[*fields][]*seen{}, most: maxSetUM, patches: make([]patch, len(b.marks))}
	var tabs []*seen
	for _, f := range b.tabs {
		tabs = append(tabs, newSeen(f, &q.beyond))
	}
	for i, h := range b.h {
		q.limit[i] = max(b.in.FairUM+ReadUM, math.Abs(h))
	}
	of := slices.Clone(b.site)
	for i, o := range b.owner {
		if of[i] == 0 {
			of[i] = o
		}
	}
	for _, w := range b.done {
		if of[w.cell] == 0 {
			of[w.cell] = w.mark + 1
		}
		q.patches[of[w.cell]-1].sets += math.Abs(w.SetUM)
		q.most = max(q.most, math.Abs(w.SetUM))
	}
	for i, o := range of {
		if o != 0 {
			q.patches[o-1].cells = append(q.patches[o-1].cells, i)
			f := b.fields
			if b.grips.ground != nil {
				f = b.grips.ground.at(b.at(i))
			}
			q.here[i] = f
			if q.shapes[f] == nil {
				q.shapes[f] = append([]*seen{newSeen(f.wide, &q.beyond), newSeen(f.fine, &q.beyond), newSeen(f.sharp, &q.beyond)}, tabs...)
			}
		}
	}
	q.leaks()
	return q
}

// zones are the patches that are small enough to be looked at whole, and discs in each patch that share no cell, the neediest first.
func (q *bounder) zones() []zone {
	var out []zone
	for p := range q.patches {
		all := zone{p, q.patches[p].cells, -1}
		if len(all.cells) <= mostPatch {
			out = append(out, all)
		}
		var needy []ask
		for _, i := range all.cells {
			for k := 1; k < len(looks); k++ {
				if a, ok := q.ask(q.disc(p, i, nil), i, k); ok && q.owner[i] != 0 && a.need() > 0 {
					needy = append(needy, a)
				}
			}
		}
		slices.SortStableFunc(needy, func(a, b ask) int { return cmp.Compare(b.need(), a.need()) })
		var taken []int
		for _, a := range needy {
			if !slices.ContainsFunc(taken, func(o int) bool { return q.apart(o, a.cell) <= 2*zoneCells }) {
				taken = append(taken, a.cell)
				out = append(out, q.disc(p, a.cell, all.cells))
			}
		}
	}
	return out
}

// disc is the part of a patch within the zone's radius of a middle.
func (q *bounder) disc(patch, middle int, of []int) zone {
	z := zone{patch: patch, middle: middle}
	for _, i := range of {
		if q.apart(i, middle) <= zoneCells {
			z.cells = append(z.cells, i)
		}
	}
	return z
}

// apart is the distance of two cells, in cells.
func (b *bench) apart(i, j int) float64 {
	return math.Hypot(float64(i%b.grid.Cols-j%b.grid.Cols), float64(i/b.grid.Cols-j/b.grid.Cols))
}

// ask is what a look at a cell asks of the hits in a zone; not ok where it reaches beyond the measured metal.
func (q *bounder) ask(z zone, cell, look int) (ask, bool) {
	g := q.grid
	c, r := cell%g.Cols, cell/g.Cols
	if c < lookCells || r < lookCells || c >= g.Cols-lookCells || r >= g.Rows-lookCells {
		return ask{}, false
	}
	a := ask{cell: cell, look: look}
	for _, o := range looks[look] {
		i := cell + o.dc + o.dr*g.Cols
		a.off += o.weight * q.start[i]
		a.give += math.Abs(o.weight) * q.limit[i]
	}
	if math.IsNaN(a.off + a.give) {
		return ask{}, false
	}
	a.give += q.others[look][cell]
	if z.middle >= 0 {
		a.give += q.patches[z.patch].sets * q.from(look, zoneCells-q.apart(cell, z.middle))
	}
	return a, true
}

// from is the largest that any hit of 1 does to a look at or beyond a distance in cells.
func (q *bounder) from(look int, cells float64) float64 {
	if d := int(cells); d < len(q.beyond[look]) {
		return q.beyond[look][d]
	}
	return 0
}

// leaks fills in what hits on other marks may do to each look: all that this plan sets there, at the place that is nearest.
func (q *bounder) leaks() {
	for k := range looks {
		q.others[k] = make([]float64, len(q.h))
	}
	for p, from := range q.patches {
		for other, to := range q.patches {
			if from.sets == 0 || p == other {
				continue
			}
			for _, cell := range to.cells {
				c, r, least := cell%q.grid.Cols, cell/q.grid.Cols, math.MaxInt
				for _, i := range from.cells {
					dc, dr := i%q.grid.Cols-c, i/q.grid.Cols-r
					least = min(least, dc*dc+dr*dr)
				}
				for k := range looks {
					q.others[k][cell] += from.sets * q.from(k, math.Sqrt(float64(least)))
				}
			}
		}
	}
}

// least is how many hits within a zone are needed at least: none, one, two or three.
func (q *bounder) least(z zone) int {
	var asks []ask
	for _, i := range z.cells {
		if q.owner[i] == 0 || z.middle >= 0 && q.apart(i, z.middle) > aboutCells {
			continue
		}
		for k := range looks {
			if a, ok := q.ask(z, i, k); ok {
				asks = append(asks, a)
			}
		}
	}
	slices.SortStableFunc(asks, func(a, b ask) int { return cmp.Compare(b.need()/b.give, a.need()/a.give) })
	if len(asks) == 0 || asks[0].need() <= 0 {
		return 0
	}
	// What a hit of 1 does to each look, per place and shape, in units of what it may be off.
	s := search{off: make([]float64, len(asks)), turn: make([]int, len(asks)), most: q.most}
	for k, a := range asks {
		s.off[k], s.turn[k] = a.off/a.give, k
	}
	for _, i := range z.cells {
		for _, f := range q.shapes[q.here[i]] {
			m := make([]float64, len(asks))
			for k, a := range asks {
				m[k] = f.at(a.look, a.cell%q.grid.Cols-i%q.grid.Cols, a.cell/q.grid.Cols-i/q.grid.Cols) / a.give
			}
			s.moves = append(s.moves, m)
		}
	}
	switch {
	case s.oneDoes():
		return 1
	case s.twoDo():
		return 2
	}
	return excluded + 1
}

// search looks for few hits that bring all |off + sum of set x move| to 1, with sets of at most most. off[0] is the neediest.
type search struct {
	off   []float64
	moves [][]float64 // by hit and look
	most  float64
	turn  []int // the looks in the order in which they are tried: what has just told against a pair comes first
	cut   [2][][2]float64
}

// rounding is left to what is told infeasible, in units of what may be off.
const rounding = 1e-9

func (s *search) oneDoes() bool {
	return slices.ContainsFunc(s.moves, func(m []float64) bool {
		lo, hi := -s.most, s.most
		for k, d := range s.off {
			switch a, b := (-1-rounding-d)/m[k], (1+rounding-d)/m[k]; {
			case m[k] > 0:
				lo, hi = max(lo, a), min(hi, b)
			case m[k] < 0:
				lo, hi = max(lo, b), min(hi, a)
			case math.Abs(d) > 1+rounding:
				return false
			}
			if lo > hi {
				return false
			}
		}
		return true
	})
}

// twoDo tries all pairs: one of the two does at least half of what the neediest asks.
func (s *search) twoDo() bool {
	half := (math.Abs(s.off[0]) - 1) / 2
	for i, m := range s.moves {
		if s.most*math.Abs(m[0]) < half {
			continue
		}
		for j, o := range s.moves {
			if j < i && s.most*math.Abs(o[0]) >= half {
				continue // tried the other way round
			}
			if s.pairDoes(m, o) {
				return true
			}
		}
	}
	return false
}

// pairDoes cuts the square of the two sets by the strip of one look after another: where nothing is left, the pair does not do.
func (s *search) pairDoes(m, o []float64) bool {
	poly, next := append(s.cut[0][:0], [2]float64{-s.most, -s.most}, [2]float64{s.most, -s.most}, [2]float64{s.most, s.most}, [2]float64{-s.most, s.most}), s.cut[1]
	for at, k := range s.turn {
		for _, sign := range [2]float64{1, -1} {
			u, v, w := sign*m[k], sign*o[k], 1+rounding-sign*s.off[k] // u x set + v x set <= w
			next = next[:0]
			prev := poly[len(poly)-1]
			before := w - u*prev[0] - v*prev[1]
			for _, p := range poly {
				here := w - u*p[0] - v*p[1]
				if before >= 0 != (here >= 0) {
					x := before / (before - here)
					next = append(next, [2]float64{prev[0] + x*(p[0]-prev[0]), prev[1] + x*(p[1]-prev[1])})
				}
				if here >= 0 {
					next = append(next, p)
				}
				prev, before = p, here
			}
			poly, next = next, poly
			if len(poly) == 0 {
				s.cut = [2][][2]float64{poly, next}
				s.turn[at], s.turn[at/2] = s.turn[at/2], s.turn[at]
				return false
			}
		}
	}
	s.cut = [2][][2]float64{poly, next}
	return true
}
