package mark

import (
	"math"

	"fairmetal/surface"
)

// Inside tells whether a place lies in the mark's ellipse, that of its length and width, scaled and then widened by marginMM all round.
func (m *Mark) Inside(xMM, yMM, scale, marginMM float64) bool {
	sin, cos := math.Sincos(m.AngleDeg * math.Pi / 180)
	x, y := xMM-m.XMM, yMM-m.YMM
	a, b := (cos*x+sin*y)/(scale*m.LengthMM/2+marginMM), (-sin*x+cos*y)/(scale*m.WidthMM/2+marginMM)
	return a*a+b*b <= 1
}

// Cells visits the cells of a grid inside the mark's ellipse, scaled and widened as Inside does.
func (m *Mark) Cells(g surface.Grid, scale, marginMM float64, visit func(i int)) {
	reach := scale*max(m.LengthMM, m.WidthMM)/2 + marginMM
	c0, r0 := g.Cell(m.XMM-reach, m.YMM-reach)
	c1, r1 := g.Cell(m.XMM+reach, m.YMM+reach)
	for row := max(0, int(r0)); row <= min(g.Rows-1, int(r1)); row++ {
		for col := max(0, int(c0)); col <= min(g.Cols-1, int(c1)); col++ {
			if x, y := g.XY(col, row); m.Inside(x, y, scale, marginMM) {
				visit(row*g.Cols + col)
			}
		}
	}
}
