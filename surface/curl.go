package surface

import (
	"math"
	"slices"
)

// DropCurl strikes slopes that no surface has: a height map's slopes are free of curl, so that a jump of one component alone, as at
// the rim of a patch whose stripe order slipped, shows as dzy/dx - dzx/dy. Cells beyond ratio robust standard deviations of it, and
// beyond floor (1/mm), become NaN, with their neighbours. It returns how many were struck.
func DropCurl(g Grid, zx, zy []float32, ratio, floor float64) int {
	curl := make([]float32, g.Len())
	var sample []float64
	for r := range g.Rows - 1 {
		for c := range g.Cols - 1 {
			i := r*g.Cols + c
			// Circulation round the square of four cells.
			k := ((zy[i+1] + zy[i+g.Cols+1]) - (zy[i] + zy[i+g.Cols]) - (zx[i+g.Cols] + zx[i+g.Cols+1]) + (zx[i] + zx[i+1])) / 2 / float32(g.PitchMM)
			curl[i] = k
			if k == k && i%7 == 0 {
				sample = append(sample, math.Abs(float64(k)))
			}
		}
	}
	if len(sample) < 100 {
		return 0
	}
	slices.Sort(sample)
	limit := float32(max(floor, ratio*sample[len(sample)/2]/0.6745))
	nan := float32(math.NaN())
	n := 0
	strike := func(i int) {
		if zx[i] == zx[i] {
			zx[i], zy[i] = nan, nan
			n++
		}
	}
	for r := range g.Rows - 1 {
		for c := range g.Cols - 1 {
			i := r*g.Cols + c
			if k := curl[i]; k > limit || k < -limit {
				strike(i)
				strike(i + 1)
				strike(i + g.Cols)
				strike(i + g.Cols + 1)
			}
		}
	}
	return n
}
