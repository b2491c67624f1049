package mark

import (
	"testing"

	"fairmetal/surface"
)

// TestCells: the cells of a mark are those of the whole grid inside it, also of one that reaches over the grid's rim.
func TestCells(t *testing.T) {
	g := surface.Grid{Cols: 61, Rows: 41, PitchMM: 0.5, X0MM: -15, Y0MM: -10}
	for _, m := range []Mark{{XMM: 2, YMM: -1, LengthMM: 14, WidthMM: 5, AngleDeg: 35}, {XMM: -14, YMM: 9, LengthMM: 20, WidthMM: 12, AngleDeg: 100}} {
		in := make([]bool, g.Len())
		m.Cells(g, 1.3, 2, func(i int) { in[i] = true })
		n := 0
		for i, got := range in {
			x, y := g.XY(i%g.Cols, i/g.Cols)
			if got != m.Inside(x, y, 1.3, 2) {
				t.Errorf("%.1f, %.1f mm: %v", x, y, got)
			}
			if got {
				n++
			}
		}
		if n == 0 {
			t.Errorf("no cell inside %+v", m)
		}
	}
}
