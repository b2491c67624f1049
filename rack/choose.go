package rack

import (
	"math"
	"sort"
)

// blunterThan is how much blunter than a low a tip must not be: one that fills the low lifts its rim with it. Common practice, no
// source.
const blunterThan = 3

// TipsBlunt lists the tips from blunt to sharp; among equals the softer first.
func (r Rack) TipsBlunt() []Tip {
	soft := map[Hardness]int{Rubber: 0, Plastic: 1, Steel: 2, "": 2}
	tips := append([]Tip(nil), r.Tips...)
	sort.SliceStable(tips, func(i, j int) bool {
		if tips[i].RadiusMM != tips[j].RadiusMM {
			return tips[i].RadiusMM > tips[j].RadiusMM
		}
		return soft[tips[i].Hardness] < soft[tips[j].Hardness]
	})
	return tips
}

// TipFor returns the bluntest tip that still reaches into a low of the given sharpest radius: no blunter than a third of it, else
// the sharpest there is. ok is false for a rack without tips.
func (r Rack) TipFor(radiusMM float64) (Tip, bool) {
	tips := r.TipsBlunt()
	for _, t := range tips {
		if t.RadiusMM <= radiusMM/blunterThan {
			return t, true
		}
	}
	if len(tips) == 0 {
		return Tip{}, false
	}
	return tips[len(tips)-1], true
}

// TapFor returns the bluntest knock-down no wider than a high, else the finest.
func (r Rack) TapFor(widthMM float64) (Tap, bool) {
	best, found := Tap{}, false
	for _, t := range r.Taps {
		fits, fitted := 2*t.RadiusMM <= widthMM, 2*best.RadiusMM <= widthMM
		if !found || fits && (!fitted || t.RadiusMM > best.RadiusMM) || !fits && !fitted && t.RadiusMM < best.RadiusMM {
			best, found = t, true
		}
	}
	return best, found
}

// tabShare of a low's length and width is the tab to take: larger ones lift the rim with it. Common practice, no source.
const tabShare = 0.67

// TabFor returns the tab whose size comes nearest to two thirds of a low's length and width.
func (r Rack) TabFor(lengthMM, widthMM float64) (Tab, bool) {
	best, found := Tab{}, false
	score := math.Inf(1)
	for _, t := range r.Tabs {
		s := math.Abs(math.Log(t.LengthMM/(tabShare*lengthMM))) + math.Abs(math.Log(t.WidthMM/(tabShare*widthMM)))
		if s < score {
			best, score, found = t, s, true
		}
	}
	return best, found
}

// HandN is the force at the hand that can be held with control while levering, N. Limits in the literature: one-handed push along a
// handle, men, 107 to 136 N at most; EN 1005-3 gives 62 N for a one-armed push without a back rest and 275 with one (from memory).
const HandN = 60.0

// BarFor returns the shortest bar that reaches, passes the gap (0: any), takes the tip ("": any) and brings forceN to the tip
// with at most HandN at the hand; where none keeps the hand so low, the one with the most leverage. ok is false where none reaches.
func (r Rack) BarFor(reachMM, gapMM float64, tip string, forceN float64) (Bar, bool) {
	var best Bar
	found, easy := false, false
	for _, b := range r.Bars {
		if b.ReachMM < reachMM || gapMM > 0 && b.GapMM > gapMM || !b.Takes(tip) {
			continue
		}
		e := forceN/b.Leverage() <= HandN
		switch {
		case !found, e && !easy, e && easy && b.LengthMM < best.LengthMM, !e && !easy && b.Leverage() > best.Leverage():
			best, found, easy = b, true, e
		}
	}
	return best, found
}

// GlueFor returns the glue that holds best at a skin temperature. ok is false when all are out of their range.
func (r Rack) GlueFor(tempC float64) (Glue, bool) {
	best, found := Glue{}, false
	for _, g := range r.Glues {
		if tempC >= g.FromC && tempC <= g.ToC && (!found || g.Strength > best.Strength) {
			best, found = g, true
		}
	}
	return best, found
}

// PullerFor returns the weakest puller that still draws forceN, else the strongest.
func (r Rack) PullerFor(forceN float64) (Puller, bool) {
	best, found := Puller{}, false
	for _, p := range r.Pullers {
		fits, fitted := p.MaxN >= forceN, best.MaxN >= forceN
		if !found || fits && (!fitted || p.MaxN < best.MaxN) || !fits && !fitted && p.MaxN > best.MaxN {
			best, found = p, true
		}
	}
	return best, found
}
