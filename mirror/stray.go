package mirror

// strayRim is how many patches at the rim of what is seen make a region that the form does not explain more than a dent cut off there.
const strayRim = 8

// stray is the share of the sights in regions that the form does not explain and that reach the rim of what is seen over some length: no
// dent amid sound metal, but another form beyond a line that was not found, stripes counted wrong, or damage wider than the view.
func (s *solver) stray() float64 {
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
	total := 0
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
			total += len(queue)
		}
	}
	return float64(total) / float64(max(1, len(s.sights)))
}
