package offer

import (
	"math"
	"strings"
	"testing"

	"fairmetal/fair"
	"fairmetal/quote"
	"fairmetal/rack"
	"fairmetal/rates"
)

// TestFinishedJobsMoveTheHours: eight finished jobs that took half as long again as our minutes move the hours most of the way there, and
// narrow their range; the quote's hours are those, and its labour line says so.
func TestFinishedJobsMoveTheHours(t *testing.T) {
	s := stored()
	plain, err := Make(s, Facts{FilmUM: 110}, rack.Default(), quote.DefaultRates())
	if err != nil {
		t.Fatal(err)
	}
	h := plain.Basis.Hours
	var jobs []rates.Job
	for i := range 8 {
		size := rates.Sizes{}
		total := 0.0
		for part, n := range h.Sizes {
			size[part] = n * (1 + 0.1*float64(i%3))
			total += size[part] * h.ByPart[part] / math.Max(n, 1e-9)
		}
		jobs = append(jobs, rates.Job{Name: "job", Sizes: size, Minutes: 1.5 * total})
	}
	slow, err := MakeWith(s, Facts{FilmUM: 110}, rack.Default(), quote.DefaultRates(), Books{Jobs: jobs})
	if err != nil {
		t.Fatal(err)
	}
	g := slow.Basis.Hours
	if g.Jobs != 8 || g.Minutes < 1.35*h.Minutes || g.Minutes > 1.55*h.Minutes {
		t.Errorf("%.0f min after 8 slow jobs, %.0f before", g.Minutes, h.Minutes)
	}
	if math.Log(g.High/g.Low) >= math.Log(h.High/h.Low) {
		t.Errorf("range %.0f to %.0f after, %.0f to %.0f before", g.Low, g.High, h.Low, h.High)
	}
	if math.Abs(slow.Quote.Hours-g.Minutes/60) > 0.006 || slow.Quote.HoursLow >= slow.Quote.Hours || slow.Quote.HoursHigh <= slow.Quote.Hours {
		t.Errorf("quote %g h (%g to %g), basis %g min", slow.Quote.Hours, slow.Quote.HoursLow, slow.Quote.HoursHigh, g.Minutes)
	}
	sum := 0.0
	for _, st := range slow.Quote.Steps {
		sum += st.Minutes
	}
	if math.Abs(sum-g.Minutes) > float64(len(slow.Quote.Steps)) {
		t.Errorf("steps add to %.0f min of %.0f", sum, g.Minutes)
	}
}

// TestTrimAndPaintRoute: the trim list's minutes and cautions come in, a house's own figure goes before it, and the paint route is priced line by line
// where its model knows the panel.
func TestTrimAndPaintRoute(t *testing.T) {
	s := stored() // a front door
	o, err := Make(s, Facts{FilmUM: 110}, rack.Default(), quote.DefaultRates())
	if err != nil {
		t.Fatal(err)
	}
	if o.Basis.Trim.Minutes != 12+16+4+8 || !strings.Contains(strings.Join(o.Plan.Cautions, " "), "side airbag sensor") {
		t.Errorf("trim %+v", o.Basis.Trim)
	}
	if o.Basis.Paint == nil || o.Basis.Against == nil || o.Quote.PaintMinor != o.Basis.Paint.TotalMinor || len(o.Basis.Paint.Lines) < 5 {
		t.Errorf("paint route %+v", o.Basis.Paint)
	}
	own := quote.DefaultRates()
	own.Trim = map[string]quote.Trim{"door": {Minutes: 90, Text: "our door"}}
	o, err = MakeWith(s, Facts{FilmUM: 110}, rack.Default(), own, Books{Fair: &fair.Limits{}})
	if err == nil {
		t.Error("limits of nothing were judged by")
	}
	l := fair.DefaultLimits(fair.Pale)
	o, err = MakeWith(s, Facts{FilmUM: 110}, rack.Default(), own, Books{Fair: &l})
	if err != nil || o.Basis.Trim.Minutes != 90 || o.Basis.Planned == nil {
		t.Errorf("own trim %+v, %v", o.Basis.Trim, err)
	}
}
