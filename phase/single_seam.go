package phase

import (
	"cmp"
	"math"
	"slices"

	"fairmetal/internal/order"
	"fairmetal/internal/rows"
)

// cut looks for a seam that runs along the stripes through a part from side to side: a feature line so sharp that stripes crowd
// into a few pixels there, with others on either side that seem to run on. It moves the far side (towards larger turns) by k, whole
// turns, and takes the seam's cells out. False where no seam shows plainly.
func (l *lock) cut(label []int32, id int32, k float64) bool {
	ax := l.across(label, id)
	m := l.seamMap(label, id, ax)
	c, dip := m.search()
	least := seamDip
	if l.other != nil {
		least = crossedDip
	}
	if dip < least {
		if dip > doubtDip {
			l.faint = &faintSeam{ax, c, dip}
		}
		return false
	}
	l.cutAlong(ax, c, dip, k)
	return true
}

// faintSeam is a curve across the lines of cells where a seam may be, though it does not show plainly.
type faintSeam struct {
	ax  across
	c   curve
	dip float64
}

// cutAlong cuts along a curve across the lines of cells, more broadly where the seam is not plain.
func (l *lock) cutAlong(ax across, c curve, dip, k float64) {
	l.seam = make([]bool, len(l.ok))
	at := make([]int, ax.n)
	for n := range ax.n {
		at[n] = min(max(int(math.Floor(c.at(n, ax.n)+0.5)), 0), ax.m-1)
		for m := range ax.m {
			i := ax.at(n, m)
			switch {
			case m == at[n]:
				l.ok[i], l.seam[i] = false, true
			case ax.far(m, at[n]):
				// By whole turns the photo looks the same.
				l.phi.v[i] += float32(k)
				l.seen[i] += float32(k)
			}
		}
	}
	// Each side by itself: what crowds beside the seam has pulled at it.
	for range 3 {
		l.look(closely, l.bare)
		l.weigh()
		for n, p := range at {
			for m := max(0, p-seamReach); m <= min(ax.m-1, p+seamReach); m++ {
				l.weight[ax.at(n, m)] = 0
			}
		}
		l.move(span, finalSteps)
	}
	if dip > plainDip {
		return
	}
	for n, p := range at {
		for m := max(0, p-dimReach); m <= min(ax.m-1, p+dimReach); m++ {
			l.ok[ax.at(n, m)] = false
		}
	}
}

// forget has every cell looked at anew.
func (l *lock) forget() {
	for i := range l.seen {
		l.seen[i] = float32(math.NaN())
	}
}

// doubt is what the photo says if there is a seam where one shows faintly. What the lock holds is changed.
func (l *lock) doubt(w, h int, pitchMM float64) *Single {
	f := l.faint
	// The photo agrees with the turns as they were followed.
	for i := range l.phi.v {
		l.phi.v[i] += float32(l.middle)
	}
	l.cutAlong(f.ax, f.c, f.dip, 0)
	for i := range l.phi.v {
		l.phi.v[i] -= float32(l.middle)
	}
	l.folded = l.enclosed(l.ok)
	return l.field(w, h, pitchMM)
}

const (
	// seamReach is how many cells beside a seam its crowded stripes and the place of the seam itself leave in doubt.
	seamReach = 2
	// seamDip is how much less photo and prediction must agree along a seam than beside it. A pressed line that crowds four stripes
	// into six pixels dips by 0.4, the plain ones of made-up panels by 0.3 to 0.9; of sixty pairs of photos without one the strongest curve dips by
	// 0.14. What lies between that and the weakest curve is left to doubt.
	seamDip = 0.16
	// crossedDip is the same for stripes that cross others and swing half as far: curves without a seam dip by up to 0.16.
	crossedDip = 0.18
	// doubtDip is as little as the weakest curve on orange peel dips by: a seam may be there all the same.
	doubtDip = 0.05
	// plainDip places a seam to a cell all along; less to some dimReach cells.
	plainDip = 0.25
	dimReach = 4
	// seamSlope and seamBow bound the curves: the line's run against the raster, and its sagitta over its length.
	seamSlope = 1.0
	seamBow   = 0.05
	// seamStride: the search looks at every sixth line.
	seamStride = 6
	// seamFirsts of the runs are looked at closely.
	seamFirsts = 24
)

// curve is a cubic over the lines of cells, t from -1 to 1: place, run, bow and the bow's change.
type curve [4]float64

func (c curve) at(n, of int) float64 {
	t := 2*float64(n)/float64(max(1, of-1)) - 1
	return c[0] + t*(c[1]+t*(c[2]+t*c[3]))
}

// seamMap is how much agreement of photo and prediction is missing off the stripes' edges, 0 as usual to 1, on lines of cells
// across the stripes, and where it says anything.
type seamMap struct {
	n, m int
	lack []float32
	told []bool
}

func (l *lock) seamMap(label []int32, id int32, ax across) seamMap {
	core, coreN := ax.along(l.sums.core), ax.along(l.sums.coreN)
	strange := ax.along(l.strangeness())
	enough := 0.2 * float32(l.q*l.q) // else all edge
	var all []float32
	for i := range core {
		if coreN[i] >= enough {
			core[i] /= coreN[i]
			if label[i] == id {
				all = append(all, core[i])
			}
		}
	}
	usual := float32(1)
	if len(all) > 0 {
		usual = order.Median(all)
	}
	s := seamMap{n: ax.n, m: ax.m, lack: make([]float32, ax.n*ax.m), told: make([]bool, ax.n*ax.m)}
	margin := int(2 * l.stripe) // the rim is no seam
	clear := l.clear()
	for n := range ax.n {
		first, last := -1, -1
		for m := range ax.m {
			if label[ax.at(n, m)] == id {
				if first < 0 {
					first = m
				}
				last = m
			}
		}
		for m := first + margin; first >= 0 && m <= last-margin; m++ {
			if i := ax.at(n, m); clear[i] && coreN[i] >= enough {
				s.told[n*ax.m+m] = true
				s.lack[n*ax.m+m] = min(max(1-core[i]/usual, strange[i], 0), 1)
			}
		}
	}
	return s
}

// clear masks the cells away from the fringes of folds and cards, which are no seams. What is covered is known, and hardly has any.
func (l *lock) clear() []bool {
	covered, whole := make([]bool, len(l.bare)), make([]bool, len(l.bare))
	for i, v := range l.bare {
		covered[i] = v == 0
	}
	covered = l.widen(covered, nil, cardFringe)
	for i, v := range l.holes {
		whole[i] = !v || covered[i]
	}
	out := l.shrink(whole, int(foldFringe*l.stripe))
	for i, v := range covered {
		out[i] = out[i] && !v
	}
	return out
}

const (
	foldFringe = 1.2 // stripe pairs
	cardFringe = 3   // cells
)

// strangeness is how far the prediction's pace from cell to cell is off that of undamaged metal, beyond what orange peel and dents that can
// be read do: what was counted wrong across a seam crowds or turns the stripes there.
func (l *lock) strangeness() []float32 {
	out := make([]float32, len(l.phi.v))
	rows.Do(l.rows, func(j0, j1 int) {
		for i := j0 * l.cols; i < j1*l.cols; i++ {
			tx, ty := l.gradient(l.trend, i%l.cols, i/l.cols)
			px, py := l.gradient(l.phi.v, i%l.cols, i/l.cols)
			p := (px*tx+py*ty)/(tx*tx+ty*ty) - 1
			out[i] = min(max(p-calmPace, -p-calmPace, 0), 1)
		}
	})
	return out
}

// calmPace: orange peel changes the pace from cell to cell by a third rms on the roughest paint seen.
const calmPace = 0.7

// sum along a curve: the agreement that is missing, and how many lines tell. What tells nothing lacks nothing, so that a curve gains
// by lying on the seam and not by avoiding to be seen. Every stride-th line counts.
func (s seamMap) sum(c curve, shift float64, stride int) (lack float64, told int) {
	for n := stride / 2; n < s.n; n += stride {
		m := int(math.Floor(c.at(n, s.n) + shift + 0.5))
		if m < 0 || m >= s.m || !s.told[n*s.m+m] {
			continue
		}
		lack += float64(s.lack[n*s.m+m])
		told++
	}
	return lack, told
}

// found is a curve with the agreement that is missing along it.
type found struct {
	curve
	lack float32
}

func (f *found) better(g found) {
	if g.lack > f.lack {
		*f = g
	}
}

// along is the place across the lines where most is missing along one run and bow; row is scratch.
func (s seamMap) along(row []float32, c1, c2 float64) found {
	clear(row)
	for n := seamStride / 2; n < s.n; n += seamStride {
		off := int(math.Floor(curve{0, c1, c2}.at(n, s.n) + 0.5))
		from, to := max(0, -off), min(s.m, s.m-off)
		if from >= to {
			continue
		}
		src := s.lack[n*s.m+off+from : n*s.m+off+to]
		dst := row[from : from+len(src)]
		for i, v := range src {
			dst[i] += v
		}
	}
	best := found{lack: -1}
	for m, v := range row {
		best.better(found{curve{float64(m), c1, c2}, v})
	}
	return best
}

// search returns the curve along which most agreement is missing, and by how much it dips below its surroundings: among runs two cells
// and even bows four cells apart, of those near the best, and then any.
func (s seamMap) search() (c curve, dip float64) {
	reach, bow := seamSlope*float64(s.n)/2, seamBow*float64(s.n)
	firsts := make([]found, int(reach)+1)
	rows.Do(len(firsts), func(k0, k1 int) {
		row := make([]float32, s.m)
		for k := k0; k < k1; k++ {
			for c2 := -bow; c2 <= bow; c2 += 4 {
				firsts[k].better(s.along(row, 2*float64(k)-reach, c2))
			}
		}
	})
	slices.SortStableFunc(firsts, func(a, b found) int { return cmp.Compare(b.lack, a.lack) })
	firsts = firsts[:min(seamFirsts, len(firsts))]
	seconds := make([]found, len(firsts))
	rows.Do(len(firsts), func(k0, k1 int) {
		row := make([]float32, s.m)
		for k := k0; k < k1; k++ {
			for d := -2.0; d <= 2; d += 2 {
				seconds[k].better(s.along(row, firsts[k].curve[1], firsts[k].curve[2]+d))
			}
		}
	})
	best := slices.MaxFunc(seconds, func(a, b found) int { return cmp.Compare(a.lack, b.lack) }).curve
	for step := 1.0; step > 0.2; step /= 2 {
		stride := max(1, int(seamStride/2*step))
		around := func(d int) curve {
			c := best
			for i := range c {
				c[i] += step * float64(d%7-3)
				d /= 7
			}
			return c
		}
		lacks := make([]float64, 7*7*7*7)
		rows.Do(len(lacks), func(d0, d1 int) {
			for d := d0; d < d1; d++ {
				lacks[d], _ = s.sum(around(d), 0, stride)
			}
		})
		most := 0
		for d, v := range lacks {
			if v > lacks[most] {
				most = d
			}
		}
		best = around(most)
	}
	on, n := s.sum(best, 0, 1)
	a, na := s.sum(best, -4, 1)
	b, nb := s.sum(best, 4, 1)
	dip = on/float64(max(1, n)) - (a+b)/float64(max(1, na+nb))
	if 10*n < s.n {
		return best, 0
	}
	return best, dip
}

// across runs over the cells line by line, each line across the stripes along the raster's axis nearest to the trend.
type across struct {
	n, m       int // lines, cells on each
	step, next int
	dx, dy     float64 // px direction of growing m
	forward    bool    // turns grow with m
}

func (l *lock) across(label []int32, id int32) across {
	var tx, ty float64
	for i, v := range label {
		if v == id {
			gx, gy := l.gradient(l.trend, i%l.cols, i/l.cols)
			tx, ty = tx+float64(gx), ty+float64(gy)
		}
	}
	if math.Abs(ty) > math.Abs(tx) {
		return across{n: l.cols, m: l.rows, step: l.cols, next: 1, dy: 1, forward: ty > 0}
	}
	return across{n: l.rows, m: l.cols, step: 1, next: l.cols, dx: 1, forward: tx > 0}
}

func (a across) at(n, m int) int { return n*a.next + m*a.step }

// far tells whether m lies towards larger turns than p.
func (a across) far(m, p int) bool { return (m > p) == a.forward && m != p }

// along smooths a raster along the stripes alone, over two cells either way: a seam is long and thin.
func (a across) along(v []float32) []float32 {
	k := [3]float32{0.3, 0.23, 0.12}
	out := make([]float32, len(v))
	rows.Do(a.n, func(n0, n1 int) {
		for n := n0; n < n1; n++ {
			for m := range a.m {
				s := k[0] * v[a.at(n, m)]
				for d := 1; d <= 2; d++ {
					s += k[d] * (v[a.at(max(0, n-d), m)] + v[a.at(min(a.n-1, n+d), m)])
				}
				out[a.at(n, m)] = s
			}
		}
	})
	return out
}
