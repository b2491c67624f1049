package mirror

import (
	"cmp"
	"math"
	"slices"

	"fairmetal/internal/order"
)

// strayRim is how many patches at the rim of what is seen make a region that the form does not explain more than a dent cut off there.
const strayRim = 8

// stray are the sights in regions that the form does not explain and that reach the rim of what is seen over some length: no dent amid sound
// metal, but another form beyond a line that was not found, stripes counted wrong, or damage wider than the view.
func (s *solver) stray() []int {
	type cell struct{ x, y int }
	side := float64(max(3, s.told.W/sightsAcross))
	at := map[cell]int{}
	type span struct{ lo, hi int }
	cols, rows := map[int]span{}, map[int]span{}
	widen := func(m map[int]span, k, v int) {
		r, ok := m[k]
		if !ok {
			r = span{v, v}
		}
		m[k] = span{min(r.lo, v), max(r.hi, v)}
	}
	for i, t := range s.sights {
		c := cell{int(t.PX / side), int(t.PY / side)}
		at[c] = i
		widen(rows, c.y, c.x)
		widen(cols, c.x, c.y)
	}
	done := map[cell]bool{}
	var out []int
	for c, i := range at {
		if done[c] || s.weight[i] > 0 {
			continue
		}
		queue := []cell{c}
		done[c] = true
		rim := 0
		for k := 0; k < len(queue); k++ {
			q := queue[k]
			if r, v := rows[q.y], cols[q.x]; q.x == r.lo || q.x == r.hi || q.y == v.lo || q.y == v.hi {
				rim++
			}
			for _, d := range [4]cell{{1, 0}, {-1, 0}, {0, 1}, {0, -1}} {
				n := cell{q.x + d.x, q.y + d.y}
				if j, ok := at[n]; ok && !done[n] && s.weight[j] == 0 {
					done[n] = true
					queue = append(queue, n)
				}
			}
		}
		if rim >= strayRim {
			for _, q := range queue {
				out = append(out, at[q])
			}
		}
	}
	return out
}

const (
	edgeStepDeg = 6
	edgeSights  = 20  // fewer stray ones tell no line
	edgeWrong   = 0.2 // of them may lie on the wrong side of it, and as many sound ones
)

// edge is the straight line that best parts stray sights from those that the form explains, where most of them lie beyond one.
func (s *solver) edge(stray []int, board *Board, form *Form) *Fold {
	if len(stray) < edgeSights {
		return nil
	}
	type place struct {
		x, y  float64
		stray bool
	}
	beyond := make([]bool, len(s.sights))
	for _, i := range stray {
		beyond[i] = true
	}
	eye := s.fr.Camera.Centre
	var all []place
	for i, w := range s.weight {
		if w > 0 || beyond[i] {
			if p, _, _, ok := form.Hit(eye, s.rays[i]); ok {
				all = append(all, place{p.X, p.Y, beyond[i]})
			}
		}
	}
	type stand struct {
		s     float64
		stray bool
	}
	along := make([]stand, len(all))
	least := int(2 * edgeWrong * float64(len(stray)))
	var best *Fold
	for deg := 0; deg < 360; deg += edgeStepDeg {
		angle := float64(deg) * math.Pi / 180
		sin, cos := math.Sincos(angle)
		wrong := 0 // with all beyond the line
		for k, p := range all {
			along[k] = stand{cos*p.x + sin*p.y, p.stray}
			if !p.stray {
				wrong++
			}
		}
		slices.SortFunc(along, func(a, b stand) int { return cmp.Compare(a.s, b.s) })
		for _, o := range along {
			if o.stray {
				wrong++
			} else {
				wrong--
			}
			if wrong < least {
				least, best = wrong, &Fold{Angle: angle, S0: o.s, Width: usualFoldMM}
			}
		}
	}
	if best == nil {
		return nil
	}
	// What the metal beyond it slopes more than the form does.
	sin, cos := math.Sincos(best.Angle)
	var more []float64
	for _, i := range stray {
		if p, zx, zy, ok := form.Hit(eye, s.rays[i]); ok && cos*p.X+sin*p.Y > best.S0 {
			mx, my := Slopes(eye, p, board.At(s.sights[i].U, s.sights[i].V))
			more = append(more, cos*(mx-zx)+sin*(my-zy))
		}
	}
	best.Step = order.Median(more)
	return best
}
