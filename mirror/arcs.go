package mirror

import (
	"math"
	"slices"
)

// arcs has the feature lines found be arcs, of the width and at the place with which least of the metal beside them is left over: sights that a
// line too sharp, or a little aside, casts out have no say in how wide it is. They stay as they were where less is explained so.
func (s *solver) arcs(x []float64) []float64 {
	if s.folds == 0 || s.arc || s.prior.Rough {
		return x
	}
	was, least := s.now(x), s.misfit()
	s.arc = true
	next := slices.Clone(x)
	for k := range s.folds {
		s.section(next, k)
	}
	s.settled = true
	trial, err := s.settle(next)
	if err != nil || s.misfit() >= least {
		return s.back(was)
	}
	return trial
}

// section sets width and place of line k to those that leave least of the sights beside it.
func (s *solver) section(x []float64, k int) {
	form := s.form(x)
	line := &form.Folds[k]
	var near []int
	for i := 0; i < len(s.sights); i += s.stride {
		if p, _, _, ok := s.hit(&form, s.fr.Camera.Centre, s.rays[i], i); ok {
			if d, _, _ := line.Across(p.X, p.Y); math.Abs(d) < sectionMM {
				near = append(near, i)
			}
		}
	}
	at := len(x) - (s.folds-k)*foldUnknowns
	place := x[at+1]
	least, bestPlace, bestWidth := math.Inf(1), place, x[at+4]+math.Log(ArcOfTails)
	for w := sectionNarrow; w <= sectionWide; w *= math.Sqrt2 {
		for d := -sectionShift; d <= sectionShift; d++ {
			x[at+1], x[at+4] = place+d, math.Log(w)
			if c := s.lost(x, near); c < least {
				least, bestPlace, bestWidth = c, x[at+1], x[at+4]
			}
		}
	}
	x[at+1], x[at+4] = bestPlace, bestWidth
}

// lost is what x leaves of some sights, by Tukey's loss, from 0 to 1 each.
func (s *solver) lost(x []float64, of []int) (sum float64) {
	b, f := s.board(x), s.form(x)
	for _, i := range of {
		q := min(s.miss(&b, &f, i)/(tukey*s.scale), 1)
		w := 1 - q*q
		sum += 1 - w*w*w
	}
	return sum
}

// Where a line's section is sought.
const (
	sectionMM     = 20.0 // to either side of it
	sectionNarrow = 1.0  // mm wide
	sectionWide   = 24.0
	sectionShift  = 6.0 // mm aside, in steps of 1
)
