// Package quote turns a plan into hours and a price, every line explained.
//
// In: plan, verdict, rates. Out: hours with a range (P10 to P90), price lines in minor currency units, tax, total, and what the
// fill-and-paint route would cost by a simple model. A decline is a proper result.
//
// Money is int64 minor units (cents); tax rates are hundredths of a per cent. Tax is computed on the sum of the lines and rounded
// half up once (Council Directive 2006/112/EC leaves rounding per line or per sum to the member states; CJEU C-484/06, from memory).
package quote

import (
	_ "embed"
	"encoding/json"
	"fmt"
	"math"

	"fairmetal/plan"
	"fairmetal/verdict"
)

// Rates are the technician's own figures. Defaults are from memory of the trade, to be overwritten in the house settings.
type Rates struct {
	Format           int             `json:"format"`
	Currency         string          `json:"currency"` // ISO 4217
	HourlyMinor      int64           `json:"hourly_minor"`
	MinimumMinor     int64           `json:"minimum_minor"`
	ConsumablesMinor int64           `json:"consumables_minor_per_hit"`
	TravelMinor      int64           `json:"travel_minor"`
	RoundToMinor     int64           `json:"round_to_minor"`
	Taxes            []Tax           `json:"taxes"`
	SetupMinutes     float64         `json:"setup_minutes"`
	CheckMinutes     float64         `json:"check_minutes_per_round"`
	Pace             float64         `json:"pace"`       // own minutes over the plan's
	PaceSigma        float64         `json:"pace_sigma"` // relative standard deviation of it
	Trim             map[string]Trim `json:"trim"`
	PaintRoute       PaintRoute      `json:"paint_route"`
}

// Tax is a rate in hundredths of a per cent: 1900 is 19 %.
type Tax struct {
	Name   string `json:"name"`
	RateBP int64  `json:"rate_bp"`
}

// Trim is the work of getting at the back of a panel.
type Trim struct {
	Minutes float64 `json:"minutes"`
	Text    string  `json:"text"`
}

// PaintRoute models the usual fill-and-paint repair. Figures from memory, editable.
type PaintRoute struct {
	BaseMinor    int64 `json:"base_minor"`
	PerMarkMinor int64 `json:"per_mark_minor"`
	PerDM2Minor  int64 `json:"per_dm2_minor"`
	Days         int   `json:"days"`
}

//go:embed rates.json
var defaultRates []byte

// DefaultRates are the embedded ones.
func DefaultRates() Rates {
	r, err := ParseRates(defaultRates)
	if err != nil {
		panic(err) // the embedded file is part of the program
	}
	return r
}

// ParseRates reads and checks rates.
func ParseRates(data []byte) (Rates, error) {
	var r Rates
	if len(data) > 1<<20 {
		return r, fmt.Errorf("the rates file is %d kB; it should hold figures only", len(data)>>10)
	}
	if err := json.Unmarshal(data, &r); err != nil {
		return Rates{}, fmt.Errorf("the rates cannot be read (%w); correct the file or start from the defaults", err)
	}
	return r, r.check()
}

func (r Rates) check() error {
	const most = 1_000_000_000_00 // a thousand million: above it the sums could overflow
	if len(r.Currency) != 3 {
		return fmt.Errorf("currency %q is not an ISO 4217 code; write EUR, for example", r.Currency)
	}
	for name, v := range map[string]int64{"hourly rate": r.HourlyMinor, "minimum": r.MinimumMinor, "consumables": r.ConsumablesMinor, "travel": r.TravelMinor} {
		if v < 0 || v > most {
			return fmt.Errorf("a %s of %d minor units is not possible", name, v)
		}
	}
	if r.RoundToMinor < 0 || r.RoundToMinor > 100000 {
		return fmt.Errorf("rounding to %d minor units is not possible", r.RoundToMinor)
	}
	for _, t := range r.Taxes {
		if t.RateBP < 0 || t.RateBP > 10000 {
			return fmt.Errorf("a tax of %.2f %% is not possible", float64(t.RateBP)/100)
		}
	}
	ok := func(v, lo, hi float64) bool { return v >= lo && v <= hi }
	if !ok(r.Pace, 0.1, 10) || !ok(r.PaceSigma, 0, 2) || !ok(r.SetupMinutes, 0, 1e4) || !ok(r.CheckMinutes, 0, 1e4) {
		return fmt.Errorf("pace or minutes in the rates are not possible; start from the defaults")
	}
	return nil
}

// Line is one line of the price.
type Line struct {
	Code        string  `json:"code"`
	Text        string  `json:"text"`
	Quantity    float64 `json:"quantity"`
	Unit        string  `json:"unit"`
	UnitMinor   int64   `json:"unit_minor"`
	AmountMinor int64   `json:"amount_minor"`
	Why         string  `json:"why"` // the formula in words with its numbers
}

// Step is one part of the hours.
type Step struct {
	Text    string  `json:"text"`
	Minutes float64 `json:"minutes"`
	Low     float64 `json:"low"`
	High    float64 `json:"high"`
}

// TaxLine is one tax on the net sum.
type TaxLine struct {
	Name        string `json:"name"`
	RateBP      int64  `json:"rate_bp"`
	BaseMinor   int64  `json:"base_minor"`
	AmountMinor int64  `json:"amount_minor"`
}

// Quote is the whole offer.
type Quote struct {
	Format         int       `json:"format"`
	Answer         string    `json:"answer"` // offered or declined
	Reasons        []string  `json:"reasons"`
	Currency       string    `json:"currency"`
	Steps          []Step    `json:"steps"`
	Hours          float64   `json:"hours"`
	HoursLow       float64   `json:"hours_low"`  // P10
	HoursHigh      float64   `json:"hours_high"` // P90
	Lines          []Line    `json:"lines"`
	NetMinor       int64     `json:"net_minor"`
	Taxes          []TaxLine `json:"taxes"`
	TotalMinor     int64     `json:"total_minor"`
	TotalLowMinor  int64     `json:"total_low_minor"`
	TotalHighMinor int64     `json:"total_high_minor"`
	PaintMinor     int64     `json:"paint_route_minor"` // fill-and-paint, with tax
	PaintDays      int       `json:"paint_route_days"`
}

// Input is what is priced.
type Input struct {
	Plan      plan.Plan
	Verdict   verdict.Verdict
	Rates     Rates
	PanelKind string
	Marks     int
	AreaMM2   float64 // of the marks' outlines together
	// Steps, where given, are the hours by the technician's own rates, in all Minutes, P10 LowMinutes, P90 HighMinutes. Without, the hours
	// follow from the plan's minutes and the rates here.
	Steps                            []Step
	Minutes, LowMinutes, HighMinutes float64
}

// Make prices a plan.
func Make(in Input) (Quote, error) {
	if err := in.Rates.check(); err != nil {
		return Quote{}, err
	}
	r := in.Rates
	q := Quote{Format: 1, Answer: "offered", Currency: r.Currency, Reasons: []string{}, Steps: []Step{}, Lines: []Line{}, Taxes: []TaxLine{}}
	q.PaintMinor = withTax(r.PaintRoute.BaseMinor+int64(in.Marks)*r.PaintRoute.PerMarkMinor+int64(math.Round(in.AreaMM2/1e4*float64(r.PaintRoute.PerDM2Minor))), r.Taxes)
	q.PaintDays = r.PaintRoute.Days
	if in.Verdict.Answer == verdict.No {
		q.Answer = "declined"
		q.Reasons = reasons(in.Verdict)
		return q, nil
	}
	if in.Plan.Forecast.Hits == 0 {
		q.Reasons = append(q.Reasons, "there is nothing to repair")
		return q, nil
	}
	q.steps(in)
	q.price(in)
	return q, nil
}

func reasons(v verdict.Verdict) []string {
	out := []string{}
	for _, r := range v.Reasons {
		if r.Answer == verdict.No {
			out = append(out, r.Text)
		}
	}
	for _, m := range v.Marks {
		for _, r := range m.Reasons {
			if r.Answer == verdict.No {
				out = append(out, m.ID+": "+r.Text)
			}
		}
	}
	return out
}

// p10 is the 10 % point of the standard normal distribution, negated.
const p10 = 1.2816

// steps builds the hours: each step with a range, the whole by adding variances.
func (q *Quote) steps(in Input) {
	if len(in.Steps) > 0 {
		q.Steps = in.Steps
		q.Hours, q.HoursLow, q.HoursHigh = math.Round(in.Minutes/0.6)/100, math.Round(in.LowMinutes/0.6)/100, math.Round(in.HighMinutes/0.6)/100
		return
	}
	r, f := in.Rates, in.Plan.Forecast
	var variance float64
	add := func(text string, minutes, sigma float64) {
		if minutes <= 0 {
			return
		}
		q.Steps = append(q.Steps, Step{text, math.Round(minutes), math.Round(max(0, minutes-p10*sigma)), math.Round(minutes + p10*sigma)})
		q.Hours += minutes / 60
		variance += sigma * sigma
	}
	add("set up, cards, board, first capture", r.SetupMinutes, 0.2*r.SetupMinutes)
	if t, ok := r.Trim[in.PanelKind]; ok {
		add(t.Text, t.Minutes, 0.25*t.Minutes)
	}
	work := f.Minutes * r.Pace
	// The forecast's range of scattering hits and the technician's own pace.
	spread := math.Hypot((f.MinHigh-f.MinLow)/2/p10*r.Pace, work*r.PaceSigma)
	names := map[plan.Stage]string{plan.Raise: "raise", plan.Level: "level", plan.Finish: "finish"}
	byStage := map[plan.Stage]float64{}
	for _, round := range in.Plan.Rounds {
		byStage[round.Stage] += round.Minutes
	}
	var sum float64
	for _, v := range byStage {
		sum += v
	}
	for _, s := range []plan.Stage{plan.Raise, plan.Level, plan.Finish} {
		if sum > 0 && byStage[s] > 0 {
			share := byStage[s] / sum
			add(fmt.Sprintf("%s: %d hits", names[s], f.ByStage[s]), work*share, spread*math.Sqrt(share))
		}
	}
	add(fmt.Sprintf("measure again %d times and check", len(in.Plan.Rounds)), float64(len(in.Plan.Rounds))*r.CheckMinutes, 0.2*float64(len(in.Plan.Rounds))*r.CheckMinutes)
	s := math.Sqrt(variance) / 60
	q.HoursLow, q.HoursHigh = math.Max(0.1, q.Hours-p10*s), q.Hours+p10*s
	for _, h := range []*float64{&q.Hours, &q.HoursLow, &q.HoursHigh} {
		*h = math.Round(*h*100) / 100
	}
}

func (q *Quote) price(in Input) {
	r := in.Rates
	add := func(l Line) {
		if l.AmountMinor != 0 {
			q.Lines = append(q.Lines, l)
			q.NetMinor += l.AmountMinor
		}
	}
	labour := roundHalfUp(q.Hours * float64(r.HourlyMinor))
	add(Line{"labour", "Repair work", q.Hours, "h", r.HourlyMinor, labour, fmt.Sprintf("%.2f h at %s an hour", q.Hours, amount(r.HourlyMinor, r.Currency))})
	hits := in.Plan.Forecast.Hits
	add(Line{"consumables", "Tabs, glue, cleaner, tips", float64(hits), "hit", r.ConsumablesMinor, int64(hits) * r.ConsumablesMinor, fmt.Sprintf("%d hits at %s", hits, amount(r.ConsumablesMinor, r.Currency))})
	add(Line{"travel", "Travel", 1, "trip", r.TravelMinor, r.TravelMinor, "agreed for the trip"})
	if q.NetMinor < r.MinimumMinor {
		add(Line{"minimum", "To the minimum charge", 1, "", r.MinimumMinor - q.NetMinor, r.MinimumMinor - q.NetMinor, fmt.Sprintf("minimum charge of %s", amount(r.MinimumMinor, r.Currency))})
	}
	if n := r.RoundToMinor; n > 1 {
		d := (q.NetMinor+n/2)/n*n - q.NetMinor
		add(Line{"rounding", "Rounding", 1, "", d, d, fmt.Sprintf("to whole %s", amount(n, r.Currency))})
	}
	q.TotalMinor = q.NetMinor
	for _, t := range r.Taxes {
		a := taxOn(q.NetMinor, t.RateBP)
		q.Taxes = append(q.Taxes, TaxLine{t.Name, t.RateBP, q.NetMinor, a})
		q.TotalMinor += a
	}
	perHour := float64(r.HourlyMinor)
	q.TotalLowMinor = max(withTax(r.MinimumMinor, r.Taxes), q.TotalMinor-withTax(roundHalfUp((q.Hours-q.HoursLow)*perHour), r.Taxes))
	q.TotalLowMinor = min(q.TotalLowMinor, q.TotalMinor)
	q.TotalHighMinor = q.TotalMinor + withTax(roundHalfUp((q.HoursHigh-q.Hours)*perHour), r.Taxes)
}

func roundHalfUp(v float64) int64 { return int64(math.Floor(v + 0.5)) }

// taxOn is the tax on a net sum, rounded half up to the minor unit.
func taxOn(net, rateBP int64) int64 { return (net*rateBP + 5000) / 10000 }

func withTax(net int64, taxes []Tax) int64 {
	t := net
	for _, x := range taxes {
		t += taxOn(net, x.RateBP)
	}
	return t
}

// amount is a plain figure for explanations; papers format by locale.
func amount(minor int64, currency string) string {
	return fmt.Sprintf("%d.%02d %s", minor/100, minor%100, currency)
}
