package inspection

import "fairmetal/mirror"

// guide predicts where the stripes of one axis run, from the nominal board.
func (r *run) guide(axis string) func(px, py float64) (float64, bool) {
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

// demodulate reads one photo of each direction.
func (r *run) demodulate() error {
	return refuse("single", "not yet", "")
}
