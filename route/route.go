package route

import (
	"fmt"
	"math"
	"strings"

	"github.com/bojanz/currency"
)

// Job is what would be filled and painted.
type Job struct {
	Panel       string   // kind, as in the model
	Marks       int      // to be filled
	DamagedMM2  float64  // their outlines together
	Blend       []string // kinds of the neighbours that are blended; metallic paint needs them, plain often does not
	TrimMinutes int64    // inside trim that comes off besides, as for our own work
}

// Line is one line of the cost.
type Line struct {
	Code        string `json:"code"`
	Text        string `json:"text"`
	Quantity    int64  `json:"quantity"`
	Unit        string `json:"unit"`       // min, dm2, day or once
	UnitMinor   int64  `json:"unit_minor"` // of an hour where Unit is min
	AmountMinor int64  `json:"amount_minor"`
	Why         string `json:"why"` // the sum in words
}

// TaxLine is one tax on the net sum.
type TaxLine struct {
	Name        string `json:"name"`
	RateBP      int64  `json:"rate_bp"`
	AmountMinor int64  `json:"amount_minor"`
}

// Cost is the whole route.
type Cost struct {
	Currency   string    `json:"currency"`
	Lines      []Line    `json:"lines"`
	Minutes    int64     `json:"minutes"` // of work
	Days       int64     `json:"days"`    // without the vehicle
	NetMinor   int64     `json:"net_minor"`
	Taxes      []TaxLine `json:"taxes"`
	TotalMinor int64     `json:"total_minor"`
}

// Price costs a job.
func (m Model) Price(j Job) (Cost, error) {
	if err := m.Check(); err != nil {
		return Cost{}, err
	}
	p, ok := m.Panels[j.Panel]
	switch {
	case !ok:
		return Cost{}, fmt.Errorf("the fill-and-paint model knows no panel %q; add it or choose another", j.Panel)
	case j.Marks < 0 || j.Marks > 10_000 || !(j.DamagedMM2 >= 0 && j.DamagedMM2 <= 1e8) || j.TrimMinutes < 0 || j.TrimMinutes > mostMinutes:
		return Cost{}, fmt.Errorf("%d marks on %g mm2 with %d minutes of trim are not possible; correct them", j.Marks, j.DamagedMM2, j.TrimMinutes)
	case int64(len(j.Blend)) > p.NeighboursMax:
		return Cost{}, fmt.Errorf("a %s has %d neighbours to blend into, %d are named; name fewer", j.Panel, p.NeighboursMax, len(j.Blend))
	}
	c := &Cost{Currency: m.Currency, Lines: []Line{}, Taxes: []TaxLine{}}
	dm2 := int64(math.Ceil(j.DamagedMM2 / 1e4))
	n := int64(j.Marks)
	c.work("fittings", "Fittings and trim off and on", p.FitMinutes+j.TrimMinutes, m.BodyHourMinor, fmt.Sprintf("%d min outside, %d min inside", p.FitMinutes, j.TrimMinutes))
	c.work("fill", "Grind, fill and shape", n*m.Fill.MinutesPerMark+dm2*m.Fill.MinutesPerDM2, m.BodyHourMinor, fmt.Sprintf("%d marks x %d min, %d dm2 x %d min", n, m.Fill.MinutesPerMark, dm2, m.Fill.MinutesPerDM2))
	c.material("filler", "Filler and abrasives", dm2, "dm2", m.Fill.MinorPerDM2)
	c.work("prepare", "Sand, mask and prime", p.PrepMinutes, m.PaintHourMinor, "one "+j.Panel)
	c.work("paint", "Colour, clear coat and polish", p.PaintMinutes, m.PaintHourMinor, "one "+j.Panel)
	area := p.AreaDM2
	c.material("paint-material", "Paint on the panel", area, "dm2", m.Paint.MinorPerDM2)
	for i, b := range j.Blend {
		q, ok := m.Panels[b]
		if !ok {
			return Cost{}, fmt.Errorf("the fill-and-paint model knows no panel %q to blend into; add it or choose another", b)
		}
		c.work(fmt.Sprintf("blend-%d", i+1), "Blend into the neighbouring "+b, q.BlendMinutes, m.PaintHourMinor, "one "+b)
		c.material(fmt.Sprintf("blend-material-%d", i+1), "Paint on the neighbouring "+b, halfUp(q.AreaDM2*m.Paint.BlendPercent, 100), "dm2", m.Paint.MinorPerDM2)
	}
	c.material("mix", "Find and mix the colour", 1, "once", m.Paint.MixMinor)
	c.material("booth", "Booth", 1, "once", m.Paint.BoothMinor)
	if c.Minutes > mostWork {
		return Cost{}, fmt.Errorf("filling and painting would take %d minutes; correct the number of marks or the model", c.Minutes)
	}
	w := m.Waiting
	c.Days = (c.Minutes+w.WorkMinutesPerDay-1)/w.WorkMinutesPerDay + w.QueueDays + w.DryDays
	c.material("waiting", "A vehicle in its place", c.Days, "day", w.MinorPerDay)
	c.TotalMinor = c.NetMinor
	for _, t := range m.Taxes {
		a := halfUp(c.NetMinor*t.RateBP, 10_000)
		c.Taxes = append(c.Taxes, TaxLine{t.Name, t.RateBP, a})
		c.TotalMinor += a
	}
	return *c, nil
}

// work adds minutes at an hourly rate.
func (c *Cost) work(code, text string, minutes, hourMinor int64, how string) {
	if minutes == 0 {
		return
	}
	a := halfUp(minutes*hourMinor, 60)
	c.Minutes += minutes
	c.NetMinor += a
	c.Lines = append(c.Lines, Line{code, text, minutes, "min", hourMinor, a, fmt.Sprintf("%s: %d min at %s an hour", how, minutes, Amount(hourMinor, c.Currency))})
}

// material adds a number of units at a price.
func (c *Cost) material(code, text string, n int64, unit string, minor int64) {
	if n == 0 || minor == 0 {
		return
	}
	c.NetMinor += n * minor
	why := fmt.Sprintf("%d %s at %s", n, unit, Amount(minor, c.Currency))
	if unit == "once" {
		why = "once for the job"
	}
	c.Lines = append(c.Lines, Line{code, text, n, unit, minor, n * minor, why})
}

// halfUp is a/b rounded half up, for a >= 0.
func halfUp(a, b int64) int64 { return (2*a + b) / (2 * b) }

// Amount is a plain figure with as many digits as the currency has minor units; papers format by locale.
func Amount(minor int64, code string) string {
	d, ok := currency.GetDigits(code)
	if !ok {
		d = 2
	}
	sign := ""
	if minor < 0 {
		sign, minor = "-", -minor
	}
	s := fmt.Sprintf("%0*d", int(d)+1, minor)
	if d > 0 {
		s = s[:len(s)-int(d)] + "." + s[len(s)-int(d):]
	}
	return sign + s + " " + code
}

// Difference lays both ways side by side.
type Difference struct {
	Currency   string  `json:"currency"`
	OursMinor  int64   `json:"ours_minor"`
	PaintMinor int64   `json:"paint_minor"`
	SavesMinor int64   `json:"saves_minor"` // negative: fill and paint is cheaper
	SavesShare float64 `json:"saves_share"` // of fill and paint
	SavesDays  float64 `json:"saves_days"`
	Text       string  `json:"text"`
}

// Against compares our price, tax included, and days with the cost.
func (c Cost) Against(oursMinor int64, code string, days float64) (Difference, error) {
	if code != c.Currency {
		return Difference{}, fmt.Errorf("our price is in %s and the fill-and-paint model in %s; set both to one currency", code, c.Currency)
	}
	if oursMinor < 0 || !(days >= 0 && days < 1e4) {
		return Difference{}, fmt.Errorf("a price of %s in %g days cannot be compared; price the plan first", Amount(oursMinor, code), days)
	}
	d := Difference{Currency: code, OursMinor: oursMinor, PaintMinor: c.TotalMinor, SavesMinor: c.TotalMinor - oursMinor, SavesDays: float64(c.Days) - days}
	if c.TotalMinor > 0 {
		d.SavesShare = float64(d.SavesMinor) / float64(c.TotalMinor)
	}
	parts := []string{fmt.Sprintf("without paint %s", Amount(oursMinor, code)), fmt.Sprintf("fill and paint about %s and %d days", Amount(c.TotalMinor, code), c.Days)}
	switch {
	case d.SavesMinor > 0:
		parts = append(parts, fmt.Sprintf("saves %s", Amount(d.SavesMinor, code)))
	case d.SavesMinor < 0:
		parts = append(parts, fmt.Sprintf("fill and paint is cheaper by %s", Amount(-d.SavesMinor, code)))
	}
	d.Text = strings.Join(parts, "; ")
	return d, nil
}
