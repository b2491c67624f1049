package mark

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"sync"

	"fairmetal/internal/order"
	"fairmetal/internal/rows"
	"fairmetal/surface"
)

// Options steer the search. The zero value is for panels as they come.
type Options struct {
	// Lines are the feature lines over the surface.
	Lines []surface.Across
	// MinDepthUM is the least depth worth reporting; 0: DefaultMinDepthUM.
	MinDepthUM float64
	// Sharp tells of a place without a value that the metal may be too sharp to be read there, so that it belongs to the mark around it.
	// nil: of none.
	Sharp func(xMM, yMM float64) bool
	// Read tells how the heights came to be known, and with that how noise shows.
	Read Reading
}

// Reading is how the heights of a surface came to be known.
type Reading int

// The ways to know heights.
const (
	Exactly    Reading = iota // computed
	Pixelwise                 // every pixel was read by itself: noise tells by cells that quiver, and places without a value in uneven metal are marks by themselves
	Stripewise                // stripes were read at their edges or over their breadth, as in single photos: noise shows in waves longer than small marks
)

// DefaultMinDepthUM is the least depth reported: what a trained eye finds on paint is "a few microns" over some millimetres,
// and orange peel of 1 um rms peaks below it.
const DefaultMinDepthUM = 4.5

const (
	// smoothMM is the Gaussian standard deviation under which marks are looked for: it halves waves of 5 mm, the coarser
	// half of orange peel, and leaves 9/10 of a mark 6 mm across.
	smoothMM = 0.8
	// noiseRatio is how far a mark must stand out of the undamaged metal's spread under that filter. A Gaussian field of
	// 300 x 200 mm has some 20000 independent spots: 4.1 sigma is its expected extreme, peel is not quite Gaussian.
	noiseRatio = 7.0
	// sigmaRatio is the same in the uncertainty of a cell, which that filter brings down to 0.57 of it.
	sigmaRatio = 4.0
	// saddle is the share of the smaller of two peaks that the pass between them must fall below for two marks.
	saddle = 0.55
	// outline is the share of its own depth at which a mark's outline is drawn.
	outline = 0.1
)

// Find returns the marks on a surface, deepest first.
func Find(s *surface.Surface, opt Options) []Mark {
	if opt.MinDepthUM == 0 {
		opt.MinDepthUM = DefaultMinDepthUM
	}
	f := newFinder(s, opt)
	var lowest, highest []*region
	var wg sync.WaitGroup
	wg.Go(func() { lowest = f.regions(-1) })
	highest = f.regions(1)
	wg.Wait()
	found := f.dropCrowns(slices.Concat(lowest, highest))
	found = f.dropBeside(found)
	sort.SliceStable(found, func(i, j int) bool { return found[i].peak > found[j].peak })
	marks := make([]Mark, len(found))
	var lows []Mark
	var highs []*region
	for i, r := range found {
		if r.sign > 0 {
			highs = append(highs, r)
			continue
		}
		marks[i] = f.describe(r, f, r)
		lows = append(lows, marks[i])
	}
	for i, r := range found {
		if r.sign > 0 {
			own, top := f.overSkirt(r, highs, lows)
			marks[i] = f.describe(r, own, top)
		}
	}
	if opt.Read != Exactly {
		marks = f.dropRestless(found, marks)
	}
	if opt.Read == Pixelwise {
		marks = f.unread(marks)
	}
	for i := range marks {
		marks[i].ID = fmt.Sprintf("m%02d", i+1)
	}
	return marks
}

type finder struct {
	s        *surface.Surface
	opt      Options
	um       []float32 // heights, um
	smooth   []float32 // the same under the search filter
	noise    float64   // robust spread of smooth over undamaged metal, um
	restless []float32 // the same beside feature lines, where that is more; 0 elsewhere
	band     []float32 // heights in the band of small marks, um; nil: noise hides none
	small    []int8    // sign of a small mark that stands out of its band by a cell; 0: none; nil: not looked at
	calm     float64   // robust spread of the band over that of smooth
	edge     []float32 // distance to unknown metal, mm
	open     []float32 // the same, holes in marks left out
	holes    []hole
	holeAt   []int32 // cell -> number of its hole, from 1; 0: none
}

// region is a peak and the cells that belong to it.
type region struct {
	sign  float32
	at    int     // cell of the extreme of the smoothed surface
	peak  float64 // its height there, um, positive
	cells []int   // over the outline level, connected with the extreme, and its holes
	holes []int   // index of its holes
}

// micrometres is the surface's height, um.
func micrometres(s *surface.Surface) []float32 {
	um := make([]float32, len(s.Height))
	for i, v := range s.Height {
		um[i] = 1000 * v
	}
	return um
}

// Smooth is the surface's height, um, under the Gaussian under which marks are looked for.
func Smooth(s *surface.Surface) []float32 { return surface.Gauss(s.Grid, micrometres(s), smoothMM) }

func newFinder(s *surface.Surface, opt Options) *finder {
	f := &finder{s: s, opt: opt, um: micrometres(s)}
	var rim, passed sync.WaitGroup
	passed.Go(func() {
		f.smooth = surface.Gauss(s.Grid, f.um, smoothMM)
		f.noise = spread(f.smooth)
		if opt.Read == Stripewise && noiseRatio*f.noise > f.plain() {
			f.passBand()
		}
	})
	rim.Go(func() { f.edge = distanceToUnknown(s.Grid, f.um) })
	f.findHoles(opt.Sharp)
	rim.Wait()
	f.open = f.edge
	if len(f.holes) > 0 {
		f.open = distanceToUnknown(s.Grid, f.filled())
	}
	passed.Wait()
	f.restless = make([]float32, len(f.um))
	for _, l := range opt.Lines {
		f.besideLine(l)
	}
	switch {
	case opt.Read == Pixelwise:
		f.quivering()
	case f.band != nil:
		f.inBand()
	}
	return f
}

// quivering notes where the metal is more restless than elsewhere because its stripes are fainter or farther: by how much more it quivers from cell to cell,
// which dents hardly do.
func (f *finder) quivering() {
	f.byTile(func(i int) float64 {
		return math.Abs(float64(f.um[i-1] - 2*f.um[i] + f.um[i+1]))
	}, func(i int, more float64) {
		if more > plainQuiver {
			f.restless[i] = max(f.restless[i], float32(min(more, mostQuiver)*f.noise))
		}
	})
}

// byTile tells each cell how many times as much as over the map the median of a measure is over the tile about it; a tile of which little is known
// is as its most restless neighbour.
func (f *finder) byTile(measure func(i int) float64, tell func(i int, more float64)) {
	g := f.s.Grid
	side := max(1, int(tileMM/g.PitchMM))
	cols, tiles := (g.Cols+side-1)/side, (g.Rows+side-1)/side*((g.Cols+side-1)/side)
	of := make([]float64, tiles) // median of each tile; 0: too little of it is known
	rows.Do(tiles, func(t0, t1 int) {
		for t := t0; t < t1; t++ {
			var v []float64
			for r := t / cols * side; r < min(g.Rows, (t/cols+1)*side); r += 2 {
				for c := max(1, t%cols*side); c < min(g.Cols-1, (t%cols+1)*side); c++ {
					if d := measure(r*g.Cols + c); d == d {
						v = append(v, d)
					}
				}
			}
			if 8*len(v) > side*side {
				of[t] = order.Median(v)
			}
		}
	})
	var all []float64
	for r := 0; r < g.Rows; r += 5 {
		for c := 1; c < g.Cols-1; c += 3 {
			if d := measure(r*g.Cols + c); d == d {
				all = append(all, d)
			}
		}
	}
	if len(all) == 0 {
		return
	}
	usual := order.Median(all)
	known := slices.Clone(of)
	for t, v := range known {
		if v > 0 {
			continue
		}
		for r := max(0, t/cols-1); r <= min(tiles/cols-1, t/cols+1); r++ {
			of[t] = max(of[t], slices.Max(known[r*cols+max(0, t%cols-1):r*cols+min(cols, t%cols+2)]))
		}
	}
	rows.Do(g.Rows, func(r0, r1 int) {
		for i := r0 * g.Cols; i < r1*g.Cols; i++ {
			tell(i, of[i/g.Cols/side*cols+i%g.Cols/side]/usual)
		}
	})
}

const (
	tileMM      = 50.0
	plainQuiver = 1.3 // times the map's
	mostQuiver  = 6.0 // what quivers more does not by noise
)

// lineReachMM are how far beside a feature line its section is taken off with the roughness that dense stripes leave there, and on it.
var lineReachMM = [...]float64{12, 3}

// besideLine notes how restless the metal along a feature line is.
func (f *finder) besideLine(l surface.Across) {
	far := make([]float32, len(f.smooth))
	rows.Do(f.s.Rows, func(r0, r1 int) {
		for i := r0 * f.s.Cols; i < r1*f.s.Cols; i++ {
			d, _ := l(f.s.XY(i%f.s.Cols, i/f.s.Cols))
			far[i] = float32(math.Abs(d))
		}
	})
	for _, reach := range lineReachMM {
		var at []int
		var v []float32
		for i, h := range f.smooth {
			if far[i] < float32(reach) && h == h {
				at, v = append(at, i), append(v, h)
			}
		}
		if n := spread(v); n > 1.5*f.noise {
			for _, i := range at {
				f.restless[i] = max(f.restless[i], float32(n))
			}
		}
	}
}

// spread is the robust standard deviation about zero, iterated so that the damage drops out.
func spread(v []float32) float64 {
	var a []float64
	for i := 0; i < len(v); i += max(1, len(v)/60000) {
		if x := v[i]; x == x {
			a = append(a, math.Abs(float64(x)))
		}
	}
	if len(a) == 0 {
		return 0
	}
	slices.Sort(a)
	s := a[len(a)/2] / 0.6745
	for range 10 {
		// Median of a half-normal cut at 4 sigma is 0.6744 sigma still: the cut only removes the damage.
		n, _ := slices.BinarySearch(a, 4*s)
		if n == 0 {
			break
		}
		next := a[n/2] / 0.6745
		if math.Abs(next-s) < 1e-3*s {
			break
		}
		s = next
	}
	return s
}

// plain is the least smoothed height of a mark in metal without noise, um.
func (f *finder) plain() float64 { return 0.8 * f.opt.MinDepthUM }

// least is the least smoothed height of a mark amid metal as restless as that at a cell, um.
func (f *finder) least(i int) float64 {
	return max(f.plain(), f.share(i)*f.chance(i))
}

// threshold is the least smoothed height of a mark at a cell, um. Close to the rim of the measured metal the form is carried
// over from one side only, so more is asked there.
func (f *finder) threshold(i int) float64 {
	return max(f.least(i)*proof(f.open[i], rimMM), f.share(i)*f.doubt(i))
}

// proof is how many times as much is asked of a mark at a distance from the rim, mm, where the rim tells over a reach.
func proof(rim float32, reachMM float64) float64 {
	return 1 + 3*max(0, 1-float64(rim)/reachMM)
}

// rimMM is how far from the rim marks must prove themselves.
const rimMM = 8.0

// regions grows all peaks of one sign from the top down (watershed by flooding): a peak that meets a higher one over a saddle
// higher than a share of itself joins it.
func (f *finder) regions(sign float32) []*region {
	g := f.s.Grid
	down := f.downwards(sign)
	parent := make([]int32, g.Len())      // cell -> index+1 of its basin
	within := make([]int32, len(f.holes)) // hole -> index+1 of the basin that met it first
	type basin struct {
		at   int
		peak float64
		into int // basin joined, -1 while its own
	}
	var basins []basin
	var met []int32 // holes beside a cell
	root := func(b int) int {
		for basins[b].into >= 0 {
			b = basins[b].into
		}
		return b
	}
	for _, i := range down {
		h := float64(f.smooth[i] * sign)
		c, r := i%g.Cols, i/g.Cols
		mine := -1
		met = met[:0]
		for dr := -1; dr <= 1; dr++ {
			for dc := -1; dc <= 1; dc++ {
				if c+dc < 0 || c+dc >= g.Cols || r+dr < 0 || r+dr >= g.Rows {
					continue
				}
				j := i + dr*g.Cols + dc
				l := parent[j]
				if k := f.holeAt[j]; k > 0 && f.holes[k-1].sign() == sign {
					l = within[k-1]
					met = append(met, k-1)
				}
				if l == 0 {
					continue
				}
				b := root(int(l - 1))
				if mine < 0 {
					mine = b
					continue
				}
				if b == mine {
					continue
				}
				lo, hi := b, mine
				if basins[lo].peak > basins[hi].peak {
					lo, hi = hi, lo
				}
				if h > saddle*basins[lo].peak || basins[lo].peak-h < f.threshold(basins[lo].at)*0.6 {
					basins[lo].into = hi
				}
				mine = hi
			}
		}
		if mine < 0 {
			basins = append(basins, basin{at: i, peak: h, into: -1})
			mine = len(basins) - 1
		}
		parent[i] = int32(mine + 1)
		for _, k := range met {
			if within[k] == 0 {
				within[k] = int32(mine + 1)
			}
		}
	}
	byRoot := map[int]*region{}
	for b := range basins {
		if basins[b].into < 0 && basins[b].peak >= f.threshold(basins[b].at) {
			byRoot[b] = &region{sign: sign, at: basins[b].at, peak: basins[b].peak}
		}
	}
	for _, i := range down {
		b := root(int(parent[i] - 1))
		if q := byRoot[b]; q != nil && float64(f.smooth[i]*sign) >= outline*q.peak {
			q.cells = append(q.cells, i)
		}
	}
	for k, b := range within {
		if b == 0 {
			continue
		}
		if q := byRoot[root(int(b-1))]; q != nil {
			q.cells, q.holes = append(q.cells, f.holes[k].cells...), append(q.holes, k)
		}
	}
	var out []*region
	for b := range basins {
		if q := byRoot[b]; q != nil {
			q.cells = f.connected(q)
			if len(q.cells) >= 4 {
				out = append(out, q)
			}
		}
	}
	return out
}

// downwards are the cells that may belong to marks of a sign, the farthest out first.
func (f *finder) downwards(sign float32) []int {
	chance := noiseRatio * f.noise
	if f.small != nil {
		chance *= f.calm
	}
	floor := float32(outline * max(f.plain(), chance))
	// A positive float's bits grow with it: turned over and with the cell's number behind they sort as plain numbers do.
	var keys []uint64
	for i, v := range f.smooth {
		if v *= sign; v > floor {
			keys = append(keys, uint64(^math.Float32bits(v))<<32|uint64(i))
		}
	}
	slices.Sort(keys)
	cells := make([]int, len(keys))
	for k, v := range keys {
		cells[k] = int(uint32(v))
	}
	return cells
}

// connected keeps the cells that hang together with the peak.
func (f *finder) connected(q *region) []int {
	n := f.s.Cols
	c0, c1, r0, r1 := q.at%n, q.at%n, q.at/n, q.at/n
	for _, i := range q.cells {
		c0, c1, r0, r1 = min(c0, i%n), max(c1, i%n), min(r0, i/n), max(r1, i/n)
	}
	// The box around them, a rim of cells that are not in included.
	w := c1 - c0 + 3
	in := make([]bool, w*(r1-r0+3))
	place := func(i int) int { return (i/n-r0+1)*w + i%n - c0 + 1 }
	for _, i := range q.cells {
		in[place(i)] = true
	}
	queue := []int{q.at}
	in[place(q.at)] = false
	for k := 0; k < len(queue); k++ {
		at := place(queue[k])
		for _, d := range [4][2]int{{-1, -1}, {1, 1}, {-w, -n}, {w, n}} {
			if in[at+d[0]] {
				in[at+d[0]] = false
				queue = append(queue, queue[k]+d[1])
			}
		}
	}
	return queue
}

// curvature returns the eigenvalues of the smoothed surface's Hessian at a cell, times the sign of the peak so that a peak's
// are negative, larger magnitude first; um/mm^2.
func (f *finder) curvature(i int, sign float32) (k1, k2 float64) {
	g := f.s.Grid
	c, r := i%g.Cols, i/g.Cols
	d := max(1, int(math.Round(1.5/g.PitchMM)))
	if c < d || r < d || c+d >= g.Cols || r+d >= g.Rows {
		return 0, 0
	}
	at := func(dc, dr int) float64 { return float64(sign * f.smooth[i+dr*d*g.Cols+dc*d]) }
	h := float64(d) * g.PitchMM
	xx := (at(1, 0) - 2*at(0, 0) + at(-1, 0)) / (h * h)
	yy := (at(0, 1) - 2*at(0, 0) + at(0, -1)) / (h * h)
	xy := (at(1, 1) - at(-1, 1) - at(1, -1) + at(-1, -1)) / (4 * h * h)
	m, q := (xx+yy)/2, math.Hypot((xx-yy)/2, xy)
	k1, k2 = m-q, m+q
	if math.Abs(k2) > math.Abs(k1) {
		k1, k2 = k2, k1
	}
	return k1, k2
}

// crownReach is how far from a mark's outline, in its own half breadths, its crown or moat may peak.
const crownReach = 1.3

// skirtShare is the share of a mark's depth below which a shallow place of the same sign right beside it is its own skirt.
const skirtShare = 0.03

// dropCrowns removes peaks that are only the rim of a stronger mark of the other sign: lower than it by much, close to its
// outline, and ridge-like, or hardly higher than the rest of the rim. Traces of the same sign as close by are taken for its skirt.
func (f *finder) dropCrowns(found []*region) []*region {
	ovals, deep := make([]Mark, len(found)), make([]float64, len(found))
	for k, q := range found {
		ovals[k], deep[k] = oval(f.s.Grid, q.cells), q.peak+f.hidden(q)
	}
	var out []*region
	for k, q := range found {
		rim := false
		x, y := f.s.XY(q.at%f.s.Cols, q.at/f.s.Cols)
		for j, o := range found {
			if j == k || q.peak > 0.5*deep[j] {
				continue
			}
			if f.gap(x, y, o) > crownReach*math.Sqrt(ovals[j].LengthMM*ovals[j].WidthMM)/2 {
				continue
			}
			if o.sign == q.sign && q.peak >= skirtShare*deep[j] {
				continue
			}
			k1, k2 := f.curvature(q.at, q.sign)
			ridge := k1 != 0 && k2/k1 < 0.4
			core := f.elongation(f.core(q, 0.5*q.peak))
			longer := core > 1.6 && f.elongation(q.cells) > 1.8 || core > 1.8 && q.peak < skirtShare*deep[j]
			level := f.level(&ovals[j], x, y, q.sign) / q.peak
			capped := -k2 > capRatio*f.noise
			if o.sign == q.sign {
				// Beyond the crown a mark runs out in a moat or in the arms of a star: no cap of its own.
				if ridge || longer || !capped || level > levelFlat {
					rim = true
					break
				}
				continue
			}
			if ridge || longer && q.peak < 0.25*deep[j] || level > levelRim || !capped && (level > levelFlat || q.peak < crownShare*deep[j]) {
				rim = true
				break
			}
		}
		if !rim {
			out = append(out, q)
		}
	}
	return out
}

const (
	levelRim  = 0.65 // of a peak, at which the rim of a mark runs all round it: what stands out there by less is the rim's own unevenness
	levelFlat = 0.4  // the same for a peak without a cap of its own
	// crownShare of a low's depth is as much as a crown mostly has; common practice, no source.
	crownShare = 0.1
	capRatio   = 3.3 // of the spread, by which a cap bends more, 1/mm^2, than chance makes it: three standard deviations
)

// oval is the ellipse with the second moments of the cells, as a mark.
func oval(g surface.Grid, cells []int) Mark {
	var n, sx, sy, xx, yy, xy float64
	for _, i := range cells {
		x, y := g.XY(i%g.Cols, i/g.Cols)
		n, sx, sy = n+1, sx+x, sy+y
	}
	sx, sy = sx/n, sy/n
	for _, i := range cells {
		x, y := g.XY(i%g.Cols, i/g.Cols)
		xx, yy, xy = xx+(x-sx)*(x-sx)/n, yy+(y-sy)*(y-sy)/n, xy+(x-sx)*(y-sy)/n
	}
	m, d := (xx+yy)/2, math.Hypot((xx-yy)/2, xy)
	least := g.PitchMM * g.PitchMM / 12
	return Mark{XMM: sx, YMM: sy, AngleDeg: math.Atan2(2*xy, xx-yy) / 2 * 180 / math.Pi, LengthMM: 4 * math.Sqrt(m+d+least), WidthMM: 4 * math.Sqrt(max(m-d, 0)+least)}
}

// level is the median height, um, on the oval's ring through a place; zero where most of it is unknown.
func (f *finder) level(o *Mark, x, y float64, sign float32) float64 {
	rho, _ := o.ring(x, y)
	var h []float64
	const places = 90
	for k := range places {
		if v := f.smoothAt(o.onRing(rho, 2*math.Pi*float64(k)/places)); v == v {
			h = append(h, float64(sign)*v)
		}
	}
	if 2*len(h) < places {
		return 0
	}
	return order.Median(h)
}

// gap is the distance from a place to the nearest cell of a region, mm.
func (f *finder) gap(x, y float64, q *region) float64 {
	best := math.Inf(1)
	for _, i := range q.cells {
		cx, cy := f.s.XY(i%f.s.Cols, i/f.s.Cols)
		best = min(best, math.Hypot(cx-x, cy-y))
	}
	return best
}

// elongation is how many times as long as wide the oval of the cells is.
func (f *finder) elongation(cells []int) float64 {
	o := oval(f.s.Grid, cells)
	return o.LengthMM / o.WidthMM
}

// dropBeside removes weak peaks right at the rim of the measured metal, where the form is only guessed, unless they stand out farther in
// too: a mark that the rim cuts.
func (f *finder) dropBeside(found []*region) []*region {
	return slices.DeleteFunc(found, func(q *region) bool {
		touching, inside := 0, 0
		for _, i := range q.cells {
			switch d := f.open[i]; {
			case d < 1.5*float32(f.s.PitchMM):
				touching++
			case d > besideMM && float64(f.smooth[i]*q.sign) > f.threshold(i):
				inside++
			}
		}
		if float64(inside)*f.s.PitchMM*f.s.PitchMM > besideMM*besideMM {
			return q.peak < 5*f.least(q.at) && 10*touching > len(q.cells)
		}
		return f.open[q.at] < besideMM && q.peak < 6*f.threshold(q.at) || 10*touching > len(q.cells) && q.peak < 3*f.threshold(q.at)
	})
}

// besideMM is how far from the rim a weak peak is none.
const besideMM = 2.0

// distanceToUnknown is the chamfer distance of each known cell to the nearest unknown cell or the rim of the raster, mm.
func distanceToUnknown(g surface.Grid, z []float32) []float32 {
	d := make([]float32, g.Len())
	const far, diag = float32(1e9), float32(math.Sqrt2)
	for i := range d {
		if z[i] == z[i] {
			d[i] = far
		}
	}
	n := g.Cols
	row := func(r int) []float32 { return d[r*n : (r+1)*n] }
	// rim has the known cells of a row's ends, or of all of it, lie one cell from what is unknown.
	rim := func(d []float32) {
		for i := range d {
			d[i] = min(d[i], 1)
		}
	}
	for r := range g.Rows {
		here := row(r)
		if r == 0 || r == g.Rows-1 {
			rim(here)
			continue
		}
		rim(here[:1])
		rim(here[n-1:])
	}
	for r := 1; r < g.Rows-1; r++ {
		here, above := row(r), row(r-1)
		last := here[0]
		for c := 1; c < n-1; c++ {
			last = min(here[c], last+1, above[c]+1, above[c-1]+diag, above[c+1]+diag)
			here[c] = last
		}
	}
	for r := g.Rows - 2; r > 0; r-- {
		here, below := row(r), row(r+1)
		last := here[n-1]
		for c := n - 2; c > 0; c-- {
			last = min(here[c], last+1, below[c]+1, below[c-1]+diag, below[c+1]+diag)
			here[c] = last
		}
	}
	for i := range d {
		d[i] *= float32(g.PitchMM)
	}
	return d
}
