package compare

import (
	"fmt"
	"math"
	"slices"

	"fairmetal/mark"
	"fairmetal/metal"
	"fairmetal/plan"
	"fairmetal/rack"
	"fairmetal/surface"
)

// Done is a round of hits between two captures in one frame.
type Done struct {
	Round         plan.Round
	Before, After *surface.Surface
}

// Work is a job so far: what was forecast at its start, and its rounds.
type Work struct {
	Forecast plan.Forecast
	Panel    metal.Panel // as planned with at the start
	Film     metal.Film
	TempC    float64 // of the skin while worked
	Rack     rack.Rack
	Crown    metal.Crown // of the form, and where the skin is held, as planned with
	Access   rack.Access
	Done     []Done
	Marks    []mark.Mark // on the last capture
}

// Story is what the rounds have told.
type Story struct {
	Hits     int     `json:"hits"` // made
	HitsLow  int     `json:"hits_low"`
	HitsHigh int     `json:"hits_high"`
	Harder   float64 `json:"harder"` // yield over that of the plan
	HarderSD float64 `json:"harder_sd"`
	YieldMPa float64 `json:"yield_mpa"` // to plan the next round with
	// Shape is how hits move the metal around over what was worked out, and Lows what each low that was raised has told; both for the next round.
	Shape     plan.Shape     `json:"shape"`
	Lows      []plan.Stretch `json:"lows"`
	StrainPct float64        `json:"strain_pct"`
	LimitPct  float64        `json:"strain_limit_pct"`
	// LeftUM is the height farthest off after each round, of the marks; the first entry before any.
	LeftUM   []float64 `json:"left_um"`
	Says     string    `json:"says"` // what the metal told, in a sentence
	Warnings []string  `json:"warnings"`
}

// Made says how many hits were made against the forecast.
func (s Story) Made() string {
	if s.HitsHigh == 0 {
		return fmt.Sprintf("%d hits made", s.Hits)
	}
	return fmt.Sprintf("%d hits made, %d to %d forecast", s.Hits, s.HitsLow, s.HitsHigh)
}

// Bent says what the film has been through at the worst place; "" where it is not known what it stands.
func (s Story) Bent() string {
	if s.LimitPct <= 0 {
		return ""
	}
	return fmt.Sprintf("the film was bent by %.1f %% in sum and stands %.1f %%", s.StrainPct, s.LimitPct)
}

const (
	// heardPct: less harder or softer than this the next round's heights hardly change.
	heardPct = 2.0
	// paysShare: a round that leaves more than this share of what was off has not paid; two of them in a row are a warning.
	paysShare = 0.9
	// strainWarnShare of what the film stands.
	strainWarnShare = 0.75
	// stretchWarnPct is the excess area from which a low counts as stretched (package verdict's bound of risk).
	stretchWarnPct = 0.5
)

// Tell sums the rounds up: hits against the forecast, what the metal told (plan.Heard), and warnings where rounds stop paying, strain adds up or
// a low turns out stretched. It needs at least one round.
func Tell(w Work) (Story, error) {
	if len(w.Done) == 0 {
		return Story{}, fmt.Errorf("no round has been worked yet; work one, capture the panel again and compare")
	}
	heard, err := plan.NewHeard(w.Panel, w.Rack)
	if err != nil {
		return Story{}, err
	}
	if err := heard.On(w.Crown, w.Access); err != nil {
		return Story{}, err
	}
	s := Story{HitsLow: w.Forecast.HitsLow, HitsHigh: w.Forecast.HitsHigh, LimitPct: w.Film.CapabilityPct(w.TempC), Warnings: []string{}}
	s.LeftUM = append(s.LeftUM, farthest(w.Done[0].Before))
	var film []metal.FilmHit
	for _, d := range w.Done {
		heard.Round(d.Round, d.Before, d.After)
		s.Hits += len(d.Round.Hits)
		s.LeftUM = append(s.LeftUM, farthest(d.After))
		for _, h := range d.Round.Hits {
			film = append(film, metal.FilmHit{XMM: h.XMM, YMM: h.YMM, StrainPct: h.StrainPct})
		}
	}
	s.Harder, s.HarderSD = heard.Factor()
	s.YieldMPa = math.Round(heard.Panel().YieldMPa)
	worst, x, y := metal.WorstPct(film)
	s.StrainPct = math.Round(100*worst) / 100
	s.Shape, _ = heard.Shape()
	s.Lows = heard.Lows()
	s.Says = heardWords(s, heard, w)
	s.warn(w, x, y)
	s.Harder, s.HarderSD = math.Round(1000*s.Harder)/1000, math.Round(1000*s.HarderSD)/1000
	return s, nil
}

func heardWords(s Story, heard *plan.Heard, w Work) string {
	pct, sd := 100*(s.Harder-1), 100*s.HarderSD
	if heard.Hits == 0 {
		return "no push has told yet how hard the metal is"
	}
	if math.Abs(pct) < max(heardPct, sd) {
		return fmt.Sprintf("the metal is as hard as its name says (%+.0f %%, give or take %.0f)", pct, sd)
	}
	word := "harder"
	if pct < 0 {
		word = "softer"
	}
	return fmt.Sprintf("the metal is %.0f %% %s than its name says (give or take %.0f)%s", math.Abs(pct), word, sd, pushWords(w, heard.Panel()))
}

// pushWords tells what a usual push of the rounds is worked to on the metal as heard, in place of what its name asks for.
func pushWords(w Work, is metal.Panel) string {
	var sets []float64
	for _, d := range w.Done {
		for _, h := range d.Round.Hits {
			if h.Method == "push" && !h.Held {
				sets = append(sets, h.SetUM)
			}
		}
	}
	if len(sets) == 0 {
		return ""
	}
	slices.Sort(sets)
	set := sets[len(sets)/2]
	named, err := w.Panel.LoadedUM(set, metal.Tip{})
	now, err2 := is.LoadedUM(set, metal.Tip{})
	if err != nil || err2 != nil {
		return ""
	}
	return fmt.Sprintf(": for %.0f um that stay push to %.2f mm under a hard tip instead of %.2f", set, now/1000, named/1000)
}

func (s *Story) warn(w Work, x, y float64) {
	n := len(s.LeftUM)
	if n > 2 && s.LeftUM[n-1] > paysShare*s.LeftUM[n-2] && s.LeftUM[n-2] > paysShare*s.LeftUM[n-3] {
		s.Warnings = append(s.Warnings, fmt.Sprintf("the last two rounds left %.0f of %.0f um: they stop paying; plan anew from this capture, or agree on what stays", s.LeftUM[n-1], s.LeftUM[n-3]))
	}
	if s.HitsHigh > 0 && s.Hits > s.HitsHigh {
		s.Warnings = append(s.Warnings, fmt.Sprintf("%d hits are made, the forecast was %d to %d: look for what holds the metal before going on", s.Hits, s.HitsLow, s.HitsHigh))
	}
	if s.LimitPct > 0 && s.StrainPct > strainWarnShare*s.LimitPct {
		s.Warnings = append(s.Warnings, fmt.Sprintf("at (%.0f, %.0f) mm the film has been bent by %.1f %% in sum and stands %.1f %%: warm it, use blunter tips, work beside it", x, y, s.StrainPct, s.LimitPct))
	}
	told := map[string]bool{}
	for _, l := range s.Lows {
		if l.TooMuch() {
			told[l.Mark] = true
			s.Warnings = append(s.Warnings, fmt.Sprintf("around %s the metal stood up by %.0f um (give or take %.0f) that no hit explains: it is stretched, and what is tapped down comes up elsewhere; do not chase the highs, shrink the low or agree on what stays", l.Mark, l.RingUM, l.RingSD))
		}
	}
	for _, m := range w.Marks {
		if m.Kind != mark.High && m.StretchPct > stretchWarnPct && !told[m.ID] {
			s.Warnings = append(s.Warnings, fmt.Sprintf("%s has %.1f %% more metal than its form: it is stretched and may not go back; shrink it, or agree on a trace", m.ID, m.StretchPct))
		}
	}
}

// farthest is the largest height off the form, um.
func farthest(s *surface.Surface) float64 {
	most := 0.0
	for _, v := range s.Height {
		if h := math.Abs(float64(v)); h > most {
			most = h
		}
	}
	return math.Round(1e4*most) / 10
}
