// Package mirror solves the reflection: from board coordinates per pixel to where the board stood and to the slopes of the
// paint.
//
// Law of reflection: the surface normal bisects the directions to the camera and to the board point seen. Frame: the panel
// frame of package pose, mm.
package mirror

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"fairmetal/internal/rows"
	"fairmetal/pose"
	"fairmetal/surface"
)

// Board is the striped board: its centre and axes in the panel frame. U grows to the right and V down as the camera sees the
// mirror image.
type Board struct {
	Centre  r3.Vec
	U, V, N r3.Vec // unit; N points towards the panel
}

// At returns the point of the board at (u, v) mm.
func (b *Board) At(u, v float64) r3.Vec {
	return r3.Vec{
		X: b.Centre.X + u*b.U.X + v*b.V.X,
		Y: b.Centre.Y + u*b.U.Y + v*b.V.Y,
		Z: b.Centre.Z + u*b.U.Z + v*b.V.Z,
	}
}

// Form is the undamaged form of the panel as a polynomial z(x, y) in mm of x/FormScaleMM and y/FormScaleMM, terms in the order
// of Exponents, the crown and what a pressed skin has beyond it, together with its feature lines.
type Form struct {
	C     []float64
	Folds []Fold
}

// FormScaleMM normalises the form's polynomial: half the usual distance of the cards.
const FormScaleMM = 150.0

// FormDegree is the highest total degree of the form's polynomial.
const FormDegree = 4

// Exponents lists the powers of x and y of the form's terms up to a total degree, constant first.
func Exponents(degree int) [][2]int {
	var e [][2]int
	for d := 0; d <= degree; d++ {
		for j := 0; j <= d; j++ {
			e = append(e, [2]int{d - j, j})
		}
	}
	return e
}

// NewForm returns the flat form of FormDegree.
func NewForm() Form { return Form{C: make([]float64, (FormDegree+1)*(FormDegree+2)/2)} }

// Eval returns height and gradient at (x, y) mm.
func (f *Form) Eval(x, y float64) (z, zx, zy float64) {
	u, v := x/FormScaleMM, y/FormScaleMM
	c := f.C
	// Degree 4 written out: this is the innermost loop of the calibration.
	u2, v2 := u*u, v*v
	u3, v3 := u2*u, v2*v
	z = c[0] + c[1]*u + c[2]*v + c[3]*u2 + c[4]*u*v + c[5]*v2 +
		c[6]*u3 + c[7]*u2*v + c[8]*u*v2 + c[9]*v3 +
		c[10]*u2*u2 + c[11]*u3*v + c[12]*u2*v2 + c[13]*u*v3 + c[14]*v2*v2
	zx = c[1] + 2*c[3]*u + c[4]*v + 3*c[6]*u2 + 2*c[7]*u*v + c[8]*v2 +
		4*c[10]*u3 + 3*c[11]*u2*v + 2*c[12]*u*v2 + c[13]*v3
	zy = c[2] + c[4]*u + 2*c[5]*v + c[7]*u2 + 2*c[8]*u*v + 3*c[9]*v2 +
		c[11]*u3 + 2*c[12]*u2*v + 3*c[13]*u*v2 + 4*c[14]*v3
	zx, zy = zx/FormScaleMM, zy/FormScaleMM
	for i := range f.Folds {
		dz, dx, dy := f.Folds[i].eval(x, y)
		z, zx, zy = z+dz, zx+dx, zy+dy
	}
	return z, zx, zy
}

// formLevel is a form along one y: polynomials of x/FormScaleMM.
type formLevel struct {
	form *Form
	y    float64 // mm
	z    [FormDegree + 1]float64
	zy   [FormDegree]float64 // 1/FormScaleMM
}

// level prepares Eval for many places of one y, mm.
func (f *Form) level(y float64) formLevel {
	l, c, v := formLevel{form: f, y: y}, f.C, y/FormScaleMM
	l.z = [...]float64{
		c[0] + v*(c[2]+v*(c[5]+v*(c[9]+v*c[14]))),
		c[1] + v*(c[4]+v*(c[8]+v*c[13])),
		c[3] + v*(c[7]+v*c[12]),
		c[6] + v*c[11],
		c[10],
	}
	l.zy = [...]float64{
		c[2] + v*(2*c[5]+v*(3*c[9]+v*4*c[14])),
		c[4] + v*(2*c[8]+v*3*c[13]),
		c[7] + v*2*c[12],
		c[11],
	}
	return l
}

// eval is Eval at x, mm.
func (l *formLevel) eval(x float64) (z, zx, zy float64) {
	u, a, b := x/FormScaleMM, &l.z, &l.zy
	z = a[0] + u*(a[1]+u*(a[2]+u*(a[3]+u*a[4])))
	zx = (a[1] + u*(2*a[2]+u*(3*a[3]+u*4*a[4]))) / FormScaleMM
	zy = (b[0] + u*(b[1]+u*(b[2]+u*b[3]))) / FormScaleMM
	for i := range l.form.Folds {
		dz, dx, dy := l.form.Folds[i].eval(x, l.y)
		z, zx, zy = z+dz, zx+dx, zy+dy
	}
	return z, zx, zy
}

// Heights are those of the form on every cell of g, mm (row-major).
func (f *Form) Heights(g surface.Grid) []float64 {
	out := make([]float64, g.Len())
	rows.Do(g.Rows, func(r0, r1 int) {
		for r := r0; r < r1; r++ {
			_, y := g.XY(0, r)
			l := f.level(y)
			for c := range g.Cols {
				x, _ := g.XY(c, r)
				out[r*g.Cols+c], _, _ = l.eval(x)
			}
		}
	})
	return out
}

// Crown returns the radii of curvature along x and y at the origin, mm, positive where the panel bulges, and its twist
// d2z/dxdy, 1/mm.
func (f *Form) Crown() (rx, ry, twist float64) {
	s := FormScaleMM * FormScaleMM
	return -s / (2 * f.C[3]), -s / (2 * f.C[5]), f.C[4] / s
}

// Lines lists the feature lines as package surface wants them.
func (f *Form) Lines() []surface.Across {
	var l []surface.Across
	for i := range f.Folds {
		l = append(l, f.Folds[i].Line)
	}
	return l
}

// Hit intersects a ray from the camera with the form; ok is false where it misses.
func (f *Form) Hit(from, dir r3.Vec) (p r3.Vec, zx, zy float64, ok bool) {
	if dir.Z > -1e-6 {
		return p, 0, 0, false
	}
	t := -from.Z / dir.Z
	return f.hitFrom(from, dir, &t)
}

// hitFrom is Hit for a ray that meets the form near t along it, which becomes where it does.
func (f *Form) hitFrom(from, dir r3.Vec, at *float64) (p r3.Vec, zx, zy float64, ok bool) {
	t := *at
	defer func() { *at = t }()
	for range 12 {
		p = r3.Vec{X: from.X + t*dir.X, Y: from.Y + t*dir.Y, Z: from.Z + t*dir.Z}
		var z float64
		z, zx, zy = f.Eval(p.X, p.Y)
		den := dir.Z - zx*dir.X - zy*dir.Y
		if math.Abs(den) < 1e-9 {
			return p, 0, 0, false
		}
		dt := (z - p.Z) / den
		t += dt
		// A step lands within a thousandth of its square: what is left, and what the slopes turn by on the way, is under a nanometre and 1e-7, on a
		// sharp feature line too.
		if math.Abs(dt) < 5e-5 {
			return r3.Vec{X: from.X + t*dir.X, Y: from.Y + t*dir.Y, Z: from.Z + t*dir.Z}, zx, zy, t > 0
		}
	}
	return p, zx, zy, t > 0
}

// Reflect returns the board coordinates that a ray from the camera sees in metal at p with the given slopes.
func (b *Board) Reflect(dir, p r3.Vec, zx, zy float64) (u, v float64, ok bool) {
	n := r3.Vec{X: -zx, Y: -zy, Z: 1}
	k := 2 * (dir.X*n.X + dir.Y*n.Y + dir.Z*n.Z) / (n.X*n.X + n.Y*n.Y + n.Z*n.Z)
	r := r3.Vec{X: dir.X - k*n.X, Y: dir.Y - k*n.Y, Z: dir.Z - k*n.Z}
	den := r.X*b.N.X + r.Y*b.N.Y + r.Z*b.N.Z
	if den > -1e-6 {
		return 0, 0, false
	}
	d := r3.Sub(b.Centre, p)
	t := (d.X*b.N.X + d.Y*b.N.Y + d.Z*b.N.Z) / den
	if t <= 0 {
		return 0, 0, false
	}
	q := r3.Vec{X: t*r.X - d.X, Y: t*r.Y - d.Y, Z: t*r.Z - d.Z}
	return q.X*b.U.X + q.Y*b.U.Y + q.Z*b.U.Z, q.X*b.V.X + q.Y*b.V.Y + q.Z*b.V.Z, true
}

// Slopes returns dz/dx and dz/dy of metal at p from which the camera at c sees the board point q: the normal bisects both
// directions.
func Slopes(c, p, q r3.Vec) (zx, zy float64) {
	a, b := r3.Vec{X: c.X - p.X, Y: c.Y - p.Y, Z: c.Z - p.Z}, r3.Vec{X: q.X - p.X, Y: q.Y - p.Y, Z: q.Z - p.Z}
	la := 1 / math.Sqrt(a.X*a.X+a.Y*a.Y+a.Z*a.Z)
	lb := 1 / math.Sqrt(b.X*b.X+b.Y*b.Y+b.Z*b.Z)
	nz := a.Z*la + b.Z*lb
	return -(a.X*la + b.X*lb) / nz, -(a.Y*la + b.Y*lb) / nz
}

// Nominal is the board as asked for: square to the reflected ray of the panel's origin, distanceMM from it, its picture upright.
func Nominal(cam *pose.Camera, distanceMM float64) Board {
	d := r3.Unit(r3.Scale(-1, cam.Centre)) // from the camera to the origin
	right := r3.Unit(r3.Sub(cam.Right, r3.Scale(r3.Dot(cam.Right, d), d)))
	down := r3.Cross(d, right)
	flip := func(v r3.Vec) r3.Vec { return r3.Vec{X: v.X, Y: v.Y, Z: -v.Z} }
	r := flip(d)
	return Board{Centre: r3.Scale(distanceMM, r), U: flip(right), V: flip(down), N: r3.Scale(-1, r)}
}
