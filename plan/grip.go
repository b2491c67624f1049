package plan

import (
	"math"
	"slices"

	"fairmetal/mark"
	"fairmetal/metal"
	"fairmetal/rack"
)

// reply is what one tip does on the panel, over a rising list of sets.
type reply struct{ setUM, forceN, loadedUM, strainPct []float64 }

// newReply asks the panel for forces from where something begins to stay to the hardest push.
func newReply(p metal.Panel, tip metal.Tip) *reply {
	const steps, from, to = 60, 0.6, 5.0
	r := &reply{}
	for i := range steps {
		f := p.ForceUnit() * (from + (to-from)*float64(i)/(steps-1))
		set := p.SetUM(f, tip)
		if n := len(r.setUM); n > 0 && set <= r.setUM[n-1] {
			continue
		}
		r.setUM, r.forceN, r.loadedUM = append(r.setUM, set), append(r.forceN, f), append(r.loadedUM, set+p.SpringbackUM(f, tip))
		r.strainPct = append(r.strainPct, p.StrainPct(set, tip))
	}
	return r
}

// interpolate in a rising list, held at its ends.
func interpolate(x float64, xs, ys []float64) float64 {
	i, _ := slices.BinarySearch(xs, x)
	if i == 0 {
		return ys[0]
	}
	if i == len(xs) {
		return ys[len(ys)-1]
	}
	return ys[i-1] + (ys[i]-ys[i-1])*(x-xs[i-1])/(xs[i]-xs[i-1])
}

func (r *reply) force(setUM float64) float64 { return interpolate(math.Abs(setUM), r.setUM, r.forceN) }
func (r *reply) strain(setUM float64) float64 {
	return interpolate(math.Abs(setUM), r.setUM, r.strainPct)
}
func (r *reply) loaded(setUM float64) float64 {
	return interpolate(math.Abs(setUM), r.setUM, r.loadedUM)
}

// grip is how a place is worked: method, tool, and how much one hit may do.
type grip struct {
	method, tool string
	tip          metal.Tip
	lean         float64 // how much harder a leaning push must be
	area         rack.Area
	mostUM       float64 // in one hit
	filmShare    float64 // of the tip's strain that the film takes
	tabMM        float64 // radius of a tab
	here         *fields // of hits at the place; nil: as amid the panel
}

// grips chooses and remembers them.
type grips struct {
	in      Input
	marks   []mark.Mark
	replies map[metal.Tip]*reply
	known   map[gripKey]grip
	pulls   map[int]pull
	ground  *ground // nil: fields do not depend on the place
}

// pull is the first pull of a mark, nothing where it does not pay.
type pull struct {
	grip
	setUM float64
}

type gripKey struct {
	mark  int
	stage Stage
	area  string
	tap   bool
}

func newGrips(in Input, marks []mark.Mark) *grips {
	return &grips{in: in, marks: marks, replies: map[metal.Tip]*reply{}, known: map[gripKey]grip{}, pulls: map[int]pull{}}
}

func (g *grips) reply(t metal.Tip) *reply {
	t.Name, t.RadiusMM = "", 0 // neither decides what stays (package metal)
	r, ok := g.replies[t]
	if !ok {
		r = newReply(g.in.Panel, t)
		g.replies[t] = r
	}
	return r
}

// area tells how a place is reached from behind.
func (in *Input) area(x, y float64) rack.Area {
	a := in.Access.At(x, y)
	if in.Reach != nil && !in.Reach(x, y) {
		a.Behind = false
	}
	return a
}

// at returns how a place of a mark is worked.
func (g *grips) at(x, y float64, k int, stage Stage, tap bool) grip {
	a := g.in.area(x, y)
	key := gripKey{k, stage, a.Name, tap}
	if !a.Behind {
		key.area = ""
	}
	have, ok := g.known[key]
	if !ok {
		have = g.choose(g.marks[k], stage, a, tap)
		g.known[key] = have
	}
	if g.ground != nil {
		have.here = g.ground.at(x, y)
	}
	return have
}

// Tip radii by stage, as the sharpest radius of a low that rack.TipFor is asked for (it takes a third): blunt tips raise, those of
// some 5 to 8 mm level, fine ones finish. Common practice, no source.
func tipFor(m mark.Mark, s Stage) float64 {
	switch s {
	case Raise:
		return max(m.RadiusMM, 24)
	case Level:
		return min(max(m.RadiusMM/2, 9), 24)
	}
	return min(max(m.RadiusMM/4, 3), 9)
}

// gripMM is the least breadth of a high that a knock-down is chosen for.
const gripMM = 4

func (g *grips) choose(m mark.Mark, stage Stage, a rack.Area, tap bool) grip {
	if tap {
		c := grip{method: "tap", tool: "knock-down", tip: metal.Tip{RadiusMM: 5}, lean: 1, mostUM: maxSetUM, filmShare: tapShare}
		if t, ok := g.in.Rack.TapFor(max(m.WidthMM/3, gripMM)); ok {
			c.tool = t.Name
		}
		return c
	}
	tip, ok := g.in.Rack.TipFor(tipFor(m, stage))
	if a.Behind && ok {
		if _, reaches := g.in.Rack.BarFor(a.ReachMM, a.GapMM, tip.Name, 0); reaches || len(g.in.Rack.Bars) == 0 {
			return g.push(tip, a)
		}
		// Another tip that some bar carries there, the nearest in size.
		best := math.Inf(1)
		var other rack.Tip
		for _, t := range g.in.Rack.Tips {
			if _, reaches := g.in.Rack.BarFor(a.ReachMM, a.GapMM, t.Name, 0); reaches && math.Abs(math.Log(t.RadiusMM/tip.RadiusMM)) < best {
				best, other = math.Abs(math.Log(t.RadiusMM/tip.RadiusMM)), t
			}
		}
		if !math.IsInf(best, 1) {
			return g.push(other, a)
		}
	}
	tab := g.tab(m, stage)
	c := grip{method: "pull", tool: tab.Name, tip: metal.Tip{Soft: true}, lean: 1, filmShare: pullShare, tabMM: math.Sqrt(tab.Metal().AreaMM2() / math.Pi)}
	if tab.Name == "" {
		c.tool = "smallest tab"
		return c
	}
	c.mostUM = min(maxSetUM, g.holds(tab))
	return c
}

// maxHandN is what a hand with a back rest gives at most (EN 1005-3, see rack.HandN).
const maxHandN = 275.0

func (g *grips) push(tip rack.Tip, a rack.Area) grip {
	c := grip{method: "push", tool: tip.Name, tip: tip.Metal(), lean: a.Lean(), area: a, mostUM: maxSetUM, filmShare: 1}
	// The strongest bar that gets there bounds the force.
	most := 0.0
	for _, b := range g.in.Rack.Bars {
		if b.ReachMM >= a.ReachMM && (a.GapMM == 0 || b.GapMM <= a.GapMM) && b.Takes(tip.Name) {
			most = max(most, maxHandN*b.Leverage())
		}
	}
	if most > 0 {
		r := g.reply(c.tip)
		c.mostUM = min(c.mostUM, interpolate(most/c.lean, r.forceN, r.setUM))
	}
	return c
}

// tab is the one for pulls where nothing reaches: by the size of the low when raising, the smallest for finer work.
func (g *grips) tab(m mark.Mark, stage Stage) rack.Tab {
	if stage == Raise {
		if t, ok := g.in.Rack.TabFor(m.LengthMM, m.WidthMM); ok && g.holds(t) > worthUM {
			return t
		}
	}
	var best rack.Tab
	for _, t := range g.in.Rack.Tabs {
		if best.Name == "" || t.LengthMM*t.WidthMM < best.LengthMM*best.WidthMM {
			best = t
		}
	}
	if stage == Finish || g.holds(best) > worthUM {
		return best
	}
	for _, t := range g.in.Rack.Tabs {
		if g.holds(t) > g.holds(best) {
			best = t
		}
	}
	return best
}

// Shares of a tip's strain: a tap presses the film together under it and stretches its rim; a tab spreads the bend.
const (
	tapShare  = 0.5
	pullShare = 0.5
	// worthUM is what a pull must leave to be worth its minutes.
	worthUM = 20.0
	// pullC is the skin on which tabs are glued where none of the glues holds on the warmed one.
	pullC = 20.0
)

// glue is what tabs are glued with, and at which temperature of the skin: as it is worked, or before it is warmed.
func (g *grips) glue() (metal.Glue, string, float64) {
	tempC := g.in.TempC
	r, ok := g.in.Rack.GlueFor(tempC)
	if !ok {
		tempC = min(tempC, pullC)
		r, ok = g.in.Rack.GlueFor(tempC)
	}
	known, err := metal.GlueNamed(r.Name)
	if err != nil || !ok {
		known, _ = metal.GlueNamed("")
		if ok {
			known.MPa *= r.Strength
		}
	}
	return known, known.Name, tempC
}

// holds is the set at which a tab is about to let go, um, with the margin that package metal keeps.
func (g *grips) holds(t rack.Tab) float64 {
	if t.Name == "" {
		return 0
	}
	glue, _, tempC := g.glue()
	f, err := g.in.Panel.Pull(metal.Low{DepthUM: maxSetUM, HalfRadiusMM: 10}, t.Metal(), glue, tempC)
	if err != nil {
		return 0
	}
	set := f.SetUM
	if p, ok := g.in.Rack.PullerFor(f.ForceN); ok && p.MaxN < f.ForceN {
		set *= p.MaxN / f.ForceN
	}
	return set
}

// firstPull is a pull on a low as it lies, where pulling first pays: glue holds, the low is as wide as the tab, the film is sound, and
// one pull does the work of several pushes.
func (g *grips) firstPull(k int) pull {
	p, ok := g.pulls[k]
	if !ok {
		p = g.choosePull(g.marks[k])
		if g.ground != nil {
			p.here = g.ground.at(g.marks[k].DeepestMM[0], g.marks[k].DeepestMM[1])
		}
		g.pulls[k] = p
	}
	return p
}

func (g *grips) choosePull(m mark.Mark) pull {
	if m.Kind != mark.Round || m.DepthUM < firstPullUM || g.in.Film.Judge() == metal.FilmRepaint || g.in.Film.Aged {
		return pull{}
	}
	glue, _, tempC := g.glue()
	var best pull
	for _, t := range g.in.Rack.Tabs {
		f, err := g.in.Panel.Pull(metal.Low{DepthUM: m.DepthUM, HalfRadiusMM: halfAtTenth * m.WidthMM / 2}, t.Metal(), glue, tempC)
		if err != nil || !f.Pays {
			continue
		}
		set := min(firstPullShare*m.DepthUM, f.SetUM)
		if p, ok := g.in.Rack.PullerFor(f.ForceN); ok && p.MaxN < f.ForceN {
			set *= p.MaxN / f.ForceN
		}
		if set > max(best.setUM, firstPullUM/2) {
			best = pull{grip{method: "pull", tool: t.Name, tip: metal.Tip{Soft: true}, lean: 1, filmShare: pullShare, tabMM: math.Sqrt(t.Metal().AreaMM2() / math.Pi), mostUM: f.SetUM}, set}
		}
	}
	return best
}

const (
	// firstPullUM: a pull takes as long as nine pushes (minutesOf), and nine pushes raise some 360 um.
	firstPullUM = 360.0
	// firstPullShare leaves room for what the tab raises around the middle.
	firstPullShare = 0.75
	// halfAtTenth is the half radius of a bell over its radius at a tenth, sqrt(ln 2/ln 10).
	halfAtTenth = 0.549
)
