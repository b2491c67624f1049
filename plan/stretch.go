package plan

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// Stretch is what a low that was worked has told of its metal. Where metal has been stretched it is too much: it stands up in a ring around the low as
// that is raised, and what is tapped down there comes back.
type Stretch struct {
	Mark   string  `json:"mark"` // that its last hits were told for
	XMM    float64 `json:"x_mm"`
	YMM    float64 `json:"y_mm"`
	Back   float64 `json:"back"` // share of what taps by it were to lower that came back
	BackSD float64 `json:"back_sd"`
	RingUM float64 `json:"ring_um"` // height that rose around it and that no hit explains, over all rounds
	RingSD float64 `json:"ring_sd_um"`
	Rounds int     `json:"rounds"`
}

// TooMuch tells whether the metal of a low is stretched. The bounds were set on ten made-up lows, sound and stretched, and checked on others
// (docs/method/plan.md): rings around sound ones stay under 0.7 standard deviations.
func (s Stretch) TooMuch() bool { return s.RingUM > ringSure*s.RingSD && s.RingUM > ringSeenUM }

const ringSure, ringSeenUM = 1.2, 15.0

// low is a mark as hits tell of it: the places it was raised at.
type low struct {
	mark   string
	at     [][2]float64
	back   [2]float64     // sums of precision x mean, and of precision
	rings  [rings]float64 // height of each over all rounds, um, and its variance
	vars   [rings]float64
	rounds int
}

const (
	// Where a low is raised the metal too much stands up around it, somewhere from where a hit's own bump ends on: looked for are rings at ringFromMM
	// and every ringMM farther, as broad.
	rings      = 4
	ringFromMM = 8.0
	ringMM     = 4.0
	// looks are what is looked for at each low: what came back, and the rings.
	lowParts = 1 + rings
	// sameLowMM: lows of two rounds that lie nearer than this are one.
	sameLowMM = 15.0
	// backPrior and ringPrior are the standard deviations of what comes back and of a ring, before the metal is looked at, um.
	backPrior, ringPrior = 0.5, 50.0
	// backCommon and ringCommon are what sound metal shows too, since no field is quite its own.
	backCommon, ringCommon = 0.1, 3.0
)

// lowsOf are the lows that hits raise, and the one each hit belongs to.
func lowsOf(hits []Hit) (lows []low, of []int) {
	by := map[string]int{}
	for _, c := range hits {
		if !c.raises() {
			continue
		}
		k, ok := by[c.Mark]
		if !ok {
			k = len(lows)
			by[c.Mark] = k
			lows = append(lows, low{mark: c.Mark})
		}
		lows[k].at = append(lows[k].at, [2]float64{c.XMM, c.YMM})
	}
	for _, c := range hits {
		k, ok := by[c.Mark]
		if !ok {
			k = -1
		}
		of = append(of, k)
	}
	return lows, of
}

// middle of the places it was raised at.
func (l *low) middle() (x, y float64) {
	for _, p := range l.at {
		x, y = x+p[0]/float64(len(l.at)), y+p[1]/float64(len(l.at))
	}
	return x, y
}

// around are the shapes of the rings at a place, 1 at their crests.
func (l *low) around(x, y float64) (v [rings]float64) {
	d := math.Inf(1)
	for _, p := range l.at {
		d = min(d, math.Hypot(x-p[0], y-p[1]))
	}
	for k := range v {
		q := (d-ringFromMM)/ringMM - float64(k)
		v[k] = math.Exp(-q * q / 2)
	}
	return v
}

// returned weighs for each low of a round what came back and what rose around it, at the sets that the metal heard asks for.
func (h *Heard) returned(w *weighing, set, spread []float64, around Shape) {
	n := len(set)
	parts := around.parts()
	size := n + lowParts*len(w.l.lows)
	index := make([]int, size) // into the normal matrix
	for i := range index {
		index[i] = i
		if i >= n {
			index[i] = i + shapes + 1
		}
	}
	s, rhs := mat.NewSymDense(size, nil), mat.NewVecDense(size, nil)
	for i, a := range index {
		v := w.normal.At(a, n+shapes)
		for k, p := range parts {
			v -= p * w.normal.At(a, n+k)
		}
		rhs.SetVec(i, v)
		for j := i; j < size; j++ {
			s.SetSym(i, j, w.normal.At(a, index[j]))
		}
	}
	for j := range n {
		p := 1 / (spread[j] * spread[j])
		s.SetSym(j, j, s.At(j, j)+p)
		rhs.SetVec(j, rhs.AtVec(j)+p*set[j])
	}
	for k := range w.l.lows {
		for p := range lowParts {
			sd := ringPrior
			if p == 0 {
				sd = backPrior
			}
			i := n + lowParts*k + p
			s.SetSym(i, i, s.At(i, i)+1/(sd*sd))
		}
	}
	var c mat.Cholesky
	var x mat.VecDense
	inv := mat.NewSymDense(size, nil)
	if !c.Factorize(s) || c.SolveVecTo(&x, rhs) != nil || c.InverseTo(inv) != nil {
		return
	}
	for k, l := range w.l.lows {
		to := h.lowAt(l)
		b := n + lowParts*k
		// What the prior says is taken out again before rounds are summed up.
		p, q := 1/inv.At(b, b), 1/(backPrior*backPrior)
		if p-q > 1e-9 {
			to.back[0] -= p * x.AtVec(b)
			to.back[1] += p - q
		}
		for r := range rings {
			to.rings[r] += x.AtVec(b + 1 + r)
			to.vars[r] += inv.At(b+1+r, b+1+r)
		}
		to.rounds++
	}
}

// lowAt is the low of earlier rounds at the same place, or a new one.
func (h *Heard) lowAt(l low) *low {
	x, y := l.middle()
	for i := range h.lows {
		if u, v := h.lows[i].middle(); math.Hypot(x-u, y-v) < sameLowMM {
			h.lows[i].mark = l.mark
			return &h.lows[i]
		}
	}
	h.lows = append(h.lows, l)
	return &h.lows[len(h.lows)-1]
}

// Lows is what each low that was worked has told.
func (h *Heard) Lows() []Stretch {
	var out []Stretch
	for _, l := range h.lows {
		x, y := l.middle()
		s := Stretch{Mark: l.mark, XMM: x, YMM: y, Rounds: l.rounds}
		for k, um := range l.rings {
			if sd := math.Hypot(math.Sqrt(l.vars[k]), ringCommon); k == 0 || um/sd > s.RingUM/s.RingSD {
				s.RingUM, s.RingSD = um, sd
			}
		}
		precision := l.back[1] + 1/(backPrior*backPrior)
		s.Back, s.BackSD = l.back[0]/precision, math.Hypot(1/math.Sqrt(precision), backCommon)
		out = append(out, s)
	}
	return out
}
