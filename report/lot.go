package report

import (
	"fmt"
	"time"
)

// LotRow is one panel of a quote for several.
type LotRow struct {
	Vehicle, Panel string
	Marks          int
	DeepUM         float64 // of the deepest mark
	Hours          float64
	NetMinor       int64
	Note           string
}

// Lot is one quote for several panels of one customer. Sums are those of the rows, each panel priced as it would be alone.
type Lot struct {
	Lang     string // BCP 47; "" is en
	House    House
	Customer []string
	Number   string
	Date     time.Time
	Valid    time.Time
	Currency string
	Rows     []LotRow
	Taxes    []Tax
	LowMinor int64
	// HighMinor and LowMinor bound the total with tax.
	HighMinor int64
}

// AddTax adds a panel's tax to the sum of its name and rate.
func (l *Lot) AddTax(t Tax) {
	for i := range l.Taxes {
		if l.Taxes[i].Name == t.Name && l.Taxes[i].RateBP == t.RateBP {
			l.Taxes[i].AmountMinor += t.AmountMinor
			return
		}
	}
	l.Taxes = append(l.Taxes, t)
}

// NetMinor is the sum of the rows.
func (l *Lot) NetMinor() int64 {
	var n int64
	for _, r := range l.Rows {
		n += r.NetMinor
	}
	return n
}

// TotalMinor is the sum with tax.
func (l *Lot) TotalMinor() int64 {
	n := l.NetMinor()
	for _, t := range l.Taxes {
		n += t.AmountMinor
	}
	return n
}

// PDF renders the quote.
func (l *Lot) PDF() ([]byte, error) {
	q := Quote{Lang: l.Lang, House: l.House, Customer: l.Customer, Number: l.Number, Date: l.Date, Valid: l.Valid, Currency: l.Currency, Taxes: l.Taxes,
		NetMinor: l.NetMinor(), TotalMinor: l.TotalMinor(), LowMinor: l.LowMinor, HighMinor: l.HighMinor}
	return q.render(func(p *paper) {
		var rows [][]string
		var hours float64
		for _, r := range l.Rows {
			what := fmt.Sprintf("%s, %s", r.Vehicle, r.Panel)
			if r.Note != "" {
				what += ": " + r.Note
			}
			rows = append(rows, []string{what, fmt.Sprint(r.Marks), p.decimal(r.DeepUM/1000, 2) + " mm", p.decimal(r.Hours, 1) + " h", p.money(r.NetMinor)})
			hours += r.Hours
		}
		p.heading(p.w.panels)
		p.table([]column{{p.w.panel, width - 110, "L"}, {p.w.count, 22, "R"}, {p.w.depth, 28, "R"}, {p.w.time, 24, "R"}, {p.w.net, 36, "R"}}, rows)
		p.SetY(p.GetY() + 2)
		p.body(p.w.hours + " " + p.decimal(hours, 1) + " h")
		p.sums()
		p.close()
	})
}
