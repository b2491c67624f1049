package invoice

import (
	"fmt"

	"fairmetal/money"
)

const subtotal = "cac:TaxTotal/cac:TaxSubtotal"

// sumRules of totals and of the VAT breakdown. Amounts are compared to the
// hundredth; the published artefacts let BR-CO-17, BR-S-08 and BR-S-09 pass with up to 1.00 of difference, which hides slips.
var sumRules = []rule{
	{"BR-12", "", "give the sum of the lines (BT-106)", has("cac:LegalMonetaryTotal/cbc:LineExtensionAmount")},
	{"BR-13", "", "give the total without VAT (BT-109)", has("cac:LegalMonetaryTotal/cbc:TaxExclusiveAmount")},
	{"BR-14", "", "give the total with VAT (BT-112)", has("cac:LegalMonetaryTotal/cbc:TaxInclusiveAmount")},
	{"BR-15", "", "give the amount to pay (BT-115)", has("cac:LegalMonetaryTotal/cbc:PayableAmount")},
	{"BR-CO-10", "", "let the lines add up to their sum (BT-106)", func(d *document, _ *element) bool {
		return amount(d.sum, "cbc:LineExtensionAmount") == sum(d.lines, "cbc:LineExtensionAmount")
	}},
	{"BR-CO-11", "", "let the allowances add up to their sum (BT-107)", func(d *document, _ *element) bool {
		list := d.adjustments(false)
		return amount(d.sum, "cbc:AllowanceTotalAmount") == sum(list, "cbc:Amount") && (len(list) == 0 || d.sum.get("cbc:AllowanceTotalAmount") != "")
	}},
	{"BR-CO-12", "", "let the charges add up to their sum (BT-108)", func(d *document, _ *element) bool {
		list := d.adjustments(true)
		return amount(d.sum, "cbc:ChargeTotalAmount") == sum(list, "cbc:Amount") && (len(list) == 0 || d.sum.get("cbc:ChargeTotalAmount") != "")
	}},
	{"BR-CO-13", "", "total without VAT = lines - allowances + charges (BT-109)", func(d *document, _ *element) bool {
		return amount(d.sum, "cbc:TaxExclusiveAmount") == amount(d.sum, "cbc:LineExtensionAmount")-amount(d.sum, "cbc:AllowanceTotalAmount")+amount(d.sum, "cbc:ChargeTotalAmount")
	}},
	{"BR-CO-14", "", "let the VAT of the categories add up to the VAT (BT-110)", func(d *document, _ *element) bool {
		return amount(d.tax, "cbc:TaxAmount") == sum(d.tax.all("cac:TaxSubtotal"), "cbc:TaxAmount")
	}},
	{"BR-CO-15", "", "give the VAT in the document's currency once, and total with VAT = total without VAT + VAT (BT-112)", func(d *document, e *element) bool {
		n := 0
		for _, t := range e.all("cac:TaxTotal/cbc:TaxAmount") {
			if t.attr("currencyID") == e.get("cbc:DocumentCurrencyCode") {
				n++
			}
		}
		return n == 1 && amount(d.sum, "cbc:TaxInclusiveAmount") == amount(d.sum, "cbc:TaxExclusiveAmount")+amount(d.tax, "cbc:TaxAmount")
	}},
	{"BR-CO-16", "", "amount to pay = total with VAT - prepaid + rounding (BT-115)", func(d *document, _ *element) bool {
		return amount(d.sum, "cbc:PayableAmount") == amount(d.sum, "cbc:TaxInclusiveAmount")-amount(d.sum, "cbc:PrepaidAmount")+amount(d.sum, "cbc:PayableRoundingAmount")
	}},
	{"BR-CO-18", "", "give the VAT breakdown", func(d *document, _ *element) bool { return d.tax.at("cac:TaxSubtotal") != nil }},
	{"BR-53", "", "give the VAT in the accounting currency too (BT-111)", func(_ *document, e *element) bool {
		c := e.get("cbc:TaxCurrencyCode")
		for _, t := range e.all("cac:TaxTotal/cbc:TaxAmount") {
			if t.attr("currencyID") == c {
				return true
			}
		}
		return c == ""
	}},
	{"BR-45", subtotal, "give the taxable amount (BT-116)", has("cbc:TaxableAmount")},
	{"BR-46", subtotal, "give the VAT of the category (BT-117)", has("cbc:TaxAmount")},
	{"BR-47", subtotal, "give the VAT category (BT-118)", has("cac:TaxCategory/cbc:ID")},
	{"BR-48", subtotal, "give the VAT rate (BT-119)", func(_ *document, e *element) bool {
		return e.get("cac:TaxCategory/cbc:Percent") != "" || e.get("cac:TaxCategory/cbc:ID") == "O"
	}},
	{"BR-CO-17", subtotal, "VAT of the category = taxable amount x rate / 100, rounded (BT-117)", func(d *document, e *element) bool {
		p := e.get("cac:TaxCategory/cbc:Percent")
		if p == "" {
			p = "0"
		}
		want, ok := d.taxOf(amount(e, "cbc:TaxableAmount"), p)
		return ok && want == amount(e, "cbc:TaxAmount")
	}},
}

// of tells whether a tax category is c, under the element or at a path below it.
func of(e *element, path string, c Category) bool { return e.get(path+"/cbc:ID") == string(c) }

// uses lists lines, allowances and charges with a category and the paths to their rate and amount.
func (d *document) uses(c Category) (lines, allowances, charges []*element) {
	pick := func(list []*element, path string) (out []*element) {
		for _, e := range list {
			if of(e, path, c) {
				out = append(out, e)
			}
		}
		return out
	}
	return pick(d.lines, lineCategory), pick(d.adjustments(false), "cac:TaxCategory"), pick(d.adjustments(true), "cac:TaxCategory")
}

const lineCategory = "cac:Item/cac:ClassifiedTaxCategory"

// categoryRules are BR-S, BR-Z, BR-E and BR-AE: ten rules of one form for each category.
func categoryRules(c Category) []rule {
	id := func(n int) string { return fmt.Sprintf("BR-%s-%02d", c, n) }
	rated := c == Standard
	rateOK := func(percent string) bool {
		r, err := money.ParseRate(percent)
		return err == nil && (r > 0) == rated
	}
	rateText := "the rate of category " + string(c) + " is 0"
	if rated {
		rateText = "the rate of category S is above 0"
	}
	rate := func(path string) func(*document, *element) bool {
		return func(_ *document, e *element) bool { return !of(e, path, c) || rateOK(e.get(path+"/cbc:Percent")) }
	}
	identified := func(which int) func(*document, *element) bool {
		return func(d *document, e *element) bool {
			l, a, ch := d.uses(c)
			if len([][]*element{l, a, ch}[which]) == 0 {
				return true
			}
			own := vatNumber(e, seller) || taxNumber(e, seller, false) || e.get("cac:TaxRepresentativeParty/cac:PartyTaxScheme/cbc:CompanyID") != ""
			return own && (c != ReverseCharge || vatNumber(e, buyer) || e.get(buyer+"/cac:PartyLegalEntity/cbc:CompanyID") != "")
		}
	}
	who := "give the seller's VAT number or tax registration (BT-31, BT-32)"
	if c == ReverseCharge {
		who = "reverse charge needs the seller's VAT number or tax registration (BT-31, BT-32) and the buyer's VAT or register number (BT-48, BT-47)"
	}
	inBreakdown := func(ok func(d *document, e *element) bool) func(*document, *element) bool {
		return func(d *document, e *element) bool { return !of(e, "cac:TaxCategory", c) || ok(d, e) }
	}
	rules := []rule{
		{id(1), "", "put category " + string(c) + " into the VAT breakdown where it is used, once (S: once a rate), and only there", func(d *document, _ *element) bool {
			l, a, ch := d.uses(c)
			n := 0
			for _, s := range d.tax.all("cac:TaxSubtotal") {
				if of(s, "cac:TaxCategory", c) {
					n++
				}
			}
			used := len(l)+len(a)+len(ch) > 0
			return used && (n == 1 || rated && n > 0) || !used && n == 0
		}},
		{id(2), "", who, identified(0)},
		{id(3), "", who, identified(1)},
		{id(4), "", who, identified(2)},
		{id(5), "line", rateText + " (BT-152)", rate(lineCategory)},
		{id(6), "cac:AllowanceCharge", rateText + " (BT-96)", adjusted(false, rate("cac:TaxCategory"))},
		{id(7), "cac:AllowanceCharge", rateText + " (BT-103)", adjusted(true, rate("cac:TaxCategory"))},
		{id(8), subtotal, "taxable amount = lines - allowances + charges of the category and rate (BT-116)", inBreakdown(func(d *document, e *element) bool {
			l, a, ch := d.uses(c)
			p := e.get("cac:TaxCategory/cbc:Percent")
			return amount(e, "cbc:TaxableAmount") == sum(atRate(l, lineCategory, p), "cbc:LineExtensionAmount")-sum(atRate(a, "cac:TaxCategory", p), "cbc:Amount")+sum(atRate(ch, "cac:TaxCategory", p), "cbc:Amount")
		})},
	}
	if rated {
		rules = append(rules,
			rule{id(9), subtotal, "VAT of the category = taxable amount x rate / 100 (BT-117)", inBreakdown(func(d *document, e *element) bool {
				want, ok := d.taxOf(amount(e, "cbc:TaxableAmount"), e.get("cac:TaxCategory/cbc:Percent"))
				return ok && want == amount(e, "cbc:TaxAmount")
			})})
	} else {
		rules = append(rules,
			rule{id(9), subtotal, "there is no VAT in category " + string(c) + " (BT-117)", inBreakdown(func(_ *document, e *element) bool { return amount(e, "cbc:TaxAmount") == 0 })})
	}
	reasoned := c == Exempt || c == ReverseCharge
	text := "category " + string(c) + " has no exemption reason; leave it out (BT-120, BT-121)"
	if reasoned {
		text = "give the reason for category " + string(c) + " (BT-120 or BT-121)"
	}
	return append(rules, rule{id(10), subtotal, text, inBreakdown(func(_ *document, e *element) bool {
		return reasoned == (e.get("cac:TaxCategory/cbc:TaxExemptionReason")+e.get("cac:TaxCategory/cbc:TaxExemptionReasonCode") != "")
	})})
}

// atRate keeps those with a rate, 19 and 19.00 being one.
func atRate(list []*element, path, percent string) []*element {
	r := reader{}
	want := r.rate(percent)
	var out []*element
	for _, e := range list {
		if r.rate(e.get(path+"/cbc:Percent")) == want {
			out = append(out, e)
		}
	}
	return out
}
