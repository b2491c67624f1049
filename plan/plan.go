// Package plan turns a measured surface into rounds of hits that bring the panel to fair.
//
// In: surface, marks, panel, film, rack, access. Out: a Plan: rounds in stages (raise, level, finish), each hit with place, tool,
// height under the tool and after letting go, rough hand force; who disturbs whom; a forecast of hits and minutes with a range; and
// what other working orders would cost.
//
// The forecast simulates hits on the measured surface by superposition: a hit of set s adds s times the shape that package metal
// gives, near and far. docs/method/plan.md says where that holds.
package plan

import (
	"fmt"

	"fairmetal/fair"
	"fairmetal/mark"
	"fairmetal/metal"
	"fairmetal/rack"
	"fairmetal/surface"
)

// Stage of the work.
type Stage string

// Stages in order.
const (
	Raise  Stage = "raise"
	Level  Stage = "level"
	Finish Stage = "finish"
)

// Hit is one push, pull or tap.
type Hit struct {
	N         int     `json:"n"` // in working order over the whole plan
	Mark      string  `json:"mark"`
	Method    string  `json:"method"` // push, pull or tap
	Tool      string  `json:"tool"`
	Held      bool    `json:"held,omitempty"`  // against a knock-down that is held on the other side, so that the neighbours stay
	Sharp     bool    `json:"sharp,omitempty"` // held, and with the sharpest tip
	Bar       string  `json:"bar,omitempty"`
	XMM       float64 `json:"x_mm"`
	YMM       float64 `json:"y_mm"`
	FromUM    float64 `json:"from_um"`   // height before
	LoadedUM  float64 `json:"loaded_um"` // height while the tool holds it
	ToUM      float64 `json:"to_um"`     // height after letting go
	SetUM     float64 `json:"set_um"`
	ForceN    float64 `json:"force_n"` // at the tip, rough
	HandN     float64 `json:"hand_n"`  // at the hand, by the bar's leverage
	StrainPct float64 `json:"strain_pct"`
}

// Round is a batch of hits between two captures.
type Round struct {
	Stage   Stage    `json:"stage"`
	Title   string   `json:"title"`
	Why     string   `json:"why"`
	Order   string   `json:"order"` // of the hits, and why
	Hits    []Hit    `json:"hits"`
	Minutes float64  `json:"minutes"`
	Watch   []string `json:"watch"`
}

// Influence is what raising one mark by 100 does to another.
type Influence struct {
	From    string  `json:"from"`
	To      string  `json:"to"`
	Percent float64 `json:"percent"`  // of what the one is raised by
	MovesUM float64 `json:"moves_um"` // when it is raised by its whole depth
}

// Order is a working order with its forecast.
type Order struct {
	Name     string  `json:"name"`
	Hits     int     `json:"hits"`
	Minutes  float64 `json:"minutes"`
	WorstPct float64 `json:"worst_strain_pct"`
	LeftUM   float64 `json:"left_um"` // worst residual
	Note     string  `json:"note"`
}

// Forecast is what the work will take.
type Forecast struct {
	Told     int           `json:"told"` // hits that the rounds list: if all land as told
	Hits     int           `json:"hits"` // that jobs like this take, with what has to be worked again
	HitsLow  int           `json:"hits_low"`
	HitsHigh int           `json:"hits_high"`
	Share    float64       `json:"share"` // of jobs that end between
	ByStage  map[Stage]int `json:"by_stage"`
	Minutes  float64       `json:"minutes"` // at the metal, without set-up
	MinLow   float64       `json:"minutes_low"`
	MinHigh  float64       `json:"minutes_high"`
	LeftUM   float64       `json:"left_um"`
	// WobbleMRad is the most that a reflected line then still wobbles where the metal was worked, LeftUM how far the metal stands off the smooth
	// course, both as the eye sees it. Fair: neither is over its limit, and every mark could be planned for.
	WobbleMRad float64 `json:"wobble_mrad"`
	Fair       bool    `json:"fair"`
	// StrainPct is what the film takes at the worst place in sum, LimitPct what it stands.
	StrainPct float64 `json:"strain_pct"`
	LimitPct  float64 `json:"limit_pct"`
}

// Plan is the whole.
type Plan struct {
	Format     int         `json:"format"`
	Material   string      `json:"material"`
	Thickness  float64     `json:"thickness_mm"`
	TempC      float64     `json:"temp_c"`
	Rounds     []Round     `json:"rounds"`
	Forecast   Forecast    `json:"forecast"`
	Influences []Influence `json:"influences"`
	Groups     [][]string  `json:"groups"` // marks that must be worked together
	Orders     []Order     `json:"orders"`
	Bound      Bound       `json:"bound"`
	Declined   string      `json:"declined,omitempty"` // why the work is better not begun
	Skipped    []Skip      `json:"skipped"`
	Cautions   []string    `json:"cautions"`
}

// Skip is a mark that is not worked, and why.
type Skip struct {
	Mark string `json:"mark"`
	Why  string `json:"why"`
}

// Input is what is planned for.
type Input struct {
	Surface   *surface.Surface
	Marks     []mark.Mark
	Panel     metal.Panel
	Film      metal.Film
	TempC     float64 // of the skin while worked; 0: 20
	Rack      rack.Rack
	PanelKind string // roof, door, bonnet, wing, tailgate, ...: for the cautions
	Reach     func(x, y float64) bool
	// Limits are those of the hand-over check, which the plan works to; the zero value: those for black paint.
	Limits fair.Limits
	FairUM float64 // height that counts as fair; 0: FairUM of the limits
	// Strain, which may be nil, is what earlier rounds have cost the film at a place already, per cent.
	Strain func(x, y float64) float64
	// Access tells how places are reached from behind and where the skin is held; the zero value: everywhere, and nowhere near. Reach, which may be nil, may forbid more.
	Access rack.Access
	// Crown is the form's curvature both ways; zero: that of Panel.RadiusMM.
	Crown metal.Crown
	// Order is the working order; Staged if left out.
	Order string
	// NextOnly leaves out the range of the forecast and the other working orders: for the rounds after the first.
	NextOnly bool
	// Shape is what earlier rounds have told of the fields (Heard.Shape).
	Shape Shape
}

// Working orders.
const (
	Staged  = "staged"  // raise all part-way, level, finish
	One     = "one"     // one mark after another to the end
	Deepest = "deepest" // always the deepest point
)

// FairUM is the height left over that nobody sees where slopes are within the limits: 9 um a mrad of slope, as on a mark some 18 mm wide
// (slope about 2 d/width). Common practice, no source.
func FairUM(l fair.Limits) float64 { return 9 * l.SlopeMRad }

// Times of one hit with finding the place, min. From memory of the trade, to be re-fitted from own jobs.
var minutesOf = map[string]float64{"push raise": 0.4, "push level": 0.28, "push finish": 0.2, "tap level": 0.22, "tap finish": 0.18, "pull raise": 3.5, "pull level": 3, "pull finish": 3, "tap raise": 0.25}

// Make plans the work. An unusable input is an error; a panel without marks gives an empty plan.
func Make(in Input) (Plan, error) {
	if in.Surface == nil || in.Surface.Len() == 0 {
		return Plan{}, fmt.Errorf("there is no measured surface to plan on; measure a capture first")
	}
	if len(in.Rack.Tips) == 0 && len(in.Rack.Tabs) == 0 {
		return Plan{}, fmt.Errorf("the rack holds neither tips nor tabs; add what you work with")
	}
	if in.TempC == 0 {
		in.TempC = 20
	}
	if in.Limits == (fair.Limits{}) {
		in.Limits = fair.DefaultLimits(fair.Black)
	}
	if err := in.Limits.Check(); err != nil {
		return Plan{}, err
	}
	if in.FairUM == 0 {
		in.FairUM = FairUM(in.Limits)
	}
	p := Plan{Format: 1, Material: in.Panel.Name, Thickness: in.Panel.ThicknessMM, TempC: in.TempC,
		Rounds: []Round{}, Influences: []Influence{}, Groups: [][]string{}, Orders: []Order{}, Skipped: []Skip{}, Cautions: Cautions(in.PanelKind, in.TempC)}
	var known, work []mark.Mark
	for _, m := range in.Marks {
		if m.Folded {
			p.Skipped = append(p.Skipped, Skip{m.ID, "its depth is not known: measure it with a shifted set first"})
			continue
		}
		known = append(known, m)
	}
	unknown := len(known) < len(in.Marks)
	start := newBench(in, known, nil)
	for k, over := range start.overByMark() {
		if m := known[k]; over <= 1 && m.DepthUM < in.FairUM {
			p.Skipped = append(p.Skipped, Skip{m.ID, "fair already"})
		} else {
			work = append(work, m)
		}
	}
	if len(work) == 0 {
		p.Forecast = Forecast{Fair: !unknown, ByStage: map[Stage]int{}}
		return p, nil
	}
	g, err := newGround(in.Panel, in.Crown, in.Access)
	if err != nil {
		return Plan{}, err
	}
	g = g.shaped(in.Shape)
	start.work(work)
	start.fields, start.grips.ground = g.mid, g
	if p.Influences, start.groups, err = start.interaction(); err != nil {
		return Plan{}, err
	}
	p.Groups = names(work, start.groups)
	b := start.again()
	if in.plain() {
		b.plain(in.Order)
	} else {
		b.staged()
	}
	p.Rounds = b.rounds()
	p.Forecast = b.forecast()
	p.Forecast.Fair = p.Forecast.Fair && !unknown
	if !in.NextOnly {
		p.Declined = p.Forecast.decline(in)
		p.Bound = b.bound()
		p.compare(start)
	}
	return p, nil
}

// Cautions are the usual ones for a kind of panel whose skin is worked at tempC; the vehicle maker's instructions, local rules and licensed
// practice come first.
func Cautions(panelKind string, tempC float64) []string {
	c := []string{"Follow the vehicle maker's instructions and local rules; leave airbags, high voltage and glass to those licensed for them."}
	switch panelKind {
	case "roof":
		c = append(c, "Curtain airbags and their gas generators lie behind the roof rails: no bars there, battery off as the maker says before the headliner comes down.", "Keep levers off the glass and its adhesive.")
	case "door":
		c = append(c, "Side airbag sensors and wiring in the door: unplug only as the maker says. Window up or down and held before a bar goes in.")
	case "bonnet":
		c = append(c, "Pedestrian-protection actuators under some bonnets: make safe as the maker says. Prop the bonnet so that a push cannot throw it off.")
	case "tailgate":
		c = append(c, "Gas struts hold the tailgate: prop it. Keep levers off the rear window.")
	}
	if tempC > 30 {
		c = append(c, "Heat: no flame or solvent nearby; measure the skin, never over 80 C; wiring, foam and glass behind take less.")
	}
	return append(c, "Hot glue burns; wear eye protection when a tab may let go under a slide hammer.")
}
