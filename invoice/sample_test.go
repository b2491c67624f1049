package invoice

import (
	"strings"
	"testing"

	"fairmetal/money"
)

const (
	vat19 = money.Rate(190000)
	vat7  = money.Rate(70000)
)

// sample is a job of our made-up fleet: labour, tabs, a hand-written book of care at the lower rate, a discount, a charge.
func sample() Invoice {
	return Invoice{Kind: Commercial, Number: "2026-0001", Issued: "2026-11-25", Due: "2026-12-09", Delivered: "2026-11-24", From: "2026-11-23", To: "2026-11-24", Currency: "EUR",
		Note: "Van 07, sliding door, <left> & roof", BuyerReference: "Fleet desk", OrderReference: "PO 7",
		Seller: Party{Name: "Fairmetal Workshop", TradingName: "Fairmetal", VAT: "DE123456789", TaxNumber: "12/345/67890", LegalID: "HRA 1", ID: "W 1", Endpoint: "bench@workshop.example", EndpointScheme: "EM",
			Street: "Lane 1", Extra: "Yard", City: "Small Town", Postcode: "01234", Region: "North", Country: "DE", Contact: "Office", Phone: "+49 30 000000", Email: "bench@workshop.example"},
		Buyer:      Party{Name: "Delivery Van Fleet", VAT: "DE987654321", Endpoint: "fleet@vans.example", EndpointScheme: "EM", Street: "Road 2", City: "Big Town", Postcode: "54321", Country: "DE"},
		Pay:        Payment{Means: SEPATransfer, IBAN: "DE89370400440532013000", BIC: "COBADEFFXXX", AccountName: "Fairmetal Workshop", Reference: "2026-0001", Terms: "14 days"},
		Allowances: []Allowance{{Reason: "Fleet discount", Percent: 50000, BaseMinor: 27625, Category: Standard, Rate: vat19}, {Charge: true, Reason: "Travel", AmountMinor: 2500, Category: Standard, Rate: vat19}},
		Lines: []Line{
			{Name: "Repair work", Quantity: 3_250_000, Unit: "HUR", Price: 85_000_000, Category: Standard, Rate: vat19, Note: "stages raise, level, finish"},
			{Name: "Tabs and glue", Description: "by the hundred hits", Quantity: 46_000_000, Unit: "C62", Price: 1_500_000, PriceBase: 100_000_000, Category: Standard, Rate: vat19},
			{Name: "Care book", Quantity: 1_000_000, Unit: "C62", Price: 9_950_000, Category: Standard, Rate: vat7},
		}}
}

// exempt has one line of another category than S.
func exempt(c Category) Invoice {
	inv := sample()
	inv.Allowances, inv.Lines = []Allowance{{Reason: "Fleet discount", AmountMinor: 1000, Category: c}, {Charge: true, Reason: "Travel", AmountMinor: 500, Category: c}}, inv.Lines[:1]
	inv.Lines[0].Category, inv.Lines[0].Rate = c, 0
	if c == Exempt {
		inv.Exemptions = []Exemption{{Exempt, "", "Small business, no VAT is charged"}}
	}
	return inv
}

func computed(t *testing.T, inv Invoice) Invoice {
	t.Helper()
	if err := inv.Compute(); err != nil {
		t.Fatal(err)
	}
	return inv
}

func root(t *testing.T, inv Invoice) *element {
	t.Helper()
	r, err := computed(t, inv).tree()
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// drop takes every element at a path away.
func (e *element) drop(path string) {
	up, last := "", path
	if i := strings.LastIndexByte(path, '/'); i >= 0 {
		up, last = path[:i], path[i+1:]
	}
	for _, p := range e.all(up) {
		var kept []*element
		for _, k := range p.kids {
			if k.name != last {
				kept = append(kept, k)
			}
		}
		p.kids = kept
	}
}

// set changes the first element at a path, or adds it to the first of its group.
func (e *element) set(path, text string) {
	for path != "" {
		first, rest, _ := strings.Cut(path, "/")
		k := e.at(first)
		if k == nil {
			k = e.group(first)
		}
		e, path = k, rest
	}
	e.text = text
}

func (e *element) setAttr(name, value string) { e.attrs = [][2]string{{name, value}} }
