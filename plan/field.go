package plan

import (
	"fmt"
	"math"

	"fairmetal/metal"
	"fairmetal/surface"
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

// The fields of one panel.
type fields struct {
	wide, fine, sharp *field
	// rough is wide without its broad part: what a fit to the undamaged form around takes away, and no reflected line shows.
	rough *field
}

const (
	// broadMM is the standard deviation of the smooth form about which metal is judged while raising and levelling: broader waves are
	// the panel's form, which the next capture takes off, and no hit of a tip mends them.
	broadMM = 35.0
	// roughReachMM is how far the wide field without its broad part is followed: beyond, it is a few hundredths and smooth.
	roughReachMM = 44.0
	// heldMM: finishing works the metal between a fine tip and a held knock-down: the bump stays within some 8 mm. Common practice.
	heldMM = 4.0
	// sharpMM: the same with the sharpest tip, where the plastic patch of the sheet itself, that of a ball tip in the reference runs, sets the size.
	sharpMM = 2.2
	// mostSupportMM bounds the room that the field is worked out in: beyond, hits are not followed.
	mostSupportMM = 200.0
)

// newFields works the shallow shell of the panel out, once: a bend amid a room that is clamped at the support.
func newFields(p metal.Panel) (*fields, error) {
	half := p.SupportMM
	if half <= 0 {
		half = defaultSupportMM
	}
	half = cellMM * math.Round(min(half, mostSupportMM)/cellMM)
	shell, err := metal.NewShell(p.Room(2*half, 2*half))
	if err != nil {
		return nil, fmt.Errorf("the panel cannot be worked out: %w", err)
	}
	m := shell.Bend(metal.Source{XMM: half, YMM: half, BendMM: 1, CoreMM: patchMM}).Map(cellMM)
	n := (m.NX - 1) / 2
	f := &fields{wide: &field{n: n, v: m.Z}}
	top := f.wide.at(0, 0)
	if m.NX != m.NY || m.NX != 2*n+1 || !(top > 0) {
		return nil, fmt.Errorf("the panel cannot be worked out: a room of %g mm has no middle on the raster", 2*half)
	}
	for i := range f.wide.v {
		f.wide.v[i] /= top
	}
	f.fine, f.sharp = f.wide.within(heldMM), f.wide.within(sharpMM)
	f.rough = f.wide.withoutBroad().crop(int(roughReachMM / cellMM))
	return f, nil
}

// defaultSupportMM is that of package metal. patchMM is the standard deviation of the plastic patch: between that of a ball tip in
// the reference runs (2.2) and the closed form of metal.Field, which has the height of one of 3.3.
const (
	defaultSupportMM = 150.0
	patchMM          = 2.8
)

func (f *field) each(do func(distMM float64, v *float64)) {
	w := 2*f.n + 1
	for i := range f.v {
		do(cellMM*math.Hypot(float64(i%w-f.n), float64(i/w-f.n)), &f.v[i])
	}
}

// within is the field of a held hit that dies over a standard deviation mm; the room around leaves space for filters.
func (f *field) within(mm float64) *field {
	out := f.crop(int(5 * heldMM / cellMM))
	out.each(func(d float64, v *float64) { *v *= math.Exp(-d * d / (2 * mm * mm)) })
	return out
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

func (f *field) withoutBroad() *field {
	g := surface.Grid{Cols: 2*f.n + 1, Rows: 2*f.n + 1, PitchMM: cellMM}
	return &field{n: f.n, v: withoutBroad(g, f.v)}
}

// withoutBroad takes the broad form off heights; unknown ones stay so.
func withoutBroad(g surface.Grid, h []float64) []float64 {
	z := make([]float32, len(h))
	for i, v := range h {
		z[i] = float32(v)
	}
	broad := surface.Gauss(g, z, broadMM)
	out := make([]float64, len(h))
	for i, v := range h {
		out[i] = v - float64(broad[i])
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
