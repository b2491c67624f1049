package inspection

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"slices"

	"fairmetal/capture"
	"fairmetal/register"
	"fairmetal/surface"
)

// TwinDoc says how a twin was laid under the panel.
type TwinDoc struct {
	Name      string        `json:"name"`
	Move      register.Move `json:"move"`       // of the mirrored twin's frame
	SpreadUM  float64       `json:"spread_um"`  // of undamaged metal over the twin
	WithoutUM float64       `json:"without_um"` // the same over the smooth form
	Scale     float64       `json:"scale"`      // of the twin's heights
	Degree    int           `json:"degree"`     // of the smooth difference
}

// RunTwin measures the capture in a folder like Run, over the form of a twin: the measured result of the other side of the vehicle,
// undamaged, its cards laid as in a mirror. nil: no twin.
func RunTwin(ctx context.Context, folder fs.FS, twin *Stored, progress Progress) (*Result, error) {
	if progress == nil {
		progress = func(string, float64) {}
	}
	progress("reading capture.json", 0)
	c, err := capture.ReadDir(folder)
	if err != nil {
		return nil, refuseCapture(err)
	}
	return measureCapture(ctx, folder, c, twin, progress)
}

// Reference is the measured panel's whole form.
func (s *Stored) Reference() (surface.Reference, error) {
	if s.AbsoluteMM == nil {
		return surface.Reference{}, errors.New("the twin was measured by an older version, without its whole form (form.f32); measure it again")
	}
	return surface.NewReference(s.Grid, s.AbsoluteMM, s.Surface.Height), nil
}

// undamaged returns what undamaged metal stands above the mirror's form, mm on g, from heights dev above it, and how far metal scatters
// about that: over the twin where there is one that fits, else a smooth fill and along each feature line its own section.
func (r *run) undamaged(g surface.Grid, dev []float64) (off []float64, spread float64, err error) {
	lines := r.res.Calibration.Form.Lines()
	smooth, spread, err := surface.Flatten(g, dev, lines...)
	if r.twin != nil {
		if off, spread, ok := r.overTwin(g, dev, spread); ok {
			return off, spread, nil
		}
	}
	if err != nil {
		return nil, 0, err
	}
	off = smooth.Grid(g)
	if len(lines) == 0 {
		return off, spread, nil
	}
	rest := slices.Clone(dev)
	takeOff(rest, off)
	for _, l := range lines {
		section := surface.AlongLine(g, rest, l)
		takeOff(rest, section)
		for i, v := range section {
			off[i] += v
		}
	}
	return off, spread, nil
}

const (
	// A twin that fits leaves no more than the smooth fill, but for the difference of two pressings; less than twinFineMM is as good.
	twinWorse  = 1.5
	twinFineMM = 1e-3
	// twinCover: beneath it the technician hears how much the twin lacks.
	twinCover = 0.9
)

// overTwin lays the twin under the panel.
func (r *run) overTwin(g surface.Grid, dev []float64, without float64) (off []float64, spread float64, ok bool) {
	const advice = "lay both cards on the twin as in a mirror, over the same place of the panel, and measure it again"
	form := r.res.Calibration.Form.Heights(g)
	z := slices.Clone(dev)
	for i, f := range form {
		z[i] += f
	}
	ref, err := r.twin.Reference()
	if err != nil {
		r.note(Warning, "twin", err.Error(), "the smooth form was used")
		return nil, 0, false
	}
	t, err := register.Under(g, z, ref.Mirrored(), len(r.res.Calibration.Form.Folds) > 0)
	if err != nil {
		r.note(Warning, "twin", err.Error()+"; the smooth form was used", advice)
		return nil, 0, false
	}
	if t.SpreadMM > max(twinFineMM, twinWorse*without) {
		r.note(Warning, "twin", fmt.Sprintf("the twin does not fit: undamaged metal is %.1f um off over it, %.1f um over the smooth form, which was used", 1000*t.SpreadMM, 1000*without), advice)
		return nil, 0, false
	}
	both, all := 0.0, 0.0
	for i, v := range dev {
		if v == v {
			all++
			if t.Base[i] == t.Base[i] {
				both++
			}
		}
	}
	if both < twinCover*all {
		r.note(Info, "twin", fmt.Sprintf("the twin covers %.0f %% of the panel, the rest has no value", 100*both/all), "photograph as much of the twin as of the damaged side")
	}
	r.res.Twin = &TwinDoc{Name: r.twin.Document.Capture.Name, Move: t.Move, SpreadUM: 1000 * t.SpreadMM, WithoutUM: 1000 * without, Scale: t.Scale, Degree: t.Degree}
	off = t.Base
	takeOff(off, form)
	return off, t.SpreadMM, true
}

// absolute is the panel's whole undamaged form on g, mm.
func (r *run) absolute(g surface.Grid, off []float64) []float32 {
	out := make([]float32, len(off))
	for i, f := range r.res.Calibration.Form.Heights(g) {
		out[i] = float32(f + off[i])
		if math.IsNaN(off[i]) {
			out[i] = float32(f)
		}
	}
	return out
}
