package offer

import (
	"os/exec"
	"strings"
	"testing"
	"time"

	"fairmetal/internal/memfs"
	"fairmetal/internal/poppler"
	"fairmetal/mark"
	"fairmetal/quote"
	"fairmetal/rack"
	"fairmetal/words"
)

// TestPapersAreGerman: whatever an offer says, for every kind of panel and every reason of the verdict, has its German.
func TestPapersAreGerman(t *testing.T) {
	say := func(text string) {
		t.Helper()
		if text != "" && !words.German.Has(text) {
			t.Errorf("no German for %q", text)
		}
	}
	worse := stored()
	kinds := []string{"roof", "door", "bonnet", "wing", "tailgate", "quarter", ""}
	for i, change := range []func(m *mark.Mark){
		func(m *mark.Mark) {}, func(m *mark.Mark) { m.Folded = true }, func(m *mark.Mark) { m.RadiusMM = 8 }, func(m *mark.Mark) { m.RadiusMM = 25 }, func(m *mark.Mark) { m.StretchPct = 0.8 }, func(m *mark.Mark) { m.StretchPct = 2 },
		func(m *mark.Mark) { m.EdgeMM = 3 }, func(m *mark.Mark) { m.EdgeMM = 10 }, func(m *mark.Mark) { m.Kind = mark.Line }, func(m *mark.Mark) { m.Kind = mark.Crease },
	} {
		s := *worse
		s.Marks = append([]mark.Mark(nil), worse.Marks...)
		change(&s.Marks[0])
		kind := kinds[i%len(kinds)]
		rates := quote.DefaultRates()
		rates.TravelMinor = 2500
		if i == 1 {
			rates.MinimumMinor = 99900
		}
		o, err := Make(&s, Facts{FilmUM: []float64{0, 110, 250, 600}[i%4], PanelKind: kind, NoReach: i%2 == 1}, rack.Default(), rates)
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range o.Verdict.Reasons {
			say(r.Text)
			say(r.Changes)
		}
		for _, m := range o.Verdict.Marks {
			say(string(m.Answer))
			for _, r := range m.Reasons {
				say(r.Text)
				say(r.Changes)
			}
		}
		for _, c := range o.Plan.Cautions {
			say(c)
		}
		for _, st := range o.Quote.Steps {
			say(st.Text)
		}
		for _, l := range o.Quote.Lines {
			say(l.Text)
			say(l.Why)
		}
		for _, x := range o.Quote.Taxes {
			say(x.Name)
		}
		for _, k := range kindWords {
			say(k)
		}
		say(place(s.Marks[0]))
	}
}

// TestGermanPaper: an independent reader finds the German words, figures and dates in the quote.
func TestGermanPaper(t *testing.T) {
	s := stored()
	o, err := Make(s, Facts{FilmUM: 110}, rack.Default(), quote.DefaultRates())
	if err != nil {
		t.Fatal(err)
	}
	pdf, err := o.Paper(s, memfs.FS{}, Letterhead{Number: "Q-00001", Date: time.Date(2026, 3, 4, 0, 0, 0, 0, time.UTC), ValidDays: 14, Lang: "de", Panel: "Vordertür, links"})
	if err != nil {
		t.Fatal(err)
	}
	text, err := exec.Command(poppler.Tool(t, "pdftotext"), "-layout", poppler.Save(t, pdf), "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	got := strings.ReplaceAll(string(text), "\u00a0", " ")
	for _, want := range []string{"Angebot", "04.03.2026", "18.03.2026", "Vordertür, links", "Instandsetzung", "zu 78,00 €", "in neun von zehn Fällen", "runde Delle", "0,25 mm", "Heißkleber"} {
		if !strings.Contains(got, want) {
			t.Errorf("the paper lacks %q", want)
		}
	}
	for _, english := range []string{" hits", " hour", "Repair", "between", "right,", "round"} {
		if strings.Contains(got, english) {
			t.Errorf("the paper says %q", english)
		}
	}
}
