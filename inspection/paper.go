package inspection

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"fairmetal/card"
	"fairmetal/internal/order"
	"fairmetal/phase"
	"fairmetal/pose"
)

// paper is the outline of a card in the photo, px, and the rectangle about it.
type paper struct {
	rim [4]r2.Vec
	r2.Box
}

// holds tells whether a place of the photo lies on the paper.
func (p *paper) holds(px, py float64) bool {
	return px >= p.Min.X && px <= p.Max.X && py >= p.Min.Y && py <= p.Max.Y && encloses(p.rim, px, py)
}

// papers are those of the cards, their corners farther out by so many px.
func (r *run) papers(widerPX float64) (out [2]paper) {
	for i, c := range [2]pose.Placed{r.res.Frame.A, r.res.Frame.B} {
		corners := c.Corners
		if r.labelled(&c) {
			down := r3.Scale(card.LabelMM, r3.Unit(r3.Sub(corners[2], corners[1])))
			corners[2], corners[3] = r3.Add(corners[2], down), r3.Add(corners[3], down)
		}
		var middle r2.Vec
		for k, q := range corners {
			out[i].rim[k].X, out[i].rim[k].Y, _ = r.cam.Project(q)
			middle = r2.Add(middle, r2.Scale(0.25, out[i].rim[k]))
		}
		out[i].Box = r2.Box{Min: middle, Max: middle}
		for k, q := range out[i].rim {
			away := r2.Sub(q, middle)
			q = r2.Add(middle, r2.Scale(1+widerPX/r2.Norm(away), away))
			out[i].rim[k] = q
			out[i].Min, out[i].Max = r2.Vec{X: min(out[i].Min.X, q.X), Y: min(out[i].Min.Y, q.Y)}, r2.Vec{X: max(out[i].Max.X, q.X), Y: max(out[i].Max.Y, q.Y)}
		}
	}
	return out
}

// labelled tells whether the strip for words is still on a card: it is nearly as bright as the quiet zone, and the paint below it is not. On white paint
// it cannot be told, and hardly matters.
func (r *run) labelled(c *pose.Placed) bool {
	left, down := c.Corners[3], r3.Unit(r3.Sub(c.Corners[2], c.Corners[1]))
	right := r3.Sub(c.Corners[2], left)
	// light is the median over places along the card's lower rim, from so many mm below it on.
	light := func(below ...float64) float64 {
		var v []float64
		for k := 1; k < labelLooks; k++ {
			for _, mm := range below {
				p := r3.Add(left, r3.Add(r3.Scale(float64(k)/labelLooks, right), r3.Scale(mm, down)))
				if x, y, _ := r.cam.Project(p); x >= 0 && y >= 0 && int(x) < r.res.Photo.W && int(y) < r.res.Photo.H {
					v = append(v, float64(r.res.Photo.At(int(x), int(y))))
				}
			}
		}
		if len(v) == 0 {
			return math.NaN()
		}
		return order.Median(v)
	}
	quiet := c.SideMM * card.QuietModules / card.Modules
	strip := light(0.25*card.LabelMM, 0.5*card.LabelMM, 0.75*card.LabelMM)
	return strip > labelShare*light(-0.5*quiet) && labelShare*strip > light(1.25*card.LabelMM, 1.5*card.LabelMM, 1.75*card.LabelMM)
}

const (
	labelLooks = 12   // places along a card's lower rim
	labelShare = 0.75 // of the quiet zone's brightness, and the paint's of the strip's
	// blurredPX is how far outside a card's corners its brightness may reach.
	blurredPX = 3
)

// offPaper leaves the cards unread: their paper scatters the board's light, which swings with the stripes.
func (r *run) offPaper() {
	nan := float32(math.NaN())
	for _, c := range r.papers(0) {
		for y := max(0, int(c.Min.Y)); y < min(r.u.H, int(c.Max.Y)+1); y++ {
			for x := max(0, int(c.Min.X)); x < min(r.u.W, int(c.Max.X)+1); x++ {
				if c.holds(float64(x)+0.5, float64(y)+0.5) {
					r.u.X[y*r.u.W+x], r.v.X[y*r.u.W+x] = nan, nan
				}
			}
		}
	}
}

// papered tells where in the photo a card's paper hides the paint, and where its blurred edge does.
func (r *run) papered() phase.Covered {
	papers := r.papers(blurredPX)
	return func(px, py float64) bool { return papers[0].holds(px, py) || papers[1].holds(px, py) }
}
