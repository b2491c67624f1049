package plan

import (
	"fmt"
	"math"
)

// What jobs take over the hits that are told at first, by the workshop in the computer (package rehearse): places and amounts miss, metal is
// harder or softer and moves its neighbours otherwise than thought, and what that leaves has to be worked again. The logarithm of hits made over hits
// told is taken as normal; its mean and spread are fitted to the seeds 1000 to 1099 and checked on others (docs/method/plan.md).
const (
	logMore   = 0.35
	logSpread = 0.27
	// strainMore is the same for the strain at the worst place, over what is planned with: what has to be worked again mostly lies elsewhere.
	strainMore = 1.25
	// rangeShare of jobs end inside the range; its normal quantile.
	rangeShare    = 0.9
	rangeQuantile = 1.645
)

// forecast of a plan: the hits of the bench as told, by stage, and what jobs like this take.
func (b *bench) forecast() Forecast {
	told := len(b.done)
	f := Forecast{Told: told, ByStage: map[Stage]int{}, Share: rangeShare}
	var steepest float64
	f.LeftUM, steepest = b.left()
	f.WobbleMRad = math.Round(20*steepest) / 10
	more := math.Exp(logMore)
	for _, w := range b.done {
		f.ByStage[w.stage]++
		f.Minutes += more * minutes(w)
	}
	for _, s := range []Stage{Raise, Level, Finish} {
		f.ByStage[s] = int(math.Round(more * float64(f.ByStage[s])))
		f.Hits += f.ByStage[s]
	}
	spread := math.Exp(rangeQuantile * logSpread)
	f.HitsLow, f.HitsHigh = int(float64(f.Hits)/spread), int(math.Ceil(float64(f.Hits)*spread))
	f.MinLow, f.MinHigh = math.Round(f.Minutes/spread), math.Round(f.Minutes*spread)
	f.Minutes = math.Round(f.Minutes)
	f.Fair = f.LeftUM <= b.in.FairUM+ReadUM && steepest <= b.in.Limits.SlopeMRad
	f.LeftUM = math.Round(10*f.LeftUM) / 10
	f.LimitPct = b.capability
	for _, v := range b.strain {
		if !math.IsInf(v, 0) {
			f.StrainPct = max(f.StrainPct, strainMore*v)
		}
	}
	f.StrainPct = math.Round(100*f.StrainPct) / 100
	return f
}

// stuckShare of the fair limit: what stays farther off even if all hits land as told does not come fair.
const stuckShare = 2

// decline says why the work is better not begun; nothing where it can be done.
func (f Forecast) decline(in Input) string {
	switch {
	case f.LimitPct > 0 && f.StrainPct > f.LimitPct:
		return fmt.Sprintf("the film would be bent by %.1f %% in sum, with what has to be worked again, and stands %.1f %% at %.0f C: warm it more, leave the deepest mark, or repair with paint", f.StrainPct, f.LimitPct, in.TempC)
	case f.LeftUM > stuckShare*in.FairUM:
		return fmt.Sprintf("%.0f um would stay: film, hand force, bars and tabs allow no hit that takes it away; get access from behind, take other tools, or repair with paint", f.LeftUM)
	case f.WobbleMRad > stuckShare*2*in.Limits.SlopeMRad:
		return fmt.Sprintf("a reflected line would still wobble by %.1f mrad: film, hand force, bars and tabs allow no hit that takes it away; get access from behind, take other tools, or repair with paint", f.WobbleMRad)
	}
	return ""
}
