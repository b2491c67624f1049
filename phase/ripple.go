package phase

import "math"

// evenOut takes the ripple of square or bent stripes out of a phase: an N-step sum lets harmonics jN +- 1 through, which makes an
// error of period 2 pi/N. Over many stripes every phase is as frequent as any other, so the folded phase's own distribution
// function is the correction (histogram method; common practice in fringe projection, no single source). Nothing is done where
// the distribution is even already, or where too few stripes were seen to judge.
func evenOut(g *group, ok []bool, n int) {
	const bins = 180
	var hist [bins]float64
	period := 2 * math.Pi / float64(n)
	total := 0.0
	for i, good := range ok {
		if good {
			hist[bin(g.phase[i], period, bins)]++
			total++
		}
	}
	if total < 50000 {
		return
	}
	// Distribution function over one period, and how uneven it is.
	var cdf [bins + 1]float64
	worst, mean := 0.0, 0.0
	for i, h := range hist {
		cdf[i+1] = cdf[i] + h/total
		d := cdf[i+1] - float64(i+1)/bins
		worst = max(worst, math.Abs(d))
		mean += d / bins
	}
	// A hundredth of the period is what waviness and the rim of the mirror image leave on clean sine stripes.
	if worst < 0.01 {
		return
	}
	for i := range g.phase {
		t := math.Mod(float64(g.phase[i])+2*math.Pi, period) / period * bins
		k := min(int(t), bins-1)
		c := cdf[k] + (t-float64(k))*(cdf[k+1]-cdf[k])
		g.phase[i] += float32((c - t/bins - mean) * period)
	}
}

func bin(phase float32, period float64, bins int) int {
	t := math.Mod(float64(phase)+2*math.Pi, period) / period
	return min(int(t*float64(bins)), bins-1)
}
