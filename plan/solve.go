package plan

import "math"

const (
	// raiseFromUM: from this depth on a low is raised before it is levelled. Common practice, no source.
	raiseFromUM = 100.0
	// levelUM: what stands farther off than this is worked with tips that move their neighbours, the rest against a held knock-down.
	levelUM = 26.0
	// ReadUM is what reading the surface adds to what is left over; aimed at is the fair limit and half of it, since a hit that was
	// told for less does not show.
	ReadUM   = 3.0
	aimShare = 0.5
	// amount is the share by which hits miss in amount, one standard deviation.
	amount = 0.20
)

// goal is the height that hits are told for, um.
func (in *Input) goal() float64 { return in.FairUM + aimShare*ReadUM }

// trial is a hit before it is told.
type trial struct {
	cell, mark int
	fine       bool // worked against a held knock-down
	set        float64
}

// solve finds hits that leave nothing over the goal: again and again the metal that stands farthest off, low or high, is brought level on the
// simulated panel, where each hit moves its neighbours. Lows and highs are worked in one go, so that the metal around is lifted by pushes and
// lowered by taps alike. Hits on one cell become one, as far as one hit may go.
func (b *bench) solve() []trial {
	g := b.again()
	copy(g.h, b.h)
	copy(g.strain, b.strain)
	g.until(0, Level)
	g.until(0, Finish)
	type key struct {
		cell int
		fine bool
	}
	var out []trial
	at := map[key]int{}
	for _, w := range g.done {
		k := key{w.cell, w.stage == Finish}
		j, again := at[k]
		if again && math.Abs(out[j].set+w.SetUM) <= w.grip.mostUM {
			out[j].set += w.SetUM
			continue
		}
		at[k] = len(out)
		out = append(out, trial{w.cell, w.mark, k.fine, w.SetUM})
	}
	return out
}
