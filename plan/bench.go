package plan

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"sort"

	"fairmetal/mark"
	"fairmetal/metal"
	"fairmetal/rack"
)

// bench is the simulated panel: heights in um on a raster, worked by hits.
type bench struct {
	in         Input
	marks      []mark.Mark
	x0, y0     float64
	cols, rows int
	h          []float64 // NaN outside
	strain     []float64 // accumulated, per cent
	owner      []int     // mark index + 1 of cells that have to become fair, 0 elsewhere
	wide, fine []float64 // shape of a hit by distance, 1 at the hit, per cell of cellMM
	done       []worked
	start      []float64 // h before the first hit
	scatter    *scatter
	capability float64
}

type worked struct {
	Hit
	stage Stage
	mark  int
	tip   metal.Tip
}

// scatter makes hits miss: a normal deviate of placeMM in each direction and of amount.
type scatter struct {
	seed uint64
	rnd  *rand.Rand
}

const (
	cellMM     = 1.5
	reachMM    = 130.0 // beyond it a hit is not followed
	placeMM    = 1.0
	amount     = 0.20
	maxSetUM   = 260.0 // in one hit: beyond it tips punch points
	maxHits    = 900
	perRound   = 45 // hits before the panel is measured again
	marginCell = 3
	// strainShare of what the film stands is planned with: hits scatter by a fifth, metal by a seventh.
	strainShare = 0.7
)

// newBench lays the surface on the bench's raster around the marks.
func newBench(in Input, marks []mark.Mark, s *scatter) *bench {
	b := &bench{in: in, marks: marks, scatter: s, capability: in.Film.CapabilityPct(in.TempC)}
	if s != nil {
		s.rnd = rand.New(rand.NewPCG(s.seed, 0x9a7))
	}
	g := in.Surface.Grid
	b.x0, b.y0 = g.X0MM, g.Y0MM
	b.cols, b.rows = int(float64(g.Cols-1)*g.PitchMM/cellMM)+1, int(float64(g.Rows-1)*g.PitchMM/cellMM)+1
	b.h, b.strain, b.owner = make([]float64, b.cols*b.rows), make([]float64, b.cols*b.rows), make([]int, b.cols*b.rows)
	for i := range b.h {
		x, y := b.at(i)
		b.h[i] = 1000 * in.Surface.At(x, y)
	}
	if in.Strain != nil {
		for i := range b.strain {
			b.strain[i] = in.Strain(b.at(i))
		}
	}
	b.start = slices.Clone(b.h)
	for k, m := range marks {
		half := max(m.LengthMM, m.WidthMM)/2 + 2
		b.each(m.XMM, m.YMM, half*1.5, func(i int, r float64) {
			x, y := b.at(i)
			if math.IsNaN(b.h[i]) || !m.Inside(x, y, 1.25, 0) {
				return
			}
			// Where outlines overlap, the nearer middle has it.
			if o := b.owner[i]; o == 0 || math.Hypot(x-marks[o-1].XMM, y-marks[o-1].YMM) > r {
				b.owner[i] = k + 1
			}
		})
	}
	n := int(math.Ceil(reachMM/cellMM)) + 2
	b.wide, b.fine = make([]float64, n), make([]float64, n)
	for i := range n {
		r := float64(i) * cellMM
		b.wide[i] = in.Panel.Field(r)
		// Finishing works the metal between a fine tip and a held knock-down: the bump stays within some 8 mm. Common practice.
		b.fine[i] = b.wide[i] * math.Exp(-r*r/(2*4*4))
	}
	return b
}

func (b *bench) at(i int) (x, y float64) {
	return b.x0 + float64(i%b.cols)*cellMM, b.y0 + float64(i/b.cols)*cellMM
}

// each visits the cells within r mm of a place.
func (b *bench) each(x, y, r float64, f func(i int, dist float64)) {
	c, q := (x-b.x0)/cellMM, (y-b.y0)/cellMM
	n := int(r/cellMM) + 1
	for j := max(0, int(q)-n); j <= min(b.rows-1, int(q)+n); j++ {
		for i := max(0, int(c)-n); i <= min(b.cols-1, int(c)+n); i++ {
			if d := cellMM * math.Hypot(float64(i)-c, float64(j)-q); d <= r {
				f(j*b.cols+i, d)
			}
		}
	}
}

// worst returns the cell farthest over its limit among those of one mark (0: all); lows only, if so asked.
func (b *bench) worst(only int, lowsOnly bool, limit func(owner int) float64) (cell int, found bool) {
	most := 0.0
	for i, o := range b.owner {
		if o == 0 || only != 0 && o != only || b.strain[i] > strainShare*b.capability && b.capability > 0 {
			continue
		}
		v := b.h[i]
		if lowsOnly && v > 0 {
			continue
		}
		if over := math.Abs(v) - limit(o-1); over > most {
			most, cell, found = over, i, true
		}
	}
	return cell, found
}

// hit works one cell by a share of its height and books it.
func (b *bench) hit(cell int, stage Stage, share float64) {
	x, y := b.at(cell)
	k := b.owner[cell] - 1
	from := b.h[cell]
	set := math.Copysign(min(share*math.Abs(from), maxSetUM), -from)
	w := b.tool(x, y, k, stage, set)
	w.FromUM = from
	px, py, done := x, y, w.SetUM
	if b.scatter != nil {
		px, py = x+placeMM*b.scatter.rnd.NormFloat64(), y+placeMM*b.scatter.rnd.NormFloat64()
		done *= max(0.2, 1+amount*b.scatter.rnd.NormFloat64())
	}
	b.bump(b.h, px, py, done, stage)
	b.each(px, py, 4, func(i int, d float64) { b.strain[i] += w.StrainPct * (1 - d/4) })
	b.done = append(b.done, w)
}

// tool chooses method and tool and bounds the set by what the film stands.
func (b *bench) tool(x, y float64, k int, stage Stage, set float64) worked {
	m := b.marks[k]
	w := worked{stage: stage, mark: k, Hit: Hit{Mark: m.ID, XMM: math.Round(10*x) / 10, YMM: math.Round(10*y) / 10, SetUM: set}}
	if set < 0 {
		w.Method, w.Tool = "tap", "knock-down"
		if t, ok := b.in.Rack.TapFor(max(m.WidthMM, 4)); ok {
			w.Tool = t.Name
		}
		tip := metal.Tip{RadiusMM: 5}
		w.ForceN, _ = b.in.Panel.ForceFor(-set, tip)
		w.StrainPct = 0.5 * b.in.Panel.StrainPct(set, tip) // a tap presses the film together under it and stretches its rim
		return w
	}
	reached := b.in.Reach == nil || b.in.Reach(x, y)
	radius := m.RadiusMM
	switch stage {
	case Raise:
		radius = max(radius, 24)
	case Finish:
		radius = min(max(radius/4, 3), 9)
	}
	tip, haveTip := b.in.Rack.TipFor(radius)
	force, err := b.in.Panel.ForceFor(set, tip.Metal())
	if err != nil {
		set = b.in.Panel.SetUM(force, tip.Metal())
	}
	pull := !reached || !haveTip
	// Glue first where it pays: a round low, wide against the sheet, not yet shallow, on sound film, and within what the tab holds.
	if tab, ok := b.in.Rack.TabFor(m.LengthMM, m.WidthMM); ok && stage == Raise {
		holds := tab.Metal().PullOffN(b.in.TempC)
		pays := m.Kind == mark.Round && m.DepthUM > 250 && m.WidthMM > 18 && b.in.Film.Judge() != metal.FilmRepaint
		if (pull || pays) && holds > force {
			w.Method, w.Tool, w.ForceN, w.SetUM, w.tip = "pull", tab.Name, force, set, metal.Tip{Soft: true}
			w.StrainPct = 0.5 * b.in.Panel.StrainPct(set, metal.Tip{Soft: true})
			return w
		}
	}
	if pull {
		w.Method, w.Tool = "pull", "smallest tab"
		if t := smallest(b.in.Rack); t.Name != "" {
			w.Tool = t.Name
			if holds := t.Metal().PullOffN(b.in.TempC); holds < force {
				force = holds
				set = b.in.Panel.SetUM(force, metal.Tip{Soft: true})
			}
		}
		w.tip = metal.Tip{Soft: true}
		w.ForceN, w.SetUM, w.StrainPct = force, set, 0.5*b.in.Panel.StrainPct(set, metal.Tip{Soft: true})
		return w
	}
	w.Method, w.Tool, w.ForceN, w.SetUM, w.tip = "push", tip.Name, force, set, tip.Metal()
	w.StrainPct = b.in.Panel.StrainPct(set, tip.Metal())
	if bar, ok := b.in.Rack.BarFor(0, 0, tip.Name, force); ok {
		w.Bar, w.HandN = bar.Name, force/bar.Leverage()
	}
	return w
}

func smallest(r rack.Rack) rack.Tab {
	var best rack.Tab
	for _, t := range r.Tabs {
		if best.Name == "" || t.LengthMM*t.WidthMM < best.LengthMM*best.WidthMM {
			best = t
		}
	}
	return best
}

// Shares and limits of the stages: raise brings four fifths, level goes to some tens of micrometres, finish to fair.
const (
	raiseLeft  = 0.2
	levelUM    = 26.0
	hitShare   = 0.8
	levelShare = 0.85
)

// work follows the order asked for.
func (b *bench) work() {
	switch b.in.Order {
	case One:
		b.oneAfterAnother()
	case Deepest:
		b.until(0, Level, false, 1, func(int) float64 { return levelUM })
		b.until(0, Finish, false, 1, func(int) float64 { return b.in.FairUM })
	default:
		b.allParts()
	}
}

// allParts works in stages over all marks together.
func (b *bench) allParts() {
	b.until(0, Raise, true, hitShare, func(k int) float64 { return max(raiseLeft*b.marks[k].DepthUM, levelUM) })
	b.until(0, Level, false, levelShare, func(int) float64 { return levelUM })
	b.until(0, Finish, false, 0.9, func(int) float64 { return b.in.FairUM })
}

// oneAfterAnother finishes mark by mark, deepest first, and comes back to what was disturbed.
func (b *bench) oneAfterAnother() {
	for range 6 {
		before := len(b.done)
		for k := range b.marks {
			only := k + 1
			b.until(only, Raise, true, hitShare, func(int) float64 { return max(raiseLeft*b.marks[k].DepthUM, levelUM) })
			b.until(only, Level, false, levelShare, func(int) float64 { return levelUM })
			b.until(only, Finish, false, 0.9, func(int) float64 { return b.in.FairUM })
		}
		if len(b.done) == before {
			return
		}
	}
}

// until hits the worst cell until none is over its limit, or hits stop helping.
func (b *bench) until(only int, stage Stage, lows bool, share float64, limit func(k int) float64) {
	budget := maxHits - len(b.done)
	for range max(0, budget) {
		c, ok := b.worst(only, lows, limit)
		if !ok {
			return
		}
		b.hit(c, stage, share)
	}
}

// order sums the bench up.
func (b *bench) order(name string) Order {
	f := b.forecast()
	o := Order{Name: name, Hits: f.Hits, Minutes: f.Minutes, LeftUM: f.LeftUM}
	for _, s := range b.strain {
		o.WorstPct = max(o.WorstPct, s)
	}
	o.WorstPct = math.Round(100*o.WorstPct) / 100
	return o
}

func (b *bench) forecast() Forecast {
	f := Forecast{Hits: len(b.done), ByStage: map[Stage]int{}}
	for _, w := range b.done {
		f.ByStage[w.stage]++
		f.Minutes += minutes(w)
	}
	for i, o := range b.owner {
		if o != 0 {
			f.LeftUM = max(f.LeftUM, math.Abs(b.h[i]))
		}
	}
	f.Minutes = math.Round(f.Minutes)
	f.Fair = f.LeftUM <= 1.05*b.in.FairUM
	f.LeftUM = math.Round(10*f.LeftUM) / 10
	return f
}

func minutes(w worked) float64 { return minutesOf[w.Method+" "+string(w.stage)] }

// rounds cuts the hits into batches between captures and puts each in working order: mark by mark, deepest first, from its rim to
// its middle, so that the rim is down before the middle is raised against it.
func (b *bench) rounds(in Input) []Round {
	var out []Round
	h := slices.Clone(b.start)
	n := 0
	for _, stage := range []Stage{Raise, Level, Finish} {
		var hits []worked
		for _, w := range b.done {
			if w.stage == stage {
				hits = append(hits, w)
			}
		}
		for part := 0; len(hits) > 0; part++ {
			batch := hits[:min(perRound, len(hits))]
			hits = hits[len(batch):]
			sort.SliceStable(batch, func(i, j int) bool {
				if batch[i].mark != batch[j].mark {
					return batch[i].mark < batch[j].mark
				}
				return b.fromMiddle(batch[i]) > b.fromMiddle(batch[j])
			})
			r := Round{Stage: stage, Title: title(stage, part), Why: why(stage), Watch: watch(stage, in)}
			for _, w := range batch {
				n++
				w.N = n
				b.replay(h, &w)
				r.Hits = append(r.Hits, w.rounded())
				r.Minutes += minutes(w)
			}
			r.Minutes = math.Round(r.Minutes)
			out = append(out, r)
		}
	}
	return out
}

// replay works a hit on h and sets its heights to what is met in working order. Superposition makes the end the same in any order;
// what stands under the tool on the way is not.
func (b *bench) replay(h []float64, w *worked) {
	c, r := int(math.Round((w.XMM-b.x0)/cellMM)), int(math.Round((w.YMM-b.y0)/cellMM))
	from := h[min(max(r, 0), b.rows-1)*b.cols+min(max(c, 0), b.cols-1)]
	w.FromUM, w.ToUM = from, from+w.SetUM
	w.LoadedUM = w.ToUM
	if w.Method != "tap" {
		w.LoadedUM += math.Copysign(b.in.Panel.SpringbackUM(w.ForceN, w.tip), w.SetUM)
	}
	b.bump(h, w.XMM, w.YMM, w.SetUM, w.stage)
}

// bump adds a hit's shape to h.
func (b *bench) bump(h []float64, x, y, set float64, stage Stage) {
	shape := b.wide
	if stage == Finish {
		shape = b.fine
	}
	b.each(x, y, reachMM, func(i int, d float64) {
		q := d / cellMM
		n := int(q)
		f := q - float64(n)
		h[i] += set * ((1-f)*shape[n] + f*shape[n+1])
	})
}

func (b *bench) fromMiddle(w worked) float64 {
	m := b.marks[w.mark]
	return math.Hypot(w.XMM-m.DeepestMM[0], w.YMM-m.DeepestMM[1])
}

func (w worked) rounded() Hit {
	h := w.Hit
	for _, v := range []*float64{&h.FromUM, &h.LoadedUM, &h.ToUM, &h.SetUM, &h.ForceN, &h.HandN} {
		*v = math.Round(*v)
	}
	h.StrainPct = math.Round(100*h.StrainPct) / 100
	return h
}

func title(s Stage, part int) string {
	t := map[Stage]string{Raise: "Raise all lows part-way", Level: "Level highs and lows", Finish: "Finish the micro highs and lows"}[s]
	if part > 0 {
		return fmt.Sprintf("%s, round %d", t, part+1)
	}
	return t
}

func why(s Stage) string {
	return map[Stage]string{
		Raise:  "Neighbouring marks move with each other: bring each about four fifths of the way before any is finished.",
		Level:  "What raising pushed up is tapped down, what stayed low comes up, over and between the marks.",
		Finish: "Small hits with fine tools until no line wobbles.",
	}[s]
}

func watch(s Stage, in Input) []string {
	var w []string
	switch s {
	case Raise:
		w = append(w, "Work to the height under the tool, not to a force: the metal springs back by about the same amount wherever it was.")
		if in.TempC < 30 {
			w = append(w, "Warm paint stands more bending: 40 to 55 C at the skin.")
		}
	case Level:
		w = append(w, "Hold the metal behind a high when you tap it.")
	case Finish:
		w = append(w, "Stop when the next hit would leave more than it takes away; measure again.")
	}
	return w
}
