package plan

import (
	"fmt"
	"math"

	"fairmetal/metal"
	"fairmetal/rack"
)

// field is the shape that a hit leaves on the raster, 1 at the hit, row by row from (-n, -n) to (n, n).
type field struct {
	n int
	v []float64
}

func (f *field) at(dc, dr int) float64 {
	if dc < -f.n || dc > f.n || dr < -f.n || dr > f.n {
		return 0
	}
	return f.v[(dr+f.n)*(2*f.n+1)+dc+f.n]
}

// The fields of one place, by touch.
type fields struct {
	byTouch
	// by is what they change by for 1 of each part of a Shape; none: nothing.
	by [shapes]byTouch
}

// byTouch are fields of free hits, of held ones, and of those with the sharpest tip.
type byTouch struct{ wide, fine, sharp *field }

func (f *byTouch) of(t touch) *field {
	switch t {
	case held:
		return f.fine
	case sharp:
		return f.sharp
	}
	return f.wide
}

// Shape is how the fields of this metal differ from those worked out, as the rounds have told: Far by which share more a hit moves what lies some
// 20 mm away and farther, Wide by which share wider its bump is, Held by which share wider that of a hit against a held knock-down.
type Shape struct {
	Far  float64 `json:"far"`
	Wide float64 `json:"wide"`
	Held float64 `json:"held"`
}

const (
	shapeFar = iota
	shapeWide
	shapeHeld
	shapes
)

func (s Shape) parts() [shapes]float64 { return [shapes]float64{s.Far, s.Wide, s.Held} }

// shaped are the fields of metal of that shape, to first order.
func (f *fields) shaped(s Shape) *fields {
	if s == (Shape{}) {
		return f
	}
	out := &fields{byTouch{f.wide.crop(f.wide.n), f.fine.crop(f.fine.n), f.sharp.crop(f.sharp.n)}, f.by}
	for k, v := range s.parts() {
		for t := range sharp + 1 {
			out.of(t).add(f.by[k].of(t), v)
		}
	}
	return out
}

// add adds a share of another field of the same size; none: nothing.
func (f *field) add(o *field, share float64) {
	if o == nil {
		return
	}
	for i, v := range o.v {
		f.v[i] += share * v
	}
}

const (
	// heldMM: finishing works the metal between a fine tip and a held knock-down: the bump stays within some 8 mm. Common practice.
	heldMM = 4.0
	// sharpMM: the same with the sharpest tip, where the plastic patch of the sheet itself, that of a ball tip in the reference runs, sets the size.
	sharpMM = 2.2
	// mostSupportMM bounds the room that the field is worked out in: beyond, hits are not followed.
	mostSupportMM = 200.0
)

// newFields are the fields amid a panel that is crowned alike both ways.
func newFields(p metal.Panel) (*fields, error) {
	g, err := newGround(p, metal.Crown{}, rack.Access{})
	if err != nil {
		return nil, err
	}
	return g.mid, nil
}

// fieldsIn works the fields of a hit at a place of a shell out, followed as far as half.
func fieldsIn(shell *metal.Shell, x, y, half float64) (*fields, error) {
	n := int(half / cellMM)
	bump := func(patchMM float64) (*field, error) {
		m := shell.Bend(metal.Source{XMM: x, YMM: y, BendMM: 1, CoreMM: patchMM}).Grid(x-half, y-half, cellMM, 2*n+1, 2*n+1)
		f := &field{n: n, v: m.Z}
		top := f.at(0, 0)
		if !(top > 0) {
			return nil, fmt.Errorf("the panel cannot be worked out: at (%.0f, %.0f) mm of its room it is held", x, y)
		}
		for i := range f.v {
			f.v[i] /= top
		}
		return f, nil
	}
	var err error
	f := &fields{}
	if f.wide, err = bump(patchMM); err != nil {
		return nil, err
	}
	f.fine, f.sharp = f.wide.within(heldMM), f.wide.within(sharpMM)

	f.by[shapeFar].wide = f.wide.crop(f.wide.n)
	f.by[shapeFar].wide.each(func(d float64, v *float64) { *v *= 1 - math.Exp(-d*d/(2*nearMM*nearMM)) })
	if f.by[shapeWide].wide, err = bump(patchMM * (1 + shapeStep)); err != nil {
		return nil, err
	}
	for i, v := range f.wide.v {
		w := &f.by[shapeWide].wide.v[i]
		*w = (*w - v) / shapeStep
	}
	f.by[shapeHeld].fine, f.by[shapeHeld].sharp = f.fine.wider(heldMM), f.sharp.wider(sharpMM)
	return f, nil
}

const (
	// nearMM: nearer than this a hit is its bump, farther off it is the far field.
	nearMM = 10.0
	// shapeStep is the step by which the derivative to the width of the bump is taken.
	shapeStep = 0.15
)

// defaultSupportMM is that of package metal. patchMM is the standard deviation of the plastic patch: between that of a ball tip in
// the reference runs (2.2) and the closed form of metal.Field, which has the height of one of 3.3.
const (
	defaultSupportMM = 150.0
	patchMM          = 2.8
)

// within is the field of a held hit that dies over a standard deviation mm; the room around leaves space for filters.
func (f *field) within(mm float64) *field {
	out := f.crop(int(5 * heldMM / cellMM))
	out.each(func(d float64, v *float64) { *v *= math.Exp(-d * d / (2 * mm * mm)) })
	return out
}

// wider is what a held hit's field changes by for each share that its standard deviation mm is wider.
func (f *field) wider(mm float64) *field {
	out := f.crop(f.n)
	out.each(func(d float64, v *float64) { *v *= d * d / (mm * mm) })
	return out
}

func (f *field) each(do func(distMM float64, v *float64)) {
	w := 2*f.n + 1
	for i := range f.v {
		do(cellMM*math.Hypot(float64(i%w-f.n), float64(i/w-f.n)), &f.v[i])
	}
}

func (f *field) crop(n int) *field {
	n = min(n, f.n)
	out := &field{n: n, v: make([]float64, 0, (2*n+1)*(2*n+1))}
	for r := -n; r <= n; r++ {
		for c := -n; c <= n; c++ {
			out.v = append(out.v, f.at(c, r))
		}
	}
	return out
}

// spreadOver is the field of a pull: averaged over a tab of a radius, 1 at its middle.
func (f *field) spreadOver(radiusMM float64) *field {
	n := int(math.Ceil(radiusMM / cellMM))
	out := &field{n: f.n, v: make([]float64, len(f.v))}
	for r := -n; r <= n; r++ {
		for c := -n; c <= n; c++ {
			if cellMM*math.Hypot(float64(c), float64(r)) > radiusMM {
				continue
			}
			i := 0
			for y := -f.n; y <= f.n; y++ {
				for x := -f.n; x <= f.n; x++ {
					out.v[i] += f.at(x-c, y-r)
					i++
				}
			}
		}
	}
	top := out.at(0, 0)
	for i := range out.v {
		out.v[i] /= top
	}
	return out
}

// spreadOver are the fields of a pull with a tab of a radius.
func (f *fields) spreadOver(radiusMM float64) *fields {
	return &fields{byTouch{f.wide.spreadOver(radiusMM), f.fine, f.sharp}, f.by}
}
