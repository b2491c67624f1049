package bill

import (
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"fairmetal/house"
	"fairmetal/invoice"
	"fairmetal/job"
	"fairmetal/money"
	"fairmetal/payqr"
	"fairmetal/quote"
	"fairmetal/report"
)

// Line is one line as it is edited: a text and its net amount.
type Line struct {
	Text  string
	Why   string
	Minor int64
}

// Lines of a quote.
func Lines(q quote.Quote) []Line {
	var out []Line
	for _, l := range q.Lines {
		out = append(out, Line{l.Text, l.Why, l.AmountMinor})
	}
	return out
}

// Draft is all that an invoice is made of.
type Draft struct {
	House     house.House
	Buyer     job.Person // its name, where the job has no person: the customer as the job names them
	Vehicle   string
	Panel     string
	Number    string
	Issued    time.Time
	Delivered time.Time
	Currency  string
	Lines     []Line
	Taxes     []quote.Tax
	NoTax     string // why no tax is charged, where there is none
	Lang      string
	T         func(string) string // says a text in Lang
}

const day = "2006-01-02"

// rate adds up the house's taxes.
func rate(taxes []quote.Tax) money.Rate {
	var bp int64
	for _, t := range taxes {
		bp += t.RateBP
	}
	return money.BasisPoints(bp)
}

// Invoice puts the document together and computes its sums.
func (d Draft) Invoice() (invoice.Invoice, error) {
	exp, err := money.Exponent(d.Currency)
	if err != nil {
		return invoice.Invoice{}, err
	}
	if exp != 2 {
		return invoice.Invoice{}, fmt.Errorf("an invoice carries two decimals, which %s does not have; write it by hand", d.Currency)
	}
	h, p := d.House, d.Buyer
	category, vat := invoice.Standard, rate(d.Taxes)
	if vat == 0 {
		category = invoice.Exempt
	}
	inv := invoice.Invoice{Kind: invoice.Commercial, Number: d.Number, Issued: d.Issued.Format(day), Due: d.Issued.AddDate(0, 0, h.PayDays).Format(day), Delivered: d.Delivered.Format(day), Currency: d.Currency,
		Note:   d.Vehicle + ", " + d.Panel,
		Seller: invoice.Party{Name: h.Name, VAT: strings.ReplaceAll(h.TaxID, " ", ""), LegalID: h.Register, ID: h.Register, Street: h.Street, City: h.City, Postcode: h.Postcode, Country: h.Country, Phone: h.Phone, Email: h.Email, Contact: h.Name, Endpoint: h.Endpoint, EndpointScheme: h.EndpointScheme},
		Buyer:  invoice.Party{Name: p.Title(), VAT: strings.ReplaceAll(p.TaxID, " ", ""), Street: p.Street, City: p.City, Postcode: p.Postcode, Country: p.Country, Email: p.Email, Phone: p.Phone},
		Pay:    invoice.Payment{Means: invoice.Cash, Reference: d.Number, Terms: fmt.Sprintf(d.T("Payable within %d days without deduction."), h.PayDays)}}
	if h.IBAN != "" {
		inv.Pay.Means, inv.Pay.IBAN, inv.Pay.BIC, inv.Pay.AccountName = invoice.CreditTransfer, h.IBAN, h.BIC, h.Name
		if d.Currency == "EUR" {
			inv.Pay.Means = invoice.SEPATransfer
		}
	}
	if category == invoice.Exempt {
		reason := d.NoTax
		if reason == "" {
			reason = d.T("No tax is charged.")
		}
		inv.Exemptions = []invoice.Exemption{{Category: category, Reason: reason}}
	}
	for _, l := range d.Lines {
		switch {
		case strings.TrimSpace(l.Text) == "":
			return inv, fmt.Errorf("a line has an amount but no text; say what it is for")
		case l.Minor < 0:
			inv.Allowances = append(inv.Allowances, invoice.Allowance{Reason: l.Text, AmountMinor: -l.Minor, Category: category, Rate: vat})
		case l.Minor > 0:
			inv.Lines = append(inv.Lines, invoice.Line{ID: fmt.Sprint(len(inv.Lines) + 1), Name: l.Text, Description: l.Why, Quantity: 1_000_000, Unit: "C62", Price: invoice.Micro(l.Minor * 10_000), Category: category, Rate: vat})
		}
	}
	if len(inv.Lines) == 0 {
		return inv, errors.New("an invoice needs at least one line with an amount")
	}
	if err := inv.Compute(); err != nil {
		return inv, err
	}
	if inv.Totals.PayableMinor < 0 {
		return inv, errors.New("the lines add up to less than nothing; make a credit note instead")
	}
	return inv, nil
}

// Files renders what is kept of an invoice or credit note. Where it breaks rules of EN 16931, xml is left out and the rules are told.
func (d Draft) Files(inv invoice.Invoice) (files map[string][]byte, broken []invoice.Violation, err error) {
	files = map[string][]byte{}
	xml, err := inv.XML()
	var rejected *invoice.Rejected
	switch {
	case errors.As(err, &rejected):
		broken = rejected.Violations
	case err != nil:
		return nil, nil, err
	default:
		files["invoice.xml"] = xml
	}
	if files["invoice.json"], err = json.MarshalIndent(inv, "", " "); err != nil {
		return nil, nil, err
	}
	p := report.Invoice{Lang: d.Lang, Credit: inv.Kind == invoice.CreditNote, House: Letter(d.House), Customer: d.Buyer.Lines(), Vehicle: d.Vehicle, Panel: d.Panel, Number: inv.Number, Date: d.Issued,
		Delivered: d.Delivered, Preceding: inv.Preceding.Number, Currency: inv.Currency, NetMinor: inv.Totals.NetMinor, TotalMinor: inv.Totals.PayableMinor, Terms: inv.Pay.Terms}
	if inv.Kind == invoice.Commercial {
		p.Due = d.Issued.AddDate(0, 0, d.House.PayDays)
	} else if p.Terms == "" {
		p.Terms = inv.Note
	}
	for _, l := range inv.Lines {
		p.Lines = append(p.Lines, report.Line{Text: l.Name, Why: l.Description, AmountMinor: l.NetMinor})
	}
	for _, a := range inv.Allowances {
		m := a.AmountMinor
		if !a.Charge {
			m = -m
		}
		p.Lines = append(p.Lines, report.Line{Text: a.Reason, AmountMinor: m})
	}
	names := make([]string, 0, len(d.Taxes))
	for _, t := range d.Taxes {
		names = append(names, t.Name)
	}
	for _, t := range inv.Taxes {
		if t.Reason != "" {
			p.Notes = append(p.Notes, t.Reason)
			continue
		}
		p.Taxes = append(p.Taxes, report.Tax{Name: strings.Join(names, " + "), RateBP: int64(t.Rate) / 100, AmountMinor: t.TaxMinor})
	}
	if inv.Pay.IBAN != "" && inv.Kind == invoice.Commercial {
		p.Bank = []string{d.House.Name, "IBAN " + payqr.GroupIBAN(inv.Pay.IBAN)}
		if inv.Pay.BIC != "" {
			p.Bank = append(p.Bank, "BIC "+inv.Pay.BIC)
		}
		if inv.Currency == "EUR" && inv.Totals.PayableMinor > 0 {
			text, err := payqr.Transfer{Name: payqr.Plain(d.House.Name), IBAN: inv.Pay.IBAN, BIC: inv.Pay.BIC, AmountMinor: inv.Totals.PayableMinor, Text: inv.Number}.Payload()
			if err != nil {
				return nil, nil, err
			}
			s, err := payqr.Encode(text)
			if err != nil {
				return nil, nil, err
			}
			p.QR = &s
		}
	}
	if files["invoice.pdf"], err = p.PDF(); err != nil {
		return nil, nil, err
	}
	return files, broken, nil
}

// Letter is the house as papers show it.
func Letter(h house.House) report.House {
	return report.House{Name: h.Name, Address: h.Address(), TaxID: h.TaxID}
}
