package mark

import (
	"math"
	"slices"
)

// hole is a part of the map without a value, closed in by metal with one: too sharp for the stripes. What is known around it is one mark
// as far as it hangs together through the hole.
type hole struct {
	cells  []int
	rim    float64 // mean height around it, um
	middle float64 // where the metal around it would run on to, um
}

// sign is that of the mark in the hole.
func (h *hole) sign() float32 {
	if h.middle < 0 {
		return -1
	}
	return 1
}

// findHoles lists the holes of which told says that sharp metal lies there, and for each cell the number of its hole, 0 for none.
func (f *finder) findHoles(told func(x, y float64) bool) {
	g := f.s.Grid
	f.holeAt = make([]int32, g.Len())
	if told == nil {
		return
	}
	done := make([]bool, g.Len())
	for start, v := range f.um {
		if v == v || done[start] {
			continue
		}
		part := []int{start}
		done[start] = true
		open, sharp := false, 0
		for k := 0; k < len(part); k++ {
			i := part[k]
			c, r := i%g.Cols, i/g.Cols
			if c == 0 || r == 0 || c == g.Cols-1 || r == g.Rows-1 {
				open = true
				continue
			}
			if told(g.XY(c, r)) {
				sharp++
			}
			for _, j := range [4]int{i - 1, i + 1, i - g.Cols, i + g.Cols} {
				if f.um[j] != f.um[j] && !done[j] {
					done[j] = true
					part = append(part, j)
				}
			}
		}
		if open || 2*sharp < len(part) {
			continue
		}
		f.holes = append(f.holes, f.lookInto(part))
		for _, i := range part {
			f.holeAt[i] = int32(len(f.holes))
		}
	}
}

// lookInto looks at the metal around a hole: its height and, over two cells, its slope.
func (f *finder) lookInto(cells []int) hole {
	var rim, slope, n float64
	for _, i := range cells {
		c, r := i%f.s.Cols, i/f.s.Cols
		for _, d := range [4][2]int{{-1, 0}, {1, 0}, {0, -1}, {0, 1}} {
			if x, y := c+3*d[0], r+3*d[1]; x < 0 || y < 0 || x >= f.s.Cols || y >= f.s.Rows {
				continue
			}
			step := d[0] + d[1]*f.s.Cols
			if a, b := float64(f.um[i+step]), float64(f.um[i+3*step]); a == a && b == b {
				rim, slope, n = rim+a, slope+(a-b)/(2*f.s.PitchMM), n+1
			}
		}
	}
	if n == 0 {
		return hole{cells: cells}
	}
	return hole{cells, rim / n, rim/n + slope/n*f.s.PitchMM*math.Sqrt(float64(len(cells))/math.Pi)}
}

// hidden is how deep a region may be: deeper than its peak by what the metal beside its holes would run on by to their middles.
func (f *finder) hidden(q *region) float64 {
	most := 0.0
	for _, k := range q.holes {
		h := &f.holes[k]
		most = max(most, float64(q.sign)*(h.middle-h.rim))
	}
	return q.peak + most
}

// filled is the map with its holes counted as known.
func (f *finder) filled() []float32 {
	if len(f.holes) == 0 {
		return f.um
	}
	out := slices.Clone(f.um)
	for _, h := range f.holes {
		for _, i := range h.cells {
			out[i] = 0
		}
	}
	return out
}
