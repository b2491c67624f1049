package phase

import "math"

// countOut counts the stripes of a field of one pitch out where they are not sure, and returns which pixels have a coordinate.
func (f *Field) countOut(g *group, x []float32, ok []bool) []bool {
	sure := g.sure(x, ok, f.W, f.H)
	f.alone = g.slits(x, sure, f.W, f.H)
	f.slit = f.alone
	out := make([]bool, len(ok))
	for i, in := range f.alone {
		out[i] = sure[i] || in
	}
	return out
}

// keep keeps the one pitch of soft stripes as it was read.
func (f *Field) keep(g *group, ok []bool) {
	g.level = medianWhere(g.mod, ok)
	g.left, g.residual = nil, nil // they hold the photos
	f.told, f.read = []*group{g}, g
}

// slits reads a field of one pitch where sharp metal packs its stripes so densely that they fade, or that continuity may follow them
// wrongly: pixels amid what is surely counted, none farther from it than slitReach. A plate through the metal around, bent as little as may
// be, foretells them; from the rims inwards, a pixel a round, each takes the order of stripes that lies nearest, and bends the plate by as
// much as its own noise lets it. What stays unread keeps the plate where sure metal lies all around it, and has no value where the gap is open. It
// returns which pixels got one.
func (g *group) slits(x []float32, sure []bool, w, h int) []bool {
	reach := max(slitReach, w/slitShare)
	hole := closing(sure, w, h, reach)
	any := false
	for i, s := range sure {
		hole[i] = hole[i] && !s
		any = any || hole[i]
	}
	if !any {
		return hole
	}
	g.plate(x, sure, hole, w, h, reach)
	g.trust(x, sure, hole, w)
	return hole
}

// plate counts the pixels of holes out from their rims, none farther than reach from them.
func (g *group) plate(x []float32, sure, hole []bool, w, h, reach int) *thinPlate {
	depth := depths(x, sure, hole, w)
	p := newThinPlate(x, sure, hole, w, h)
	p.solve(x, nil, nil)
	pitch := float32(g.pitch)
	noise := g.modNoise()
	see, weight := make([]float32, len(p.at)), make([]float32, len(p.at))
	for round := int32(1); round <= int32(reach)+1; round++ {
		for k, i := range p.at {
			weight[k] = 0
			if depth[i] > round {
				continue
			}
			see[k] = g.nearest(i, x[i])
			if d := (see[k] - x[i]) / pitch; d > slitTrust || d < -slitTrust {
				continue
			}
			// In units of the plate's own stiffness, a bend of slitBend pitches.
			own := noise / max(g.mod[i], noise) / (2 * math.Pi)
			weight[k] = slitBend * slitBend / (own*own + slitBlur*slitBlur)
		}
		p.solve(x, see, weight)
	}
	return p
}

// modNoise is the standard deviation that noise leaves in the modulation, the N-step formula.
func (g *group) modNoise() float32 { return float32(g.noise * math.Sqrt(2/float64(g.frames))) }

// trust takes out of the holes what is not borne out: gaps of which what was seen clearly does not agree with the plate x, all of them, and of open
// ones what was not seen.
func (g *group) trust(x []float32, sure, hole []bool, w int) {
	clear := standOut * g.modNoise()
	eachPart(hole, w, func(gap []int) {
		open := false
		var off, seen float64
		for _, i := range gap {
			if g.mod[i] > clear {
				d := float64(g.phase[i])/(2*math.Pi) - float64(x[i])/g.pitch
				d -= math.Round(d)
				m := float64(g.mod[i])
				off, seen = off+m*m*d*d, seen+m*m
			}
			neighbours(i, w, len(hole), func(j int) { open = open || !hole[j] && !sure[j] })
		}
		wrong := off > slitOff*slitOff*seen
		for _, i := range gap {
			hole[i] = !wrong && (!open || g.mod[i] > clear)
		}
	})
}

const (
	slitReach = 5    // pixels, or
	slitShare = 130  // of the picture's width
	slitStep  = 0.25 // of a pitch from pixel to pixel, beyond which continuity is not believed
	slitTrust = 0.3  // of a pitch between what is foretold and what is seen
	slitBend  = 0.1  // of a pitch: how much the coordinate bends over a pixel at the bottom of a slit
	slitBlur  = 0.05 // of a pitch: by what lens and pixel bend the phase there
	slitOff   = 0.16 // of a pitch rms between plate and what is seen: by chance it would be 0.29
	minSure   = 400  // pixels of a part that its own count is believed of
)

// sure masks the readable pixels of parts that hang together by short steps. Small parts are left to be counted anew, and so is what hangs on
// its part by one step alone.
func (g *group) sure(x []float32, ok []bool, w, h int) []bool {
	n := w * h
	reach := float32(slitStep * g.pitch)
	linked := func(i, j int) bool { d := x[j] - x[i]; return ok[j] && d < reach && d > -reach }
	held := make([]bool, n)
	for i := range n {
		if ok[i] {
			k := 0
			neighbours(i, w, n, func(j int) {
				if linked(i, j) {
					k++
				}
			})
			held[i] = k > 1
		}
	}
	sure := make([]bool, n)
	eachLinked(held, w, linked, func(part []int) {
		for _, i := range part {
			sure[i] = len(part) >= minSure
		}
	})
	return sure
}

// Guessed tells whether the coordinate of a pixel was counted out across a slit.
func (f *Field) Guessed(x, y int) bool {
	return f.slit != nil && x >= 0 && y >= 0 && x < f.W && y < f.H && f.slit[y*f.W+x]
}

// Unsure tells whether the order of a pixel's stripes may be wrong for all that a set of one pitch tells.
func (f *Field) Unsure(x, y int) bool {
	return f.unsure != nil && x >= 0 && y >= 0 && x < f.W && y < f.H && f.unsure[y*f.W+x]
}

// depths counts, in pixels, how deep in their hole pixels lie, and gives each the mean of what lies before it.
func depths(x []float32, sure, hole []bool, w int) []int32 {
	d := make([]int32, len(hole))
	var front []int
	level := func(i int) {
		var s, n float32
		neighbours(i, w, len(hole), func(j int) {
			if sure[j] || hole[j] && d[j] > 0 && d[j] < d[i] {
				s, n = s+x[j], n+1
			}
		})
		x[i] = s / n
	}
	for i, in := range hole {
		if !in {
			continue
		}
		neighbours(i, w, len(hole), func(j int) {
			if sure[j] && d[i] == 0 {
				d[i] = 1
				front = append(front, i)
			}
		})
	}
	for q := 0; q < len(front); q++ {
		i := front[q]
		level(i)
		neighbours(i, w, len(hole), func(j int) {
			if hole[j] && d[j] == 0 {
				d[j] = d[i] + 1
				front = append(front, j)
			}
		})
	}
	return d
}

// thinPlate is a thin plate over the pixels of holes, held by what is known around them: the sum of the squares of its second differences is
// made least, by conjugate gradients.
type thinPlate struct {
	at   []int    // pixel of each unknown
	of   []int32  // unknown of each pixel, -1: none
	bend [][4]int // pixels of each second difference
	coef []*[4]float32
}

var (
	straight = [4]float32{1, -2, 1, 0}
	twist    = [4]float32{math.Sqrt2, -math.Sqrt2, -math.Sqrt2, math.Sqrt2}
)

func newThinPlate(x []float32, sure, hole []bool, w, h int) *thinPlate {
	p := &thinPlate{of: make([]int32, len(hole))}
	for i, in := range hole {
		p.of[i] = -1
		if in {
			p.of[i] = int32(len(p.at))
			p.at = append(p.at, i)
		}
	}
	done := map[int]bool{}
	add := func(i int, c *[4]float32, q [4]int) {
		for k, j := range q {
			if c[k] != 0 && !sure[j] && !hole[j] {
				return
			}
		}
		p.bend, p.coef = append(p.bend, q), append(p.coef, c)
	}
	for _, i := range p.at {
		for _, d := range [9]int{-w - 1, -w, -w + 1, -1, 0, 1, w - 1, w, w + 1} {
			j := i + d
			c, r := j%w, j/w
			if done[j] || c < 1 || r < 1 || c >= w-1 || r >= h-1 || j < 0 {
				continue
			}
			done[j] = true
			add(j, &straight, [4]int{j - 1, j, j + 1, j})
			add(j, &straight, [4]int{j - w, j, j + w, j})
			add(j, &twist, [4]int{j, j + 1, j + w, j + w + 1})
		}
	}
	return p
}

// solve bends the plate to least, each unknown drawn to what is seen there by its weight; nil: by nothing.
func (p *thinPlate) solve(x, see, weight []float32) {
	n := len(p.at)
	r, d, q := make([]float32, n), make([]float32, n), make([]float32, n)
	for k := range p.bend {
		v := p.of4(x, k)
		p.spread(r, k, -v)
	}
	if see != nil {
		for k, i := range p.at {
			r[k] += weight[k] * (see[k] - x[i])
		}
	}
	copy(d, r)
	rr := dot(r, r)
	first := rr
	for range plateRounds {
		if !(rr > plateTol*first) {
			break
		}
		clear(q)
		for k, b := range p.bend {
			var v float32
			for m, j := range b {
				if u := p.of[j]; u >= 0 {
					v += p.coef[k][m] * d[u]
				}
			}
			p.spread(q, k, v)
		}
		if weight != nil {
			for k := range q {
				q[k] += weight[k] * d[k]
			}
		}
		dq := dot(d, q)
		if !(dq > 0) {
			break
		}
		a := float32(rr / dq)
		for k, i := range p.at {
			x[i] += a * d[k]
			r[k] -= a * q[k]
		}
		next := dot(r, r)
		b := float32(next / rr)
		rr = next
		for k := range d {
			d[k] = r[k] + b*d[k]
		}
	}
}

const (
	plateRounds = 120
	plateTol    = 1e-6
)

func (p *thinPlate) of4(x []float32, k int) (v float32) {
	for m, j := range p.bend[k] {
		v += p.coef[k][m] * x[j]
	}
	return v
}

func (p *thinPlate) spread(out []float32, k int, v float32) {
	for m, j := range p.bend[k] {
		if u := p.of[j]; u >= 0 {
			out[u] += p.coef[k][m] * v
		}
	}
}

func dot(a, b []float32) (s float64) {
	for i, v := range a {
		s += float64(v) * float64(b[i])
	}
	return s
}
