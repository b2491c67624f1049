package route

import (
	_ "embed"
	"fmt"
	"maps"
	"slices"

	"github.com/bojanz/currency"

	"fairmetal/internal/strict"
)

// Model is a body shop.
type Model struct {
	Format         int              `json:"format"`
	Currency       string           `json:"currency"` // ISO 4217
	BodyHourMinor  int64            `json:"body_hour_minor"`
	PaintHourMinor int64            `json:"paint_hour_minor"`
	Fill           Fill             `json:"fill"`
	Panels         map[string]Panel `json:"panels"`
	Paint          Paint            `json:"paint"`
	Waiting        Waiting          `json:"waiting"`
	Taxes          []Tax            `json:"taxes"`
}

// Fill is taking the paint off, filling and shaping.
type Fill struct {
	MinutesPerMark int64 `json:"minutes_per_mark"`
	MinutesPerDM2  int64 `json:"minutes_per_dm2"` // of damaged area
	MinorPerDM2    int64 `json:"minor_per_dm2"`   // filler, abrasives
}

// Panel is the work on one kind of panel.
type Panel struct {
	AreaDM2       int64 `json:"area_dm2"`       // painted
	FitMinutes    int64 `json:"fit_minutes"`    // handles, lamps, mouldings off and on
	PrepMinutes   int64 `json:"prep_minutes"`   // sand, mask, prime
	PaintMinutes  int64 `json:"paint_minutes"`  // colour and clear coat, polish
	BlendMinutes  int64 `json:"blend_minutes"`  // as a neighbour: prepare, fade colour in, clear coat
	NeighboursMax int64 `json:"neighbours_max"` // that there are to blend into
}

// Paint is material and booth.
type Paint struct {
	MinorPerDM2  int64 `json:"minor_per_dm2"`   // primer, colour, clear coat
	BlendPercent int64 `json:"blend_percent"`   // of it on a blended neighbour
	MixMinor     int64 `json:"mix_minor"`       // finding and mixing the colour
	BoothMinor   int64 `json:"booth_run_minor"` // a run of the booth
}

// Waiting is the time without the vehicle.
type Waiting struct {
	WorkMinutesPerDay int64 `json:"work_minutes_per_day"`
	QueueDays         int64 `json:"queue_days"` // between steps and trades
	DryDays           int64 `json:"dry_days"`
	MinorPerDay       int64 `json:"minor_per_day"` // a vehicle in its place
}

// Tax is a rate in hundredths of a per cent: 1900 is 19 %.
type Tax struct {
	Name   string `json:"name"`
	RateBP int64  `json:"rate_bp"`
}

//go:embed model.json
var defaultModel []byte

// Default is the embedded model.
func Default() Model {
	m, err := Parse(defaultModel)
	if err != nil {
		panic(err) // the embedded file is part of the program
	}
	return m
}

// Parse reads a model and checks it. Names that are not known are slips of the pen and refused.
func Parse(data []byte) (Model, error) {
	var m Model
	f := strict.File{What: "fill-and-paint model", Holds: "hold figures", Mend: "correct it or start from the default", MaxBytes: 1 << 20}
	if err := f.Decode(data, &m); err != nil {
		return Model{}, err
	}
	return m, m.Check()
}

// Bounds keep every sum within int64: some ten lines of at most 1e4 units (or 1e5 minutes at a price an hour) x 1e9 minor units are
// 1e14, times 2e4 for the tax 2e18.
const (
	mostMinor   = 1_000_000_000
	mostMinutes = 10_000
	mostWork    = 100_000
)

// Check refuses a model that cannot be meant.
func (m Model) Check() error {
	if m.Format != 1 {
		return fmt.Errorf("the fill-and-paint model has format %d; write \"format\": 1", m.Format)
	}
	if !currency.IsValid(m.Currency) {
		return fmt.Errorf("currency %q is not an ISO 4217 code; write EUR, for example", m.Currency)
	}
	type figure struct {
		name    string
		v, most int64
	}
	all := []figure{
		{"body hour", m.BodyHourMinor, mostMinor}, {"paint hour", m.PaintHourMinor, mostMinor},
		{"filling a mark, minutes", m.Fill.MinutesPerMark, mostMinutes}, {"filling a dm2, minutes", m.Fill.MinutesPerDM2, mostMinutes}, {"filler a dm2", m.Fill.MinorPerDM2, mostMinor},
		{"paint a dm2", m.Paint.MinorPerDM2, mostMinor}, {"blend share, per cent", m.Paint.BlendPercent, 100}, {"mixing", m.Paint.MixMinor, mostMinor}, {"booth", m.Paint.BoothMinor, mostMinor},
		{"waiting between steps, days", m.Waiting.QueueDays, 100}, {"drying, days", m.Waiting.DryDays, 100}, {"a day without the vehicle", m.Waiting.MinorPerDay, mostMinor},
	}
	for _, k := range slices.Sorted(maps.Keys(m.Panels)) {
		p := m.Panels[k]
		all = append(all, figure{k + ", area in dm2", p.AreaDM2, 10_000}, figure{k + ", fittings, minutes", p.FitMinutes, mostMinutes}, figure{k + ", preparing, minutes", p.PrepMinutes, mostMinutes},
			figure{k + ", painting, minutes", p.PaintMinutes, mostMinutes}, figure{k + ", blending, minutes", p.BlendMinutes, mostMinutes}, figure{k + ", neighbours", p.NeighboursMax, 10})
	}
	for _, t := range m.Taxes {
		all = append(all, figure{"tax " + t.Name + " in hundredths of a per cent", t.RateBP, 10_000})
	}
	for _, f := range all {
		if f.v < 0 || f.v > f.most {
			return fmt.Errorf("%s is %d; set it between 0 and %d", f.name, f.v, f.most)
		}
	}
	if len(m.Panels) == 0 || len(m.Panels) > 100 || len(m.Taxes) > 10 {
		return fmt.Errorf("the fill-and-paint model has %d panels and %d taxes; list 1 to 100 panels and up to 10 taxes", len(m.Panels), len(m.Taxes))
	}
	if m.Waiting.WorkMinutesPerDay < 60 || m.Waiting.WorkMinutesPerDay > 1440 {
		return fmt.Errorf("a working day of %d minutes is not possible; set 60 to 1440", m.Waiting.WorkMinutesPerDay)
	}
	return nil
}
