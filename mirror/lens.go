package mirror

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"fairmetal/internal/rows"
	"fairmetal/pose"
)

// How well a lens is known beforehand. A focal length in EXIF is a whole number of millimetres, of some 26: rounding alone is 1.1 %.
// Cameras set their pictures right for distortion and leave some tenths of a per cent of the distance from the middle at the corners.
// Common practice, no source.
const (
	FocalSigma  = 0.01  // of the focal length
	cornerSigma = 0.006 // of the distance of a corner of the picture from its middle
)

// nLens is how many unknowns a free lens adds: focal length, relative, and how far corners of the picture are moved outwards, relative.
const nLens = 2

// lens is how camera and cards change with the lens, to first order about the frame at hand, for one unit of either unknown.
type lens struct {
	focal, corner float64 // of the frame at hand, against what was told
	eye           [nLens]r3.Vec
	rays          [nLens][]r3.Vec
	centre        [nLens][2]r3.Vec // of cards A and B
	normal        [nLens][2]r3.Vec
}

// lensStep is the step of the difference quotients: rays bend by a few millionths of a radian beyond first order.
const lensStep = 2e-3

// cornerR2 is the squared distance of the picture's corners from its middle, in focal lengths as told.
func (s *solver) cornerR2() float64 {
	c := s.told
	return float64(c.W*c.W+c.H*c.H) / 4 / (c.FocalPX * c.FocalPX)
}

// lensOf returns what a frame's lens is against what was told of it.
func (s *solver) lensOf(c *pose.Camera) (focal, corner float64) {
	return math.Log(c.FocalPX / s.told.FocalPX), c.K1 * s.cornerR2()
}

// withLens is the frame at hand under another lens.
func (s *solver) withLens(focal, corner float64) (pose.Frame, error) {
	return s.fr.WithLens(s.told.FocalPX*math.Exp(focal), corner/s.cornerR2())
}

// freeLens lets the lens take part in the fit; it stays as told where the frame does not come from cards.
func (s *solver) freeLens() {
	s.lens = nil
	if s.stay {
		return
	}
	l := &lens{}
	l.focal, l.corner = s.lensOf(&s.fr.Camera)
	for k := range nLens {
		d := [nLens]float64{}
		d[k] = lensStep
		fr, err := s.withLens(l.focal+d[0], l.corner+d[1])
		if err != nil {
			return
		}
		by := func(a, b r3.Vec) r3.Vec { return r3.Scale(1/lensStep, r3.Sub(b, a)) }
		l.eye[k] = by(s.fr.Camera.Centre, fr.Camera.Centre)
		l.centre[k] = [2]r3.Vec{by(s.fr.A.Centre, fr.A.Centre), by(s.fr.B.Centre, fr.B.Centre)}
		l.normal[k] = [2]r3.Vec{by(s.fr.A.Normal, fr.A.Normal), by(s.fr.B.Normal, fr.B.Normal)}
		l.rays[k] = make([]r3.Vec, len(s.sights))
		rows.Do(len(s.sights), func(i0, i1 int) {
			for i := i0; i < i1; i++ {
				l.rays[k][i] = by(s.rays[i], fr.Camera.Ray(s.sights[i].PX, s.sights[i].PY))
			}
		})
	}
	s.lens = l
}

// fixLens takes the lens that the fit found over into the frame and returns the other unknowns.
func (s *solver) fixLens(x []float64) []float64 {
	l := s.lens
	if l == nil {
		return x
	}
	s.lens = nil
	n := len(x) - nLens
	fr, err := s.withLens(l.focal+x[n], l.corner+x[n+1])
	if err == nil {
		s.place(&fr)
	}
	return slices.Clone(x[:n])
}

// place sets the frame and its rays.
func (s *solver) place(fr *pose.Frame) {
	s.fr = fr
	s.rays, s.along = make([]r3.Vec, len(s.sights)), make([]float64, len(s.sights))
	for i, t := range s.sights {
		s.rays[i] = fr.Camera.Ray(t.PX, t.PY)
	}
}

// fitLens finds the lens, starting from what was told: the linear model is good enough to be renewed once.
func (s *solver) fitLens(x []float64) []float64 {
	start, told := x, *s.fr
	for range 2 {
		s.freeLens()
		if s.lens == nil {
			return x
		}
		res, err := s.solve(append(slices.Clone(x), 0, 0))
		if err != nil {
			s.lens = nil
			return x
		}
		n := len(x)
		if f, c := s.lens.focal+res.X[n], s.lens.corner+res.X[n+1]; math.Abs(f) > lensLimit*FocalSigma || math.Abs(c) > lensLimit*cornerSigma {
			// No lens is that far from what was told: it would stand in for something else that the model lacks.
			s.lens = nil
			s.stay = true
			s.place(&told)
			s.reweight(start)
			return start
		}
		x = s.fixLens(res.X)
		s.reweight(x)
	}
	return x
}

// lensLimit is how many standard deviations from what was told a lens is believed.
const lensLimit = 4.0

// view is camera and cards as the unknowns place them.
type view struct {
	s     *solver
	d     [nLens]float64
	eye   r3.Vec
	cards [2]pose.Placed
	free  bool // the lens is
}

func (s *solver) view(x []float64) view {
	v := view{s: s, eye: s.fr.Camera.Centre, cards: [2]pose.Placed{s.fr.A, s.fr.B}}
	if s.lens == nil {
		return v
	}
	v.free = true
	copy(v.d[:], x[len(x)-nLens:])
	for k, d := range v.d {
		v.eye = r3.Add(v.eye, r3.Scale(d, s.lens.eye[k]))
		for j := range v.cards {
			v.cards[j].Centre = r3.Add(v.cards[j].Centre, r3.Scale(d, s.lens.centre[k][j]))
			v.cards[j].Normal = r3.Add(v.cards[j].Normal, r3.Scale(d, s.lens.normal[k][j]))
		}
	}
	return v
}

// ray is the direction of a sight; of unit length to second order.
func (v *view) ray(i int) r3.Vec {
	r := v.s.rays[i]
	if !v.free {
		return r
	}
	l := v.s.lens
	a, b := l.rays[0][i], l.rays[1][i]
	return r3.Vec{X: r.X + v.d[0]*a.X + v.d[1]*b.X, Y: r.Y + v.d[0]*a.Y + v.d[1]*b.Y, Z: r.Z + v.d[0]*a.Z + v.d[1]*b.Z}
}
