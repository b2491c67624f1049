package tracing

import (
	"math"
	"sort"
)

// label is a text box beside a hit, mm in the panel frame.
type label struct {
	box
	ok bool // room was found
}

// labels finds room for a box of each size beside each hit so that none lies over another or over a hit: rings of growing distance,
// sixteen directions each, the first free one. Hits that are hemmed in go first.
func labels(hits []Hit, sizes [][2]float64) []label {
	const dot = 1.6 // half the size of a hit's sign
	taken := make([]box, 0, 2*len(hits))
	for _, h := range hits {
		taken = append(taken, box{h.XMM - dot, h.YMM - dot, h.XMM + dot, h.YMM + dot})
	}
	order := make([]int, len(hits))
	near := make([]int, len(hits))
	for i := range order {
		order[i] = i
		for _, o := range hits {
			if math.Hypot(o.XMM-hits[i].XMM, o.YMM-hits[i].YMM) < 12 {
				near[i]++
			}
		}
	}
	sort.SliceStable(order, func(a, b int) bool { return near[order[a]] > near[order[b]] })
	out := make([]label, len(hits))
	for _, i := range order {
		w, h := sizes[i][0], sizes[i][1]
	search:
		for ring := range 5 {
			for k := range 16 {
				s, c := math.Sincos(2 * math.Pi * (float64(k) + 0.5) / 16)
				d := 1.2*dot + 3.2*float64(ring)
				// The box's nearest edge or corner stands d from the hit.
				x, y := hits[i].XMM+c*(d+w/2), hits[i].YMM+s*(d+h/2)
				b := box{x - w/2, y - h/2, x + w/2, y + h/2}
				free := true
				for _, t := range taken {
					if b.meets(t) {
						free = false
						break
					}
				}
				if free {
					out[i] = label{b, true}
					taken = append(taken, b)
					break search
				}
			}
		}
	}
	return out
}
