package plan

import (
	"fmt"
	"math"
	"slices"
)

// Bound is how few hits any plan needs, and why.
type Bound struct {
	Hits int    `json:"hits"`
	Told int    `json:"told"` // hits of this plan if all land as told
	Why  string `json:"why"`
}

const (
	// ringCells is the radius of the ring, 6 mm, against which the bend of a place is measured.
	ringCells = 3
	// farShare: a hit this little felt in the bend of a place does not serve it.
	farShare = 0.02
)

// ring are the cells of the ring about a cell.
var ring = [8][2]int{{ringCells, 0}, {-ringCells, 0}, {0, ringCells}, {0, -ringCells}, {2, 2}, {-2, 2}, {2, -2}, {-2, -2}}

// bend is how far the middle of a field at an offset stands over its ring.
func (f *field) bend(dc, dr int) float64 {
	v := f.at(dc, dr)
	for _, o := range ring {
		v -= f.at(dc+o[0], dr+o[1]) / float64(len(ring))
	}
	return v
}

// bound counts places that each need a hit of their own. The height of a place over a ring about it changes by s g(d) with a hit of set s at
// distance d, and g falls fast: a log or Kelvin's functions are nearly harmonic, equal to their mean over a ring that does not hold the
// source. Fair metal has at most two limits there, so a place that stands farther over its ring needs a hit near, or many: (excess)/(greatest
// set x greatest g). What hits farther off do, farShare of all sets of this plan at most, is taken off the excess, so the bound holds for
// plans that work the metal no harder than this one.
func (b *bench) bound() Bound {
	most, near := 0.0, 0.0
	for _, f := range []*field{b.fields.wide, b.fields.fine} {
		n := min(f.n, int(math.Ceil(30/cellMM)))
		for d := range n {
			g := math.Abs(f.bend(d, 0))
			most = max(most, g)
			if g > farShare {
				near = max(near, cellMM*float64(d+1))
			}
		}
	}
	sets := map[int]float64{}
	for _, w := range b.done {
		sets[b.groups[w.mark]] += math.Abs(w.SetUM)
	}
	type place struct {
		cell int
		need float64
	}
	var places []place
	g := b.grid
	for i, o := range b.owner {
		c, r := i%g.Cols, i/g.Cols
		if o == 0 || c < ringCells || r < ringCells || c >= g.Cols-ringCells || r >= g.Rows-ringCells {
			continue
		}
		v := b.start[i]
		for _, d := range ring {
			v -= b.start[i+d[0]+d[1]*g.Cols] / float64(len(ring))
		}
		if need := math.Abs(v) - 2*(b.in.FairUM+ReadUM) - farShare*sets[b.groups[o-1]]; need > 0 {
			places = append(places, place{i, need})
		}
	}
	slices.SortStableFunc(places, func(p, q place) int {
		if p.need > q.need {
			return -1
		}
		return 1
	})
	bd := Bound{Told: len(b.done)}
	var taken []int
	for _, p := range places {
		x, y := b.at(p.cell)
		if slices.ContainsFunc(taken, func(t int) bool { tx, ty := b.at(t); return math.Hypot(tx-x, ty-y) < 2*near }) {
			continue
		}
		taken = append(taken, p.cell)
		bd.Hits += max(1, int(math.Ceil(p.need/(maxSetUM*most))))
	}
	// Whatever bends little needs a hit all the same, if it stands off.
	if bd.Hits == 0 && !b.again().fair() {
		bd.Hits = 1
	}
	bd.Why = fmt.Sprintf("%d hits if all land as told; no plan can do with fewer than %d, because at %d places the metal bends too sharply to be fair, and they lie more than %.0f mm apart, too far for one hit to serve two",
		bd.Told, bd.Hits, len(taken), 2*near)
	if len(taken) < 2 {
		bd.Why = fmt.Sprintf("%d hits if all land as told; no plan can do with fewer than %d, because one hit sets at most %.0f um", bd.Told, bd.Hits, maxSetUM)
	}
	return bd
}
