package inspection

import (
	"slices"
	"sync"

	"fairmetal/internal/rows"
	"fairmetal/mirror"
	"fairmetal/phase"
)

// guide predicts where the stripes of one axis run, from the nominal board.
func (r *run) guide(axis string) phase.Guide {
	cam := r.cam
	b := mirror.Nominal(cam, r.res.Capture.Board.DistanceMM)
	f := mirror.NewForm()
	l := (r.res.Frame.B.Centre.X - r.res.Frame.A.Centre.X) / 2
	f.C[3] = -r.res.Frame.SagMM * (mirror.FormScaleMM / l) * (mirror.FormScaleMM / l)
	return func(px, py float64) (float64, bool) {
		ray := cam.Ray(px, py)
		p, zx, zy, ok := f.Hit(cam.Centre, ray)
		if !ok {
			return 0, false
		}
		u, v, ok := b.Reflect(ray, p, zx, zy)
		if axis == "v" {
			return v, ok
		}
		return u, ok
	}
}

// demodulate reads one photo of each direction, or one of both.
func (r *run) demodulate() error {
	board := r.res.Capture.Board
	axes, size := [2]string{"u", "v"}, [2]float64{board.WidthMM, board.HeightMM}
	covered := r.papered()
	var fields [2]*phase.Single
	var errs [2]error
	if f, ok := r.frameOf("uv"); ok {
		fields[0], fields[1], errs[0] = phase.DemodulateCrossed(f.img, f.PitchMM, f.Profile == "square", size, [2]phase.Guide{r.guide("u"), r.guide("v")}, covered)
	} else {
		var wg sync.WaitGroup
		for i, axis := range axes {
			f, ok := r.frameOf(axis)
			if !ok {
				return refuse("axis", "a set of single photos needs one of upright (u) and one of level (v) stripes", "add the missing photo")
			}
			wg.Go(func() {
				fields[i], errs[i] = phase.Demodulate(axis, f.img, f.PitchMM, f.Profile == "square", size[i], r.guide(axis), covered)
			})
		}
		wg.Wait()
	}
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	r.readings = fields
	r.take(fields)
	return nil
}

// take takes over what two single photos say.
func (r *run) take(fields [2]*phase.Single) {
	r.u, r.v = &fields[0].Field, &fields[1].Field
	r.folded, r.odd, r.seam = make([]bool, len(fields[0].Folded)), make([]bool, len(fields[0].Odd)), nil
	rows.Do(len(r.folded), func(i0, i1 int) {
		for i := i0; i < i1; i++ {
			r.folded[i] = fields[0].Folded[i] || fields[1].Folded[i]
			r.odd[i] = fields[0].Odd[i] || fields[1].Odd[i]
		}
	})
	for _, f := range fields {
		if f.Seam == nil {
			continue
		}
		if r.seam == nil {
			r.seam = make([]bool, len(f.Seam))
		}
		for i, v := range f.Seam {
			r.seam[i] = r.seam[i] || v
		}
	}
}

// doubt reads single photos of which few sights fit no panel, with a line on it or without, as if a feature line hid stripes where one shows but faintly. It is nil, and all as
// before, unless that fits and is borne out.
func (r *run) doubt(prior mirror.Prior) *mirror.Calibration {
	if !slices.ContainsFunc(r.readings[:], func(s *phase.Single) bool { return s != nil && s.Doubt != nil }) {
		return nil
	}
	few := prior
	few.Rough, few.SeekLine = true, true
	whole, err := mirror.Calibrate(&r.res.Frame, mirror.Sights(r.u, r.v), few)
	if err == nil && r.bearsOut(whole) {
		return nil
	}
	for axis, first := range r.readings {
		if first.Doubt == nil {
			continue
		}
		cut := first.Doubt()
		first.Doubt = nil
		before, notices := *r, len(r.res.Notices)
		other := *r.readings[1-axis]
		other.X = slices.Clone(other.X)
		var fields [2]*phase.Single
		fields[axis], fields[1-axis] = cut, &other
		r.take(fields)
		if beyond := r.apart(); beyond != nil {
			if next, nextErr := r.countSides(beyond, prior); nextErr == nil && r.beyondSeam == nil && (err != nil || misfit(next) < misfit(whole)) {
				return next
			}
		}
		*r = before
		r.res.Notices = r.res.Notices[:notices]
	}
	return nil
}

func (r *run) frameOf(axis string) (frame, bool) {
	for _, f := range r.frames {
		if f.Stripes == axis {
			return f, true
		}
	}
	return frame{}, false
}
