package rehearse

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"fairmetal/fair"
	"fairmetal/mark"
	"fairmetal/metal"
	"fairmetal/plan"
	"fairmetal/rack"
	"fairmetal/surface"
	"fairmetal/verdict"
)

// Case is the outcome of one job.
type Case struct {
	Seed      uint64     `json:"seed"`
	Material  string     `json:"material"`
	CrownMM   float64    `json:"crown_mm"` // 0: flat
	Marks     int        `json:"marks"`
	Groups    bool       `json:"interacting"`
	DeepestUM float64    `json:"deepest_um"` // at the start
	Harder    float64    `json:"harder"`     // true yield over the one believed at first
	Strategy  string     `json:"strategy"`
	Paint     fair.Paint `json:"paint"`
	Declined  bool       `json:"declined"`
	Why       string     `json:"why,omitempty"` // declined, or stopped
	// Fair: the hand-over check of the last capture says so, by the default limits of the paint, and the film was not bent over its limit.
	Fair bool `json:"fair"`
	// FairCheck is the answer of that check, WobbleMRad and CurvaturePerM its worst wobble and its sharpest short wave.
	FairCheck     fair.Answer `json:"fair_check,omitempty"`
	WobbleMRad    float64     `json:"wobble_mrad"`
	CurvaturePerM float64     `json:"short_curvature_per_m"`
	Hits          int         `json:"hits"`
	HitsLow       int         `json:"hits_low"`
	HitsHigh      int         `json:"hits_high"`
	InRange       bool        `json:"in_range"`
	Rounds        int         `json:"rounds"`
	StrainPct     float64     `json:"worst_strain_pct"`
	LimitPct      float64     `json:"strain_limit_pct"`
	FilmPct       float64     `json:"strain_forecast_pct"`
	Told          int         `json:"told"` // hits of the first plan if all had landed as told
	LeftUM        float64     `json:"worst_left_um"`
	Minutes       float64     `json:"minutes"`
}

// Sum adds cases up.
type Sum struct {
	Cases      int     `json:"cases"`
	Declined   int     `json:"declined"`
	Fair       int     `json:"fair"`
	InRange    int     `json:"fair_in_range"`
	Worse      int     `json:"ended_worse"`
	OverStrain int     `json:"over_strain"`
	Hits       int     `json:"hits"`
	Minutes    float64 `json:"minutes"`
}

const (
	// maxRounds ends a job that does not come to its end.
	maxRounds = 30
	skinC     = 45.0
)

// Run works cases seed, seed+1, ... with one strategy (an order of package plan).
func Run(n int, seed uint64, strategy string) ([]Case, Sum, error) {
	var cases []Case
	var sum Sum
	for i := range n {
		c, err := one(seed+uint64(i), strategy)
		if err != nil {
			return nil, sum, fmt.Errorf("case %d: %w", seed+uint64(i), err)
		}
		cases = append(cases, c)
		sum.add(c)
	}
	return cases, sum, nil
}

func (s *Sum) add(c Case) {
	s.Cases++
	if c.Declined {
		s.Declined++
		return
	}
	if c.Fair {
		s.Fair++
	}
	if c.Fair && c.InRange {
		s.InRange++
	}
	if c.LeftUM > c.DeepestUM {
		s.Worse++
	}
	if c.StrainPct > c.LimitPct {
		s.OverStrain++
	}
	s.Hits += c.Hits
	s.Minutes += c.Minutes
}

// draw makes a panel up: what it is, what is believed of it, its dents, its film and its colour.
func draw(rnd *rand.Rand) (believed, true_ metal.Panel, dents []dent, film metal.Film, paint fair.Paint) {
	span := func(lo, hi float64) float64 { return lo + (hi-lo)*rnd.Float64() }
	name, t := "mild steel", span(0.65, 0.8)
	if rnd.Float64() < 0.3 {
		name, t = "aluminium 6xxx", span(0.9, 1.1)
	}
	m, _ := metal.Lookup(name)
	believed = metal.Panel{Sheet: metal.Sheet{Material: m, ThicknessMM: t}, SupportMM: span(100, 180)}
	if rnd.Float64() < 0.8 {
		believed.RadiusMM = span(1500, 6000)
	}
	true_ = believed
	true_.Material = m.WithYield(m.YieldMPa * span(0.95, 1.15))
	true_.RadiusMM *= span(0.85, 1.15)
	film = metal.Film{ThicknessUM: span(90, 140)}
	switch {
	case rnd.Float64() < 0.08:
		film.ThicknessUM = span(450, 900) // filled once
	case rnd.Float64() < 0.08:
		film.ThicknessUM = span(190, 300) // painted again
	}
	n := 1 + rnd.IntN(5)
	for range n * 4 {
		w := span(16, 40) // breadth at a tenth of the depth
		d := dent{x: span(-65, 65), y: span(-38, 38), sx: w / 4.29, sy: w / 4.29 * span(0.75, 1), depth: math.Exp(span(math.Log(60), math.Log(min(600, 18*w))))}
		d.rim = d.depth * span(0, 0.05)
		d.sin, d.cos = math.Sincos(span(0, math.Pi))
		clear := true
		for _, o := range dents {
			clear = clear && math.Hypot(o.x-d.x, o.y-d.y) > 2.6*(o.sx+d.sx)
		}
		if clear && len(dents) < n {
			dents = append(dents, d)
		}
	}
	return believed, true_, dents, film, []fair.Paint{fair.Black, fair.Dark, fair.Mid, fair.Pale}[rnd.IntN(4)]
}

func one(seed uint64, strategy string) (Case, error) {
	rnd := rand.New(rand.NewPCG(seed, 0x4e4ea5e))
	believed, is, dents, film, paint := draw(rnd)
	limits := fair.DefaultLimits(paint)
	r := newReality(is, dents, rnd)
	c := Case{Seed: seed, Material: believed.Name, CrownMM: math.Round(believed.RadiusMM), Harder: math.Round(1000*is.YieldMPa/believed.YieldMPa) / 1000,
		Strategy: strategy, Paint: paint, LimitPct: film.CapabilityPct(skinC)}
	tools := rack.Default()
	last := math.Inf(1)
	stuck := 0
	var left float64
	heard, err := plan.NewHeard(believed, tools)
	if err != nil {
		return c, err
	}
	var done *plan.Round
	var seen *surface.Surface
	var check fair.Verdict
	var shape plan.Shape
	for {
		s := r.measured()
		if done != nil {
			heard.Round(*done, seen, s)
			believed = heard.Panel()
			shape, _ = heard.Shape()
		}
		if check, err = fair.Judge(s, limits); err != nil {
			return c, err
		}
		marks := r.seen(s, check)
		left = r.left()
		if c.Rounds == 0 {
			c.Marks, c.DeepestUM = len(marks), math.Round(left)
			if v := verdict.Judge(verdict.Input{Marks: marks, Panel: believed, Film: film}); v.Answer == verdict.No {
				c.Declined, c.Why = true, firstNo(v)
				return c, nil
			}
		}
		if check.Answer == fair.Yes || c.Rounds >= maxRounds {
			break
		}
		// Rounds that no longer pay are stopped: six without a tenth less wobble.
		if check.Worst.WobbleMRad > 0.9*last {
			if stuck++; stuck >= 6 {
				c.Why = "rounds stopped paying"
				break
			}
		} else {
			stuck, last = 0, check.Worst.WobbleMRad
		}
		p, err := plan.Make(plan.Input{Surface: s, Marks: marks, Panel: believed, Film: film, TempC: skinC, Rack: tools, Order: strategy, NextOnly: c.Rounds > 0, Limits: limits, Shape: shape,
			Strain: func(x, y float64) float64 { return r.at(r.strain, x, y) }})
		if err != nil {
			return c, err
		}
		if c.Rounds == 0 {
			c.HitsLow, c.HitsHigh = p.Forecast.HitsLow, p.Forecast.HitsHigh
			c.FilmPct, c.Told = p.Forecast.StrainPct, p.Forecast.Told
			c.Groups = len(p.Groups) < len(marks)
			if p.Declined != "" {
				c.Declined, c.Why = true, p.Declined
				return c, nil
			}
		}
		if len(p.Rounds) == 0 {
			c.Why = "no hit is left that tools, hand and film allow"
			break
		}
		round := p.Rounds[0]
		r.work(round, tools)
		done, seen = &round, s
		c.Rounds++
		c.Hits += len(round.Hits)
		c.Minutes += round.Minutes
	}
	c.LeftUM = math.Round(10*left) / 10
	c.StrainPct = math.Round(100*slices.Max(r.strain)) / 100
	c.FairCheck, c.WobbleMRad, c.CurvaturePerM = check.Answer, math.Round(10*check.Worst.WobbleMRad)/10, math.Round(100*check.Bands[0].Curvature.Value)/100
	c.Fair = check.Answer == fair.Yes && c.StrainPct <= c.LimitPct
	c.InRange = c.Hits >= c.HitsLow && c.Hits <= c.HitsHigh
	return c, nil
}

func firstNo(v verdict.Verdict) string {
	for _, m := range v.Marks {
		for _, q := range m.Reasons {
			if q.Answer == verdict.No {
				return q.Text
			}
		}
	}
	for _, q := range v.Reasons {
		if q.Answer == verdict.No {
			return q.Text
		}
	}
	return "declined"
}

// left is the height farthest from the form, um, within the part that is looked at.
func (r *reality) left() (um float64) {
	for i, v := range r.fairForm() {
		if x, y := r.XY(i%r.Cols, i/r.Cols); math.Abs(x) < workX && math.Abs(y) < workY {
			um = max(um, math.Abs(v))
		}
	}
	return um
}

// spotMM is the breadth of a spot that the technician marks.
const spotMM = 12.0

// seen are the marks on a surface: those found, and the spot where a line wobbles most if it is in none of them, which the technician sees.
func (r *reality) seen(s *surface.Surface, check fair.Verdict) []mark.Mark {
	marks := mark.Find(s, mark.Options{})
	x, y := check.Worst.XMM, check.Worst.YMM
	for i := range marks {
		if marks[i].Inside(x, y, 1, 0) {
			return marks
		}
	}
	um := max(math.Abs(1000*s.At(x, y)), plan.FairUM(check.Limits))
	m := mark.Mark{ID: "spot", Kind: mark.Round, XMM: x, YMM: y, LengthMM: spotMM, WidthMM: spotMM, DepthUM: um, DeepestMM: [2]float64{x, y}, RadiusMM: spotMM * spotMM / (8 * um / 1000)}
	if s.At(x, y) > 0 {
		m.Kind = mark.High
	}
	return append(marks, m)
}

// work makes a round's hits: each is brought to the height under the tool that the plan gives, taps to the height after; held ones are made as large
// as told, by how the line straightens.
func (r *reality) work(round plan.Round, tools rack.Rack) {
	soft := map[string]bool{}
	for _, t := range tools.Tips {
		soft[t.Name] = t.Metal().Soft
	}
	tabs := map[string]float64{}
	for _, t := range tools.Tabs {
		tabs[t.Name] = math.Sqrt(t.Metal().AreaMM2() / math.Pi)
	}
	for _, h := range round.Hits {
		before := r.stands(h.XMM, h.YMM)
		tip := metal.Tip{Soft: h.Method == "pull" || soft[h.Tool]}
		tap, most := h.Method == "tap", 1.5*math.Abs(h.SetUM)+2
		if h.Held {
			r.hit(blow{x: h.XMM, y: h.YMM, set: h.SetUM, tip: tip, held: true, sharp: h.Sharp, tap: tap})
			continue
		}
		if tap {
			// Light blows, looked at one by one: up to what is wanted.
			set := h.ToUM - before
			r.hit(blow{x: h.XMM, y: h.YMM, set: math.Copysign(min(math.Abs(set), most), set), tip: tip, tap: true})
			continue
		}
		l := h.LoadedUM - before
		if l <= 0 {
			continue // it stands there already
		}
		// A push that begins to leave far more than is told is let go.
		r.hit(blow{x: h.XMM, y: h.YMM, set: min(r.panel.SetAtHeightUM(l, tip), most), tip: tip, tabMM: tabs[h.Tool]})
	}
}
