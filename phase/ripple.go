package phase

import (
	"math"

	"fairmetal/internal/rows"
)

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

// evenTurn takes off what strays from a straight run over the turn of a stripe, the same in all of them: what bent stripes and shifts that are slightly wrong
// make where shifts are uneven. A coordinate less the mean of those a quarter of a stripe before and behind holds the first three waves of it 1, 2 and 1
// times, and hardly anything of the metal's own slope and bend.
func (f *Field) evenTurn() {
	for range turnRounds {
		if !f.evenedTurn() {
			return
		}
	}
}

// evenedTurn is one round of it; false: nothing was to be taken off.
func (f *Field) evenedTurn() bool {
	type row struct {
		sum [2 * turnWaves]float64
		n   float64
	}
	in := make([]row, f.H)
	at := func(i, step int, by float64) float64 {
		k := math.Floor(by)
		j := i + int(k)*step
		if j < 0 || j+step < 0 || j >= len(f.X) || j+step >= len(f.X) {
			return math.NaN()
		}
		a, b := float64(f.X[j]), float64(f.X[j+step])
		return a + (by-k)*(b-a)
	}
	rows.Do(f.H, func(y0, y1 int) {
		for y := max(y0, 1); y < min(y1, f.H-1); y++ {
			for x := 1 + y%turnStride; x < f.W-1; x += turnStride {
				i := y*f.W + x
				gx, gy := float64(f.X[i+1]-f.X[i-1])/2, float64(f.X[i+f.W]-f.X[i-f.W])/2
				step, g, room := 1, gx, min(x, f.W-1-x)
				if math.Abs(gy) > math.Abs(gx) {
					step, g, room = f.W, gy, min(y, f.H-1-y)
				}
				quarter := f.PitchMM / 4 / math.Abs(g)
				if !(quarter > 1 && quarter < float64(room-1)) {
					continue
				}
				v := float64(f.X[i])
				d := v - (at(i, step, quarter)+at(i, step, -quarter))/2
				if !(math.Abs(d) < turnMost*f.PitchMM) {
					continue
				}
				for k := range turnWaves {
					sin, cos := math.Sincos(2 * math.Pi * float64(k+1) * v / f.PitchMM)
					in[y].sum[2*k], in[y].sum[2*k+1] = in[y].sum[2*k]+d*cos, in[y].sum[2*k+1]+d*sin
				}
				in[y].n++
			}
		}
	})
	var sum [2 * turnWaves]float64
	n := 0.0
	for y := range in {
		for k, v := range in[y].sum {
			sum[k] += v
		}
		n += in[y].n
	}
	if n < turnLeast {
		return false
	}
	held := [turnWaves]float64{1, 2, 1}
	var size float64
	for k := range sum {
		sum[k] *= 2 / n / held[k/2]
		size += sum[k] * sum[k] / 2
	}
	if size < turnTold*turnTold*f.PitchMM*f.PitchMM {
		return false
	}
	rows.Do(f.H, func(y0, y1 int) {
		for i := y0 * f.W; i < y1*f.W; i++ {
			turn := 2 * math.Pi * float64(f.X[i]) / f.PitchMM
			e := 0.0
			for k := range turnWaves {
				sin, cos := math.Sincos(float64(k+1) * turn)
				e += sum[2*k]*cos + sum[2*k+1]*sin
			}
			f.X[i] -= float32(e)
		}
	})
	return true
}

const (
	turnWaves  = 3
	turnRounds = 3 // turns are told by what strays itself
	turnStride = 5
	turnMost   = 0.1   // of a pitch: what strays by more is a dent, or an order that was counted wrong
	turnLeast  = 5000  // places
	turnTold   = 0.005 // of a pitch rms: of good sweeps a thousandth to three, which a view of few stripes may feign
)
