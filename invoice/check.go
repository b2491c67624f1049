package invoice

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"fairmetal/money"
)

// Violation is one broken rule.
type Violation struct {
	Rule  string // the standard's number: BR-CO-10
	Where string // "line 2", "" for the whole document
	Text  string // what to do
}

func (v Violation) String() string {
	if v.Where == "" {
		return v.Rule + ": " + v.Text
	}
	return v.Rule + " (" + v.Where + "): " + v.Text
}

// Check reads a document and returns the rules of the standard that it breaks, in the order of the tables below. The error tells that
// it could not be read at all. Rules are those of [EN16931]; what they compare are amounts of at most two decimals.
func Check(data []byte) ([]Violation, error) {
	root, err := parse(data)
	if err != nil {
		return nil, err
	}
	if err := limits(root); err != nil {
		return nil, err
	}
	return check(root), nil
}

// maxViolations bounds the answer to a document that is wrong all over.
const maxViolations = 200

func check(root *element) []Violation {
	d := &document{element: root, line: "cac:InvoiceLine", quantity: "cbc:InvoicedQuantity", typeCode: "cbc:InvoiceTypeCode"}
	if root.name == "CreditNote" {
		d.line, d.quantity, d.typeCode = "cac:CreditNoteLine", "cbc:CreditedQuantity", "cbc:CreditNoteTypeCode"
	}
	d.lines, d.tax, d.sum = root.all(d.line), ownTaxTotal(root), root.at("cac:LegalMonetaryTotal")
	d.places = 2
	if exp, err := money.Exponent(root.get("cbc:DocumentCurrencyCode")); err == nil {
		d.places = min(2, exp)
	}
	for _, rules := range [][]rule{documentRules, partyRules, lineRules, sumRules, codeRules} {
		for _, r := range rules {
			d.run(r)
		}
	}
	for _, c := range []Category{Standard, Zero, Exempt, ReverseCharge} {
		for _, r := range categoryRules(c) {
			d.run(r)
		}
	}
	d.decimals()
	return d.out
}

// document is what the rules look at.
type document struct {
	*element
	line, quantity, typeCode string
	lines                    []*element
	tax, sum                 *element
	places                   int // decimals of the currency that amounts are rounded to
	out                      []Violation
}

// rule holds for each element of a context: "" is the document, "line" its lines, else a path.
type rule struct {
	id, context, text string
	ok                func(d *document, e *element) bool
}

func (d *document) run(r rule) {
	found := d.lines
	if r.context != "line" {
		found = d.all(r.context)
	}
	for i, e := range found {
		if len(d.out) >= maxViolations {
			return
		}
		if r.ok(d, e) {
			continue
		}
		where := ""
		switch {
		case r.context == "line":
			where = "line " + strconv.Itoa(i+1)
		case len(found) > 1:
			where = strings.TrimPrefix(r.context[strings.LastIndexByte(r.context, '/')+1:], "cac:") + " " + strconv.Itoa(i+1)
		}
		d.out = append(d.out, Violation{r.id, where, r.text})
	}
}

// has makes the commonest test: something stands at a path.
func has(path string) func(*document, *element) bool {
	return func(_ *document, e *element) bool { return e.get(path) != "" }
}

// group tests that a group is there, whatever is in it.
func group(path string) func(*document, *element) bool {
	return func(_ *document, e *element) bool { return e.at(path) != nil }
}

// either tests that one of two stands there.
func either(a, b string) func(*document, *element) bool {
	return func(_ *document, e *element) bool { return e.get(a) != "" || e.get(b) != "" }
}

// cents reads an amount of at most two decimals, in hundredths whatever the currency.
func cents(s string) (int64, bool) {
	v, err := money.ParseFixed(s, 2)
	return v, err == nil && v <= money.MaxMinor && v >= -money.MaxMinor
}

// sum adds amounts; what cannot be read counts nothing and is told by another rule.
func sum(list []*element, path string) int64 {
	var s int64
	for _, e := range list {
		if v, ok := cents(e.get(path)); ok {
			s += v
		}
	}
	return s
}

func amount(e *element, path string) int64 { return sum([]*element{e}, path) }

// charges of the document, or its allowances.
func (d *document) adjustments(charge bool) []*element {
	var out []*element
	for _, e := range d.all("cac:AllowanceCharge") {
		if yes(e.get("cbc:ChargeIndicator")) == charge {
			out = append(out, e)
		}
	}
	return out
}

// taxOf is base times per cent in hundredths, rounded half away from zero at the currency's decimals.
func (d *document) taxOf(base int64, percent string) (int64, bool) {
	r, err := money.ParseRate(percent)
	if err != nil {
		return 0, false
	}
	unit := int64(1)
	for range 2 - d.places {
		unit *= 10
	}
	v, err := money.MulDiv(base, int64(r), 1_000_000*unit)
	return v * unit, err == nil
}

func date(s string) (time.Time, bool) {
	t, err := time.Parse("2006-01-02", s)
	return t, err == nil
}

// ordered tells whether a period has its start not after its end, where it has both.
func ordered(_ *document, e *element) bool {
	from, to := e.get("cbc:StartDate"), e.get("cbc:EndDate")
	if from == "" || to == "" {
		return true
	}
	a, okA := date(from)
	b, okB := date(to)
	return okA && okB && !b.Before(a)
}

// decimals applies BR-DEC: amounts have at most two decimals. A figure that is none at all is told the same way.
func (d *document) decimals() {
	for _, g := range []struct {
		rule, what string
		list       []*element
		path       string
	}{
		{"BR-DEC-01", "an allowance", d.adjustments(false), "cbc:Amount"}, {"BR-DEC-02", "the base of an allowance", d.adjustments(false), "cbc:BaseAmount"},
		{"BR-DEC-05", "a charge", d.adjustments(true), "cbc:Amount"}, {"BR-DEC-06", "the base of a charge", d.adjustments(true), "cbc:BaseAmount"},
		{"BR-DEC-09", "the sum of the lines", []*element{d.sum}, "cbc:LineExtensionAmount"}, {"BR-DEC-10", "the sum of allowances", []*element{d.sum}, "cbc:AllowanceTotalAmount"},
		{"BR-DEC-11", "the sum of charges", []*element{d.sum}, "cbc:ChargeTotalAmount"}, {"BR-DEC-12", "the total without VAT", []*element{d.sum}, "cbc:TaxExclusiveAmount"},
		{"BR-DEC-13", "the VAT", []*element{d.tax}, "cbc:TaxAmount"}, {"BR-DEC-14", "the total with VAT", []*element{d.sum}, "cbc:TaxInclusiveAmount"},
		{"BR-DEC-16", "the prepaid amount", []*element{d.sum}, "cbc:PrepaidAmount"}, {"BR-DEC-17", "the rounding", []*element{d.sum}, "cbc:PayableRoundingAmount"},
		{"BR-DEC-18", "the amount to pay", []*element{d.sum}, "cbc:PayableAmount"}, {"BR-DEC-19", "a taxable amount", d.tax.all("cac:TaxSubtotal"), "cbc:TaxableAmount"},
		{"BR-DEC-20", "the VAT of a category", d.tax.all("cac:TaxSubtotal"), "cbc:TaxAmount"}, {"BR-DEC-23", "the net amount of a line", d.lines, "cbc:LineExtensionAmount"},
	} {
		for _, e := range g.list {
			s := e.get(g.path)
			if _, ok := cents(s); s != "" && !ok && len(d.out) < maxViolations {
				d.out = append(d.out, Violation{g.rule, "", fmt.Sprintf("%s is %q; write a figure with at most two decimals", g.what, clip(s))})
			}
		}
	}
}
