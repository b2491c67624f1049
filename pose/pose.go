// Package pose finds where the camera stood: from the two scale cards seen in a photo to the panel frame.
//
// Panel frame: mm; origin on the undamaged surface midway between the symbols' centres of cards A and B, +x from A to B, +z
// out of the panel, +y completing a right-handed frame. Camera axes: right, down, forward (a right-handed set).
package pose

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"fairmetal/card"
	"fairmetal/internal/lm"
)

// CardThicknessMM is how far a card's printed face lies above the paint: thin magnetic sheet or card stock, common practice,
// no source.
const CardThicknessMM = 0.2

// Camera is a camera in the panel frame: a pinhole whose lens moves what it sees at r focal lengths from the principal point to
// r (1 + K1 r^2). Pixel coordinates start at the corner of the picture.
type Camera struct {
	FocalPX, CX, CY      float64
	K1                   float64
	W, H                 int
	Centre               r3.Vec
	Right, Down, Forward r3.Vec // unit, orthogonal
}

// Ray returns the unit direction from the camera through a pixel.
func (c *Camera) Ray(px, py float64) r3.Vec {
	a, b := straight((px-c.CX)/c.FocalPX, (py-c.CY)/c.FocalPX, c.K1)
	return r3.Unit(r3.Vec{
		X: c.Forward.X + a*c.Right.X + b*c.Down.X,
		Y: c.Forward.Y + a*c.Right.Y + b*c.Down.Y,
		Z: c.Forward.Z + a*c.Right.Z + b*c.Down.Z,
	})
}

// Project returns the pixel of a point; depth is its distance along the optical axis in mm (not visible if <= 0).
func (c *Camera) Project(p r3.Vec) (px, py, depth float64) {
	d := r3.Sub(p, c.Centre)
	depth = r3.Dot(d, c.Forward)
	a, b := r3.Dot(d, c.Right)/depth, r3.Dot(d, c.Down)/depth
	s := c.FocalPX * (1 + c.K1*(a*a+b*b))
	return c.CX + s*a, c.CY + s*b, depth
}

// straight undoes a lens's distortion of a place in focal lengths from the principal point: Newton's rule on its radius, which for the
// few per cent that cameras have settles to a billionth in three steps.
func straight(a, b, k1 float64) (float64, float64) {
	if k1 == 0 {
		return a, b
	}
	// The radius over the distorted one, q: q (1 + k q^2) = 1 with k = k1 r^2.
	k, q := k1*(a*a+b*b), 1.0
	for range 4 {
		q -= (q*(1+k*q*q) - 1) / max(1+3*k*q*q, 0.1)
	}
	return a * q, b * q
}

// Scaled returns the camera for the same photo resized by s.
func (c *Camera) Scaled(s float64) *Camera {
	d := *c
	d.FocalPX, d.CX, d.CY = c.FocalPX*s, c.CX*s, c.CY*s
	d.W, d.H = int(math.Round(float64(c.W)*s)), int(math.Round(float64(c.H)*s))
	return &d
}

// Placed is a card as it lies: centre and outward normal of its printed face in the panel frame, mm.
type Placed struct {
	Letter string
	SideMM float64
	Centre r3.Vec
	Normal r3.Vec
	// MisfitPX is the rms distance of the fitted homography from that of a flat square card under the given lens: a bent
	// card or a wrong focal length shows here.
	MisfitPX float64
	Corners  [4]r3.Vec // of the quiet zone's rim, panel frame
}

// Frame is the camera in the panel frame together with the cards.
type Frame struct {
	Camera Camera
	A, B   Placed
	// SagMM is how far the panel's crown at the origin stands above the chord between the cards, from the cards' tilts.
	SagMM float64

	seen [2]card.Card // as they were found in the photo
}

// ErrNoCards says that a frame does not come from cards seen in a photo, so that no other lens can be tried on it.
var ErrNoCards = errors.New("pose: the frame was not made from cards")

// WithLens returns the frame that the same cards give under a lens of another focal length, px, and radial distortion K1.
func (f *Frame) WithLens(focalPX, k1 float64) (Frame, error) {
	if f.seen[0].SideMM == 0 {
		return Frame{}, ErrNoCards
	}
	c := f.Camera
	c.FocalPX, c.K1 = focalPX, k1
	return fromCards(f.seen[0], f.seen[1], c)
}

// rigid is a pose in camera axes.
type rigid struct {
	x, y, n, t r3.Vec // card axes (right, up, out of the face) and centre
	misfit     float64
}

// FromCards computes the panel frame from cards A and B seen by a camera with focal length focalPX and principal point
// (cx, cy), all in pixels of a w x h photo.
//
// Each card's pose starts from the decomposition of its homography [Zhang2000] and is refined to the least squared distance
// in the photo; +z is the mean of the cards' normals, made square to the line A-B, since a quadric form has the mean slope
// of its ends at its middle.
func FromCards(a, b card.Card, focalPX, cx, cy float64, w, h int) (Frame, error) {
	return fromCards(a, b, Camera{FocalPX: focalPX, CX: cx, CY: cy, W: w, H: h})
}

// fromCards places a camera of which the lens alone is known.
func fromCards(a, b card.Card, lens Camera) (Frame, error) {
	ra, err := single(a, lens)
	if err != nil {
		return Frame{}, fmt.Errorf("card A: %w", err)
	}
	rb, err := single(b, lens)
	if err != nil {
		return Frame{}, fmt.Errorf("card B: %w", err)
	}
	ab := r3.Sub(rb.t, ra.t)
	length := r3.Norm(ab)
	if length < a.SideMM || length < b.SideMM {
		return Frame{}, fmt.Errorf("the cards lie on top of each other (%.0f mm apart); lay A and B on either side of the damage", length)
	}
	x := r3.Scale(1/length, ab)
	z := r3.Add(ra.n, rb.n)
	z = r3.Unit(r3.Sub(z, r3.Scale(r3.Dot(z, x), x)))
	y := r3.Cross(z, x)
	// Slopes of the metal under the cards along x, positive uphill: the card's normal is (-s, ., 1).
	sa := -r3.Dot(ra.n, x) / r3.Dot(ra.n, z)
	sb := -r3.Dot(rb.n, x) / r3.Dot(rb.n, z)
	sag := (sa - sb) / 2 * length / 4
	origin := r3.Add(r3.Scale(0.5, r3.Add(ra.t, rb.t)), r3.Scale(sag-CardThicknessMM, z))

	toPanel := func(v r3.Vec) r3.Vec { return r3.Vec{X: r3.Dot(v, x), Y: r3.Dot(v, y), Z: r3.Dot(v, z)} }
	place := func(c card.Card, r rigid) Placed {
		p := Placed{Letter: c.Letter, SideMM: c.SideMM, MisfitPX: r.misfit,
			Centre: toPanel(r3.Sub(r.t, origin)), Normal: toPanel(r.n)}
		half := c.SideMM / 2 * (21 + 8) / 21 // the quiet zone is 4 of 21 modules wide, ISO/IEC 18004
		for i, k := range [4][2]float64{{-1, 1}, {1, 1}, {1, -1}, {-1, -1}} {
			q := r3.Add(r.t, r3.Add(r3.Scale(k[0]*half, r.x), r3.Scale(k[1]*half, r.y)))
			p.Corners[i] = toPanel(r3.Sub(q, origin))
		}
		return p
	}
	cam := lens
	cam.Centre = toPanel(r3.Scale(-1, origin))
	cam.Right, cam.Down, cam.Forward = toPanel(r3.Vec{X: 1}), toPanel(r3.Vec{Y: 1}), toPanel(r3.Vec{Z: 1})
	if cam.Centre.Z < 20 {
		return Frame{}, fmt.Errorf("the camera seems to look along the panel (%.0f mm above it); raise it and photograph again", cam.Centre.Z)
	}
	return Frame{Camera: cam, A: place(a, ra), B: place(b, rb), SagMM: sag, seen: [2]card.Card{a, b}}, nil
}

// single fits one card's pose in camera axes.
func single(c card.Card, lens Camera) (rigid, error) {
	f, cx, cy := lens.FocalPX, lens.CX, lens.CY
	h := mat.NewDense(3, 3, c.H[:])
	k := mat.NewDense(3, 3, []float64{1 / f, 0, -cx / f, 0, 1 / f, -cy / f, 0, 0, 1})
	var m mat.Dense
	m.Mul(k, h)
	col := func(j int) r3.Vec { return r3.Vec{X: m.At(0, j), Y: m.At(1, j), Z: m.At(2, j)} }
	h1, h2, h3 := col(0), col(1), col(2)
	s := 2 / (r3.Norm(h1) + r3.Norm(h2))
	if h3.Z*s < 0 {
		s = -s
	}
	if !(r3.Norm(h1) > 0) || math.IsInf(s, 0) || math.IsNaN(s) {
		return rigid{}, fmt.Errorf("its outline is not that of a flat square; lay it flat and photograph again")
	}
	x := r3.Unit(r3.Scale(s, h1))
	y := r3.Scale(s, h2)
	y = r3.Unit(r3.Sub(y, r3.Scale(r3.Dot(x, y), x)))
	t := r3.Scale(s, h3)

	var pts [][4]float64
	const n = 5
	for i := range n {
		for j := range n {
			u := (float64(i)/(n-1) - 0.5) * c.SideMM
			v := (float64(j)/(n-1) - 0.5) * c.SideMM
			px, py := c.Project(u, v)
			px, py = straight((px-cx)/f, (py-cy)/f, lens.K1)
			px, py = cx+f*px, cy+f*py
			pts = append(pts, [4]float64{u, v, px, py})
		}
	}
	axes := func(p []float64) (r3.Vec, r3.Vec, r3.Vec) {
		xr, yr := turn(p[:3], x), turn(p[:3], y)
		return xr, yr, r3.Add(t, r3.Vec{X: p[3], Y: p[4], Z: p[5]})
	}
	res, err := lm.Minimise(lm.Problem{
		M:    2 * len(pts),
		Step: []float64{1e-5, 1e-5, 1e-5, 1e-3, 1e-3, 1e-3},
		Residuals: func(p, r []float64) {
			xr, yr, tt := axes(p)
			for i, q := range pts {
				w := r3.Add(tt, r3.Add(r3.Scale(q[0], xr), r3.Scale(q[1], yr)))
				r[2*i] = cx + f*w.X/w.Z - q[2]
				r[2*i+1] = cy + f*w.Y/w.Z - q[3]
			}
		},
	}, make([]float64, 6))
	if err != nil {
		return rigid{}, fmt.Errorf("its place could not be fitted (%w); lay it flat and photograph again", err)
	}
	xr, yr, tt := axes(res.X)
	// In right-down-forward axes the face's outward normal is x cross y with y up.
	return rigid{x: xr, y: yr, n: r3.Unit(r3.Cross(xr, yr)), t: tt, misfit: math.Sqrt(res.Cost / float64(len(pts)))}, nil
}

// turn rotates v by the rotation vector w (Rodrigues).
func turn(w []float64, v r3.Vec) r3.Vec {
	axis := r3.Vec{X: w[0], Y: w[1], Z: w[2]}
	angle := r3.Norm(axis)
	if angle < 1e-15 {
		return v
	}
	return r3.NewRotation(angle, axis).Rotate(v)
}
