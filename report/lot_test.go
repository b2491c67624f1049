package report

import (
	"os/exec"
	"strings"
	"testing"
	"time"

	"fairmetal/internal/poppler"
)

// TestLot: an independent reader finds each panel, the sums and both languages' words and figures in a quote for several panels; taxes of one
// rate are one line.
func TestLot(t *testing.T) {
	l := Lot{House: House{Name: "Fennel Yard Dents"}, Customer: []string{"Lindenhof Parcels"}, Number: "L-00007", Date: time.Date(2026, 3, 4, 0, 0, 0, 0, time.UTC), Valid: time.Date(2026, 4, 3, 0, 0, 0, 0, time.UTC),
		Currency: "EUR", LowMinor: 30000, HighMinor: 50000, Rows: []LotRow{{Vehicle: "Van 1", Panel: "Bonnet", Marks: 12, DeepUM: 350, Hours: 2.5, NetMinor: 20000}, {Vehicle: "Van 12", Panel: "Roof, front", Marks: 3, DeepUM: 80, Hours: 1, NetMinor: 10050, Note: "check"}}}
	l.AddTax(Tax{Name: "VAT", RateBP: 1900, AmountMinor: 3800})
	l.AddTax(Tax{Name: "VAT", RateBP: 1900, AmountMinor: 1910})
	l.AddTax(Tax{Name: "VAT", RateBP: 700, AmountMinor: 1})
	if len(l.Taxes) != 2 || l.TotalMinor() != 20000+10050+3800+1910+1 {
		t.Errorf("%+v, total %d", l.Taxes, l.TotalMinor())
	}
	for lang, want := range map[string][]string{
		"en": {"Quote", "L-00007", "Van 1, Bonnet", "Van 12, Roof, front: check", "0.35 mm", "2.5 h", "3.5 h", "€200.00", "€57.10", "€357.61", "€300.00", "valid until 3 April 2026"},
		"de": {"Angebot", "Van 12, Roof, front: check", "0,35 mm", "2,5 h", "200,00 €", "357,61 €", "gültig bis 03.04.2026"},
	} {
		l.Lang = lang
		pdf, err := l.PDF()
		if err != nil {
			t.Fatal(err)
		}
		text, err := exec.Command(poppler.Tool(t, "pdftotext"), "-layout", poppler.Save(t, pdf), "-").Output()
		if err != nil {
			t.Fatal(err)
		}
		got := strings.ReplaceAll(string(text), "\u00a0", " ")
		for _, w := range want {
			if !strings.Contains(got, w) {
				t.Errorf("%s: the paper lacks %q", lang, w)
			}
		}
	}
}
