package surface

import (
	"math"

	"fairmetal/internal/order"
	"fairmetal/internal/rows"
)

// DropCurl strikes slopes that no surface has: a height map's slopes are free of curl, so that a jump of one component alone, as at
// the rim of a patch whose stripe order slipped, shows as dzy/dx - dzx/dy. Cells beyond ratio robust standard deviations of it, and
// beyond floor (1/mm), become NaN, with their neighbours. Where the slopes turn by far more than that within turnMM, at the bottom of a
// sharp crease, curl is what blur and interpolation leave of the turn: such cells stay and are returned as doubtful; not so where slips, which
// may be nil, says that stripes may have slipped (at x, y mm).
func DropCurl(g Grid, zx, zy []float32, ratio, floor float64, slips func(x, y float64) bool) (doubtful []int) {
	curl := make([]float32, g.Len())
	rows.Do(g.Rows-1, func(r0, r1 int) {
		for r := r0; r < r1; r++ {
			for c := range g.Cols - 1 {
				i := r*g.Cols + c
				// Circulation round the square of four cells.
				curl[i] = ((zy[i+1] + zy[i+g.Cols+1]) - (zy[i] + zy[i+g.Cols]) - (zx[i+g.Cols] + zx[i+g.Cols+1]) + (zx[i] + zx[i+1])) / 2 / float32(g.PitchMM)
			}
		}
	})
	var sample []float64
	for i := 0; i+g.Cols < len(curl); i += 7 {
		if k := curl[i]; k == k && i%g.Cols < g.Cols-1 {
			sample = append(sample, math.Abs(float64(k)))
		}
	}
	if len(sample) < 100 {
		return nil
	}
	limit := float32(max(floor, ratio*order.Median(sample)/0.6745))
	var struck []int
	for r := range g.Rows - 1 {
		for c := range g.Cols - 1 {
			i := r*g.Cols + c
			k := max(curl[i], -curl[i])
			if !(k > limit) {
				continue
			}
			four := [4]int{i, i + 1, i + g.Cols, i + g.Cols + 1}
			if float64(k)*g.PitchMM > jumpShare*turn(g, zx, zy, c, r) || slips != nil && slips(g.XY(c, r)) {
				struck = append(struck, four[:]...)
			} else {
				doubtful = append(doubtful, four[:]...)
			}
		}
	}
	nan := float32(math.NaN())
	for _, i := range struck {
		zx[i], zy[i] = nan, nan
	}
	return doubtful
}

const (
	// jumpShare is the part of what the slopes turn by from which curl is a jump: that of one component alone is 1 on a straight rim and
	// 0.5 on its steps.
	jumpShare = 0.4
	turnMM    = 1.5
)

// turn is the breadth of the slopes within turnMM of a cell.
func turn(g Grid, zx, zy []float32, c, r int) float64 {
	n := max(1, int(math.Round(turnMM/g.PitchMM)))
	x0, x1 := float32(math.Inf(1)), float32(math.Inf(-1))
	y0, y1 := x0, x1
	for j := max(0, r-n); j <= min(g.Rows-1, r+n); j++ {
		for i := max(0, c-n) + j*g.Cols; i <= min(g.Cols-1, c+n)+j*g.Cols; i++ {
			if x, y := zx[i], zy[i]; x == x && y == y {
				x0, x1, y0, y1 = min(x0, x), max(x1, x), min(y0, y), max(y1, y)
			}
		}
	}
	return math.Hypot(float64(x1-x0), float64(y1-y0))
}
