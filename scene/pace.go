package scene

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// paces fills Pace and each mark's LeastPace from the geometry alone: the determinant of the mirror map, panel place to board point,
// by central differences over paceStep, over that of the undamaged form there. Orange peel is left out.
func (t *Truth) paces(g *rig) {
	bare := &metal{p: g.m.p, pitch: g.m.pitch, x0: g.m.x0, y0: g.m.y0}
	t.Pace = make([]float32, len(t.Height))
	parallel(t.Rows, func(r int) {
		for c := range t.Cols {
			x, y := t.X0MM+float64(c)*t.PitchMM, t.Y0MM+float64(r)*t.PitchMM
			t.Pace[r*t.Cols+c] = float32(g.determinant(g.m, x, y) / g.determinant(bare, x, y))
		}
	})
	for i := range t.Marks {
		m := &t.Marks[i]
		m.LeastPace = 1
		half := math.Ceil(rimShare * m.LengthMM / 2)
		for y := -half; y <= half; y += t.PitchMM {
			for x := -half; x <= half; x += t.PitchMM {
				c, r := int(math.Round((m.XMM+x-t.X0MM)/t.PitchMM)), int(math.Round((m.YMM+y-t.Y0MM)/t.PitchMM))
				if math.Hypot(x, y) > half || c < 0 || r < 0 || c >= t.Cols || r >= t.Rows {
					continue
				}
				m.LeastPace = min(m.LeastPace, float64(t.Pace[r*t.Cols+c]))
			}
		}
	}
}

const (
	paceStep = 0.3
	// rimShare of a mark's length holds the hollow ring around a high, whose deepest lies at 0.81 of the outline.
	rimShare = 1.2
)

// determinant of the map from panel place (x, y) to the board point that the camera sees mirrored there.
func (g *rig) determinant(m *metal, x, y float64) float64 {
	ax, ay := g.boardPoint(m, x-paceStep, y)
	bx, by := g.boardPoint(m, x+paceStep, y)
	cx, cy := g.boardPoint(m, x, y-paceStep)
	dx, dy := g.boardPoint(m, x, y+paceStep)
	return (bx-ax)*(dy-cy) - (by-ay)*(dx-cx)
}

// boardPoint is the place, on the board's endless plane, that the sound metal mirrors at (x, y) to the camera.
func (g *rig) boardPoint(m *metal, x, y float64) (u, v float64) {
	z, zx, zy := m.p.form(x, y)
	if m.sound != nil {
		d, dx, dy := m.spline(m.sound, x, y)
		z, zx, zy = z+d, zx+dx, zy+dy
	}
	p := r3.Vec{X: x, Y: y, Z: z}
	n := r3.Unit(r3.Vec{X: -zx, Y: -zy, Z: 1})
	dir := r3.Unit(r3.Sub(p, g.eye))
	ray := r3.Sub(dir, r3.Scale(2*r3.Dot(dir, n), n))
	t := r3.Dot(r3.Sub(g.board.c, p), g.board.n) / r3.Dot(ray, g.board.n)
	q := r3.Sub(r3.Add(p, r3.Scale(t, ray)), g.board.c)
	return r3.Dot(q, g.board.u), r3.Dot(q, g.board.v)
}
