package plan

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"fairmetal/fair"
)

// leastRound: for fewer hits a capture does not pay, if more are to be had.
const leastRound = 8

// staged works the planner's own order: pulls where they pay, then rounds over all marks together.
func (b *bench) staged() {
	pulls := b.pullFirst()
	b.done = append(b.done, pulls...)
	b.passes()
	if len(b.done) > 0 || len(b.marks) == 0 {
		return
	}
	if v, err := fair.Judge(b.in.Surface, b.in.Limits); err != nil || v.Answer == fair.Yes {
		return
	}
	for b.share -= shareStep; b.share >= leastShare && len(b.done) == 0; b.share -= shareStep {
		b.passes()
	}
}

// passes works rounds until the goals are met, nothing is left to hit, or rounds stop paying: where film, hand or a feature line allow no more.
func (b *bench) passes() {
	least, idle := math.Inf(1), 0
	for range mostRounds {
		before := len(b.done)
		b.pass()
		over := b.worst()
		if len(b.done) == before || len(b.done) >= maxHits || b.in.NextOnly || over <= 1 {
			return
		}
		if over < paying*least {
			least, idle = over, 0
		} else if idle++; idle >= mostIdle {
			return
		}
	}
}

// paying: a round that leaves over this share of what stood farthest off has not paid; after mostIdle of them the plan ends.
const paying, mostIdle = 0.95, 4

// mostRounds bounds a plan.
const mostRounds = 30

// pass finds the hits of a round for the metal as it stands and makes them, the largest first, held ones last.
func (b *bench) pass() {
	b.measured()
	left := b.pick()
	slices.SortStableFunc(left, func(p, q trial) int {
		if p, q := p.touch == free, q.touch == free; p != q {
			return map[bool]int{true: -1, false: 1}[p]
		}
		return cmp.Compare(math.Abs(q.set), math.Abs(p.set))
	})
	lowest := b.lowest()
	var hits []worked
	for _, t := range left {
		w := b.tell(t, b.trusted(t.cell, t.set))
		if math.Abs(w.SetUM) < leastUM {
			continue
		}
		if w.stage == Level && lowest < -raiseFromUM {
			w.stage = Raise // of one round with the deep lows
		}
		hits = append(hits, w)
	}
	for _, w := range b.inOrder(hits) {
		b.apply(w)
		w.round = b.round
		b.done = append(b.done, w)
	}
	b.round++
}

// leastUM: a smaller set is not worth a hit, tools and eyes do not tell it from none.
const leastUM = 2.0

// lowest metal that has to become fair, um.
func (b *bench) lowest() float64 {
	least := 0.0
	for i, o := range b.owner {
		if o != 0 {
			least = min(least, b.h[i])
		}
	}
	return least
}

// inOrder puts the hits of a round into working order: mark by mark, feature lines first since they hold the shape, marks of one group
// after each other, the deepest first. In a mark each hit is the one whose metal stands farthest on its wrong side: the deepest low comes up, then
// what it has lifted around it goes down, so that the metal around is moved as little as can be, and each hit is told its height when most of what
// its neighbours do to it is done.
func (b *bench) inOrder(hits []worked) []worked {
	rank := b.markOrder()
	fine := map[Stage]int{Finish: len(b.marks)}
	turn := func(w worked) int { return rank[w.mark] + fine[w.stage] }
	slices.SortStableFunc(hits, func(p, q worked) int { return cmp.Compare(turn(p), turn(q)) })
	h := slices.Clone(b.h)
	for from := 0; from < len(hits); {
		to := from
		for to < len(hits) && turn(hits[to]) == turn(hits[from]) {
			to++
		}
		for i := from; i < to; i++ {
			best, at := math.Inf(-1), i
			for j := i; j < to; j++ {
				if v := -h[hits[j].cell] * math.Copysign(1, hits[j].SetUM); v > best {
					best, at = v, j
				}
			}
			hits[i], hits[at] = hits[at], hits[i]
			b.bump(h, hits[i].cell, b.field(hits[i].touch(), hits[i].grip), hits[i].SetUM)
		}
		from = to
	}
	return hits
}

// pullFirst pulls the lows where that pays, one pull each.
func (b *bench) pullFirst() []worked {
	var out []worked
	for k, m := range b.marks {
		p := b.grips.firstPull(k)
		if p.setUM == 0 {
			continue
		}
		col, row := b.grid.Cell(m.DeepestMM[0], m.DeepestMM[1])
		cell := min(max(int(math.Round(row)), 0), b.grid.Rows-1)*b.grid.Cols + min(max(int(math.Round(col)), 0), b.grid.Cols-1)
		if math.IsNaN(b.h[cell]) {
			continue
		}
		w := b.book(cell, k, free, p.setUM, p.grip)
		w.stage = Raise
		if w.SetUM < worthUM {
			continue
		}
		b.apply(w)
		out = append(out, w)
	}
	if len(out) > 0 {
		b.round++
	}
	return out
}

// rounds cuts the hits into batches between captures. Superposition makes the end the same in any order; what stands under the tool on
// the way is not, so heights are told as they are met.
func (b *bench) rounds() []Round {
	var out []Round
	h := slices.Clone(b.start)
	part := map[Stage]int{}
	stage := Raise
	for from, n := 0, 0; from < len(b.done); {
		to := from
		for to < len(b.done) && (b.in.plain() && b.done[to].stage == b.done[from].stage || !b.in.plain() && b.done[to].round == b.done[from].round) && to-from < perRound {
			to++
		}
		stage = stageAfter(stage, b.done[from:to])
		r := Round{Stage: stage, Title: title(stage, part[stage]), Why: why[stage], Order: orderWhy[stage], Watch: watch(stage, b.in, b.done[from:to])}
		part[stage]++
		for _, w := range b.done[from:to] {
			n++
			w.N = n
			b.replay(h, &w)
			r.Hits = append(r.Hits, w.rounded())
			r.Minutes += minutes(w)
		}
		r.Minutes = math.Round(r.Minutes)
		out = append(out, r)
		from = to
	}
	return out
}

// stageAfter names the stage of a round: raising while deep lows come up, finishing when most hits are held; stages are not gone back to.
func stageAfter(last Stage, hits []worked) Stage {
	now, heldHits := Level, 0
	for _, w := range hits {
		if w.stage == Raise {
			now = Raise
		}
		if w.touch() != free {
			heldHits++
		}
	}
	if now != Raise && 2*heldHits > len(hits) {
		now = Finish
	}
	return stages[max(slices.Index(stages, last), slices.Index(stages, now))]
}

var stages = []Stage{Raise, Level, Finish}

// replay works a hit on h and sets its heights to what is met in working order.
func (b *bench) replay(h []float64, w *worked) {
	from := h[w.cell]
	w.FromUM, w.ToUM, w.LoadedUM = from, from+w.SetUM, from+b.lift(w.grip, w.SetUM)
	b.bump(h, w.cell, b.field(w.touch(), w.grip), w.SetUM)
}

func minutes(w worked) float64 { return minutesOf[w.Method+" "+string(w.stage)] }

func (w worked) rounded() Hit {
	h := w.Hit
	for _, v := range []*float64{&h.FromUM, &h.LoadedUM, &h.ToUM, &h.SetUM, &h.ForceN, &h.HandN} {
		*v = math.Round(10**v) / 10
	}
	h.StrainPct = math.Round(100*h.StrainPct) / 100
	return h
}

func title(s Stage, part int) string {
	t := map[Stage]string{Raise: "Raise all lows part-way", Level: "Level highs and lows", Finish: "Finish the micro highs and lows"}[s]
	if part > 0 {
		return fmt.Sprintf("%s, round %d", t, part+1)
	}
	return t
}

var why = map[Stage]string{
	Raise:  "Neighbouring marks move with each other: bring each about four fifths of the way before any is finished.",
	Level:  "What raising pushed up is tapped down, what stayed low comes up, over and between the marks.",
	Finish: "Small hits with fine tools until no line wobbles.",
}

// orderWhy tells the order within a round.
var orderWhy = map[Stage]string{
	Raise:  "Feature lines first, they hold the shape; then mark by mark. In a mark the lowest metal first, then what it has lifted around it is tapped: so its neighbours move least.",
	Level:  "Mark by mark, the metal that stands farthest off first: lows come up, then what they lifted around them goes down.",
	Finish: "The worst spot first, so that one may stop as soon as no line wobbles.",
}

func watch(s Stage, in Input, hits []worked) []string {
	var w []string
	pulls := slices.ContainsFunc(hits, func(w worked) bool { return w.Method == "pull" })
	switch s {
	case Raise:
		w = append(w, "Work to the height under the tool, not to a force: the metal springs back by about the same amount wherever it was.")
		if pulls {
			_, name, c := newGrips(in, nil).glue()
			w = append(w, fmt.Sprintf("Pull first, with %s on skin at %.0f C.", name, c))
		}
		if in.TempC < 30 {
			w = append(w, "Warm paint stands more bending: 40 to 55 C at the skin.")
		}
	case Level:
		w = append(w, "Hold the metal behind a high when you tap it.")
	case Finish:
		w = append(w, "Stop when the next hit would leave more than it takes away; measure again.")
	}
	if slices.ContainsFunc(hits, func(w worked) bool { return w.HandN > 60 }) && in.propNote() != "" {
		w = append(w, in.propNote())
	}
	return w
}

// propNote: a heavy push moves a wide flat panel and not the mark.
func (in Input) propNote() string {
	if in.Panel.RadiusMM > 0 && in.Panel.RadiusMM < 3000 {
		return ""
	}
	return "The panel is flat and gives under a heavy push: prop it or hold it from the front beside the mark."
}
