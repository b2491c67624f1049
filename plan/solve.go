package plan

import "math"

const (
	// raiseFromUM: from this depth on a low is raised before it is levelled. Common practice, no source.
	raiseFromUM = 100.0
	// levelUM: what stands farther off than this is worked by the plain orders with tips that move their neighbours, the rest against a held knock-down.
	levelUM = 15.0
	// ReadUM is what reading the surface adds to what is left over; aimed at is the fair limit and half of it, since a hit that was
	// told for less does not show.
	ReadUM   = 3.0
	aimShare = 0.5
	// slopeShare of the slope limit is aimed at: hits miss. Where that leaves nothing to do and the hand-over check still says no, since it looks between
	// the cells too, by shareStep less, down to leastShare.
	slopeShare, shareStep, leastShare = 0.8, 0.15, 0.4
	// amount and placeMM are the standard deviations by which hits miss in amount and, each way, in place.
	amount  = 0.20
	placeMM = 1.0
	// missShrink: since a hit misses, what it takes away is largest in the mean when it is told for a little less: 1/(1 + amount2 + placeMM2 k2)
	// with k2 = 2/s2 the mean square wavenumber of the slopes of a bump of standard deviation s, here 4 mm.
	missShrink = 0.85
	// patience is how many standard deviations of what the round's hits may miss by are left for the next capture to show.
	patience = 2.0
	// searchMM is how far from the worst metal the best place for a hit is looked for, alongMM how far its shape is followed there.
	searchMM, alongMM = 6.0, 14.0
	// heldUM is the most that a held hit takes: beyond, the knock-down gives.
	heldUM = 25.0
)

// goal is the height that hits are told for, um.
func (in *Input) goal() float64 { return in.FairUM + aimShare*ReadUM }

// slopeGoal is the slope that hits are told for, mrad.
func (b *bench) slopeGoal() float64 { return b.share * b.in.Limits.SlopeMRad }

// trial is a hit before it is told.
type trial struct {
	cell, mark int
	touch      touch
	set        float64
}

// pick finds the hits of the next round. Again and again, near the metal that is farthest over a goal, the hit is taken of which slopes and heights
// as the eye sees them become least (matching pursuit), until none is over by more than the hits picked so far may miss by: what those leave is told
// by the next capture, and told for now it would be told for nothing. Where that leaves fewer hits than a round is worth, less is left open. Lows
// and highs are worked in one go, so that the metal around is lifted by pushes and lowered by taps alike. Hits on one cell become one, as far as one
// hit may go.
func (b *bench) pick() []trial {
	g := b.again()
	copy(g.h, b.h)
	copy(g.seen, b.seen)
	copy(g.strain, b.strain)
	for open := patience; ; open /= 2 {
		if open < patience/8 {
			open = 0
		}
		spent := make([]bool, len(g.h))
		for len(g.done) < perRound {
			worst := g.farthest(open, spent)
			if worst < 0 {
				break
			}
			if !g.best(worst) {
				spent[worst] = true // no more to be had here
			}
		}
		if open == 0 || len(g.done) >= leastRound {
			break
		}
	}
	type key struct {
		cell  int
		touch touch
	}
	var out []trial
	at := map[key]int{}
	for _, w := range g.done {
		k := key{w.cell, w.touch()}
		j, again := at[k]
		if again && math.Abs(out[j].set+w.SetUM) <= w.grip.mostUM {
			out[j].set += w.SetUM
			continue
		}
		at[k] = len(out)
		out = append(out, trial{w.cell, w.mark, k.touch, w.SetUM})
	}
	return out
}

// farthest is the cell that is farthest over a goal, by more than open standard deviations of what hits may have missed by; -1: none.
func (b *bench) farthest(open float64, spent []bool) int {
	worst, most := -1, 1.0
	for i, o := range b.owner {
		if o == 0 || spent[i] {
			continue
		}
		if v := b.over(i, open); v > most {
			most, worst = v, i
		}
	}
	return worst
}

// best makes the best hit near a cell; false where none helps.
func (b *bench) best(worst int) bool {
	x, y := b.at(worst)
	k := b.owner[worst] - 1
	touches := []touch{free, held, sharp}
	if b.h[worst] < -raiseFromUM {
		touches = touches[:1]
	}
	var hit trial
	gain := 0.0
	b.each(x, y, searchMM, func(i int, _ float64) {
		if b.owner[i] == 0 && b.site[i] == 0 || math.IsNaN(b.seen[i]) || b.capability > 0 && b.strain[i] > strainShare*b.capability {
			return
		}
		for _, t := range touches {
			if s, g := b.try(i, k, t); g > gain {
				gain, hit = g, trial{i, k, t, s}
			}
		}
	})
	if gain == 0 {
		return false
	}
	w := b.tell(hit, hit.set)
	if math.Abs(w.SetUM) < worthTellingUM {
		return false
	}
	b.apply(w)
	b.done = append(b.done, w)
	return true
}

// worthTellingUM: smaller sets are not looked at.
const worthTellingUM = 1.0

// tell books a trial with a set.
func (b *bench) tell(t trial, set float64) worked {
	x, y := b.at(t.cell)
	return b.book(t.cell, t.mark, t.touch, set, b.grips.at(x, y, t.mark, b.stageOf(t.cell, t.touch), t.set < 0))
}

// try is the best set of one touch at a cell, within what tools, hand and film allow, and how much it takes away.
func (b *bench) try(cell, k int, t touch) (set, gain float64) {
	x, y := b.at(cell)
	stage := b.stageOf(cell, t)
	c := b.grips.at(x, y, k, stage, false)
	along, norm := b.along(cell, b.shape(t, c))
	if along > 0 { // a high: the sign of the set decides between push and tap
		tap := b.grips.at(x, y, k, stage, true)
		if c.tabMM > 0 {
			along, norm = b.along(cell, b.shape(t, tap))
		}
		c = tap
	}
	set = -missShrink * along / norm
	if math.Abs(set) < worthTellingUM || (set < 0) != (c.method == "tap") {
		return 0, 0
	}
	most := min(c.mostUM, b.filmUM(cell, c))
	if t != free {
		most = min(most, heldUM)
	}
	set = math.Copysign(min(math.Abs(set), most), set)
	return set, -2*along*set - set*set*norm
}

// stageOf is the stage that a touch at a cell belongs to.
func (b *bench) stageOf(cell int, t touch) Stage {
	switch {
	case t != free:
		return Finish
	case b.h[cell] < -raiseFromUM:
		return Raise
	}
	return Level
}
