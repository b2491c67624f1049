package plan

import "math"

const (
	// raiseFromUM: from this depth on a low is raised before it is levelled. Common practice, no source.
	raiseFromUM = 100.0
	// levelUM: what stands farther off than this is worked with tips that move their neighbours, the rest against a held knock-down.
	levelUM = 15.0
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
	g.pursue()
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

// viewMM is the standard deviation of the window in which a fine hit's shape is fitted to the metal, and how far from the worst metal the best place
// for the hit is looked for.
const viewMM = 2.0

// pursue finishes: near the worst metal it makes the hit whose shape takes most of what stands off there (matching pursuit), until nothing is over the
// goal or hits stop helping. Bringing the worst point itself level each time swings instead: what is sharper than a hit's own shape asks for pushes and
// taps side by side that undo each other.
func (b *bench) pursue() {
	spent := make([]bool, len(b.h))
	for range max(0, maxHits-len(b.done)) {
		worst, most := -1, b.in.goal()
		for i, o := range b.owner {
			if v := math.Abs(b.h[i]); o != 0 && !spent[i] && v > most {
				most, worst = v, i
			}
		}
		if worst < 0 {
			return
		}
		if !b.finishAt(worst) {
			spent[worst] = true // no more to be had here
		}
	}
}

// finishAt makes the best fine hit around a cell; false where none helps.
func (b *bench) finishAt(worst int) bool {
	x, y := b.at(worst)
	high := b.h[worst] > 0
	c := b.grips.at(x, y, b.owner[worst]-1, Finish, high)
	f := b.shape(Finish, c)
	best, cell, set := 0.0, -1, 0.0
	b.each(x, y, viewMM, func(i int, _ float64) {
		if b.owner[i] == 0 || math.IsNaN(b.h[i]) || b.capability > 0 && b.strain[i] > strainShare*b.capability {
			return
		}
		along, norm := b.match(i, f)
		if along > 0 == high && along*along/norm > best {
			best, cell, set = along*along/norm, i, -along/norm
		}
	})
	if cell < 0 {
		return false
	}
	w := b.book(cell, b.owner[cell]-1, Finish, math.Copysign(min(math.Abs(set), c.mostUM), set), c)
	if math.Abs(w.SetUM) < 1 {
		return false
	}
	b.bump(b.h, cell, f, w.SetUM)
	b.done = append(b.done, w)
	return true
}

// match is the metal's heights around a cell along a hit's shape, and the shape along itself, both in the window.
func (b *bench) match(cell int, f *field) (along, norm float64) {
	n := min(f.n, int(2*viewMM/cellMM))
	c, r := cell%b.grid.Cols, cell/b.grid.Cols
	for j := max(0, r-n); j <= min(b.grid.Rows-1, r+n); j++ {
		for i := max(0, c-n); i <= min(b.grid.Cols-1, c+n); i++ {
			h := b.h[j*b.grid.Cols+i]
			if math.IsNaN(h) {
				continue
			}
			d := cellMM * math.Hypot(float64(i-c), float64(j-r))
			v := f.at(i-c, j-r)
			w := v * math.Exp(-d*d/(2*viewMM*viewMM))
			along += w * h
			norm += w * v
		}
	}
	return along, norm
}
