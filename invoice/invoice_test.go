package invoice

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"

	"fairmetal/money"
)

// TestSumsByHand: 3.25 h x 85.00 = 276.25; 46 x 1.50 / 100 = 0.69; 9.95; in all 286.89. 5 % of 276.25 is 13.8125, so 13.81; + 25.00:
// 298.08 net. 19 % of 276.25 + 0.69 - 13.81 + 25.00 = 288.13 is 54.7447, so 54.74; 7 % of 9.95 is 0.6965, so 0.70; 353.52 in all.
func TestSumsByHand(t *testing.T) {
	inv := computed(t, sample())
	if want := (Totals{28689, 1381, 2500, 29808, 5544, 35352, 35352}); inv.Totals != want {
		t.Errorf("totals %+v, want %+v", inv.Totals, want)
	}
	if want := []Tax{{Standard, vat19, 28813, 5474, "", ""}, {Standard, vat7, 995, 70, "", ""}}; !reflect.DeepEqual(inv.Taxes, want) {
		t.Errorf("taxes %+v", inv.Taxes)
	}
	inv.PrepaidMinor, inv.RoundingMinor = 10000, -2
	if inv = computed(t, inv); inv.Totals.PayableMinor != 25350 {
		t.Errorf("to pay %d", inv.Totals.PayableMinor)
	}
	if v := check(root(t, inv)); len(v) > 0 {
		t.Error(v)
	}
}

// TestPublishedExample: the figures of example 2 of the standard's validation artefacts [EN16931]: 1436.50 of lines, 100.00 off and on,
// 365.28 of VAT in two rates and an exemption, 1000.00 prepaid, 801.78 to pay.
func TestPublishedExample(t *testing.T) {
	line := func(quantity, price Micro, c Category, r money.Rate) Line {
		return Line{Name: "Goods", Quantity: quantity * 1_000_000, Unit: "C62", Price: price * 10_000, Category: c, Rate: r}
	}
	inv := sample()
	inv.Currency, inv.PrepaidMinor = "NOK", 100000
	inv.Lines = []Line{line(1, 127300, Standard, 250000), line(-1, 396, Standard, 150000), line(2, 248, Standard, 150000), line(-1, 2500, Exempt, 0), line(250, 75, Standard, 250000)}
	inv.Allowances = []Allowance{{Reason: "Promotion discount", AmountMinor: 10000, Category: Standard, Rate: 250000}, {Charge: true, Reason: "Freight", AmountMinor: 10000, Category: Standard, Rate: 250000}}
	inv.Exemptions = []Exemption{{Exempt, "", "Exempt New Means of Transport"}}
	inv = computed(t, inv)
	if want := (Totals{143650, 10000, 10000, 143650, 36528, 180178, 80178}); inv.Totals != want {
		t.Errorf("totals %+v, want %+v", inv.Totals, want)
	}
	if want := []Tax{{Standard, 250000, 146050, 36513, "", ""}, {Standard, 150000, 100, 15, "", ""}, {Exempt, 0, -2500, 0, "", "Exempt New Means of Transport"}}; !reflect.DeepEqual(inv.Taxes, want) {
		t.Errorf("taxes %+v", inv.Taxes)
	}
	if v := check(root(t, inv)); len(v) > 0 {
		t.Error(v)
	}
}

// TestYen has no decimals: 2.5 h at 8123 are 20307.5, so 20308; 10 % of it 2030.8, so 2031.
func TestYen(t *testing.T) {
	inv := sample()
	inv.Currency, inv.Allowances = "JPY", nil
	inv.Lines = []Line{{Name: "Repair work", Quantity: 2_500_000, Unit: "HUR", Price: 8123_000_000, Category: Standard, Rate: 100000}}
	inv = computed(t, inv)
	if inv.Totals.NetMinor != 20308 || inv.Totals.TaxMinor != 2031 {
		t.Errorf("%+v", inv.Totals)
	}
	data, err := inv.XML()
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(data), `<cbc:TaxAmount currencyID="JPY">2031</cbc:TaxAmount>`) {
		t.Error("the tax is not written as 2031")
	}
	inv.Currency = "KWD"
	if err := inv.Compute(); err == nil || !strings.Contains(err.Error(), "3 decimals") {
		t.Errorf("fils: %v", err)
	}
}

// TestRefusedSums are slips that Compute tells.
func TestRefusedSums(t *testing.T) {
	for says, change := range map[string]func(*Invoice){
		"nothing to add up": func(i *Invoice) { i.Lines, i.Allowances = nil, nil },
		"negative quantity": func(i *Invoice) { i.Lines[0].Price = -1 },
		"make it a charge":  func(i *Invoice) { i.Allowances[1].AmountMinor = -1 },
		"no ISO 4217":       func(i *Invoice) { i.Currency = "euro" },
		"price for":         func(i *Invoice) { i.Lines[0].PriceBase = -1 },
		"out of range":      func(i *Invoice) { i.Lines[0].Quantity = 1 << 50 },
		"too large":         func(i *Invoice) { i.Lines[0].Quantity, i.Lines[0].Price = 1<<62, 1<<62 },
		"too many":          func(i *Invoice) { i.Lines = make([]Line, maxLines+1) },
		"0 to 100":          func(i *Invoice) { i.Lines[0].Rate = 2_000_000 },
	} {
		inv := sample()
		change(&inv)
		if err := inv.Compute(); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("want %q: %v", says, err)
		}
	}
}

// TestRoundTrip: what is written is read back, also as a credit note, also each category.
func TestRoundTrip(t *testing.T) {
	for _, c := range []Category{Standard, Zero, Exempt, ReverseCharge} {
		inv := computed(t, base(c))
		note, err := Credit(inv, "2026-0002", "2026-11-26", "billed twice", "paid back")
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range []Invoice{inv, note} {
			data, err := x.XML()
			if err != nil {
				t.Fatal(err)
			}
			got, err := Read(data)
			if err != nil {
				t.Fatal(err)
			}
			if c == ReverseCharge {
				x.Exemptions = []Exemption{reverse} // the default is read as said
			}
			if !reflect.DeepEqual(got, x) {
				t.Errorf("category %s, kind %s:\n got %+v\nwant %+v", c, x.Kind, got, x)
			}
			if v, err := Check(data); err != nil || len(v) > 0 {
				t.Errorf("%v, %v", v, err)
			}
		}
	}
}

// TestCredit mirrors the invoice: same sums, positive, its number named; the invoice stays as it was.
func TestCredit(t *testing.T) {
	inv := computed(t, sample())
	inv.PrepaidMinor = 1000
	inv = computed(t, inv)
	before := fmt.Sprintf("%+v", inv)
	note, err := Credit(inv, "2026-0002", "2026-11-26", "billed twice", "paid back")
	if err != nil {
		t.Fatal(err)
	}
	if note.Kind != CreditNote || note.Preceding != (Preceding{"2026-0001", "2026-11-25"}) || note.Totals.GrossMinor != inv.Totals.GrossMinor || note.Totals.PayableMinor != inv.Totals.GrossMinor {
		t.Errorf("%+v", note)
	}
	note.Lines[0].Name = "changed"
	if fmt.Sprintf("%+v", inv) != before {
		t.Error("the invoice was changed")
	}
	note.Pay = Payment{} // a credit note need not tell how it is settled (the published credit note does not)
	if v := check(root(t, note)); len(v) > 0 {
		t.Error(v)
	}
	if _, err := Credit(note, "2026-0003", "2026-11-26", "", ""); err == nil {
		t.Error("a credit note was credited")
	}
	if _, err := Credit(inv, inv.Number, "2026-11-26", "", ""); err == nil {
		t.Error("a credit note with the invoice's number")
	}
}

// TestRejected: nothing wrong is written.
func TestRejected(t *testing.T) {
	inv := computed(t, sample())
	inv.Buyer.Country, inv.Totals.PayableMinor = "", 1
	_, err := inv.XML()
	var r *Rejected
	if !errors.As(err, &r) || !slices.Equal(rulesOf(r.Violations), []string{"BR-11", "BR-CO-16"}) || !strings.Contains(err.Error(), "buyer's country") {
		t.Errorf("%v", err)
	}
	for _, bad := range []string{"bell \a", "\xff", "\ufffe"} {
		inv := computed(t, sample())
		inv.Lines[1].Name = bad
		if _, err := inv.XML(); err == nil || !strings.Contains(err.Error(), "XML cannot carry") {
			t.Errorf("%q: %v", bad, err)
		}
	}
}

// TestRandomInvoices: whatever the figures, the computed document breaks no rule and comes back.
func TestRandomInvoices(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	rates := []money.Rate{vat19, vat7, 55000, 88700}
	for range 200 {
		inv := sample()
		inv.Lines, inv.Allowances = nil, nil
		for range 1 + rng.IntN(12) {
			l := Line{Name: "Work", Unit: "HUR", Quantity: Micro(rng.Int64N(200_000_000) - 20_000_000), Price: Micro(rng.Int64N(300_000_000)), Category: Standard, Rate: rates[rng.IntN(len(rates))]}
			if rng.IntN(4) == 0 {
				l.Category, l.Rate = Zero, 0
			}
			inv.Lines = append(inv.Lines, l)
		}
		for range rng.IntN(3) {
			l := inv.Lines[rng.IntN(len(inv.Lines))]
			inv.Allowances = append(inv.Allowances, Allowance{Charge: rng.IntN(2) == 0, Reason: "agreed", AmountMinor: max(0, rng.Int64N(5000)-500), Category: l.Category, Rate: l.Rate})
		}
		inv = computed(t, inv)
		data, err := inv.XML()
		if err != nil {
			t.Fatalf("%v\n%+v", err, inv)
		}
		if got, err := Read(data); err != nil || !reflect.DeepEqual(got, inv) {
			t.Fatalf("%v\n got %+v\nwant %+v", err, got, inv)
		}
	}
}
