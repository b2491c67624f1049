package plan

import "math"

// forecast sums the hits of the bench up, all landing as told.
func (b *bench) forecast() Forecast {
	f := Forecast{Hits: len(b.done), ByStage: map[Stage]int{}, LeftUM: b.worst()}
	for _, w := range b.done {
		f.ByStage[w.stage]++
		f.Minutes += minutes(w)
	}
	f.Minutes = math.Round(f.Minutes)
	f.Fair = f.LeftUM <= b.in.FairUM+ReadUM
	f.LeftUM = math.Round(10*f.LeftUM) / 10
	f.HitsLow, f.HitsHigh, f.MinLow, f.MinHigh = f.Hits, 2*f.Hits, f.Minutes, 2*f.Minutes
	return f
}

func (p *Plan) expect(b *bench) {}
