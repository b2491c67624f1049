package phase

import (
	"math"
	"slices"
	"sync"
)

// gaps are the pixels that Reorder bridged, and those beside feature lines.
type gaps struct {
	at     []int
	beside []bool
	was    []float32 // coordinates before, whole pitches apart
}

// Recount reads what Reorder bridged on a feature line anew from the stripes themselves, now that the metal on both sides of it is counted: followed
// from either side as far as they run by short steps, and over the rest by a plate that they bend. A line is read anew in both directions or in neither, as one
// that one sees and the other guesses has slopes that no metal has, and over nearly all of its way or nowhere: what is guessed lies a little beside what is
// read. Fields not reordered, and those of single photos, stay as they are.
func Recount(u, v *Field) {
	if u.read == nil || v.read == nil || u.gaps == nil || v.gaps == nil {
		return
	}
	var a, b recounted
	var wg sync.WaitGroup
	wg.Go(func() { a = u.recount() })
	b = v.recount()
	wg.Wait()
	ok := a.share(u.W, u.H)
	for i, w := range b.share(u.W, u.H) {
		ok[i] = min(ok[i], w)
	}
	gap := a.gap
	for i, in := range b.gap {
		gap[i] = gap[i] || in
	}
	dropTornGaps(gap, ok, u.W)
	for _, r := range [2]struct {
		f *Field
		recounted
	}{{u, a}, {v, b}} {
		for i, x := range r.x {
			if r.done[i] && ok[i] >= recountShare {
				r.f.X[i] = x
			}
		}
	}
}

// dropTornGaps sets the share that was read to nothing in gaps of which too much was not.
func dropTornGaps(gap []bool, ok []float32, w int) {
	eachPart(gap, w, func(part []int) {
		read := 0
		for _, i := range part {
			if ok[i] >= recountShare {
				read++
			}
		}
		if float64(read) < recountMost*float64(len(part)) {
			for _, i := range part {
				ok[i] = 0
			}
		}
	})
}

// recounted is what a direction read anew.
type recounted struct {
	x         []float32
	gap, done []bool // pixels it was asked for, and read
}

// share is the part of the gap's pixels around each pixel that was read; 1 where there are none.
func (r *recounted) share(w, h int) []float32 {
	v := make([]float32, len(r.gap))
	for i, d := range r.done {
		if d {
			v[i] = 1
		}
	}
	out := boxMean(v, r.gap, w, h, recountPX)
	for i, near := range within(r.gap, w, h, recountPX) {
		if !near {
			out[i] = 1
		}
	}
	return out
}

// recount reads the gaps of one direction, and what slipped beside them.
func (f *Field) recount() recounted {
	g := f.mended()
	n := len(f.X)
	hole, sure := make([]bool, n), make([]bool, n)
	for _, i := range f.gaps.at {
		hole[i] = true
	}
	whole := f.Untorn(recountTornPX)
	for i, v := range f.X {
		hole[i] = hole[i] || f.gaps.beside[i] && v == v && whole.X[i] != whole.X[i]
		sure[i] = v == v && !hole[i]
	}
	r := recounted{x: slices.Clone(f.X), gap: slices.Clone(hole), done: make([]bool, n)}
	next := slices.Clone(f.X)
	g.creep(next, sure, hole, f.W)
	for i, in := range hole {
		if in && sure[i] {
			r.x[i], r.done[i], hole[i] = next[i], true, false
		}
	}
	plate := g.plate(next, sure, hole, f.W, f.H, lostPX)
	// How far the stripes are from the plate, the clear ones first, averaged over a square.
	p := float32(f.PitchMM)
	own, off, seen := make([]float32, n), make([]float32, n), make([]float32, n)
	for _, i := range plate.at {
		own[i] = g.nearest(i, next[i])
		d, m := (own[i]-next[i])/p, g.mod[i]
		off[i], seen[i] = m*m*d*d, m*m
	}
	off, seen = boxMean(off, hole, f.W, f.H, recountPX), boxMean(seen, hole, f.W, f.H, recountPX)
	for _, i := range plate.at {
		if off[i] > recountOff*recountOff*seen[i] {
			continue
		}
		r.x[i], r.done[i] = next[i], true
		if d := own[i] - next[i]; d < slitTrust*p && d > -slitTrust*p {
			r.x[i] = own[i]
		}
	}
	return r
}

// mended are the stripes as they were read, less what pixel and lens made of them.
func (f *Field) mended() *group {
	g := *f.read
	g.phase = slices.Clone(g.phase)
	p := float32(f.PitchMM)
	for i, x := range f.gaps.was {
		if x == x {
			g.phase[i] = 2 * math.Pi * (x/p - float32(math.Round(float64(x/p))))
		}
	}
	return &g
}

// creep follows stripes from sure pixels into holes as far as they run by short steps and swing as they do before: a kink is sharper than a plate bends.
// What it reaches is sure then.
func (g *group) creep(x []float32, sure, hole []bool, w int) {
	p := float32(g.pitch)
	level := boxMean(g.mod, sure, w, len(x)/w, recountPX)
	var front []int
	from := func(i int) {
		neighbours(i, w, len(x), func(j int) {
			if sure[j] || !hole[j] || !(g.mod[j] > creepLevel*level[j]) {
				return
			}
			d := g.phase[j]/(2*math.Pi) - x[i]/p
			d -= float32(math.Round(float64(d)))
			if d > creepStep || d < -creepStep {
				return
			}
			x[j], sure[j] = x[i]+d*p, true
			front = append(front, j)
		})
	}
	for i, in := range hole {
		if in && !sure[i] {
			neighbours(i, w, len(x), func(j int) {
				if sure[j] && !hole[j] {
					from(j)
				}
			})
		}
	}
	for q := 0; q < len(front); q++ {
		from(front[q])
	}
}

const (
	recountPX     = 7    // half the side of the squares in which the plate is judged
	recountOff    = 0.1  // of a pitch rms between plate and what is seen
	recountShare  = 0.6  // of a gap around a pixel that must be read
	recountMost   = 0.85 // of a line's way that must be read so
	recountTornPX = 1    // around a slip
	creepStep     = 0.25 // of a pitch from pixel to pixel
	creepLevel    = 0.65 // of the swing before it: three stripes in four pixels leave a third of it
)

// Agrees is how well a coordinate, mm, fits the stripes that pixel i shows, whatever their count: from their swing there, where it does, to less that.
// It is 0 where they are not known.
func (f *Field) Agrees(i int, mm float64) float64 {
	p := f.PitchMM
	turns, swing := float64(f.X[i])/p, float64(f.Mod[i])
	if turns != turns {
		if f.read == nil {
			return 0
		}
		turns, swing = float64(f.read.phase[i])/(2*math.Pi), float64(f.read.mod[i])
		if turns != turns {
			return 0
		}
	}
	return swing * math.Cos(2*math.Pi*(turns-mm/p))
}
