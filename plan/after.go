package plan

import (
	"math"

	"fairmetal/surface"
)

// After is the surface as the plan forecasts it once all its hits are done: the measured heights and, for each hit, its set times the
// shape that the planning used. Of in only Surface, Panel, Crown, Access and Shape are looked at; where the surface was not measured, it stays unknown. The
// uncertainty is that of the measurement: the forecast's own error comes on top.
func After(in Input, p Plan) *surface.Surface {
	out := surface.New(in.Surface.Grid)
	copy(out.Sigma, in.Surface.Sigma)
	copy(out.Height, in.Surface.Height)
	g, err := newGround(in.Panel, in.Crown, in.Access)
	if err != nil {
		return out // a panel that could not be planned for has no plan either
	}
	g = g.shaped(in.Shape)
	b := newRaster(in)
	for _, r := range p.Rounds {
		for _, h := range r.Hits {
			f := g.at(h.XMM, h.YMM)
			c, q := b.grid.Cell(h.XMM, h.YMM)
			b.bump(b.h, min(max(int(math.Round(q)), 0), b.grid.Rows-1)*b.grid.Cols+min(max(int(math.Round(c)), 0), b.grid.Cols-1), f.of(h.touch()), h.SetUM)
		}
	}
	for r := range out.Rows {
		for c := range out.Cols {
			out.Height[r*out.Cols+c] += float32(b.moved(float64(c)*out.PitchMM, float64(r)*out.PitchMM) / 1000)
		}
	}
	return out
}

// moved is how far the metal came at a place, um, between the cells of the bench by cubic convolution (Keys 1981), since straight lines between cells
// would fold the tops of hits; 0 where no cell round it is known.
func (b *bench) moved(dx, dy float64) float64 {
	cols, rows := b.grid.Cols, b.grid.Rows
	c, r := min(max(int(dx/cellMM), 0), max(cols-2, 0)), min(max(int(dy/cellMM), 0), max(rows-2, 0))
	wx, wy := keys(min(dx/cellMM-float64(c), 1)), keys(min(dy/cellMM-float64(r), 1))
	var sum, weight float64
	for j, v := range wy {
		for i, u := range wx {
			k := min(max(r+j-1, 0), rows-1)*cols + min(max(c+i-1, 0), cols-1)
			if d := b.h[k] - b.start[k]; !math.IsNaN(d) {
				sum, weight = sum+u*v*d, weight+u*v
			}
		}
	}
	if weight < 0.1 {
		return 0
	}
	return sum / weight
}

// keys are the weights of four neighbours at a share of the way from the second to the third.
func keys(t float64) [4]float64 {
	return [4]float64{t * (t*(2-t) - 1) / 2, (t*t*(3*t-5) + 2) / 2, t * (t*(4-3*t) + 1) / 2, t * t * (t - 1) / 2}
}
