package sheet

import (
	"cmp"
	"math"
	"slices"
)

// state is what a sheet remembers, to come back to.
type state struct {
	x     []float64
	old   [][]point
	press []float64
	load  *touch
}

func (w *Work) save() state {
	s := state{x: slices.Clone(w.x), load: w.load}
	for i := range w.elements {
		for j := range w.elements[i].sites {
			s.old = append(s.old, slices.Clone(w.elements[i].sites[j].old))
			s.press = append(s.press, w.elements[i].sites[j].press)
		}
	}
	return s
}

func (w *Work) restore(s state) {
	copy(w.x, s.x)
	w.load = s.load
	n := 0
	for i := range w.elements {
		for j := range w.elements[i].sites {
			w.elements[i].sites[j].old, w.elements[i].sites[j].press = s.old[n], s.press[n]
			n++
		}
	}
}

// tipStepMM is the mesh under a tip: half of it moves what stays by 0.2 %.
const tipStepMM = 0.6

// leastSetUM: less is what the solver leaves out of balance, not a set.
const leastSetUM = 0.02

// fineAround is how far from its middle a tip is felt sharply.
func fineAround(tip Tip) float64 { return max(1, min(4, tip.BallMM/3), tip.DiscMM) }

// Square works out hits at the middle of a clamped square sheet, each as if from virgin metal: of forces of one sign, from the lightest up.
// Where a force finds no balance the hits before it are returned with the error.
func Square(r Rect, tip Tip, forces []float64) ([]Hit, error) {
	w, err := NewWork(r, Place{FineMM: fineAround(tip), StepMM: tipStepMM})
	if err != nil {
		return nil, err
	}
	forces = slices.Clone(forces)
	slices.SortFunc(forces, func(a, b float64) int { return cmp.Compare(math.Abs(a), math.Abs(b)) })
	var out []Hit
	at := 0.0
	for _, f := range forces {
		if w.load == nil {
			w.load = w.touchAt(0, 0, tip, math.Copysign(1, f))
			w.side = w.load.push
		}
		if err := w.ramp(at, f, 3); err != nil {
			return out, err
		}
		at = f
		h := Hit{ForceN: f, LoadedMM: w.HeightMM(0, 0), StrainPct: w.StrainPct()}
		loaded := w.save()
		if err := w.Release(f); err != nil {
			return out, err
		}
		h.R, h.W = w.profile(0)
		_, across := w.profile(1)
		if set := 1000 * h.W[0]; math.Abs(set) >= leastSetUM {
			h.SetUM = set
			h.HalfWidthMM = (halfWidth(h.R, h.W) + halfWidth(h.R, across)) / 2
			for _, v := range append(across, h.W...) {
				h.RimUM = math.Max(h.RimUM, -1000*v*math.Copysign(1, set))
			}
		}
		out = append(out, h)
		w.restore(loaded)
	}
	return out, nil
}

// profile returns heights at rising distances from (0, 0), towards (1, y).
func (w *Work) profile(y float64) (r, h []float64) {
	long := math.Hypot(1, y)
	for e := range len(w.lx.at) - 1 {
		for k := range 4 {
			d := w.lx.at[e] + float64(k)/4*(w.lx.at[e+1]-w.lx.at[e])
			r, h = append(r, d), append(h, w.HeightMM(d/long, d*y/long))
		}
	}
	return r, h
}
