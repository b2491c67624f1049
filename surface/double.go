package surface

import "math"

// Double carries heights on a grid over to one of half its pitch and the same corner, bilinearly; cells beside what is unknown, up to two of the
// wider ones away, are as high as those beside them, NaN what lies farther out.
func Double(from Grid, h []float64, to Grid) []float64 {
	h = outwards(from, outwards(from, h))
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

// outwards gives unknown cells beside known ones their mean.
func outwards(g Grid, h []float64) []float64 {
	out := make([]float64, len(h))
	for i, v := range h {
		if out[i] = v; v == v {
			continue
		}
		var sum, known float64
		beside, n := g.Beside(i)
		for _, j := range beside[:n] {
			if h[j] == h[j] {
				sum, known = sum+h[j], known+1
			}
		}
		out[i] = sum / known // 0/0 is NaN: unknown
	}
	return out
}
