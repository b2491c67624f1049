package metal

import (
	"fmt"
	"math"
)

// Low is a round low to be pulled.
type Low struct {
	DepthUM      float64 // positive
	HalfRadiusMM float64 // where it is half as deep
}

// profile of the low, per depth: a bell exp(-ln2 (r/half)^2).
func (l Low) profile(r float64) float64 {
	q := r / l.HalfRadiusMM
	return math.Exp(-math.Ln2 * q * q)
}

// spreadUnits: a load on a disc of radius c needs more force for the same bend than the 2 mm disc of the curves: the bending moment under it
// goes as ln(L/c), L being the support on a flat panel and 1.12 decay lengths on a crown ([Timoshenko1959] eq. 83; [Reissner1946]),
// and half of the load is carried as a membrane: the square root of the ratio. Runs on discs of 2 and 3.2 mm: 7 to 9 % more force flat
// (formula 6 %), on discs of 2 and 4.4 mm 17 % on R = 2 m (22 %). Beyond 6 mm it is extrapolated.
func (p Panel) spreadUnits(radiusMM float64) float64 {
	reach := p.support()
	if p.RadiusMM > 0 {
		reach = min(reach, 1.12*p.DecayMM())
	}
	moment := func(c float64) float64 { return math.Log(1 + reach/c) }
	return math.Sqrt(moment(curveDiscMM) / moment(max(radiusMM, curveDiscMM)))
}

// curveDiscMM is the disc that the curves of the compact law were run with.
const curveDiscMM = 2.0

// liftShape is what a pull over a disc of radius c raises at r, per height at its middle: the soft glue spreads the pull and with it the
// bend, so it is the field of a hit averaged over the disc: on a flat panel ln(L/c) + (1 - (r/c)^2)/2 inside, the far field outside.
func (p Panel) liftShape(r, c float64) float64 {
	if c < coreMM {
		return p.Field(r)
	}
	const rings, around = 4, 16
	at := func(r float64) float64 {
		sum := 0.0
		for i := range rings { // of equal area
			q := c * math.Sqrt((float64(i)+0.5)/rings)
			for k := range around {
				a := (float64(k) + 0.5) * math.Pi / around
				sum += p.raw(math.Hypot(coreMM, math.Sqrt(r*r+q*q-2*r*q*math.Cos(a))))
			}
		}
		return sum / (rings * around)
	}
	return at(r) / at(0)
}

// RimUM is the height, um, and place, mm, of the ring that stands proud once the middle of a low has been pulled level with a tab, or
// pushed level with a tip (tab of no size). Beside a low sharper than the tab the soft metal of the flank comes up with the middle and
// stands higher than it: the fact of the trade, from the linear field.
func (p Panel) RimUM(low Low, radiusMM float64) (heightUM, atMM float64) {
	for r := 0.0; r <= p.support(); r += 0.5 {
		if h := low.DepthUM * (p.liftShape(r, radiusMM) - low.profile(r)); h > heightUM {
			heightUM, atMM = h, r
		}
	}
	return heightUM, atMM
}

// Pull forecasts one pull at the middle of a low.
type Pull struct {
	SetUM          float64 // what stays, at most the depth of the low
	ForceN         float64 // the pull
	HoldN          float64 // where the tab lets go
	Margin         float64 // HoldN/ForceN
	RimUM, RimAtMM float64 // ring that stands proud when the low is level
	PushRimUM      float64 // the same after pushing with a tip
	PushForceN     float64 // for the same set
	Pays           bool
	Why            string
}

// Bounds below which a pull stops paying; own proposals: a margin of 1.2 because the lift is never as even as thought, 20 um because
// the next glueing costs minutes and a fine tip does that in one push.
const (
	pullMargin   = 1.2
	pullWorthUM  = 20.0
	pullRimShare = 0.5
)

// Pull forecasts a pull on a low, um and N, and says whether it pays: it stops where the tab lets go before the metal yields, where too
// little would stay, and where the rim raised is over half of the depth taken out.
func (p Panel) Pull(low Low, t Tab, g Glue, tempC float64) (Pull, error) {
	if !within(low.DepthUM, 1, 20000) || !within(low.HalfRadiusMM, 0.5, 500) {
		return Pull{}, fmt.Errorf("a low of %g um depth and %g mm half radius is not possible; give 1 to 20000 um and 0.5 to 500 mm", low.DepthUM, low.HalfRadiusMM)
	}
	if !within(t.AreaMM2(), 3, 40000) {
		return Pull{}, fmt.Errorf("tab %q of %g x %g mm is not possible; give 2 to 200 mm", t.Name, t.LengthMM, t.WidthMM)
	}
	spread := p.spreadUnits(t.reachMM())
	f := Pull{HoldN: p.HoldN(t, g, tempC), SetUM: low.DepthUM}
	force, err := p.ForceFor(low.DepthUM, Tip{})
	if err != nil {
		f.SetUM = p.SetUM(force, Tip{})
	}
	f.ForceN = force * spread
	if most := f.HoldN / pullMargin; f.ForceN > most {
		f.ForceN = most
		f.SetUM = p.SetUM(most/spread, Tip{})
	}
	if f.ForceN > 0 {
		f.Margin = f.HoldN / f.ForceN
	}
	if f.SetUM > 0 {
		f.PushForceN, _ = p.ForceFor(f.SetUM, Tip{})
	}
	f.RimUM, f.RimAtMM = p.RimUM(low, t.reachMM())
	f.PushRimUM, _ = p.RimUM(low, 0)
	threshold := curveForce[0] * p.ForceUnit() * spread
	switch {
	case f.HoldN/pullMargin < threshold:
		f.Why = fmt.Sprintf("%s lets go at %.0f N on %.0f C skin, the metal yields from %.0f N; take a larger tab, a glue for this temperature, or push", g.Name, f.HoldN, tempC, threshold)
	case f.SetUM < pullWorthUM:
		f.Why = fmt.Sprintf("a pull would leave %.0f um; push with a fine tip instead", f.SetUM)
	case f.RimUM > pullRimShare*low.DepthUM:
		f.Why = fmt.Sprintf("the low is sharper than the tab: level in the middle, a ring of %.0f um would stand %.0f mm around it; take a smaller tab or push", f.RimUM, f.RimAtMM)
	default:
		f.Pays = true
		f.Why = fmt.Sprintf("%.0f N leave %.0f um, the tab holds %.0f N", f.ForceN, f.SetUM, f.HoldN)
	}
	return f, nil
}
