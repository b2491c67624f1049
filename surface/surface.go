// Package surface holds height maps of a panel and what is done with them: integration of slopes, the undamaged form,
// waviness filters and sections.
//
// Frame and signs: mm in the panel frame (origin midway between the two scale cards, +x from card A to card B, +z out of the
// panel); a low is negative, a high positive. Heights are deviations from the panel's undamaged form.
package surface

import "math"

// Grid places a raster in the panel frame: cell (row 0, col 0) lies at (X0MM, Y0MM), columns run along +x, rows along +y.
type Grid struct {
	Cols    int     `json:"cols"`
	Rows    int     `json:"rows"`
	PitchMM float64 `json:"pitch_mm"`
	X0MM    float64 `json:"x0_mm"`
	Y0MM    float64 `json:"y0_mm"`
}

// Len is the number of cells.
func (g Grid) Len() int { return g.Cols * g.Rows }

// XY returns the place of a cell in mm.
func (g Grid) XY(col, row int) (x, y float64) {
	return g.X0MM + float64(col)*g.PitchMM, g.Y0MM + float64(row)*g.PitchMM
}

// Cell returns the fractional column and row of a place in mm.
func (g Grid) Cell(x, y float64) (col, row float64) {
	return (x - g.X0MM) / g.PitchMM, (y - g.Y0MM) / g.PitchMM
}

// Beside lists the n cells that share a side with one: before and behind it in its row, then in its column.
func (g Grid) Beside(i int) (cells [4]int, n int) {
	add := func(to int, on bool) {
		if on {
			cells[n] = to
			n++
		}
	}
	c, r := i%g.Cols, i/g.Cols
	add(i-1, c > 0)
	add(i+1, c+1 < g.Cols)
	add(i-g.Cols, r > 0)
	add(i+g.Cols, r+1 < g.Rows)
	return cells, n
}

// Surface is a measured height deviation with its standard uncertainty, both in mm, row-major on the grid; NaN where not
// measured.
type Surface struct {
	Grid
	Height []float32
	Sigma  []float32
}

// New returns a surface on g with every cell unmeasured.
func New(g Grid) *Surface {
	s := &Surface{Grid: g, Height: make([]float32, g.Len()), Sigma: make([]float32, g.Len())}
	nan := float32(math.NaN())
	for i := range s.Height {
		s.Height[i], s.Sigma[i] = nan, nan
	}
	return s
}

// At interpolates the height in mm at a place in mm, bilinearly; NaN outside the grid or beside an unmeasured cell.
func (s *Surface) At(x, y float64) float64 {
	c, r := s.Cell(x, y)
	c0, r0 := math.Floor(c), math.Floor(r)
	i, j := int(c0), int(r0)
	if i < 0 || j < 0 || i+1 >= s.Cols || j+1 >= s.Rows {
		return math.NaN()
	}
	fx, fy := c-c0, r-r0
	k := j*s.Cols + i
	h := s.Height
	return (1-fy)*((1-fx)*float64(h[k])+fx*float64(h[k+1])) + fy*((1-fx)*float64(h[k+s.Cols])+fx*float64(h[k+s.Cols+1]))
}
