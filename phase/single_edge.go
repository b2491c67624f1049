package phase

import (
	"math"
	"slices"

	"fairmetal/internal/order"
)

// interval is a range of turns; NaN where nothing is known.
type interval struct{ lo, hi float64 }

var nowhere = interval{math.NaN(), math.NaN()}

func (s interval) known() bool                { return s.lo == s.lo }
func (s interval) mirrored() interval         { return interval{-s.hi, -s.lo} }
func (s interval) shifted(d float64) interval { return interval{s.lo + d, s.hi + d} }

const (
	edgeBins = 20 // of a turn
	// edgeReach is how many turns beyond the last good cell are looked at: the margin that was taken off, a stripe pair, and
	// one of bare room.
	edgeReach = 2.5
	// edgeBlur is how far, in turns, orange peel and defocus blur the end of the stripes.
	edgeBlur = 0.1
)

// boardEdge returns where, in turns counted towards side (-1 or 1), the stripes of a part end, provided they end on one and the
// same coordinate all along: the photo's mean brightness over each twentieth of a turn, taken along the whole rim, shows stripes
// and then the even room. Where the board ends in a dark stripe that merges with a dark room, or a bright with a bright, the
// whole stripe is returned.
func (l *lock) boardEdge(label []int32, id int32, side int) interval {
	lines := l.rim(label, id, side)
	if len(lines) < int(4*l.stripe) {
		return nowhere
	}
	var starts []float64
	for _, r := range lines {
		starts = append(starts, r.t)
	}
	mid := order.Median(starts)
	from := int(math.Floor((mid - 1) * edgeBins))
	n := int((1 + edgeReach) * edgeBins)
	sum, count := make([]float64, n), make([]float64, n)
	for _, r := range lines {
		if math.Abs(r.t-mid) > 1 {
			continue // a card, or the photo's end
		}
		for d := -2 / r.slope; ; d++ {
			x, y := r.x+d*r.dx, r.y+d*r.dy
			b := int(math.Floor((r.t+r.slope*d)*edgeBins)) - from
			if b >= n || x < 0 || y < 0 || int(x) >= l.r.w || int(y) >= l.r.h {
				break
			}
			if b >= 0 {
				g := (l.r.pix[int(y)*l.r.w+int(x)] - r.mid) / r.half
				sum[b] += float64(min(max(g, -maxSwing), maxSwing))
				count[b]++
			}
		}
	}
	for b := range sum {
		if count[b] < float64(len(lines))/3 {
			return nowhere // too few lines agree where they end
		}
		sum[b] /= count[b]
	}
	end := lastStripe(sum)
	if !end.known() {
		return nowhere
	}
	return interval{(float64(from) + end.lo) / edgeBins, (float64(from) + end.hi) / edgeBins}
}

// lastStripe finds the end of the stripes in a profile of edgeBins a turn, in bins: beyond it the profile stays at the level of
// the room.
func lastStripe(p []float64) interval {
	tail := p[len(p)-edgeBins:]
	room, lo, hi := 0.0, math.Inf(1), math.Inf(-1)
	for _, v := range tail {
		room += v / edgeBins
		lo, hi = min(lo, v), max(hi, v)
	}
	if hi-lo > 0.4 { // a fifth of the stripes' swing: they still go on
		return nowhere
	}
	far, full := 0.0, 0.0 // the stripes' other colour, farthest from the room
	for _, v := range p[:edgeBins] {
		if math.Abs(v-room) > full {
			far, full = v, math.Abs(v-room)
		}
	}
	if full < 1 {
		return nowhere
	}
	half := (far - room) / 2
	away := func(b int) float64 { return (p[b] - room) / half } // 0 room, 2 the other colour
	b := len(p) - 1
	for b > 0 && away(b) < 1 {
		b--
	}
	// The end between bins b and b+1, and how wide its stripe is: one that is cut short shows the edge itself.
	at := float64(b) + 0.5
	if b+1 < len(p) {
		at += (away(b) - 1) / max(away(b)-away(b+1), 1e-6)
	}
	width := 0
	for k := b; k >= 0 && away(k) >= 1; k-- {
		width++
	}
	if float64(width) < (0.5-2*edgeBlur)*edgeBins {
		return interval{at - edgeBlur*edgeBins, at + edgeBlur*edgeBins}
	}
	return interval{at - edgeBlur*edgeBins, at + (0.5+edgeBlur)*edgeBins}
}

// rimLine starts at the outermost good cell of a line across the stripes.
type rimLine struct {
	x, y, dx, dy float64 // px and step outwards
	t            float64 // turns there, counted outwards
	slope        float64 // turns per px outwards
	mid, half    float32
}

func (l *lock) rim(label []int32, id int32, side int) []rimLine {
	ax := l.across(label, id)
	dx, dy := ax.dx, ax.dy
	if ax.forward != (side > 0) {
		dx, dy = -dx, -dy
	}
	fromEnd := dx+dy > 0
	sign := float32(side)
	q := float64(l.q)
	var out []rimLine
	for n := range ax.n {
		at := func(k int) int {
			if fromEnd {
				k = ax.m - 1 - k
			}
			return ax.at(n, k)
		}
		k := 0
		for k < ax.m && label[at(k)] != id {
			k++
		}
		if k+4 >= ax.m || label[at(k+3)] != id {
			continue
		}
		a, b := at(k), at(k+3)
		slope := float64(sign*(l.phi.v[a]-l.phi.v[b])) / (3 * q)
		if slope <= 0 {
			continue
		}
		out = append(out, rimLine{x: float64(l.x0) + (float64(a%l.cols)+0.5)*q, y: float64(l.y0) + (float64(a/l.cols)+0.5)*q, dx: dx, dy: dy,
			t: float64(sign * l.phi.v[a]), slope: slope, mid: l.levels.mid[a], half: l.levels.half[a]})
	}
	return out
}

// place settles the constant of each separate part, in whole turns against each other, by the board's own edges, and centres the whole on
// the board. A part that no edge places stays as it was followed, which may be whole turns off. A board of boardTurns stripe pairs of which fewer are seen between its
// edges hides the others in a seam; where its edges are not seen what lies beyond a seam may be whole turns off.
func (l *lock) place(boardTurns float64) {
	label, sizes := l.parts(l.ok)
	order := make([]int32, len(sizes))
	for i := range order {
		order[i] = int32(i + 1)
	}
	slices.SortFunc(order, func(a, b int32) int { return sizes[b-1] - sizes[a-1] })
	lo, hi := nowhere, nowhere // the board's edges in the turns of the largest part
	shift := make([]float64, len(sizes)+1)
	for n, id := range order {
		a, b := l.boardEdge(label, id, -1).mirrored(), l.boardEdge(label, id, 1)
		if n == 0 {
			lo, hi = l.seams(label, id, a, b, boardTurns)
			continue
		}
		k, one := whole(lo, a)
		if !one {
			k, one = whole(hi, b)
		}
		if one {
			shift[id] = k
		}
	}
	middle := (lo.lo + lo.hi + hi.lo + hi.hi) / 4
	if math.IsNaN(middle) {
		middle = l.guessMiddle()
	}
	l.middle = middle
	for i, id := range label {
		l.phi.v[i] += float32(shift[id] - middle)
	}
	l.folded = l.enclosed(l.ok)
}

// seams cuts a part where stripes are hidden in a seam and returns the board's edges, of which a and b have been seen.
func (l *lock) seams(label []int32, id int32, a, b interval, boardTurns float64) (lo, hi interval) {
	if a.known() && b.known() {
		switch k, one := whole(a.shifted(boardTurns), b); {
		case one && k == 0:
			return a, b
		case one && math.Abs(k) <= seamMost && l.cut(label, id, k):
			return a, b.shifted(k)
		}
	}
	// A seam that hides nobody knows how many leaves its far side whole turns off.
	if l.cut(label, id, 0) || a.known() && b.known() {
		return nowhere, nowhere
	}
	if a.known() {
		return a, a.shifted(boardTurns)
	}
	return b.shifted(-boardTurns), b
}

// seamMost is the most stripes a seam may hide: a step of 0.4 in slope, half a metre from the board, hides 400 mm.
const seamMost = 20

// whole returns the one whole number of turns that brings b onto a; one is false where none or several do.
func whole(a, b interval) (k float64, one bool) {
	if !a.known() || !b.known() {
		return 0, false
	}
	k = math.Ceil(a.lo - b.hi)
	return k, k <= a.hi-b.lo && k+1 > a.hi-b.lo
}

// guessMiddle is the turn that becomes the board's middle when no edge tells: that of the readable range.
func (l *lock) guessMiddle() float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for i, v := range l.ok {
		if v {
			lo, hi = min(lo, float64(l.phi.v[i])), max(hi, float64(l.phi.v[i]))
		}
	}
	if lo > hi {
		return 0
	}
	return (lo + hi) / 2
}
