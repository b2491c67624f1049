package sheet

import "math"

// Hit is what one push from virgin metal does.
type Hit struct {
	ForceN      float64
	LoadedMM    float64 // height of the middle under load
	SetUM       float64 // height that stays
	HalfWidthMM float64 // radius at half of that height
	RimUM       float64 // the opposite extreme beside it, positive
	StrainPct   float64 // largest strain of the painted face under load
	R, W        []float64
}

// Pushes works out hits of rising force at one spot, each released: isotropic hardening makes each as if it were the first.
func Pushes(d Disc, tip Tip, forces []float64) ([]Hit, error) {
	s := New(d, fine(tip))
	var out []Hit
	for _, f := range forces {
		if err := s.Load(tip, f); err != nil {
			return out, err
		}
		h := Hit{ForceN: f, LoadedMM: s.HeightMM(), StrainPct: 100 * s.FrontStrain()}
		if err := s.Release(f); err != nil {
			return out, err
		}
		h.R, h.W = s.Profile()
		h.SetUM = 1000 * h.W[0]
		h.HalfWidthMM = halfWidth(h.R, h.W)
		for _, w := range h.W {
			h.RimUM = math.Max(h.RimUM, -1000*w*math.Copysign(1, h.W[0]))
		}
		out = append(out, h)
	}
	return out, nil
}

func fine(tip Tip) float64 {
	if tip.BallMM > 0 {
		return 0.3
	}
	return math.Max(0.2, tip.DiscMM/5)
}

// halfWidth is where a profile first falls to half of its middle.
func halfWidth(r, w []float64) float64 {
	half := w[0] / 2
	for i := 1; i < len(w); i++ {
		if (w[i]-half)*(w[0]-half) <= 0 && w[i] != w[i-1] {
			return r[i-1] + (r[i]-r[i-1])*(half-w[i-1])/(w[i]-w[i-1])
		}
	}
	return 0
}
