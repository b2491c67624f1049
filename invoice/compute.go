package invoice

import (
	"fmt"

	"fairmetal/money"
)

// maxLines bounds a document.
const maxLines = 10_000

// reverse is the standard's own wording of category AE.
var reverse = Exemption{ReverseCharge, "VATEX-EU-AE", "Reverse charge"}

// Compute fills in the net amounts of the lines, the allowances given in per cent, the VAT breakdown and the totals:
//
//	line net = quantity price / price base       rounded to the minor unit
//	net      = lines - allowances + charges      (BR-CO-10 to BR-CO-13)
//	VAT      = base rate / 100                   rounded once for each category and rate (BR-CO-17)
//	payable  = net + VAT - prepaid + rounding    (BR-CO-14 to BR-CO-16)
func (inv *Invoice) Compute() error {
	exp, err := exponent(inv.Currency)
	if err != nil {
		return err
	}
	if len(inv.Lines) > maxLines || len(inv.Allowances) > maxLines {
		return fmt.Errorf("%d lines are too many for one invoice; at most %d", len(inv.Lines), maxLines)
	}
	var sums []money.Line
	t := Totals{}
	add := func(minor int64, c Category, r money.Rate) error {
		a, err := money.New(minor, inv.Currency)
		sums = append(sums, money.Line{Net: a, Rate: r, Kind: string(c)})
		return err
	}
	for i := range inv.Lines {
		l := &inv.Lines[i]
		if l.ID == "" {
			l.ID = fmt.Sprint(i + 1)
		}
		if l.NetMinor, err = net(*l, exp); err != nil {
			return fmt.Errorf("line %s: %w", l.ID, err)
		}
		if err := add(l.NetMinor, l.Category, l.Rate); err != nil {
			return fmt.Errorf("line %s: %w", l.ID, err)
		}
		t.LineMinor += l.NetMinor
	}
	for i := range inv.Allowances {
		a := &inv.Allowances[i]
		if a.Percent != 0 {
			base, err := money.New(a.BaseMinor, inv.Currency)
			if err != nil {
				return err
			}
			v, err := a.Percent.On(base)
			if err != nil {
				return err
			}
			a.AmountMinor = v.Minor
		}
		if a.AmountMinor < 0 {
			return fmt.Errorf("the allowance %q is negative; make it a charge", a.Reason)
		}
		minor := -a.AmountMinor
		if a.Charge {
			minor = a.AmountMinor
			t.ChargeMinor += a.AmountMinor
		} else {
			t.AllowanceMinor += a.AmountMinor
		}
		if err := add(minor, a.Category, a.Rate); err != nil {
			return err
		}
	}
	s, err := money.Total(sums, money.PerTotal)
	if err != nil {
		return fmt.Errorf("the invoice: %w", err)
	}
	inv.Taxes = nil
	for _, g := range s.Groups {
		e := inv.exemption(Category(g.Kind))
		inv.Taxes = append(inv.Taxes, Tax{Category(g.Kind), g.Rate, g.Base.Minor, g.Tax.Minor, e.Code, e.Reason})
	}
	t.NetMinor, t.TaxMinor, t.GrossMinor = s.Net.Minor, s.Tax.Minor, s.Gross.Minor
	t.PayableMinor = t.GrossMinor - inv.PrepaidMinor + inv.RoundingMinor
	inv.Totals = t
	return nil
}

// maxBase bounds the units of a price, in millionths, so that the divisor below fits an int64.
const maxBase = 1_000_000 * 1_000_000

// net of a line in minor units, rounded once.
func net(l Line, exp int) (int64, error) {
	base := l.PriceBase
	if base == 0 {
		base = 1_000_000
	}
	if base < 0 || base > maxBase {
		return 0, fmt.Errorf("a price for %s units is not possible", base)
	}
	if l.Price < 0 {
		return 0, fmt.Errorf("the price %s is negative; write a negative quantity instead", l.Price)
	}
	scale := int64(1)
	for range exp {
		scale *= 10
	}
	// Millionths times millionths over millionths: a million too many, less the minor units of the currency.
	return money.MulDiv(int64(l.Quantity), int64(l.Price), int64(base)*(1_000_000/scale))
}

func (inv *Invoice) exemption(c Category) Exemption {
	for _, e := range inv.Exemptions {
		if e.Category == c {
			return e
		}
	}
	if c == ReverseCharge {
		return reverse
	}
	return Exemption{}
}

// Credit makes the credit note that takes an issued invoice back in full. Its amounts are positive, as its kind says that they are
// owed the other way; why is told to the buyer, and how the sum is settled in terms.
func Credit(inv Invoice, number, issued, why, terms string) (Invoice, error) {
	if inv.Kind == CreditNote {
		return Invoice{}, fmt.Errorf("%s is a credit note itself; write a new invoice instead", inv.Number)
	}
	if number == "" || number == inv.Number {
		return Invoice{}, fmt.Errorf("the credit note needs a number of its own")
	}
	c := inv
	c.Kind, c.Number, c.Issued, c.Due = CreditNote, number, issued, ""
	c.Note, c.Preceding, c.Pay = why, Preceding{inv.Number, inv.Issued}, Payment{Terms: terms}
	c.Lines, c.Allowances = append([]Line(nil), inv.Lines...), append([]Allowance(nil), inv.Allowances...)
	c.Exemptions = append([]Exemption(nil), inv.Exemptions...)
	c.PrepaidMinor = 0
	return c, c.Compute()
}
