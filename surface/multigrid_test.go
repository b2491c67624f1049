package surface

import (
	"math/rand/v2"
	"testing"
)

// TestPipeline: stages over rows in strips leave what the same stages leave one after the other over the whole raster, seams and rims
// included, and each is told each row once.
func TestPipeline(t *testing.T) {
	for _, size := range [][2]int{{150, 140}, {401, 333}, {7, 4000}, {3000, 9}, {5, 5}} {
		rnd := rand.New(rand.NewPCG(3, uint64(size[0])))
		made := func() *level {
			l := newLevel(size[0], size[1])
			for y := range l.rows {
				wx, wy, b := l.row(l.wx, y), l.row(l.wy, y), l.row(l.b, y)
				for x := range l.cols {
					if x+1 < l.cols {
						wx[x] = float32(max(0, rnd.Float64()-0.2))
					}
					if y+1 < l.rows {
						wy[x] = float32(max(0, rnd.Float64()-0.2))
					}
					b[x] = float32(rnd.NormFloat64())
				}
			}
			l.finish()
			return l
		}
		a := made()
		b := &level{cols: a.cols, rows: a.rows, wx: a.wx, wy: a.wy, inv: a.inv, b: a.b, x: make([]float32, a.size())}
		times := make([]int, a.rows)
		stages := func(l *level) []func(y int) {
			return []func(y int){l.fresh, func(y int) { l.relax(y, 1) }, func(y int) { l.relax(y, 0) }, func(y int) { l.relax(y, 1) }}
		}
		a.pipeline(append(stages(a), func(y int) { times[y]++ })...)
		for _, s := range stages(b) {
			for y := range b.rows {
				s(y)
			}
		}
		for i, v := range a.x {
			if v != b.x[i] {
				t.Fatalf("%v: cell %d of row %d is %v, want %v", size, i%a.cols, i/a.cols-1, v, b.x[i])
			}
		}
		for y, n := range times {
			if n != 1 {
				t.Errorf("%v: row %d was told %d times", size, y, n)
			}
		}
	}
}
