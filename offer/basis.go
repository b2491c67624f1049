package offer

import (
	"fmt"
	"math"
	"reflect"

	"fairmetal/fair"
	"fairmetal/inspection"
	"fairmetal/plan"
	"fairmetal/quote"
	"fairmetal/rates"
	"fairmetal/route"
	"fairmetal/trim"
)

// Books are what a house knows beside its rates. The zero value: no finished jobs, our own lists and models.
type Books struct {
	Jobs  []rates.Job  // finished ones, from which the technician's own minutes are learnt
	Trim  *trim.List   // nil: trim.Default
	When  []string     // conditions under which further trim comes off (trim.Part.When)
	Paint *route.Model // the fill-and-paint route; nil: route.Default
	Blend []string     // kinds of neighbouring panels that would be blended
	Fair  *fair.Limits // hand over by these, and judge the surface as planned by them; nil: not judged, planned for black paint
}

// limits are those that the plan works to.
func (b Books) limits() fair.Limits {
	if b.Fair == nil {
		return fair.DefaultLimits(fair.Black)
	}
	return *b.Fair
}

// Basis is what the quote's hours and comparison rest on.
type Basis struct {
	Hours   Hours             `json:"hours"`
	Trim    trim.Work         `json:"trim"`
	Paint   *route.Cost       `json:"paint_route,omitempty"` // nil where the model does not know the panel
	Against *route.Difference `json:"against_paint,omitempty"`
	Planned *fair.Verdict     `json:"fair_as_planned,omitempty"`
}

// Hours are minutes by the technician's own rates.
type Hours struct {
	Sizes   rates.Sizes            `json:"sizes"` // units of each part
	Minutes float64                `json:"minutes"`
	Low     float64                `json:"low"`
	High    float64                `json:"high"`
	Share   float64                `json:"share"` // of jobs that end between
	ByPart  map[rates.Part]float64 `json:"by_part"`
	Jobs    int                    `json:"jobs"` // finished ones that it rests on
	Odd     []rates.OddJob         `json:"odd"`  // of them put aside, with the question why
}

// hoursShare is the share of jobs that the range of hours holds: P10 to P90.
const hoursShare = 0.8

// warmC: from this skin temperature on the panel is warmed before each round.
const warmC = 30.0

// sizes counts the units of each part of the work that a plan makes: hits that jobs like this take, by stage, pulls apart; a capture and a
// warming a round, the first capture being part of the set-up; one check at the end.
func sizes(p plan.Plan, trimMinutes float64) rates.Sizes {
	s := rates.Sizes{rates.SetUp: 1, rates.Trim: trimMinutes, rates.Capture: float64(len(p.Rounds)), rates.Check: 1,
		rates.Raise: float64(p.Forecast.ByStage[plan.Raise]), rates.Level: float64(p.Forecast.ByStage[plan.Level]), rates.Finish: float64(p.Forecast.ByStage[plan.Finish])}
	if p.TempC > warmC {
		s[rates.Heat] = float64(len(p.Rounds))
	}
	of := map[plan.Stage]rates.Part{plan.Raise: rates.Raise, plan.Level: rates.Level, plan.Finish: rates.Finish}
	for _, r := range p.Rounds {
		for _, h := range r.Hits {
			if part := of[r.Stage]; h.Method == "pull" && s[part] >= 1 {
				s[part]--
				s[rates.Pull]++
			}
		}
	}
	return s
}

// hours forecasts the job by the rates learnt from finished ones. The prior is the house's: its set-up and check, its pace over our minutes. The range
// of the rates and that of the hits, both of the logarithm, add as variances.
func hours(p plan.Plan, b Books, r quote.Rates, trimMinutes float64) (Hours, error) {
	prior := rates.DefaultPrior()
	prior.Minutes[rates.SetUp], prior.Minutes[rates.Check] = max(r.SetupMinutes, 0.01), max(r.CheckMinutes, 0.01)
	for _, part := range []rates.Part{rates.Pull, rates.Raise, rates.Level, rates.Finish} {
		prior.Minutes[part] *= r.Pace
	}
	fit, err := rates.Fit(b.Jobs, prior)
	if err != nil {
		return Hours{}, err
	}
	h := Hours{Sizes: sizes(p, trimMinutes), Share: hoursShare, Jobs: fit.Jobs, Odd: fit.Odd}
	f, err := fit.Forecast(h.Sizes, hoursShare)
	if err != nil {
		return Hours{}, err
	}
	h.Minutes, h.ByPart = f.Minutes, f.ByPart
	metal := f.ByPart[rates.Pull] + f.ByPart[rates.Raise] + f.ByPart[rates.Level] + f.ByPart[rates.Finish]
	low, high := math.Log(f.Minutes/f.Low), math.Log(f.High/f.Minutes)
	if p.Forecast.Hits > 0 && p.Forecast.HitsLow > 0 && metal > 0 {
		share := metal / f.Minutes
		low = math.Hypot(low, hitsToHours*share*math.Log(float64(p.Forecast.Hits)/float64(p.Forecast.HitsLow)))
		high = math.Hypot(high, hitsToHours*share*math.Log(float64(p.Forecast.HitsHigh)/float64(p.Forecast.Hits)))
	}
	h.Low, h.High = f.Minutes*math.Exp(-low), f.Minutes*math.Exp(high)
	return h, nil
}

// hitsToHours takes the plan's range of nine jobs in ten to one of eight: 1.2816/1.645, normal quantiles.
const hitsToHours = 0.779

// steps are the hours for the quote, each part with its share of the range.
func (h Hours) steps(trimText string) []quote.Step {
	var out []quote.Step
	n := h.Sizes
	for _, part := range []struct {
		text  string
		parts []rates.Part
	}{
		{"set up, cards, board, first capture", []rates.Part{rates.SetUp}},
		{trimText, []rates.Part{rates.Trim}},
		{fmt.Sprintf("warm the skin %.0f times", n[rates.Heat]), []rates.Part{rates.Heat}},
		{fmt.Sprintf("pull: %.0f hits", n[rates.Pull]), []rates.Part{rates.Pull}},
		{fmt.Sprintf("raise: %.0f hits", n[rates.Raise]), []rates.Part{rates.Raise}},
		{fmt.Sprintf("level: %.0f hits", n[rates.Level]), []rates.Part{rates.Level}},
		{fmt.Sprintf("finish: %.0f hits", n[rates.Finish]), []rates.Part{rates.Finish}},
		{fmt.Sprintf("measure again %.0f times and check", n[rates.Capture]), []rates.Part{rates.Capture, rates.Check}},
	} {
		m := 0.0
		for _, k := range part.parts {
			m += h.ByPart[k]
		}
		if m <= 0 {
			continue
		}
		// Parts vary each by itself: the share of a part in the whole's variance goes with its minutes.
		k := math.Sqrt(m / h.Minutes)
		out = append(out, quote.Step{Text: part.text, Minutes: math.Round(m), Low: math.Round(max(0, m-k*(h.Minutes-h.Low))), High: math.Round(m + k*(h.High-h.Minutes))})
	}
	return out
}

// trimText is what the quote says of trim where the house has its own list.
const trimText = "take off what is in the way and refit it"

// trimWork is what comes off: by the house's own list, else as the house has set it in its rates, else by the usual list.
func trimWork(b Books, kind string, r quote.Rates) trim.Work {
	own, set := r.Trim[kind]
	if usual := quote.DefaultRates().Trim[kind]; b.Trim == nil && set && own != usual {
		return trim.Work{Parts: []trim.Part{{Panel: kind, Text: own.Text, OffMin: own.Minutes / 2, OnMin: own.Minutes / 2}}, Minutes: own.Minutes, Low: own.Minutes, High: own.Minutes}
	}
	list := trim.Default()
	if b.Trim != nil {
		list = *b.Trim
	}
	return list.For(kind, b.When...)
}

// basis prices the plan by the house's books and fills the quote from it.
func (o *Offer) basis(s *inspection.Stored, f Facts, r quote.Rates, b Books, in quote.Input) error {
	if _, known := r.Trim[f.PanelKind]; known || b.Trim != nil {
		o.Basis.Trim = trimWork(b, f.PanelKind, r)
	}
	for _, p := range o.Basis.Trim.Parts {
		if p.Caution != "" {
			o.Plan.Cautions = append(o.Plan.Cautions, p.Caution)
		}
	}
	var err error
	if o.Plan.Forecast.Hits > 0 {
		if o.Basis.Hours, err = hours(o.Plan, b, r, o.Basis.Trim.Minutes); err != nil {
			return err
		}
		text := r.Trim[f.PanelKind].Text
		if b.Trim != nil {
			text = trimText
		}
		in.Steps = o.Basis.Hours.steps(text)
		in.Minutes, in.LowMinutes, in.HighMinutes = o.Basis.Hours.Minutes, o.Basis.Hours.Low, o.Basis.Hours.High
	}
	in.Plan = o.Plan
	if o.Quote, err = quote.Make(in); err != nil {
		return err
	}
	return o.paint(s, f, r, b, in)
}

// paint compares with filling and painting where the model knows the panel, and the house has not set a route of its own in its rates.
func (o *Offer) paint(s *inspection.Stored, f Facts, r quote.Rates, b Books, in quote.Input) error {
	m := route.Default()
	if b.Paint != nil {
		m = *b.Paint
	}
	_, known := m.Panels[f.PanelKind]
	if !known || len(s.Marks) == 0 || m.Currency != r.Currency || b.Paint == nil && !reflect.DeepEqual(r.PaintRoute, quote.DefaultRates().PaintRoute) {
		return nil
	}
	if b.Paint == nil {
		m.Taxes = nil
		for _, t := range r.Taxes {
			m.Taxes = append(m.Taxes, route.Tax{Name: t.Name, RateBP: t.RateBP})
		}
	}
	cost, err := m.Price(route.Job{Panel: f.PanelKind, Marks: len(s.Marks), DamagedMM2: in.AreaMM2, Blend: b.Blend})
	if err != nil {
		return err
	}
	o.Basis.Paint = &cost
	o.Quote.PaintMinor, o.Quote.PaintDays = cost.TotalMinor, int(cost.Days)
	if o.Quote.Answer == "declined" || o.Quote.TotalMinor == 0 {
		return nil
	}
	days := math.Ceil(o.Quote.Hours * 60 / float64(m.Waiting.WorkMinutesPerDay))
	d, err := cost.Against(o.Quote.TotalMinor, r.Currency, days)
	if err != nil {
		return err
	}
	o.Basis.Against = &d
	return nil
}
