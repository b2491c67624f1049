package plan

import (
	"fmt"
	"math"
	"sort"

	"fairmetal/mark"
)

// plain tells whether one of the plain orders is asked for.
func (in *Input) plain() bool { return in.Order == One || in.Order == Deepest }

// plain works the panel as the plain orders do: always the worst metal, brought level, without a thought for what other hits will do to it; first to
// the fair height, and as long as lines wobble over their limit to finer ones.
func (b *bench) plain(order string) {
	for finer := 1.0; finer > finest && (finer == 1 || b.worst() > 1); finer *= finerBy {
		b.plainTo(order, finer*b.in.goal())
	}
}

// finerBy is the step from one height that plain orders work to to the next, finest the last.
const finerBy, finest = 0.7, 0.2

func (b *bench) plainTo(order string, limitUM float64) {
	if order == Deepest {
		b.until(0, free, levelUM)
		b.until(0, held, limitUM)
		return
	}
	// Mark by mark to the end, deepest first, coming back to what the next has disturbed.
	for range 6 {
		before := len(b.done)
		for k := range b.marks {
			b.until(k+1, free, levelUM)
			b.until(k+1, held, limitUM)
		}
		if len(b.done) == before {
			return
		}
	}
}

// until hits the worst cell of a mark (0: of all) until none is over a limit, or hits stop helping. These orders finish with held hits; with the
// sharpest tip they take more of them.
func (b *bench) until(only int, t touch, limitUM float64) {
	for range max(0, maxHits-len(b.done)) {
		cell, most := -1, 0.0
		for i, o := range b.owner {
			if o == 0 || only != 0 && o != only || b.capability > 0 && b.strain[i] > strainShare*b.capability {
				continue
			}
			if over := math.Abs(b.h[i]) - limitUM; over > most {
				most, cell = over, i
			}
		}
		if cell < 0 {
			return
		}
		x, y := b.at(cell)
		k := b.owner[cell] - 1
		c := b.grips.at(x, y, k, b.stageOf(cell, t), b.h[cell] > 0)
		w := b.book(cell, k, t, math.Copysign(min(math.Abs(b.h[cell]), c.mostUM), -b.h[cell]), c)
		if math.Abs(w.SetUM) < 1 {
			b.strain[cell] = math.Inf(1) // no more to be had here
			continue
		}
		b.apply(w)
		b.done = append(b.done, w)
	}
}

// markOrder ranks marks: those on feature lines first, then by group of marks that disturb each other, the group with the deepest
// first, and the deepest first in each.
func (b *bench) markOrder() []int {
	group := b.groups
	deepest := map[int]float64{}
	for k, m := range b.marks {
		deepest[group[k]] = max(deepest[group[k]], m.DepthUM)
	}
	by := make([]int, len(b.marks))
	for k := range by {
		by[k] = k
	}
	sort.SliceStable(by, func(i, j int) bool {
		p, q := by[i], by[j]
		if lp, lq := b.marks[p].Kind == mark.Line, b.marks[q].Kind == mark.Line; lp != lq {
			return lp
		}
		if dp, dq := deepest[group[p]], deepest[group[q]]; dp != dq {
			return dp > dq
		}
		return b.marks[p].DepthUM > b.marks[q].DepthUM
	})
	rank := make([]int, len(by))
	for i, k := range by {
		rank[k] = i
	}
	return rank
}

// interaction lists who disturbs whom by more than 3 % of what it is raised by, by the shallow shell of package metal, and the group of each
// mark: marks hang together where raising one moves the other by over a tenth of its depth, or by over twice what is fair.
func (b *bench) interaction() ([]Influence, []int, error) {
	inf := []Influence{}
	group := make([]int, len(b.marks))
	places := make([][2]float64, len(b.marks))
	for i, m := range b.marks {
		group[i], places[i] = i, m.DeepestMM
	}
	find := func(i int) int {
		for group[i] != i {
			i = group[i]
		}
		return i
	}
	around, err := b.in.Panel.Neighbourhood(places, crowned(b.in.Panel, b.in.Crown))
	if err != nil {
		return nil, nil, err
	}
	raises := around.Influence()
	for i, a := range b.marks {
		for j, c := range b.marks {
			v := raises[j][i]
			if i == j || math.Abs(v) < 0.03 {
				continue
			}
			moved := math.Abs(v) * a.DepthUM
			if moved > 0.1*c.DepthUM || moved > 2*b.in.FairUM {
				group[find(i)] = find(j)
			}
			inf = append(inf, Influence{From: a.ID, To: c.ID, Percent: math.Round(1000*v) / 10, MovesUM: math.Round(10*v*a.DepthUM) / 10})
		}
	}
	for i := range group {
		group[i] = find(i)
	}
	return inf, group, nil
}

func names(marks []mark.Mark, group []int) [][]string {
	by := map[int][]string{}
	for i, m := range marks {
		by[group[i]] = append(by[group[i]], m.ID)
	}
	out := [][]string{}
	for _, g := range by {
		sort.Strings(g)
		out = append(out, g)
	}
	sort.Slice(out, func(i, j int) bool { return out[i][0] < out[j][0] })
	return out
}

// order sums the bench up.
func (b *bench) order(name string) Order {
	o := Order{Name: name, Hits: len(b.done)}
	o.LeftUM, _ = b.left()
	o.LeftUM = math.Round(10*o.LeftUM) / 10
	for _, w := range b.done {
		o.Minutes += minutes(w)
		if !math.IsInf(b.strain[w.cell], 0) {
			o.WorstPct = max(o.WorstPct, b.strain[w.cell]/strainMiss)
		}
	}
	o.Minutes, o.WorstPct = math.Round(o.Minutes), math.Round(100*o.WorstPct)/100
	return o
}

// compare forecasts the working orders on the same surface, with hits that all land as told.
func (p *Plan) compare(b *bench) {
	mine := b.again()
	mine.staged()
	a := mine.order("raise all part-way, level, finish")
	a.Note = "this plan"
	p.Orders = []Order{a}
	for _, o := range []struct{ order, name string }{{One, "finish one after another"}, {Deepest, "always the deepest point"}} {
		c := b.again()
		c.plain(o.order)
		r := c.order(o.name)
		switch {
		case r.LeftUM > stuckShare*b.in.FairUM:
			r.Note = fmt.Sprintf("%.0f um stay: film and tools allow no more", r.LeftUM)
		case len(b.marks) < 2:
			r.Note = "there is one mark"
		case len(p.Groups) == len(b.marks):
			r.Note = "the marks do not disturb each other: the order hardly matters"
		case r.Hits > a.Hits && o.order == One:
			r.Note = fmt.Sprintf("%d hits more: each finished mark is disturbed again by the next", r.Hits-a.Hits)
		case r.Hits > a.Hits:
			r.Note = fmt.Sprintf("%d hits more: each hit is set without a thought for its neighbours", r.Hits-a.Hits)
		default:
			r.Note = "no dearer here"
		}
		p.Orders = append(p.Orders, r)
	}
}
