package phase

import (
	"math"
	"slices"

	"fairmetal/internal/rows"
)

// maxStep is how far, in pitches of the coarse stripes, the board coordinate may run from one pixel to the next: a sharp dent
// reaches a twentieth, and a link wrongly followed over half a pitch would shift everything behind it.
const maxStep = 0.15

// unwrapStep makes a wrapped phase absolute by continuity: connected parts grow over links shorter than maxStep pitches, each part is then
// placed against the largest by the votes of the links between them, or, where it stands alone, by the affine trend. Parts
// that cannot be placed are struck from the mask. The result is in mm, its constant free by whole pitches.
func unwrapStep(ph []float32, ok []bool, w, h int, pitch float64) []float32 {
	x, label := make([]float32, w*h), make([]int32, w*h)
	p, reach := float32(pitch), float32(maxStep*pitch)
	// off is by how many pitches b is to be moved to come nearest to a, and whether that is a link.
	off := func(a, b float32) (k float32, linked bool) {
		k = float32(math.Floor(float64((a-b)/p) + 0.5))
		d := b + k*p - a
		return k, d < reach && d > -reach
	}
	// Runs that hang together along rows come first, then what hangs together across them; label is the run's number from 1 on.
	type run struct{ from, to int }
	rowRuns := make([][]run, h)
	rows.Do(h, func(y0, y1 int) {
		scale := float32(pitch / (2 * math.Pi))
		for y := y0; y < y1; y++ {
			var runs []run
			for i := y * w; i < (y+1)*w; i++ {
				x[i] = ph[i] * scale
				if !ok[i] {
					continue
				}
				if n := len(runs); n > 0 && runs[n-1].to == i {
					if k, linked := off(x[i-1], x[i]); linked {
						x[i] += k * p
						runs[n-1].to = i + 1
						continue
					}
				}
				runs = append(runs, run{i, i + 1})
			}
			rowRuns[y] = runs
		}
	})
	runs := slices.Concat(rowRuns...)
	rows.Do(len(runs), func(r0, r1 int) {
		for r := r0; r < r1; r++ {
			for i := runs[r].from; i < runs[r].to; i++ {
				label[i] = int32(r + 1)
			}
		}
	})
	t := newTurns(len(runs))
	for r, q := range runs {
		joined := int32(0) // the run above that this one hangs together with already
		for i := max(q.from, w); i < q.to; i++ {
			above := label[i-w]
			if above == 0 || above == joined {
				continue
			}
			if k, linked := off(x[i-w], x[i]); linked {
				t.join(above-1, int32(r), int32(k))
				joined = above
			}
		}
	}
	// Parts are numbered in the order of their first pixels, which stay where they are.
	part, first := make([]int32, len(runs)), make([]int32, len(runs))
	of, by := make([]int32, len(runs)), make([]float32, len(runs))
	var sizes []int
	for r, q := range runs {
		root, k := t.find(int32(r))
		if part[root] == 0 {
			sizes = append(sizes, 0)
			part[root], first[root] = int32(len(sizes)), k
		}
		of[r], by[r] = part[root], float32(k-first[root])*p
		sizes[of[r]-1] += q.to - q.from
	}
	rows.Do(len(runs), func(r0, r1 int) {
		for r := r0; r < r1; r++ {
			for i := runs[r].from; i < runs[r].to; i++ {
				label[i] = of[r]
				x[i] += by[r]
			}
		}
	})
	if len(sizes) < 2 {
		return x
	}
	placeParts(x, ok, label, sizes, w, pitch)
	return x
}

func neighbours(i, w, n int, visit func(j int)) {
	c := i % w
	if c > 0 {
		visit(i - 1)
	}
	if c < w-1 {
		visit(i + 1)
	}
	if i >= w {
		visit(i - w)
	}
	if i < n-w {
		visit(i + w)
	}
}

// eachPart calls do for each part of a mask that hangs together, its pixels in the order in which they are reached. do may take them out of the mask.
func eachPart(mask []bool, w int, do func(part []int)) {
	eachLinked(mask, w, func(_, _ int) bool { return true }, do)
}

// eachLinked calls do for each part of a mask that hangs together by linked neighbours.
func eachLinked(mask []bool, w int, linked func(i, j int) bool, do func(part []int)) {
	done := make([]bool, len(mask))
	var part []int
	for start, in := range mask {
		if !in || done[start] {
			continue
		}
		part = append(part[:0], start)
		done[start] = true
		for k := 0; k < len(part); k++ {
			i := part[k]
			neighbours(i, w, len(mask), func(j int) {
				if mask[j] && !done[j] && linked(i, j) {
					done[j] = true
					part = append(part, j)
				}
			})
		}
		do(part)
	}
}

// minPart is the smallest separate part, in pixels, that is worth placing.
const minPart = 40

// placeParts shifts every part but the largest by whole pitches to where it belongs.
func placeParts(x []float32, ok []bool, label []int32, sizes []int, w int, pitch float64) {
	main := int32(1)
	for i, s := range sizes {
		if s > sizes[main-1] {
			main = int32(i + 1)
		}
	}
	votes := make([]map[int]int, len(sizes)+1)
	vote := func(i, j int) {
		l := label[j]
		if l == 0 || sizes[l-1] < minPart {
			return
		}
		if votes[l] == nil {
			votes[l] = map[int]int{}
		}
		votes[l][int(math.Round(float64(x[i]-x[j])/pitch))]++
	}
	// Each link between neighbours once, from the largest part to another.
	link := func(i, j int) {
		if a, b := label[i], label[j]; a == b {
			return
		} else if a == main {
			vote(i, j)
		} else if b == main {
			vote(j, i)
		}
	}
	for i := range x {
		if i >= w {
			link(i, i-w)
		}
		if i%w > 0 {
			link(i, i-1)
		}
	}
	trend := affine(x, label, main, w)
	sum, cnt := make([]float64, len(sizes)+1), make([]float64, len(sizes)+1)
	for i := range x {
		if l := label[i]; l != 0 && l != main {
			sum[l] += trend[0] + trend[1]*float64(i%w) + trend[2]*float64(i/w) - float64(x[i])
			cnt[l]++
		}
	}
	shift := make([]float32, len(sizes)+1)
	drop := make([]bool, len(sizes)+1)
	for l := 1; l <= len(sizes); l++ {
		switch {
		case int32(l) == main:
		case sizes[l-1] < minPart:
			drop[l] = true
		case len(votes[l]) > 0:
			best, n, all := 0, 0, 0
			for k, v := range votes[l] {
				all += v
				if v > n || v == n && k < best {
					best, n = k, v
				}
			}
			shift[l] = float32(float64(best) * pitch)
			drop[l] = 3*n < 2*all
		default:
			shift[l] = float32(math.Round(sum[l]/cnt[l]/pitch) * pitch)
		}
	}
	for i := range x {
		if l := label[i]; l != 0 {
			x[i] += shift[l]
			ok[i] = ok[i] && !drop[l]
		}
	}
}

// affine fits x = a0 + a1 column + a2 row over one label.
func affine(x []float32, label []int32, id int32, w int) [3]float64 {
	var m [3][3]float64
	var b [3]float64
	for y := 0; y < len(x); y += w {
		// Sums over a row of 1, column, column^2, x and column x; its own number comes in at the end.
		var n, c, cc, v, cv float64
		for k, l := range label[y : y+w] {
			if l == id {
				q, z := float64(k), float64(x[y+k])
				n, c, cc, v, cv = n+1, c+q, cc+q*q, v+z, cv+q*z
			}
		}
		r := float64(y / w)
		for p, row := range [3][4]float64{{n, c, r * n, v}, {c, cc, r * c, cv}, {r * n, r * c, r * r * n, r * v}} {
			for q := range 3 {
				m[p][q] += row[q]
			}
			b[p] += row[3]
		}
	}
	// Gaussian elimination of the 3 x 3 system.
	for p := range 3 {
		if m[p][p] == 0 {
			return [3]float64{b[0] / max(1, m[0][0])}
		}
		for q := p + 1; q < 3; q++ {
			f := m[q][p] / m[p][p]
			for k := p; k < 3; k++ {
				m[q][k] -= f * m[p][k]
			}
			b[q] -= f * b[p]
		}
	}
	var a [3]float64
	for p := 2; p >= 0; p-- {
		a[p] = b[p]
		for k := p + 1; k < 3; k++ {
			a[p] -= m[p][k] * a[k]
		}
		a[p] /= m[p][p]
	}
	return a
}

// refine replaces the coarse coordinate by the finer one of the order nearest to it.
func refine(abs []float32, g *group, ok []bool) {
	for i := range abs {
		if ok[i] {
			abs[i] = g.nearest(i, abs[i])
		}
	}
}

// nearest is the coordinate, mm, that a pixel's phase tells next to x.
func (g *group) nearest(i int, x float32) float32 {
	p := float32(g.pitch)
	f := g.phase[i] * (p / (2 * math.Pi))
	return f + p*float32(math.Round(float64((x-f)/p)))
}

// mendOrders puts pixels right whose order slipped by one against their neighbours: those that lie a pitch off the median of
// their readable 3 x 3 surroundings. What stays more than half a pitch off its own left and right, and upper and lower
// neighbours is dropped.
func mendOrders(abs []float32, ok []bool, w, h int, pitch float64) {
	p := float32(pitch)
	var win [9]float32
	for range 2 {
		for y := 1; y < h-1; y++ {
			for x := 1; x < w-1; x++ {
				i := y*w + x
				if !ok[i] {
					continue
				}
				// Most pixels agree with their neighbours: leave at once.
				if near(abs[i], abs[i-1], p) && near(abs[i], abs[i+1], p) && near(abs[i], abs[i-w], p) && near(abs[i], abs[i+w], p) {
					continue
				}
				n := 0
				for _, d := range [9]int{-w - 1, -w, -w + 1, -1, 0, 1, w - 1, w, w + 1} {
					if ok[i+d] {
						win[n] = abs[i+d]
						n++
					}
				}
				if n < 5 {
					continue
				}
				v := win[:n]
				slices.Sort(v)
				if k := float32(math.Round(float64((v[n/2] - abs[i]) / p))); k == 1 || k == -1 {
					abs[i] += k * p
				}
			}
		}
	}
}

func near(a, b, p float32) bool {
	d := a - b
	return d < p/2 && d > -p/2
}

// settleOffset gives the coarse coordinate its free whole pitches back: where the fine pitch does not divide the coarse one, only
// the right number makes both agree (a vernier); among those that do, the readable range must lie on the board, and as near its
// middle as it can.
func settleOffset(abs []float32, fine *group, ok, seen []bool, pitch, boardMM float64) {
	lo, hi, found := Range(abs, ok)
	if !found {
		return
	}
	p := fine.pitch
	scale := p / (2 * math.Pi)
	var rest []float64
	step := max(1, len(abs)/20000)
	for i := 0; i < len(abs); i += step {
		if ok[i] {
			rest = append(rest, float64(abs[i])-float64(fine.phase[i])*scale)
		}
	}
	mid := math.Round((lo + hi) / 2 / pitch)
	best, bestCost := 0.0, math.Inf(1)
	for k := mid - 4; k <= mid+4; k++ {
		var misfit float64
		for _, r := range rest {
			d := (r - k*pitch) / p
			misfit += math.Abs(d - math.Round(d))
		}
		misfit /= float64(len(rest)) // a quarter when they have nothing in common
		l, u := lo-k*pitch, hi-k*pitch
		over := max(0, -boardMM/2-l) + max(0, u-boardMM/2)
		// In order of weight: the vernier in steps of a twentieth of a stripe, the board's edges, its middle.
		if cost := 1e6*math.Round(20*misfit) + 1000*math.Round(over/5) + math.Abs(l+u)/2; cost < bestCost {
			best, bestCost = k, cost
		}
	}
	for i := range abs {
		if seen[i] {
			abs[i] -= float32(best * pitch)
		}
	}
}

// centre removes the free whole coarse pitches: the readable range must lie on the board, and as near its middle as it can.
func centre(abs []float32, ok []bool, pitch, boardMM float64) {
	lo, hi, found := Range(abs, ok)
	if !found {
		return
	}
	best, bestCost := 0.0, math.Inf(1)
	mid := math.Round((lo + hi) / 2 / pitch)
	for k := mid - 2; k <= mid+2; k++ {
		l, u := lo-k*pitch, hi-k*pitch
		over := max(0, -boardMM/2-l) + max(0, u-boardMM/2)
		if cost := 1000*math.Round(over/5) + math.Abs(l+u)/2; cost < bestCost {
			best, bestCost = k, cost
		}
	}
	for i := range abs {
		abs[i] -= float32(best * pitch)
	}
}

// Range returns the 0.5 % and 99.5 % points of x over the mask.
func Range(x []float32, ok []bool) (lo, hi float64, found bool) {
	var s []float32
	step := max(1, len(x)/100000)
	for i := 0; i < len(x); i += step {
		if ok[i] {
			s = append(s, x[i])
		}
	}
	if len(s) < 50 {
		return 0, 0, false
	}
	slices.Sort(s)
	return float64(s[len(s)/200]), float64(s[len(s)-1-len(s)/200]), true
}
