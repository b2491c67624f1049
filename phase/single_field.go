package phase

import (
	"math"

	"fairmetal/internal/order"
	"fairmetal/internal/rows"
)

// field turns the lock into board coordinates for the pixels of the whole photo.
func (l *lock) field(w, h int, pitch float64) *Single {
	s := &Single{Field: Field{W: w, H: h, X: make([]float32, w*h), Mod: make([]float32, w*h), PitchMM: pitch, SigmaMM: l.sigma() * pitch}, Folded: make([]bool, w*h), Odd: make([]bool, w*h)}
	nan, p := float32(math.NaN()), float32(pitch)
	var seam []bool
	if l.seam != nil {
		seam = l.widen(l.seam, nil, seamReach+1)
		s.Seam = make([]bool, w*h)
	}
	least := oddPurity * l.usualPurity(l.ok)
	k := 1 << l.r.halved
	step := l.q * k
	rows.Do(h, func(y0, y1 int) {
		line, t, good := make([]float32, l.cols), make([]float32, l.cols*step), make([]bool, l.cols)
		for y := y0; y < y1; y++ {
			x := s.X[y*w : (y+1)*w]
			for i := range x {
				x[i] = nan
			}
			at := y - l.y0*k
			if at < 0 || at >= l.rows*step {
				continue
			}
			l.phi.fine(at, k, line, t, nil)
			// A pixel lies between four nodes: all must be good.
			j := max(0, (2*at+1-step)/(2*step))
			j1 := min(j+1, l.rows-1)
			for i := range good {
				good[i] = l.ok[j*l.cols+i] && l.ok[j1*l.cols+i]
			}
			first, mod, folded, odd := at/step*l.cols, s.Mod[y*w+l.x0*k:], s.Folded[y*w+l.x0*k:], s.Odd[y*w+l.x0*k:]
			for q, v := range t {
				i := max(0, (2*q+1-step)/(2*step))
				if good[i] && good[min(i+1, l.cols-1)] {
					x[l.x0*k+q] = v * p
				}
				c := first + q/step
				mod[q], folded[q], odd[q] = l.levels.half[c], l.folded[c], l.purity[c] < least
				if seam != nil {
					s.Seam[y*w+l.x0*k+q] = seam[c]
				}
			}
		}
	})
	return s
}

// oddPurity is the share of what all but a twentieth of the metal agrees by under which metal is odd.
const oddPurity = 0.88

// sigma is the standard deviation of the coordinate, in turns: the scatter of the edges in a cell about the plate, over the root of
// the cells that the plate takes together. A filter that passes wave numbers up to 1/span takes 4 pi span^2 cells together.
func (l *lock) sigma() float64 {
	mean := meanOf(l.sums.edge, l.trust)
	var off []float64
	for i, ok := range l.ok {
		if e := l.sums.edge[i]; ok && 2*e > mean {
			off = append(off, math.Abs(float64(l.sums.move[i]/e)))
		}
	}
	if len(off) == 0 {
		return math.NaN()
	}
	cells := 4 * math.Pi * math.Pow(span*l.stripe, 2)
	return order.Median(off) / 0.6745 / math.Sqrt(max(1, cells))
}
