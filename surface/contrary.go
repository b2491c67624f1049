package surface

import (
	"math"

	"fairmetal/internal/rows"
)

// Blocks are square blocks of side cells of a grid, row-major, each with a value; NaN where too few of its cells are known.
type Blocks struct {
	Cols, Rows, Side int
	V                []float32
}

// At is the value of the block that holds cell c, r.
func (b *Blocks) At(c, r int) float32 { return b.V[r/b.Side*b.Cols+c/b.Side] }

// Around is the largest value of the block that holds cell c, r and its eight neighbours; 0 where none is known.
func (b *Blocks) Around(c, r int) (most float32) {
	c, r = c/b.Side, r/b.Side
	for j := max(0, r-1); j <= min(b.Rows-1, r+1); j++ {
		for i := max(0, c-1); i <= min(b.Cols-1, c+1); i++ {
			if v := b.V[j*b.Cols+i]; v > most {
				most = v
			}
		}
	}
	return most
}

// Contrary tells how far slopes zx, zy (row-major on g) are from those of the surface z, mm, that was integrated from them: the length of the mean
// difference over each block of side cells, those of skip left out. Noise averages out over a block; what is left are slopes that no surface has, as those
// of stripes counted wrong over a part of it, since the least squares share out what contradicts itself.
func Contrary(g Grid, z []float64, zx, zy []float32, skip []bool, side int) *Blocks {
	b := &Blocks{Cols: (g.Cols + side - 1) / side, Rows: (g.Rows + side - 1) / side, Side: side}
	b.V = make([]float32, b.Cols*b.Rows)
	rows.Do(b.Rows, func(r0, r1 int) {
		for br := r0; br < r1; br++ {
			for bc := range b.Cols {
				var sx, sy, n float64
				for r := max(1, br*side); r < min(g.Rows-1, (br+1)*side); r++ {
					for c := max(1, bc*side); c < min(g.Cols-1, (bc+1)*side); c++ {
						i := r*g.Cols + c
						dx := (z[i+1]-z[i-1])/(2*g.PitchMM) - float64(zx[i])
						dy := (z[i+g.Cols]-z[i-g.Cols])/(2*g.PitchMM) - float64(zy[i])
						if s := dx + dy; s == s && !skip[i] {
							sx, sy, n = sx+dx, sy+dy, n+1
						}
					}
				}
				v := math.NaN()
				if 4*n >= float64(side*side) {
					v = math.Hypot(sx, sy) / n
				}
				b.V[br*b.Cols+bc] = float32(v)
			}
		}
	})
	return b
}
