package mirror

import "gonum.org/v1/gonum/spatial/r3"

const (
	// astrayRMSMM is a misfit, mm on the board, that no panel leaves: the fit has run into a dead end, often by rays far out that miss
	// the form on the way.
	astrayRMSMM = 1.5
	// innerShare of the distance of the cards is the radius of the metal that a fit begins with that ran astray from the whole.
	innerShare = 0.6
)

// outwards settles what lies between the cards first and all from there. x comes back where that explains no more.
func (s *solver) outwards(x []float64) []float64 {
	before := s.now(x)
	inner := *s
	inner.sights, inner.rays, inner.weight = nil, nil, nil
	first := s.start()
	f := s.form(first)
	reach := innerShare * r3.Norm(r3.Sub(s.fr.B.Centre, s.fr.A.Centre))
	for i, t := range s.sights {
		if p, _, _, ok := f.Hit(s.fr.Camera.Centre, s.rays[i]); ok && r3.Norm(p) < reach {
			inner.sights, inner.rays, inner.weight = append(inner.sights, t), append(inner.rays, s.rays[i]), append(inner.weight, 1)
		}
	}
	inner.along = make([]float64, len(inner.sights))
	if len(inner.sights) > 60 {
		inner.stride = max(1, len(inner.sights)/quickSights)
		if near, err := inner.settle(first); err == nil {
			if all, err := s.settle(near); err == nil && s.rms < before.rms {
				return all
			}
		}
	}
	return s.back(before)
}
