package surface

import "math"

// Double carries heights on a grid over to one of half its pitch and the same corner, bilinearly; NaN where any of the cells between
// is unknown.
func Double(from Grid, h []float64, to Grid) []float64 {
	out := make([]float64, to.Len())
	for r := range to.Rows {
		r0 := r / 2
		r1 := min(r0+r%2, from.Rows-1)
		for c := range to.Cols {
			c0 := c / 2
			c1 := min(c0+c%2, from.Cols-1)
			out[r*to.Cols+c] = math.NaN()
			if r0 < from.Rows && c0 < from.Cols {
				out[r*to.Cols+c] = (h[r0*from.Cols+c0] + h[r0*from.Cols+c1] + h[r1*from.Cols+c0] + h[r1*from.Cols+c1]) / 4
			}
		}
	}
	return out
}
