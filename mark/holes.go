package mark

import (
	"math"
	"slices"

	"fairmetal/internal/order"
	"fairmetal/internal/rows"
)

// hole is a part of the map without a value, closed in by metal with one: too sharp for the stripes. What is known around it is one mark
// as far as it hangs together through the hole.
type hole struct {
	cells  []int
	middle float64   // where the metal around it would run on to, um
	reach  float64   // how far its middle is from its rim, cells
	steep  []float64 // how much the metal beside it goes up into it, um a cell
}

// sign is that of the mark in the hole.
func (h *hole) sign() float32 {
	if h.middle < 0 {
		return -1
	}
	return 1
}

// findHoles lists the holes of which told says that sharp metal lies there, and for each cell the number of its hole, 0 for none. Where one runs
// into metal that was lost for another cause, beside a card or beyond the board, its own part counts that metal with a value closes in.
func (f *finder) findHoles(told func(x, y float64) bool) {
	g := f.s.Grid
	f.holeAt = make([]int32, g.Len())
	if told == nil {
		return
	}
	add := func(part []int) {
		h := f.lookInto(part)
		if f.even(&h) {
			return
		}
		f.holes = append(f.holes, h)
		for _, i := range part {
			f.holeAt[i] = int32(len(f.holes))
		}
	}
	done, sharp := make([]bool, g.Len()), make([]bool, g.Len())
	rows.Do(g.Rows, func(r0, r1 int) {
		for i := r0 * g.Cols; i < r1*g.Cols; i++ {
			sharp[i] = f.um[i] != f.um[i] && told(g.XY(i%g.Cols, i/g.Cols))
		}
	})
	for start, v := range f.um {
		if v == v || done[start] {
			continue
		}
		n := 0
		part, open := f.flood(start, done, func(i int) bool { return f.um[i] != f.um[i] })
		for _, i := range part {
			if sharp[i] {
				n++
			}
		}
		if !open && 2*n >= len(part) {
			add(part)
			continue
		}
		f.toRim(part, sharp)
		for _, i := range part {
			done[i] = !sharp[i]
		}
		for _, i := range part {
			if done[i] {
				continue
			}
			if own, open := f.flood(i, done, func(i int) bool { return f.um[i] != f.um[i] && sharp[i] }); !open && f.closedIn(own, sharp) {
				add(own)
			}
		}
		for _, i := range part {
			done[i] = true
		}
	}
}

// flood gathers the cells that hang together with start and are in, and tells whether any lies on the map's rim.
func (f *finder) flood(start int, done []bool, in func(i int) bool) (part []int, open bool) {
	part = []int{start}
	done[start] = true
	for k := 0; k < len(part); k++ {
		beside, n := f.s.Beside(part[k])
		open = open || n < len(beside)
		for _, j := range beside[:n] {
			if !done[j] && in(j) {
				done[j] = true
				part = append(part, j)
			}
		}
	}
	return part, open
}

// toRim has what lies within lostRimMM of the sharp cells of a part belong to them: beside them stripes are lost as well.
func (f *finder) toRim(part []int, sharp []bool) {
	var last []int
	for _, i := range part {
		if sharp[i] {
			last = append(last, i)
		}
	}
	for range int(math.Ceil(lostRimMM / f.s.PitchMM)) {
		var more []int
		for _, i := range last {
			beside, n := f.s.Beside(i)
			for _, j := range beside[:n] {
				if !sharp[j] && f.um[j] != f.um[j] {
					sharp[j] = true
					more = append(more, j)
				}
			}
		}
		last = more
	}
}

// lostRimMM is a cell of the single photos' reading.
const lostRimMM = 2.5

// closedIn tells whether most of what lies beside a part has a value.
func (f *finder) closedIn(part []int, in []bool) bool {
	known, lost := 0, 0
	for _, i := range part {
		for _, j := range [4]int{i - 1, i + 1, i - f.s.Cols, i + f.s.Cols} {
			switch {
			case f.um[j] == f.um[j]:
				known++
			case !in[j]:
				lost++
			}
		}
	}
	return known > mostlyKnown*lost
}

// mostlyKnown is how many times as much of a hole's rim must have a value as was lost for another cause.
const mostlyKnown = 2

// lookInto looks at the metal around a hole: its height and its slopes, over a cell and over two.
func (f *finder) lookInto(cells []int) hole {
	h := hole{cells: cells}
	var rim, weight, slope, n, sides float64
	for _, i := range cells {
		c, r := i%f.s.Cols, i/f.s.Cols
		for _, d := range [4][2]int{{-1, 0}, {1, 0}, {0, -1}, {0, 1}} {
			if x, y := c+3*d[0], r+3*d[1]; x < 0 || y < 0 || x >= f.s.Cols || y >= f.s.Rows {
				continue
			}
			step := d[0] + d[1]*f.s.Cols
			a, b, c := float64(f.um[i+step]), float64(f.um[i+2*step]), float64(f.um[i+3*step])
			if a == a {
				sides++
			}
			if a == a && b == b {
				h.steep = append(h.steep, a-b)
			}
			if a == a && c == c {
				rim, weight = rim+a*math.Abs(a), weight+math.Abs(a)
				slope, n = slope+(a-c)/(2*f.s.PitchMM), n+1
			}
		}
	}
	h.reach = 2 * float64(len(cells)) / max(1, sides)
	if weight > 0 {
		// Where flanks and a crown reach the rim by turns, the higher tell.
		h.middle = rim/weight + slope/n*f.s.PitchMM*math.Sqrt(float64(len(cells))/math.Pi)
	}
	return h
}

// even tells whether a hole is so wide, and the metal around it so flat, that no mark is in it: its stripes were lost for another cause.
func (f *finder) even(h *hole) bool {
	if h.reach*f.s.PitchMM < wideHoleMM || len(h.steep) == 0 {
		return false
	}
	steep := slices.Clone(h.steep)
	return float64(h.sign())*order.Median(steep)/f.s.PitchMM < steepRimUM
}

const (
	wideHoleMM = 15.0 // from a hole's rim to its middle
	steepRimUM = 1.0  // um per mm, by which the metal around what is too steep to be read goes up or down into it
)

// hidden is how much deeper than its rim, um, a mark may be in its holes: flanks that go on as steeply as four fifths of the rim do, the
// steeper the deeper, as those of stars and creases are, as far as to the middle of one round hole of their area, or of the widest if that
// is narrower.
func (f *finder) hidden(q *region) float64 {
	var area, reach float64
	var steep []float64
	for _, k := range q.holes {
		h := &f.holes[k]
		area, reach = area+float64(len(h.cells)), max(reach, h.reach)
		for _, v := range h.steep {
			steep = append(steep, float64(q.sign)*v)
		}
	}
	if len(steep) == 0 {
		return 0
	}
	reach = min(math.Sqrt(area/math.Pi), reach*math.Sqrt(float64(len(q.holes))))
	const most = 1 // nearly three times as deep as its rim: more is no guess
	return q.peak * math.Expm1(min(most, max(0, order.Nth(steep, len(steep)*4/5)*reach/q.peak)))
}

// filled is the map with its holes counted as known.
func (f *finder) filled() []float32 {
	out := slices.Clone(f.um)
	for _, h := range f.holes {
		for _, i := range h.cells {
			out[i] = 0
		}
	}
	return out
}
