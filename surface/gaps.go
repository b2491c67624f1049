package surface

import (
	"math"
	"math/bits"
	"slices"
	"sync"
)

// CloseGaps fills slopes (row-major on g, NaN unknown) in gaps narrower than twice reachMM by the harmonic function of their
// rims, and returns which cells it filled. Where stripes run too dense to be read, at the bottom of a crease or on a feature
// line, the gap is a fraction of a millimetre wide and the slope runs steadily from one side to the other.
func CloseGaps(g Grid, zx, zy []float32, reachMM float64) []bool {
	n := max(1, int(math.Round(reachMM/g.PitchMM)))
	known := maskOf(g, func(i int) bool { return zx[i] == zx[i] && zy[i] == zy[i] })
	open := mask{known.cols, known.rows, known.words, slices.Clone(known.w)}
	open.grow(n)
	open.invert()
	open.grow(n)
	type cell struct {
		at, n  int
		beside [4]int
	}
	var gap []cell
	filled := make([]bool, g.Len())
	for r := range g.Rows {
		for k, v := range known.row(r) {
			for v = ^v & ^open.row(r)[k] & known.full(k); v != 0; v &= v - 1 {
				i := r*g.Cols + 64*k + bits.TrailingZeros64(v)
				q := cell{at: i}
				q.beside, q.n = g.Beside(i)
				gap = append(gap, q)
				filled[i] = true
				zx[i], zy[i] = float32(math.NaN()), float32(math.NaN())
			}
		}
	}
	// Relaxation: gaps are a few cells wide, so a few dozen sweeps settle them.
	relax := func(z []float32) {
		for range 40 {
			for _, q := range gap {
				var sum, n float32
				for _, j := range q.beside[:q.n] {
					if z[j] == z[j] {
						sum, n = sum+z[j], n+1
					}
				}
				if n > 0 {
					z[q.at] = sum / n
				}
			}
		}
	}
	var wg sync.WaitGroup
	wg.Go(func() { relax(zx) })
	relax(zy)
	wg.Wait()
	for _, q := range gap {
		if zx[q.at] != zx[q.at] {
			filled[q.at] = false
		}
	}
	return filled
}
