package phase

import (
	"slices"

	"fairmetal/internal/order"
)

// A spot of orange peel, in stripe pairs squared and turns. On the roughest paint seen (0.8 um rms, waves of 1 to 8 mm, stripes
// displaced by a seventh of a turn rms) spots reach an area of 2.8, a displacement of 0.18 and odds of 0.3; a dent that folds
// the reflection displaces stripes by a third of a turn or leaves more of the photo unexplained.
const (
	spotArea    = 3.2
	spotTurns   = 0.3
	spotSpreads = 7 // robust standard deviations of the displacement, where that is more
	spotOdds    = 0.3
	// spotWindow is the stripe pairs over which stripes are thought smooth, spotDetail those that make a displacement.
	spotWindow, spotDetail = 1.5, 0.15
)

// forgive accepts bad spots that orange peel explains: small, hardly at odds with the photo, and the stripes around hardly
// displaced. What such a spot can hide is bounded by the displacement: 0.3 turns of 12 mm, 600 mm from the board, are 3 mrad over
// some 3 mm.
func (l *lock) forgive(ok []bool) []bool {
	dev, spread := l.displacement(ok)
	limit := max(spotTurns, spotSpreads*spread)
	usual := l.usualPurity(ok)
	label, sizes := l.parts(invert(ok))
	most, odds := make([]float32, len(sizes)+1), make([]float32, len(sizes)+1)
	area := l.stripe * l.stripe
	near := int(l.stripe)
	for j := range l.rows {
		for i := range l.cols {
			k := j*l.cols + i
			id := label[k]
			if id == 0 || float64(sizes[id-1]) > spotArea*area {
				continue
			}
			odds[id] += max(0, usual-l.purity[k])
			for y := max(0, j-near); y <= min(l.rows-1, j+near); y++ {
				most[id] = max(most[id], slices.Max(dev[y*l.cols+max(0, i-near):y*l.cols+min(l.cols, i+near+1)]))
			}
		}
	}
	out := make([]bool, len(ok))
	for i, id := range label {
		out[i] = id == 0 || float64(sizes[id-1]) < spotArea*area && most[id] < limit && float64(odds[id]) < spotOdds*area
	}
	return out
}

// displacement is how far stripes stand from their smooth course, in turns, and its robust spread.
func (l *lock) displacement(ok []bool) (dev []float32, spread float32) {
	n := len(ok)
	psi, known := make([]float32, n), make([]float32, n)
	for i, v := range ok {
		if v {
			known[i], psi[i] = 1, l.phi.v[i]-l.trend[i]
		}
	}
	s := spotWindow * l.stripe
	back, weight := smooth(psi, l.cols, l.rows, s), smooth(known, l.cols, l.rows, s)
	for i := range psi {
		psi[i] = l.phi.v[i] - l.trend[i] - back[i]/max(weight[i], 1e-3)
	}
	dev = smooth(psi, l.cols, l.rows, spotDetail*l.stripe)
	var sample []float32
	for i, v := range dev {
		dev[i] = max(v, -v)
		if ok[i] && i%3 == 0 {
			sample = append(sample, dev[i])
		}
	}
	if len(sample) == 0 {
		return dev, 0
	}
	return dev, order.Median(sample) / 0.6745
}

// usualPurity is what all but a twentieth of the good cells exceed.
func (l *lock) usualPurity(ok []bool) float32 {
	var s []float32
	for i, v := range ok {
		if v {
			s = append(s, l.purity[i])
		}
	}
	if len(s) == 0 {
		return 1
	}
	return min(1, order.Nth(s, len(s)/20))
}
