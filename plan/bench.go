package plan

import (
	"math"
	"slices"

	"fairmetal/mark"
	"fairmetal/surface"
)

// bench is the simulated panel: heights in um on a raster, worked by hits.
type bench struct {
	in         Input
	marks      []mark.Mark
	grid       surface.Grid
	h          []float64 // NaN outside
	seen       []float64 // h as the eye sees it
	missSlope  []float64 // variance that the hits since the last capture may have left in seen's slope and height
	missHeight []float64
	sigma      []float64 // of h
	strain     []float64 // accumulated, per cent, with what hits may miss by
	owner      []int     // mark index + 1 of cells that have to become fair, 0 elsewhere
	site       []int     // mark index + 1 of cells that may be hit on its account
	fields     *fields
	tabs       map[tab]*field // of pulls
	grips      *grips
	done       []worked
	shapes     map[*field]*shape
	share      float64   // of the slope limit that is aimed at
	start      []float64 // h before the first hit
	startSeen  []float64
	capability float64
	round      int
	groups     []int // of each mark
}

type worked struct {
	Hit
	stage Stage
	mark  int
	cell  int
	round int
	grip  grip
}

const (
	cellMM   = 2.0
	maxSetUM = 260.0 // in one hit: beyond it tips punch points
	maxHits  = 900
	perRound = 45 // hits before the panel is measured again
	// strainShare of what the film stands is planned with, each hit counted strainMiss times: hits scatter by a fifth, metal by a seventh.
	strainShare, strainMiss = 0.8, 1.3
	// strainMM is how far from a hit the film is strained.
	strainMM = 4.0
	// ownMM and siteMM widen a mark's outline: by where it has to become fair, and by where its rim may be hit.
	ownMM, siteMM = 3.0, 9.0
	// besideMM is how far beside a mark metal counts with it, besideSiteMM how far from such metal it may be hit.
	besideMM, besideSiteMM = 140.0, 4.0
	// rimMM: nearer to where nothing was measured the form is carried over from one side only, and what stands off may be its error.
	rimMM = 30.0
)

// newBench lays the surface on the bench's raster around the marks.
func newBench(in Input, marks []mark.Mark, f *fields) *bench {
	b := newRaster(in)
	b.fields, b.share, b.capability = f, slopeShare, in.Film.CapabilityPct(in.TempC)
	b.tabs, b.shapes = map[tab]*field{}, map[*field]*shape{}
	b.seen = seenOn(b.grid, in.Surface)
	b.startSeen = slices.Clone(b.seen)
	b.missSlope, b.missHeight = make([]float64, b.grid.Len()), make([]float64, b.grid.Len())
	b.work(marks)
	return b
}

// work makes these marks those that the bench works.
func (b *bench) work(marks []mark.Mark) {
	b.marks, b.grips = marks, newGrips(b.in, marks)
	b.owner, b.site = make([]int, len(b.h)), make([]int, len(b.h))
	for k := range marks {
		b.claim(b.owner, k, ownMM)
		b.claim(b.site, k, siteMM)
	}
	b.claimBetween()
}

// newRaster lays heights and what earlier rounds have cost the film on the bench's raster.
func newRaster(in Input) *bench {
	b := &bench{in: in}
	g := in.Surface.Grid
	b.grid = surface.Grid{X0MM: g.X0MM, Y0MM: g.Y0MM, PitchMM: cellMM,
		Cols: int(float64(g.Cols-1)*g.PitchMM/cellMM) + 1, Rows: int(float64(g.Rows-1)*g.PitchMM/cellMM) + 1}
	n := b.grid.Len()
	b.h, b.sigma, b.strain = make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range b.h {
		x, y := b.at(i)
		b.h[i] = 1000 * sharpest(in.Surface, x, y)
		c, r := g.Cell(x, y)
		b.sigma[i] = 1000 * float64(in.Surface.Sigma[min(max(int(r+0.5), 0), g.Rows-1)*g.Cols+min(max(int(c+0.5), 0), g.Cols-1)])
		if in.Strain != nil {
			b.strain[i] = in.Strain(x, y)
			for _, d := range aroundCell { // the worst place may lie between cells
				b.strain[i] = max(b.strain[i], in.Strain(x+cellMM/2*float64(d[0]), y+cellMM/2*float64(d[1])))
			}
		}
	}
	b.start = slices.Clone(b.h)
	return b
}

// aroundCell are the neighbours of a cell.
var aroundCell = [4][2]int{{1, 0}, {-1, 0}, {0, 1}, {0, -1}}

// sharpest is the height at a cell, or where little stands off the one of largest size about it: what is narrower than a cell is not to slip
// between cells. On the flank of a low that would be the flank.
func sharpest(s *surface.Surface, x, y float64) float64 {
	const part = cellMM / 3
	v := s.At(x, y)
	if math.Abs(v) > levelUM/1000 {
		return v
	}
	for _, d := range aroundCell {
		if n := s.At(x+part*float64(d[0]), y+part*float64(d[1])); math.Abs(n) > math.Abs(v) {
			v = n
		}
	}
	return v
}

// claimBetween gives metal beside the marks that stands off too to the nearest of them: outlines are ellipses, and what work has moved between
// marks has to become fair with them.
func (b *bench) claimBetween() {
	for i, v := range b.h {
		x, y := b.at(i)
		gx, gy := b.tilt(i)
		if b.owner[i] != 0 || !(math.Abs(v) > b.in.goal()/2 || math.Hypot(gx, gy) > b.slopeGoal()/2) || !b.within(x, y, rimMM) {
			continue
		}
		best, at := besideMM, -1
		for k := range b.marks {
			m := &b.marks[k]
			if d := math.Hypot(m.XMM-x, m.YMM-y) - max(m.LengthMM, m.WidthMM)/2; d < best {
				best, at = d, k
			}
		}
		if at < 0 {
			continue
		}
		b.owner[i] = at + 1
		b.each(x, y, besideSiteMM, func(j int, _ float64) {
			if b.site[j] == 0 && !math.IsNaN(b.h[j]) {
				b.site[j] = at + 1
			}
		})
	}
}

// within tells whether the metal is measured so far around a place.
func (b *bench) within(x, y, mm float64) bool {
	for _, d := range aroundCell {
		c, r := b.grid.Cell(x+mm*float64(d[0]), y+mm*float64(d[1]))
		if c < 0 || r < 0 || c > float64(b.grid.Cols-1) || r > float64(b.grid.Rows-1) || math.IsNaN(b.h[int(r)*b.grid.Cols+int(c)]) {
			return false
		}
	}
	return true
}

// claim enters a mark, widened by a margin, in a map of cells. Where outlines overlap, the nearer middle has it.
func (b *bench) claim(to []int, k int, marginMM float64) {
	m := &b.marks[k]
	b.each(m.XMM, m.YMM, max(m.LengthMM, m.WidthMM)/2+marginMM, func(i int, r float64) {
		x, y := b.at(i)
		if math.IsNaN(b.h[i]) || !m.Inside(x, y, 1, marginMM) {
			return
		}
		if o := to[i]; o == 0 || math.Hypot(x-b.marks[o-1].XMM, y-b.marks[o-1].YMM) > r {
			to[i] = k + 1
		}
	})
}

// again is a bench with the same panel as it was before the first hit.
func (b *bench) again() *bench {
	c := *b
	c.h, c.seen, c.strain, c.done, c.round = slices.Clone(b.start), slices.Clone(b.startSeen), slices.Clone(b.strain), nil, 0
	c.missSlope, c.missHeight = make([]float64, len(b.h)), make([]float64, len(b.h))
	return &c
}

func (b *bench) at(i int) (x, y float64) { return b.grid.XY(i%b.grid.Cols, i/b.grid.Cols) }

// each visits the cells within r mm of a place.
func (b *bench) each(x, y, r float64, f func(i int, dist float64)) {
	c, q := b.grid.Cell(x, y)
	n := int(r/cellMM) + 1
	for j := max(0, int(q)-n); j <= min(b.grid.Rows-1, int(q)+n); j++ {
		for i := max(0, int(c)-n); i <= min(b.grid.Cols-1, int(c)+n); i++ {
			if d := cellMM * math.Hypot(float64(i)-c, float64(j)-q); d <= r {
				f(j*b.grid.Cols+i, d)
			}
		}
	}
}

// trusted is what of a set is told where the height is uncertain: its share that is not noise.
func (b *bench) trusted(cell int, set float64) float64 {
	v, s := set*set, b.sigma[cell]*b.sigma[cell]
	if !(v+s > 0) {
		return set
	}
	return set * v / (v + s)
}

// book makes a hit of set at a cell with its tool, within what the film still stands there, and returns it.
func (b *bench) book(cell, k int, t touch, set float64, c grip) worked {
	x, y := b.at(cell)
	w := worked{stage: b.stageOf(cell, t), mark: k, cell: cell, grip: c,
		Hit: Hit{Mark: b.marks[k].ID, XMM: math.Round(10*x) / 10, YMM: math.Round(10*y) / 10, Method: c.method, Tool: c.tool, Held: t != free, Sharp: t == sharp}}
	r := b.grips.reply(c.tip)
	if most := b.filmUM(cell, c); math.Abs(set) > most {
		set = math.Copysign(most, set)
	}
	w.SetUM, w.FromUM = set, b.h[cell]
	w.ForceN = c.lean * r.force(set)
	w.StrainPct = c.filmShare * r.strain(set)
	if c.method == "push" {
		if bar, ok := b.in.Rack.BarFor(c.area.ReachMM, c.area.GapMM, c.tool, w.ForceN); ok {
			w.Bar, w.HandN = bar.Name, w.ForceN/bar.Leverage()
		}
	}
	b.each(x, y, strainMM, func(i int, d float64) { b.strain[i] += strainMiss * w.StrainPct * (1 - d/strainMM) })
	return w
}

// filmUM is the largest set that the film stands at a cell and around it.
func (b *bench) filmUM(cell int, c grip) float64 {
	if b.capability <= 0 {
		return maxSetUM
	}
	r := b.grips.reply(c.tip)
	room := math.Inf(1)
	x, y := b.at(cell)
	b.each(x, y, strainMM-cellMM/2, func(i int, d float64) {
		room = min(room, (strainShare*b.capability-b.strain[i])/(1-d/strainMM)/c.filmShare/strainMiss)
	})
	if room <= r.strainPct[0] {
		return 0
	}
	return interpolate(room, r.strainPct, r.setUM)
}

// shape is what a hit leaves.
func (b *bench) shape(t touch, c grip) *shape {
	f := b.field(t, c)
	s, ok := b.shapes[f]
	if !ok {
		s = newShape(f)
		b.shapes[f] = s
	}
	return s
}

func (b *bench) field(t touch, c grip) *field {
	here := b.fields
	if c.here != nil {
		here = c.here
	}
	if t == free && c.tabMM > 0 {
		f, ok := b.tabs[tab{here, c.tabMM}]
		if !ok {
			f = here.wide.spreadOver(c.tabMM)
			b.tabs[tab{here, c.tabMM}] = f
		}
		return f
	}
	return here.of(t)
}

// tab is a tab of a radius where fields are such.
type tab struct {
	here     *fields
	radiusMM float64
}

// bump adds a hit's shape, times set, to v.
func (b *bench) bump(v []float64, cell int, f *field, set float64) {
	c, r := cell%b.grid.Cols, cell/b.grid.Cols
	w := 2*f.n + 1
	c0, c1 := max(0, c-f.n), min(b.grid.Cols-1, c+f.n)
	for j := max(0, r-f.n); j <= min(b.grid.Rows-1, r+f.n); j++ {
		from := f.v[(j-r+f.n)*w+c0-c+f.n:]
		to := v[j*b.grid.Cols+c0 : j*b.grid.Cols+c1+1]
		for i := range to {
			to[i] += set * from[i]
		}
	}
}

// lift is the height under the tool over where the metal stood, um; a tap has none.
func (b *bench) lift(c grip, setUM float64) float64 {
	if c.method == "tap" {
		return setUM
	}
	return b.grips.reply(c.tip).loaded(setUM)
}
