package metal

import (
	"fmt"
	"math"
)

// interp is linear interpolation, extended by the last slope.
func interp(x float64, xs, ys []float64) float64 {
	if x <= xs[0] {
		return ys[0]
	}
	for i := 1; i < len(xs); i++ {
		if x <= xs[i] || i == len(xs)-1 {
			t := (x - xs[i-1]) / (xs[i] - xs[i-1])
			return ys[i-1] + t*(ys[i]-ys[i-1])
		}
	}
	return ys[len(ys)-1]
}

// Tip is the end of a tool.
type Tip struct {
	Name     string
	RadiusMM float64
	Soft     bool // rubber or plastic cap: spreads the load over some 4 mm
}

// SetUM is the height that stays at the hit, um, on virgin metal: interpolated in the embedded table. A hard tip's radius hardly matters
// between 2.5 and 10 mm (3 % in the runs); a soft cap spreads the load.
func (p Panel) SetUM(forceN float64, tip Tip) float64 {
	return math.Copysign(1000*p.hit(forceN, tip.Soft).set, forceN)
}

// maxForceUnits is a hard push: the curve ends there.
const maxForceUnits = 5.0

// ForceFor returns the force that leaves setUM at the hit, N, with the sign of the set.
func (p Panel) ForceFor(setUM float64, tip Tip) (float64, error) {
	want := math.Abs(setUM)
	lo, hi := 0.0, maxForceUnits*p.ForceUnit()
	if p.SetUM(hi, tip) < want {
		return math.Copysign(hi, setUM), fmt.Errorf("a set of %.0f um in one hit asks for more than %.0f N; split it", setUM, hi)
	}
	for range 60 {
		mid := (lo + hi) / 2
		if p.SetUM(mid, tip) < want {
			lo = mid
		} else {
			hi = mid
		}
	}
	return math.Copysign(hi, setUM), nil
}

// SpringbackUM is how far the metal falls back when let go, um. It is nearly the same whatever the dent was: work to a height under
// load.
func (p Panel) SpringbackUM(forceN float64, tip Tip) float64 {
	r := p.hit(forceN, tip.Soft)
	return 1000 * (r.loaded - r.set)
}

// StrainPct is the largest strain of the painted face under a hit that leaves the given set, per cent: bending about the tip and stretch
// together. Beyond the hardest push of the table it grows with the set.
func (p Panel) StrainPct(setUM float64, tip Tip) float64 {
	f, err := p.ForceFor(setUM, tip)
	r := p.hit(f, tip.Soft)
	if err != nil && r.set > 0 {
		return r.strain * math.Abs(setUM) / 1000 / r.set
	}
	return r.strain
}

// LoadedUM is the height under the tool, over where the metal stood, that leaves setUM after letting go, um.
func (p Panel) LoadedUM(setUM float64, tip Tip) (float64, error) {
	f, err := p.ForceFor(setUM, tip)
	return setUM + math.Copysign(p.SpringbackUM(f, tip), setUM), err
}
