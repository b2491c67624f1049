package plan

import (
	"math"

	"fairmetal/surface"
)

// After is the surface as the plan forecasts it once all its hits are done: the measured heights and, for each hit, its set times the
// shape that the planning used. Of in only Surface and Panel are looked at; where the surface was not measured, it stays unknown. The
// uncertainty is that of the measurement: the forecast's own error comes on top.
func After(in Input, p Plan) *surface.Surface {
	b := newBench(in, nil, nil)
	for _, r := range p.Rounds {
		for _, h := range r.Hits {
			b.bump(b.h, h.XMM, h.YMM, h.SetUM, r.Stage)
		}
	}
	out := surface.New(in.Surface.Grid)
	copy(out.Sigma, in.Surface.Sigma)
	for r := range out.Rows {
		for c := range out.Cols {
			i := r*out.Cols + c
			out.Height[i] = in.Surface.Height[i] + float32(b.moved(float64(c)*out.PitchMM, float64(r)*out.PitchMM)/1000)
		}
	}
	return out
}

// moved is how far the metal came at a place, um, between the cells of the bench; 0 where no cell round it is known.
func (b *bench) moved(dx, dy float64) float64 {
	c, r := min(max(int(dx/cellMM), 0), max(b.cols-2, 0)), min(max(int(dy/cellMM), 0), max(b.rows-2, 0))
	fx, fy := min(dx/cellMM-float64(c), 1), min(dy/cellMM-float64(r), 1)
	var sum, weight float64
	for n, w := range [4]float64{(1 - fx) * (1 - fy), fx * (1 - fy), (1 - fx) * fy, fx * fy} {
		x, y := min(c+n%2, b.cols-1), min(r+n/2, b.rows-1)
		if d := b.h[y*b.cols+x] - b.start[y*b.cols+x]; !math.IsNaN(d) {
			sum, weight = sum+w*d, weight+w
		}
	}
	if weight == 0 {
		return 0
	}
	return sum / weight
}
