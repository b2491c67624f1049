package plan

import (
	"math"

	"fairmetal/fair"
	"fairmetal/surface"
)

// broadMM is the standard deviation of the smooth course about which metal is judged: broader waves are the panel's form, which the next capture takes
// off, and no hit of a tip mends them.
const broadMM = 35.0

// touch is how a hit works the metal.
type touch int

const (
	free  touch = iota // moves its neighbours
	held               // between a fine tip and a held knock-down
	sharp              // the same with the sharpest tip
)

// shape is what a hit of set 1 leaves, and what of it the eye sees: without orange peel and without the smooth course, as the hand-over check does
// (package fair). miss is the variance that scatter of place and amount makes of it, in slope and in height.
type shape struct {
	lift, seen            *field
	gx, gy                *field // slopes of seen, 1/mm
	missSlope, missHeight *field
}

// seenMM bounds how far a shape is followed as the eye sees it; over fadeMM before that it is faded out, so that no step is left.
const seenMM, fadeMM = 120.0, 40.0

func newShape(lift *field) *shape {
	f := lift
	if reach := int(seenMM / cellMM); f.n > reach {
		f = f.crop(reach + int(math.Ceil(float64(broadMM)/cellMM)))
	} else {
		f = f.crop(f.n) // its own copy
	}
	g := surface.Grid{Cols: 2*f.n + 1, Rows: 2*f.n + 1, PitchMM: cellMM}
	s := (&field{n: f.n, v: asSeen(g, f.v)}).crop(int(seenMM / cellMM))
	if end := float64(s.n) * cellMM; end > fadeMM {
		s.each(func(d float64, v *float64) {
			t := min(1, max(0, (end-d)/fadeMM))
			*v *= t * t * (3 - 2*t)
		})
	}
	out := &shape{lift: lift, seen: s}
	out.gx, out.gy = s.slopes()
	xx, xy := out.gx.slopes()
	_, yy := out.gy.slopes()
	out.missSlope, out.missHeight = s.blank(), s.blank()
	for i := range s.v {
		steep := out.gx.v[i]*out.gx.v[i] + out.gy.v[i]*out.gy.v[i]
		out.missSlope.v[i] = amount*amount*steep + placeMM*placeMM*(xx.v[i]*xx.v[i]+2*xy.v[i]*xy.v[i]+yy.v[i]*yy.v[i])
		out.missHeight.v[i] = amount*amount*s.v[i]*s.v[i] + placeMM*placeMM*steep
	}
	return out
}

// asSeen takes orange peel and smooth course off heights; unknown ones stay so.
func asSeen(g surface.Grid, h []float64) []float64 {
	z := make([]float32, len(h))
	for i, v := range h {
		z[i] = float32(v)
	}
	return withoutCourse(g, surface.Gauss(g, z, surface.GaussCutoff(fair.PeelMM)))
}

func withoutCourse(g surface.Grid, h []float32) []float64 {
	broad := surface.Gauss(g, h, broadMM)
	out := make([]float64, len(h))
	for i := range out {
		out[i] = float64(h[i] - broad[i])
	}
	return out
}

// seenOn is what the eye sees of a surface on the cells of a bench, um: orange peel is taken off before cells are picked.
func seenOn(g surface.Grid, s *surface.Surface) []float64 {
	fine := surface.Surface{Grid: s.Grid, Height: surface.Gauss(s.Grid, s.Height, surface.GaussCutoff(fair.PeelMM))}
	z := make([]float32, g.Len())
	for i := range z {
		x, y := g.XY(i%g.Cols, i/g.Cols)
		z[i] = float32(1000 * fine.At(x, y))
	}
	return withoutCourse(g, z)
}

// difference is the derivative from the neighbours two and one cell back and one and two ahead, of fourth order: one of second order would take a
// tenth off the slopes of the sharpest hit on this raster.
func difference(b2, b1, a1, a2 float64) float64 { return (8*(a1-b1) - (a2 - b2)) / (12 * cellMM) }

func (f *field) blank() *field { return &field{n: f.n, v: make([]float64, len(f.v))} }

// slopes differentiates as tilt does, 1/mm.
func (f *field) slopes() (gx, gy *field) {
	gx, gy = f.blank(), f.blank()
	i := 0
	for r := -f.n; r <= f.n; r++ {
		for c := -f.n; c <= f.n; c++ {
			gx.v[i] = difference(f.at(c-2, r), f.at(c-1, r), f.at(c+1, r), f.at(c+2, r))
			gy.v[i] = difference(f.at(c, r-2), f.at(c, r-1), f.at(c, r+1), f.at(c, r+2))
			i++
		}
	}
	return gx, gy
}

// tilt is the slope of what the eye sees at a cell, um/mm or mrad; 0 at the rim and beside unknown metal.
func (b *bench) tilt(i int) (gx, gy float64) {
	c, r, n, u := i%b.grid.Cols, i/b.grid.Cols, b.grid.Cols, b.seen
	if c < 2 || r < 2 || c >= n-2 || r >= b.grid.Rows-2 {
		return 0, 0
	}
	gx, gy = difference(u[i-2], u[i-1], u[i+1], u[i+2]), difference(u[i-2*n], u[i-n], u[i+n], u[i+2*n])
	if math.IsNaN(gx + gy) {
		return 0, 0
	}
	return gx, gy
}

// over is by how many times a cell is over its goals for slope and height, less open standard deviations of what hits may have missed by.
func (b *bench) over(i int, open float64) float64 {
	gx, gy := b.tilt(i)
	slope, height := math.Hypot(gx, gy), math.Abs(b.seen[i])
	if open > 0 {
		slope -= open * math.Sqrt(b.missSlope[i])
		height -= open * math.Sqrt(b.missHeight[i])
	}
	return max(slope/b.slopeGoal(), height/b.in.goal())
}

// overByMark is the largest over of the cells of each mark.
func (b *bench) overByMark() []float64 {
	most := make([]float64, len(b.marks))
	for i, o := range b.owner {
		if o != 0 {
			most[o-1] = max(most[o-1], b.over(i, 0))
		}
	}
	return most
}

// along is the metal as seen along a hit's shape at a cell, and the shape along itself: slopes in units of the limit, heights in units of the goal.
func (b *bench) along(cell int, s *shape) (sum, norm float64) {
	n := min(int(alongMM/cellMM), s.seen.n)
	c, r, cols := cell%b.grid.Cols, cell/b.grid.Cols, b.grid.Cols
	perSlope, perHeight := 1/(b.in.Limits.SlopeMRad*b.in.Limits.SlopeMRad), 1/(b.in.goal()*b.in.goal())
	for j := max(2, r-n); j <= min(b.grid.Rows-3, r+n); j++ {
		from := (j-r+s.seen.n)*(2*s.seen.n+1) + s.seen.n - c
		for i := max(2, c-n); i <= min(cols-3, c+n); i++ {
			k := j*cols + i
			u, v := b.seen[k], b.seen
			gx, gy := difference(v[k-2], v[k-1], v[k+1], v[k+2]), difference(v[k-2*cols], v[k-cols], v[k+cols], v[k+2*cols])
			if sum := u + gx + gy; sum != sum {
				continue
			}
			fx, fy, f := s.gx.v[from+i], s.gy.v[from+i], s.seen.v[from+i]
			sum += (gx*fx+gy*fy)*perSlope + u*f*perHeight
			norm += (fx*fx+fy*fy)*perSlope + f*f*perHeight
		}
	}
	return sum, norm
}

// apply makes a hit on the simulated panel.
func (b *bench) apply(w worked) {
	s := b.shape(w.touch(), w.grip)
	b.bump(b.h, w.cell, s.lift, w.SetUM)
	b.bump(b.seen, w.cell, s.seen, w.SetUM)
	b.bump(b.missSlope, w.cell, s.missSlope, w.SetUM*w.SetUM)
	b.bump(b.missHeight, w.cell, s.missHeight, w.SetUM*w.SetUM)
}

// measured forgets what hits may have missed by: a capture shows it.
func (b *bench) measured() {
	clear(b.missSlope)
	clear(b.missHeight)
}

// left is what the metal that has to become fair still stands off, um, and the steepest of it, mrad, as the eye sees it.
func (b *bench) left() (um, mrad float64) {
	for i, o := range b.owner {
		if o == 0 {
			continue
		}
		gx, gy := b.tilt(i)
		mrad, um = max(mrad, math.Hypot(gx, gy)), max(um, math.Abs(b.seen[i]))
	}
	return um, mrad
}

// worst is the largest over of the metal that has to become fair: at 1 and under the goals are met.
func (b *bench) worst() float64 {
	most := 0.0
	for _, over := range b.overByMark() {
		most = max(most, over)
	}
	return most
}
