package rehearse

import (
	"math"
	"math/rand/v2"
	"slices"

	"fairmetal/metal"
	"fairmetal/surface"
)

// dent is one flaw of a made-up panel, a Gaussian bowl with a raised rim.
type dent struct{ x, y, sx, sy, sin, cos, depth, rim float64 }

func (d *dent) height(x, y float64) float64 {
	p, q := (x-d.x)*d.cos+(y-d.y)*d.sin, (y-d.y)*d.cos-(x-d.x)*d.sin
	r2 := p*p/(d.sx*d.sx) + q*q/(d.sy*d.sy)
	return -d.depth*math.Exp(-r2/2) + d.rim*r2*r2/8*math.Exp(-r2/2)
}

// reality is the panel as it is.
type reality struct {
	surface.Grid
	h      []float64 // um
	form   []float64 // the smooth form that the last measurement took off, um
	strain []float64 // of the film, per cent, added up
	panel  metal.Panel
	spread float64 // width of a finishing hit, mm
	stray  float64 // share by which neighbours move otherwise than thought
	rnd    *rand.Rand
}

const (
	pitchMM = 1.25
	halfX   = 160.0
	halfY   = 120.0
	workX   = 95.0 // the field of work: all dents lie well inside
	workY   = 65.0
	placeMM = 1.0  // standard deviation of a hit's place, each way
	amount  = 0.20 // and of its amount
	coreMM  = 4.0  // film strained around a hit
)

func newReality(panel metal.Panel, dents []dent, rnd *rand.Rand) *reality {
	r := &reality{Grid: surface.Grid{Cols: int(2*halfX/pitchMM) + 1, Rows: int(2*halfY/pitchMM) + 1, PitchMM: pitchMM, X0MM: -halfX, Y0MM: -halfY}, panel: panel, rnd: rnd}
	r.h, r.form, r.strain = make([]float64, r.Len()), make([]float64, r.Len()), make([]float64, r.Len())
	for i := range r.h {
		x, y := r.XY(i%r.Cols, i/r.Cols)
		for k := range dents {
			r.h[i] += dents[k].height(x, y)
		}
	}
	r.spread = 3.2 + 1.6*rnd.Float64()
	r.stray = 0.15 * rnd.NormFloat64()
	return r
}

// at is the height at a place, um.
func (r *reality) at(v []float64, x, y float64) float64 {
	c, q := r.Cell(x, y)
	i, j := min(max(int(c), 0), r.Cols-2), min(max(int(q), 0), r.Rows-2)
	a, b := c-float64(i), q-float64(j)
	k := j*r.Cols + i
	return (1-b)*((1-a)*v[k]+a*v[k+1]) + b*((1-a)*v[k+r.Cols]+a*v[k+r.Cols+1])
}

// fairForm is the panel's height less a smooth form of degree four, as a measurement that the cards pin takes it off, um.
func (r *reality) fairForm() []float64 {
	h := slices.Clone(r.h)
	if smooth, err := surface.Rough(r.Grid, h); err == nil {
		r.form = smooth.Grid(r.Grid)
		for i, v := range r.form {
			h[i] -= v
		}
	}
	return h
}

// stands is the height at a place over the form of the last measurement, um: what the technician's eye goes by during a round.
func (r *reality) stands(x, y float64) float64 { return r.at(r.h, x, y) - r.at(r.form, x, y) }

// measured is the panel as a capture shows it: half a micrometre of noise over some millimetres.
func (r *reality) measured() *surface.Surface {
	s := surface.New(r.Grid)
	h := r.fairForm()
	noise := make([]float32, r.Len())
	for i := range noise {
		noise[i] = float32(r.rnd.NormFloat64())
	}
	noise = surface.Gauss(r.Grid, noise, 1.5)
	var s2 float64
	for _, v := range noise {
		s2 += float64(v) * float64(v)
	}
	scale := float32(0.0005 / math.Sqrt(s2/float64(len(noise))))
	for i, h := range h {
		s.Height[i], s.Sigma[i] = float32(h/1000)+scale*noise[i], float32(0.0005+0.01*math.Abs(h)/1000)
	}
	return s
}

// hit leaves set um at a place, as the real metal spreads it, and books the film's strain.
func (r *reality) hit(x, y, set float64, tip metal.Tip, fine, tap bool) {
	x, y = x+placeMM*r.rnd.NormFloat64(), y+placeMM*r.rnd.NormFloat64()
	set *= max(0.1, 1+amount*r.rnd.NormFloat64())
	cost := r.panel.StrainPct(set, tip)
	if tap {
		cost /= 2
	}
	for i := range r.h {
		cx, cy := r.XY(i%r.Cols, i/r.Cols)
		d := math.Hypot(cx-x, cy-y)
		f := r.panel.Field(d)
		switch {
		case fine:
			f *= math.Exp(-d * d / (2 * r.spread * r.spread))
		case d > 8:
			f *= 1 + r.stray
		}
		r.h[i] += set * f
		if d < coreMM {
			r.strain[i] += cost * (1 - d/coreMM)
		}
	}
}
