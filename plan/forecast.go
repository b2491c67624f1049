package plan

import "math"

// What jobs take over the hits that are told at first, by the workshop in the computer (package rehearse): places and amounts miss, metal is
// harder or softer and moves its neighbours otherwise than thought, and what that leaves has to be worked again. The logarithm of hits made over hits
// told is taken as normal; its mean and spread are fitted to the seeds 1000 to 1099 and checked on others (docs/method/plan.md).
const (
	logMore   = 0.55
	logSpread = 0.28
	// rangeShare of jobs end inside the range; its normal quantile.
	rangeShare    = 0.9
	rangeQuantile = 1.645
)

// forecast of a plan: the hits of the bench as told, by stage, and what jobs like this take.
func (b *bench) forecast() Forecast {
	told := len(b.done)
	f := Forecast{Told: told, ByStage: map[Stage]int{}, LeftUM: b.worst(), Share: rangeShare}
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
	f.Fair = f.LeftUM <= b.in.FairUM+ReadUM
	f.LeftUM = math.Round(10*f.LeftUM) / 10
	return f
}
