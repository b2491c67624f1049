package phase

import (
	"math"
	"slices"

	"fairmetal/internal/order"
	"fairmetal/internal/rows"
)

// Refine fits the coordinate on sharp metal to what the pixels saw: lens and pixel average the stripes' light, not the coordinate, over a
// footprint, a Gaussian K of variance xx across and yy down (px^2, the pixel's own square included). With the phasor P of each pitch and
//
//	Q = K * exp(2 pi i X/pitch)
//
// X moves by pitch/2 pi arg(P Q*) until both agree (Van Cittert's rule, on the phase), each pitch counting by what its noise leaves of
// it and evened out a little over 3 x 3 pixels: where the fine stripes run so densely that they fade, the coarse ones tell. Even metal stays as it is, since there the fit would raise
// peel and noise alone. It works once, on a field as it was read.
func (f *Field) Refine(xx, yy float64) {
	told := f.told
	f.told = nil
	if len(told) == 0 {
		return
	}
	w, h := f.W, f.H
	kx, ky := footprint(xx), footprint(yy)
	reach := max(len(kx), len(ky)) / 2
	blind := make([]bool, len(f.X))
	for i, x := range f.X {
		blind[i] = x != x
	}
	active := f.sharp(blind)
	f.leaveLines(active, blind)
	octagon(reach+1, rim(blind, w, h), w, h, func(i int) { active[i] = false })
	var sharp []int32
	for y := reach + 1; y < h-1-reach; y++ {
		for x := reach + 1; x < w-1-reach; x++ {
			if i := y*w + x; active[i] && !blind[i] {
				sharp = append(sharp, int32(i))
			} else {
				active[i] = false
			}
		}
	}
	if len(sharp) == 0 {
		return
	}
	near := slices.Clone(sharp)
	seen := slices.Clone(active)
	octagon(2*reach, rim(active, w, h), w, h, func(i int) {
		if !seen[i] {
			seen[i] = true
			near = append(near, int32(i))
		}
	})
	slices.Sort(near)
	re, im := make([]float32, len(f.X)), make([]float32, len(f.X))
	across := [2][]float32{make([]float32, len(f.X)), make([]float32, len(f.X))}
	move, weight := make([]float32, len(f.X)), make([]float32, len(f.X))
	each := func(list []int32, do func(i int)) {
		rows.Do(len(list), func(from, to int) {
			for _, i := range list[from:to] {
				do(int(i))
			}
		})
	}
	for range refineRounds {
		for _, i := range sharp {
			move[i], weight[i] = 0, 0
		}
		for k := len(told) - 1; k >= 0; k-- {
			g := told[k]
			turn := float32(2 * math.Pi / g.pitch)
			sure := turn * turn / float32(g.noise*g.noise*2/float64(g.frames))
			each(near, func(i int) { im[i], re[i] = sincosNear(f.X[i] / float32(g.pitch)) })
			each(near, func(i int) {
				var a, b float32
				if c := i % w; c >= reach && c < w-reach {
					for j, v := range kx {
						q := i + j - len(kx)/2
						a, b = a+v*re[q], b+v*im[q]
					}
				}
				across[0][i], across[1][i] = a, b
			})
			each(sharp, func(i int) {
				var a, b float32
				for j, v := range ky {
					q := i + (j-len(ky)/2)*w
					a, b = a+v*across[0][q], b+v*across[1][q]
				}
				d := g.told(i) - atan2(b, a)
				d = (d - 2*math.Pi*float32(math.Round(float64(d)/(2*math.Pi)))) / turn
				// Which of the finer stripes it is the coarser ones tell.
				if far := orderShare * float32(g.pitch) * weight[i]; weight[i] > 0 && (move[i] > far || move[i] < -far) {
					return
				}
				for _, j := range [4]int{i - 1, i + 1, i - w, i + w} {
					if q := (f.X[j] - f.X[i]) * densest; q > float32(g.pitch) || q < -float32(g.pitch) {
						return
					}
				}
				swing := min(g.mod[i], mostSwing*float32(g.level)*sqrt(a*a+b*b))
				move[i] += sure * swing * swing * d
				weight[i] += sure * swing * swing
			})
		}
		each(sharp, func(i int) {
			var s, n float32
			for dy := -1; dy <= 1; dy++ {
				for dx := -1; dx <= 1; dx++ {
					b := float32((4 - 3*dx*dx) * (4 - 3*dy*dy))
					s += b * move[i+dy*w+dx]
					n += b * weight[i+dy*w+dx]
				}
			}
			re[i] = s / (n + 36*refinePrior)
		})
		each(sharp, func(i int) { f.X[i] += re[i] })
	}
}

const (
	// refineRounds bring back all but a few hundredths of what blur took of waves of six pixels.
	refineRounds = 8
	// refinePrior is one over the square of what a round may have to move the coordinate by, mm: what tells less is left.
	refinePrior = 1
	densest     = 2.2 // pixels a stripe; under two, pixels mistake one stripe for the next
	orderShare  = 0.3 // of a pitch: half of one is the next stripe
	mostSwing   = 1.5 // times the typical swing of a stripe, beyond which what is seen is no stripe
)

// sincosNear is the sine and cosine of t turns: of the nearest step of the table, and from there to second order, 5e-6.
func sincosNear(t float32) (sin, cos float32) {
	t *= sinSteps
	k := int32(t)
	if t < 0 {
		k--
	}
	s, c := sinTable[k&(sinSteps-1)], sinTable[k&(sinSteps-1)+sinSteps/4]
	d := (t - float32(k) - 0.5) * (2 * math.Pi / sinSteps)
	return s + d*c, c - d*s
}

// lineShare is the share of the picture's width over which what is sharp runs on as feature lines do and no mark does.
const lineShare = 0.25

// leaveLines takes feature lines out of what is active and opens the slits on them again: what the coarse stripes are off there, all along
// a line, would tilt the metal beyond it.
func (f *Field) leaveLines(active, blind []bool) {
	w := f.W
	nan := float32(math.NaN())
	eachPart(active, w, func(part []int) {
		x0, x1, y0, y1 := w, 0, f.H, 0
		for _, i := range part {
			x0, x1, y0, y1 = min(x0, i%w), max(x1, i%w), min(y0, i/w), max(y1, i/w)
		}
		if float64(max(x1-x0, y1-y0)) < lineShare*float64(w) {
			return
		}
		for _, i := range part {
			active[i] = false
			if f.slit != nil && f.slit[i] {
				f.X[i], blind[i] = nan, true
			}
		}
	})
}

// told is the phase at a pixel, the ripple that it has against the finer stripes taken off.
func (g *group) told(i int) float32 {
	if g.ripple == nil {
		return g.phase[i]
	}
	return g.phase[i] - g.strays(i)
}

// rippleBins divide a turn of the coarse phase; what a bent display makes has at most eight waves a turn.
const rippleBins = 64

func bent(phase float32) (k int, t float32) {
	v := float64(phase)/(2*math.Pi) + 1
	v = (v - math.Floor(v)) * rippleBins
	return int(v) % rippleBins, float32(v - math.Floor(v))
}

// strays is by how much a coarse phase is off, by its ripple.
func (g *group) strays(i int) float32 {
	k, t := bent(g.phase[i])
	a, b := g.ripple[k], g.ripple[(k+1)%rippleBins]
	return a + t*(b-a)
}

// learnRipple finds how a coarse phase strays from the coordinate x of finer stripes over a turn: a bent display makes it.
func (g *group) learnRipple(x []float32, ok []bool) {
	var at [rippleBins][]float32
	for i := 0; i < len(x); i += max(1, len(x)/200000) {
		if !ok[i] {
			continue
		}
		d := float64(g.phase[i]) - 2*math.Pi*float64(x[i])/g.pitch
		k, t := bent(g.phase[i])
		if t > 0.5 {
			k = (k + 1) % rippleBins
		}
		at[k] = append(at[k], float32(d-2*math.Pi*math.Round(d/(2*math.Pi))))
	}
	g.ripple = make([]float32, rippleBins)
	const few = 20
	for k, v := range at {
		if len(v) > few {
			g.ripple[k] = order.Median(v)
		}
	}
}

const (
	// sharpRatio is how much more than over the median of the panel the coordinate bends on sharp metal: peel bends it everywhere.
	sharpRatio = 4
	sharpPX    = 2 // half the side of the square over which bends are averaged
)

// sharp masks, with a rim, the metal that bends the coordinate far more than even metal does, and what the coarse stripes alone tell.
func (f *Field) sharp(blind []bool) []bool {
	w, h := f.W, f.H
	bend, known := make([]float32, len(f.X)), make([]bool, len(f.X))
	rows.Do(h, func(y0, y1 int) {
		for y := max(1, y0); y < min(y1, h-1); y++ {
			for x := 1; x < w-1; x++ {
				i := y*w + x
				a, b := f.X[i-1]+f.X[i+1]-2*f.X[i], f.X[i-w]+f.X[i+w]-2*f.X[i]
				if v := max(a, -a) + max(b, -b); v == v {
					bend[i], known[i] = v, true
				}
			}
		}
	})
	mean := boxMean(bend, known, w, h, sharpPX)
	limit := float32(sharpRatio * medianWhere(mean, known))
	out := make([]bool, len(mean))
	for i, v := range mean {
		out[i] = !blind[i] && (v > limit || f.alone != nil && f.alone[i])
	}
	octagon(sharpPX+1, rim(out, w, h), w, h, func(i int) { out[i] = true })
	return out
}

// rim lists the pixels of a mask that have a neighbour outside it.
func rim(m []bool, w, h int) (list []int32) {
	for y := range h {
		for x := range w {
			i := y*w + x
			if m[i] && (x > 0 && !m[i-1] || x < w-1 && !m[i+1] || y > 0 && !m[i-w] || y < h-1 && !m[i+w]) {
				list = append(list, int32(i))
			}
		}
	}
	return list
}

// octagon calls do for all pixels within r of those listed, as within measures it; some more than once.
func octagon(r int, list []int32, w, h int, do func(i int)) {
	for _, at := range list {
		x, y := int(at)%w, int(at)/w
		for dy := max(-r, -y); dy <= min(r, h-1-y); dy++ {
			// A step costs 3, a step aslant 4.
			n := r - (max(dy, -dy)+2)/3
			if d := max(dy, -dy); d > n {
				n = 3 * (r - d)
			}
			for i := (y+dy)*w + max(0, x-n); i <= (y+dy)*w+min(w-1, x+n); i++ {
				do(i)
			}
		}
	}
}

// boxMean is the mean of what is known within r pixels; zero where nothing is.
func boxMean(v []float32, known []bool, w, h, r int) []float32 {
	sum, n, out := make([]float32, len(v)), make([]uint8, len(v)), make([]float32, len(v))
	rows.Do(h, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			v, known, sum, n := v[y*w:(y+1)*w], known[y*w:(y+1)*w], sum[y*w:(y+1)*w], n[y*w:(y+1)*w]
			var s float64
			var m uint8
			for x := -r; x < w; x++ {
				if i := x + r; i < w && known[i] {
					s += float64(v[i])
					m++
				}
				if i := x - r - 1; i >= 0 && known[i] {
					s -= float64(v[i])
					m--
				}
				if x >= 0 && m > 0 {
					sum[x], n[x] = float32(s), m
				}
			}
		}
	})
	rows.Do(h, func(y0, y1 int) {
		s, m := make([]float64, w), make([]int32, w)
		// row takes what row y tells into the sums, or out of them.
		row := func(y int, way float64) {
			if y < 0 || y >= h {
				return
			}
			n := n[y*w : (y+1)*w]
			for x, q := range sum[y*w : (y+1)*w] {
				s[x] += way * float64(q)
				m[x] += int32(way) * int32(n[x])
			}
		}
		for y := y0 - r - 1; y < y0+r; y++ {
			row(y, 1)
		}
		for y := y0; y < y1; y++ {
			row(y+r, 1)
			row(y-r-1, -1)
			for x, q := range s {
				if m[x] > 0 {
					out[y*w+x] = float32(q / float64(m[x]))
				}
			}
		}
	})
	return out
}

// footprint is a Gaussian of the given variance, px^2, on whole pixels: sampled, and where it is too narrow for that, three weights of
// that variance.
func footprint(variance float64) []float32 {
	const narrow = 0.4
	if variance < narrow {
		v := float32(variance)
		return []float32{v / 2, 1 - v, v / 2}
	}
	half := int(math.Ceil(3 * math.Sqrt(variance)))
	k := make([]float32, 2*half+1)
	var sum float64
	for i := range k {
		d := float64(i - half)
		v := math.Exp(-d * d / (2 * variance))
		k[i] = float32(v)
		sum += v
	}
	for i := range k {
		k[i] /= float32(sum)
	}
	return k
}
