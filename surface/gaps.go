package surface

import (
	"math"

	"fairmetal/internal/rows"
)

// CloseGaps fills slopes (row-major on g, NaN unknown) in gaps narrower than twice reachMM by the harmonic function of their
// rims, and returns which cells it filled. Where stripes run too dense to be read, at the bottom of a crease or on a feature
// line, the gap is a fraction of a millimetre wide and the slope runs steadily from one side to the other.
func CloseGaps(g Grid, zx, zy []float32, reachMM float64) []bool {
	n := max(1, int(math.Round(reachMM/g.PitchMM)))
	known := make([]bool, g.Len())
	for i := range known {
		known[i] = zx[i] == zx[i] && zy[i] == zy[i]
	}
	closed := invert(grow(invert(grow(known, g.Cols, g.Rows, n)), g.Cols, g.Rows, n))
	var gap []int
	filled := make([]bool, g.Len())
	for i := range known {
		if closed[i] && !known[i] {
			gap = append(gap, i)
			filled[i] = true
			zx[i], zy[i] = float32(math.NaN()), float32(math.NaN())
		}
	}
	// Relaxation: gaps are a few cells wide, so a few dozen sweeps settle them.
	for range 40 {
		for _, i := range gap {
			var sx, sy, k float32
			c, r := i%g.Cols, i/g.Cols
			take := func(j int) {
				if zx[j] == zx[j] {
					sx, sy, k = sx+zx[j], sy+zy[j], k+1
				}
			}
			if c > 0 {
				take(i - 1)
			}
			if c+1 < g.Cols {
				take(i + 1)
			}
			if r > 0 {
				take(i - g.Cols)
			}
			if r+1 < g.Rows {
				take(i + g.Cols)
			}
			if k > 0 {
				zx[i], zy[i] = sx/k, sy/k
			}
		}
	}
	for _, i := range gap {
		if zx[i] != zx[i] {
			filled[i] = false
		}
	}
	return filled
}

// grow dilates a mask by n cells in the city-block sense, by rows and columns alternately (an octagon for n > 1).
func grow(m []bool, cols, rws, n int) []bool {
	cur := m
	for k := range n {
		next := make([]bool, len(cur))
		rows.Do(rws, func(r0, r1 int) {
			for r := r0; r < r1; r++ {
				for c := range cols {
					i := r*cols + c
					v := cur[i] || c > 0 && cur[i-1] || c+1 < cols && cur[i+1] || r > 0 && cur[i-cols] || r+1 < rws && cur[i+cols]
					if !v && k%2 == 1 {
						v = c > 0 && r > 0 && cur[i-cols-1] || c+1 < cols && r > 0 && cur[i-cols+1] ||
							c > 0 && r+1 < rws && cur[i+cols-1] || c+1 < cols && r+1 < rws && cur[i+cols+1]
					}
					next[i] = v
				}
			}
		})
		cur = next
	}
	return cur
}

func invert(m []bool) []bool {
	out := make([]bool, len(m))
	for i, v := range m {
		out[i] = !v
	}
	return out
}
