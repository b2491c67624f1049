package phase

import (
	"math"
	"slices"
	"sync/atomic"

	"fairmetal/internal/rows"
)

// unwrapReliable makes a wrapped phase absolute by continuity without a coarser pitch to ask: links between neighbours are followed in
// the order of their reliability, smooth places first and torn ones last, so that a slip at a sharp place stays there instead of
// running across the panel ([Herraez2002]). The result is in mm, its constant free by whole pitches in each part that the mask
// separates; parts are placed as in unwrapStep.
func unwrapReliable(ph []float32, ok []bool, w, h int, pitch float64) []float32 {
	n := w * h
	const turn = float32(2 * math.Pi)
	// Two wrapped phases are less than a turn apart.
	off := func(d float32) int32 {
		switch {
		case d > math.Pi:
			return 1
		case d < -math.Pi:
			return -1
		}
		return 0
	}
	wrap := func(d float32) float32 { return d - turn*float32(off(d)) }
	// How far the phase is from running straight through each pixel, in lots of 1/classes of a turn.
	const classes = 128
	bend := make([]uint8, n)
	rows.Do(h, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			for x := range w {
				i := y*w + x
				bend[i] = classes - 1
				if !ok[i] || x == 0 || y == 0 || x == w-1 || y == h-1 {
					continue
				}
				var s float32
				whole := true
				for _, d := range [4]int{1, w, w + 1, w - 1} {
					if !ok[i-d] || !ok[i+d] {
						whole = false
						break
					}
					k := wrap(ph[i-d]-ph[i]) - wrap(ph[i]-ph[i+d])
					s += k * k
				}
				if whole {
					bend[i] = uint8(min(classes-2, int(sqrt(s)*(classes/(4*math.Pi)))))
				}
			}
		}
	})
	// Links by counting sort: link 2i goes right, 2i+1 down.
	class := func(i, j int) int { return int(bend[i]) + int(bend[j]) }
	count := make([]int32, 2*classes)
	each := func(f func(link int32, c int)) {
		for i, good := range ok {
			if !good {
				continue
			}
			if (i+1)%w != 0 && ok[i+1] {
				f(int32(2*i), class(i, i+1))
			}
			if i+w < n && ok[i+w] {
				f(int32(2*i+1), class(i, i+w))
			}
		}
	}
	each(func(_ int32, c int) { count[c]++ })
	total := int32(0)
	for c, k := range count {
		count[c] = total
		total += k
	}
	links := make([]int32, total)
	each(func(l int32, c int) { links[count[c]] = l; count[c]++ })

	t := newTurns(n)
	for _, l := range links {
		i := int(l / 2)
		j := i + 1
		if l%2 == 1 {
			j = i + w
		}
		t.join(int32(i), int32(j), off(ph[i]-ph[j]))
	}
	x := make([]float32, n)
	label := make([]int32, n)
	var sizes []int
	scale := float32(pitch / (2 * math.Pi))
	for i, good := range ok {
		x[i] = ph[i] * scale
		if !good {
			continue
		}
		root, k := t.find(int32(i))
		x[i] += float32(k) * float32(pitch)
		if label[root] == 0 {
			sizes = append(sizes, 0)
			label[root] = int32(len(sizes))
		}
		label[i] = label[root]
		sizes[label[i]-1]++
	}
	if len(sizes) > 1 {
		placeParts(x, ok, label, sizes, w, pitch)
	}
	return x
}

// turns is a union-find forest in which each pixel knows how many turns it stands above its parent.
type turns []node

type node struct {
	parent int32 // of a root: less its size
	above  int32
}

func newTurns(n int) turns {
	t := make(turns, n)
	for i := range t {
		t[i].parent = -1
	}
	return t
}

// find returns the root of i and how many turns i stands above it.
func (t turns) find(i int32) (root, k int32) {
	a := &t[i]
	for a.parent >= 0 {
		b := &t[a.parent]
		if b.parent >= 0 {
			// Halve the path.
			a.parent, a.above = b.parent, a.above+b.above
		}
		k += a.above
		i = a.parent
		a = &t[i]
	}
	return i, k
}

// join puts j's part where j stands k turns above i, unless they are of one part already.
func (t turns) join(i, j, k int32) {
	a, ka := t.find(i)
	b, kb := t.find(j)
	if a == b {
		return
	}
	// Turn of b's root above a's root.
	d := ka + k - kb
	if t[a].parent > t[b].parent {
		a, b, d = b, a, -d
	}
	t[a].parent += t[b].parent
	t[b] = node{a, d}
}

// denseStripes is how many pitches from pixel to pixel are too many to be read: three pixels a stripe.
const denseStripes = 0.33

// How far beside stripes that are expected too dense others are lost with them: single ones along a line, and where all are.
const (
	besidePX = 6
	lostPX   = 10
)

// Reorder unwraps a field anew as its difference from what is expected of each pixel (mm, NaN where unknown): a steep place that the
// expectation explains, a feature line, is smooth then. Most pixels keep their place.
func (f *Field) Reorder(expected []float32) *Field {
	n := f.W * f.H
	p := float32(f.PitchMM)
	// Where the expected stripes pass too densely a pixel's phase is a mixture: the difference is carried across from both sides.
	dense := make([]bool, n)
	for i := f.W; i < n; i++ {
		for _, j := range [2]int{i - 1, i - f.W} {
			if d := expected[i] - expected[j]; d > denseStripes*p || d < -denseStripes*p {
				dense[i], dense[j] = true, true
			}
		}
	}
	beside, farther := within(dense, f.W, f.H, besidePX), within(dense, f.W, f.H, lostPX)
	dense = within(dense, f.W, f.H, 1)
	known := make([]bool, n)
	for i, x := range f.X {
		known[i] = x == x && !dense[i] && (f.alone == nil || !f.alone[i])
	}
	// Where the whole of a line has lost its stripes the gap is wider, and both sides must hang together.
	amid := closing(known, f.W, f.H, lostPX)
	lost, all := 0, 0
	for i, d := range dense {
		if d && amid[i] {
			all++
			if f.X[i] != f.X[i] {
				lost++
			}
		}
	}
	if 2*lost < all {
		farther, amid = beside, closing(known, f.W, f.H, besidePX)
	}
	ph, ok := make([]float32, n), make([]bool, n)
	var strip, slit []int
	for i := range ph {
		d := f.X[i] - expected[i]
		switch {
		case expected[i] != expected[i]:
		case beside[i] && !known[i] && d == d, farther[i] && d != d && amid[i]:
			strip = append(strip, i)
		case d != d:
		case !known[i]:
			slit = append(slit, i)
		default:
			ok[i] = true
			ph[i] = (d - p*float32(math.Round(float64(d/p)))) * (2 * math.Pi / p)
		}
	}
	even := evenly(ph, ok, f.W, f.H)
	x := unwrapReliable(even, ok, f.W, f.H, f.PitchMM)
	calm := slices.Clone(x)
	for i := range x {
		if ok[i] {
			d := ph[i] - even[i]
			x[i] += (d - 2*math.Pi*float32(math.Round(float64(d)/(2*math.Pi)))) * p / (2 * math.Pi)
		}
	}
	votes := map[int]int{}
	for i := 0; i < n; i += 7 {
		if ok[i] {
			votes[int(math.Round(float64((f.X[i]-expected[i]-x[i])/p)))]++
		}
	}
	best := 0
	for k, v := range votes {
		if v > votes[best] || v == votes[best] && k < best {
			best = k
		}
	}
	for i := range x {
		x[i] += float32(best) * p
		calm[i] += float32(best) * p
	}
	f.keepSharp(x, calm, expected, ok)
	f.keepWhole(x, expected, ok)
	out := *f
	out.X = x
	nan := float32(math.NaN())
	for i := range x {
		if !ok[i] {
			x[i] = nan
		}
	}
	f.follow(x, expected, slit)
	bridge(x, strip, f.W)
	for i := range x {
		x[i] += expected[i]
	}
	out.gaps = &gaps{append(strip, slit...), beside, f.X}
	return &out
}

const (
	// sharpCount is how far off the expectation, in pitches, metal is no longer told by it: by half of one it may be counted either way.
	sharpCount = 0.25
	sharpShare = 0.05 // of the picture that a mark may take up
	wholePX    = 120  // pixels of a flank that the average of a phase may take for another; a strip between two lines is larger
)

// keepSharp gives marks, which run off the expectation by a good part of a pitch, their old count back, moved as the metal around them was:
// a count against the expectation is sure on even metal alone. x is the new count less the expectation, calm the same averaged.
func (f *Field) keepSharp(x, calm, expected []float32, ok []bool) {
	p := float32(f.PitchMM)
	far := make([]bool, len(x))
	for i := range far {
		far[i] = ok[i] && (calm[i] > sharpCount*p || calm[i] < -sharpCount*p)
	}
	eachPart(far, f.W, func(part []int) {
		if float64(len(part)) > sharpShare*float64(len(x)) {
			return
		}
		votes := ballot{}
		for _, i := range part {
			neighbours(i, f.W, len(x), func(j int) {
				if ok[j] && !far[j] {
					votes[int32(math.Round(float64((x[j]+expected[j]-f.X[j])/p)))]++
				}
			})
		}
		if moved, won := votes.won(); won {
			for _, i := range part {
				x[i] = f.X[i] - expected[i] + float32(moved)*p
			}
		}
	})
}

// ballot counts by how many pitches the metal around a part was moved.
type ballot map[int32]int

// won is the move of more than two thirds of that metal, if there is one.
func (b ballot) won() (moved int32, ok bool) {
	all := 0
	for _, n := range b {
		all += n
	}
	for moved, n := range b {
		if 3*n > 2*all {
			return moved, true
		}
	}
	return 0, false
}

// keepWhole gives small patches, which a new count moved otherwise than the metal around them, its move where the old count hung together across their rim
// and the new one does not: the steep flanks of a small mark, run off the expectation by most of a pitch, which the new count took for the little that is
// left of it.
func (f *Field) keepWhole(x, expected []float32, ok []bool) {
	p := float32(f.PitchMM)
	moved := make([]int32, len(x))
	for i := range x {
		if ok[i] {
			moved[i] = int32(math.Round(float64((x[i] + expected[i] - f.X[i]) / p)))
		}
	}
	swing := func(a, b float32) float32 { return max(a-b, b-a) }
	alike := func(i, j int) bool { return moved[i] == moved[j] }
	eachLinked(ok, f.W, alike, func(part []int) {
		if len(part) > wholePX {
			return
		}
		whole, links := 0, 0
		votes := ballot{}
		for _, i := range part {
			neighbours(i, f.W, len(x), func(j int) {
				if !ok[j] || alike(i, j) {
					return
				}
				links++
				votes[moved[j]]++
				if swing(f.X[i], f.X[j]) < swing(x[i]+expected[i], x[j]+expected[j]) {
					whole++
				}
			})
		}
		if as, won := votes.won(); won && 3*whole > 2*links {
			for _, i := range part {
				x[i] += float32(as-moved[i]) * p
			}
		}
	})
}

const (
	evenPX   = 2   // half the sides of the squares over which a phase is averaged
	widePX   = 4   //
	wideLeft = 0.8 // of the phasors' length over the small square, that even metal leaves over the wide one however noisy it is
	evenLeft = 0.8 // of the phasors' length, where the phase runs: a ninth of a turn over the small square
	sureLeft = 0.4 // of the phasors' length: chance alone leaves a ninth over the wide square
)

// evenly is the phase averaged over a square, where it hardly runs: noise by which single links would slip is gone then. Where it runs
// faster it stays as it is.
func evenly(ph []float32, ok []bool, w, h int) []float32 {
	cos, sin := make([]float32, len(ph)), make([]float32, len(ph))
	rows.Do(h, func(y0, y1 int) {
		for i := y0 * w; i < y1*w; i++ {
			if ok[i] {
				s, c := math.Sincos(float64(ph[i]))
				cos[i], sin[i] = float32(c), float32(s)
			}
		}
	})
	re, im := boxMean(cos, ok, w, h, evenPX), boxMean(sin, ok, w, h, evenPX)
	cos, sin = boxMean(cos, ok, w, h, widePX), boxMean(sin, ok, w, h, widePX)
	out := slices.Clone(ph)
	rows.Do(h, func(y0, y1 int) {
		for i := y0 * w; i < y1*w; i++ {
			small, wide := re[i]*re[i]+im[i]*im[i], cos[i]*cos[i]+sin[i]*sin[i]
			switch {
			case !ok[i]:
			case wide > sureLeft*sureLeft && wide > wideLeft*wideLeft*small:
				out[i] = atan2(sin[i], cos[i])
			case small > evenLeft*evenLeft:
				out[i] = atan2(im[i], re[i])
			}
		}
	})
	return out
}

// follow moves slits, which continuity cannot count, by as many pitches as the metal beside them was moved.
func (f *Field) follow(x, expected []float32, slit []int) {
	p := f.PitchMM
	for len(slit) > 0 {
		var later []int
		found := make([]float32, len(slit))
		for k, i := range slit {
			found[k] = float32(math.NaN())
			d := f.X[i] - expected[i]
			neighbours(i, f.W, len(x), func(j int) {
				if x[j] == x[j] {
					found[k] = d + float32(p*math.Round(float64(x[j]-f.X[j]+expected[j])/p))
				}
			})
		}
		for k, i := range slit {
			if x[i] = found[k]; x[i] != x[i] {
				later = append(later, i)
			}
		}
		if len(later) == len(slit) {
			return
		}
		slit = later
	}
}

// bridge fills the pixels of a narrow strip smoothly from its rims.
func bridge(x []float32, strip []int, w int) {
	for range 30 {
		for _, i := range strip {
			var s, k float32
			neighbours(i, w, len(x), func(j int) {
				if x[j] == x[j] {
					s, k = s+x[j], k+1
				}
			})
			if k > 0 {
				x[i] = s / k
			}
		}
	}
}

// Doubtful masks the pixels amid the readable ones that were not, or whose order is not sure: gaps of up to twice reach pixels, slits, slips.
func (f *Field) Doubtful(reach int) []bool {
	whole := f.Untorn(0)
	ok := make([]bool, len(f.X))
	for i, x := range whole.X {
		ok[i] = x == x && (f.alone == nil || !f.alone[i])
	}
	out := closing(ok, f.W, f.H, reach)
	for i := range out {
		out[i] = out[i] && !ok[i]
	}
	return out
}

// Slips is the share of the readable pixels that differ by half a pitch or more from the one beside or above.
func (f *Field) Slips() float64 {
	ok := make([]bool, len(f.X))
	n := 0
	for i, x := range f.X {
		if ok[i] = x == x; ok[i] {
			n++
		}
	}
	return float64(torn(f.X, ok, f.W, f.PitchMM)) / float64(max(1, n))
}

// Untorn returns the field without the pixels within reach pixels of a link over which it jumps by half a pitch or more: there the order
// of the stripes slipped.
func (f *Field) Untorn(reach int) *Field { return f.without(f.PitchMM, reach) }

// Torn is the share of the links between readable pixels over which the field jumps by half a pitch or more.
func (f *Field) Torn() float64 {
	torn, all := 0, 0
	p := float32(f.PitchMM)
	for i, x := range f.X {
		for _, d := range [2]int{1, f.W} {
			if j := i - d; j >= 0 && (d != 1 || i%f.W != 0) && x == x && f.X[j] == f.X[j] {
				all++
				if !near(x, f.X[j], p) {
					torn++
				}
			}
		}
	}
	return float64(torn) / float64(max(1, all))
}

// without returns the field without the pixels within reach pixels of a link over which it jumps by half of pitch or more.
func (f *Field) without(pitch float64, reach int) *Field {
	torn := make([]bool, len(f.X))
	p := float32(pitch)
	var found atomic.Bool
	rows.Do(f.H, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			for i := y * f.W; i < (y+1)*f.W; i++ {
				x := f.X[i]
				if x != x {
					continue
				}
				jumps := func(ok bool, j int) bool { return ok && f.X[j] == f.X[j] && !near(x, f.X[j], p) }
				c := i - y*f.W
				if jumps(c > 0, i-1) || jumps(c+1 < f.W, i+1) || jumps(y > 0, i-f.W) || jumps(y+1 < f.H, i+f.W) {
					torn[i] = true
					found.Store(true)
				}
			}
		}
	})
	out := *f
	if !found.Load() {
		return &out
	}
	out.X = make([]float32, len(f.X))
	nan, bad := float32(math.NaN()), within(torn, f.W, f.H, reach)
	rows.Do(len(f.X), func(i0, i1 int) {
		for i := i0; i < i1; i++ {
			out.X[i] = f.X[i]
			if bad[i] {
				out.X[i] = nan
			}
		}
	})
	return &out
}
