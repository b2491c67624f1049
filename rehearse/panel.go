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
	spread float64 // width of a held hit, mm
	sharp  float64 // and with the sharpest tip
	wide   profile // what a hit leaves by distance
	pulled map[float64]profile
	rnd    *rand.Rand
}

// profile is the height left by distance in steps of profileStepMM, 1 at the hit.
type profile []float64

func (p profile) at(d float64) float64 {
	q := d / profileStepMM
	i := int(q)
	if i+1 >= len(p) {
		return 0
	}
	return p[i] + (q-float64(i))*(p[i+1]-p[i])
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

	profileStepMM = 0.5
	// strayFromMM to strayToMM: beyond, neighbours move otherwise than thought by a share of this standard deviation.
	strayFromMM, strayToMM, straySD = 6.0, 20.0, 0.15
	// coreSpread: the bump of a hit is by this share wider or narrower than thought.
	coreSpread = 0.15
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
	r.sharp = 1.9 + 0.8*rnd.Float64()
	r.wide = leaves(panel, straySD*rnd.NormFloat64(), 1+coreSpread*(2*rnd.Float64()-1))
	r.pulled = map[float64]profile{}
	return r
}

// leaves is what a hit leaves on the panel as it is: its own field, with a bump that is wider or narrower, and farther off more or less of it
// by the share stray.
func leaves(p metal.Panel, stray, core float64) profile {
	w := make(profile, int(math.Hypot(2*halfX, 2*halfY)/profileStepMM)+2)
	for i := range w {
		d := float64(i) * profileStepMM
		t := min(1, max(0, (d-strayFromMM)/(strayToMM-strayFromMM)))
		t *= t * (3 - 2*t)
		w[i] = p.Field(d*(core+(1-core)*t)) * (1 + stray*t)
	}
	return w
}

// under is what a pull leaves that is spread over a tab of the given radius: the field averaged over the tab, 1 at its middle.
func (r *reality) under(tabMM float64) profile {
	if p, ok := r.pulled[tabMM]; ok {
		return p
	}
	const rings, around = 3, 12
	mean := func(d float64) float64 {
		sum := 0.0
		for i := range rings {
			q := tabMM * math.Sqrt((float64(i)+0.5)/rings)
			for k := range around {
				sum += r.wide.at(math.Sqrt(max(0, d*d+q*q-2*d*q*math.Cos((float64(k)+0.5)*math.Pi/around))))
			}
		}
		return sum / (rings * around)
	}
	p := make(profile, len(r.wide))
	for i := range p {
		p[i] = mean(float64(i)*profileStepMM) / mean(0)
	}
	r.pulled[tabMM] = p
	return p
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

// blow is one hit as it is made: the height it is to leave, and how.
type blow struct {
	x, y, set        float64
	tip              metal.Tip
	held, sharp, tap bool
	tabMM            float64 // radius of the tab of a pull
}

// hit leaves what a blow leaves, as the real metal spreads it, and books the film's strain.
func (r *reality) hit(b blow) {
	x, y := b.x+placeMM*r.rnd.NormFloat64(), b.y+placeMM*r.rnd.NormFloat64()
	set := b.set * max(0.1, 1+amount*r.rnd.NormFloat64())
	cost := r.panel.StrainPct(set, b.tip)
	if b.tap || b.tabMM > 0 {
		cost /= 2
	}
	shape := r.wide
	if b.tabMM > 0 {
		shape = r.under(b.tabMM)
	}
	reach, spread := math.Inf(1), r.spread
	if b.sharp {
		spread = r.sharp
	}
	if b.held {
		reach = 5 * spread
	}
	for j := range r.Rows {
		for i := range r.Cols {
			cx, cy := r.XY(i, j)
			d := math.Hypot(cx-x, cy-y)
			if d > reach {
				continue
			}
			f := shape.at(d)
			if b.held {
				f *= math.Exp(-d * d / (2 * spread * spread))
			}
			k := j*r.Cols + i
			r.h[k] += set * f
			if d < coreMM {
				r.strain[k] += cost * (1 - d/coreMM)
			}
		}
	}
}
