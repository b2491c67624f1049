package invoice

import (
	"fmt"
	"strings"

	"fairmetal/money"
)

// customization names the standard [BT-24], without a national or network extension.
const customization = "urn:cen.eu:en16931:2017"

// Rejected lists the rules that a document breaks.
type Rejected struct{ Violations []Violation }

func (r *Rejected) Error() string {
	var b strings.Builder
	fmt.Fprintf(&b, "the invoice breaks %d of the standard's rules", len(r.Violations))
	for i, v := range r.Violations {
		if i == 5 {
			fmt.Fprintf(&b, "; and %d more", len(r.Violations)-i)
			break
		}
		fmt.Fprintf(&b, "; %s", v)
	}
	return b.String()
}

// XML writes the document in UBL 2.1 and checks it; an invoice that breaks a rule is not written.
func (inv Invoice) XML() ([]byte, error) {
	root, err := inv.tree()
	if err != nil {
		return nil, err
	}
	if v := check(root); len(v) > 0 {
		return nil, &Rejected{v}
	}
	if inv.Kind == CreditNote {
		return root.render(nsCredit), nil
	}
	return root.render(nsInvoice), nil
}

// tree puts the elements in the sequence of the UBL 2.1 schemas.
func (inv Invoice) tree() (*element, error) {
	exp, err := exponent(inv.Currency)
	if err != nil {
		return nil, err
	}
	for _, s := range inv.texts() {
		if i := strings.IndexFunc(s, func(r rune) bool {
			return r < ' ' && r != '\n' && r != '\t' || r == 0xFFFD || r == 0xFFFE || r == 0xFFFF
		}); i >= 0 {
			return nil, fmt.Errorf("the text %q holds a sign that XML cannot carry; type it again", clip(s))
		}
	}
	amount := func(e *element, name string, minor int64) {
		e.put(name, money.FormatFixed(minor, exp), "currencyID", inv.Currency)
	}
	credit := inv.Kind == CreditNote
	root, typeCode, line, quantity := &element{name: "Invoice"}, "cbc:InvoiceTypeCode", "cac:InvoiceLine", "cbc:InvoicedQuantity"
	if credit {
		root, typeCode, line, quantity = &element{name: "CreditNote"}, "cbc:CreditNoteTypeCode", "cac:CreditNoteLine", "cbc:CreditedQuantity"
	}
	root.put("cbc:CustomizationID", customization)
	root.put("cbc:ID", inv.Number)
	root.put("cbc:IssueDate", inv.Issued)
	if !credit {
		root.put("cbc:DueDate", inv.Due)
	}
	root.put(typeCode, string(inv.Kind))
	root.put("cbc:Note", inv.Note)
	root.put("cbc:DocumentCurrencyCode", inv.Currency)
	root.put("cbc:BuyerReference", inv.BuyerReference)
	if inv.From != "" || inv.To != "" {
		p := root.group("cac:InvoicePeriod")
		p.put("cbc:StartDate", inv.From)
		p.put("cbc:EndDate", inv.To)
	}
	if inv.OrderReference != "" {
		root.group("cac:OrderReference").put("cbc:ID", inv.OrderReference)
	}
	if inv.Preceding != (Preceding{}) {
		r := root.group("cac:BillingReference").group("cac:InvoiceDocumentReference")
		r.put("cbc:ID", inv.Preceding.Number)
		r.put("cbc:IssueDate", inv.Preceding.Issued)
	}
	inv.Seller.write(root.group("cac:AccountingSupplierParty").group("cac:Party"))
	inv.Buyer.write(root.group("cac:AccountingCustomerParty").group("cac:Party"))
	if inv.Delivered != "" {
		root.group("cac:Delivery").put("cbc:ActualDeliveryDate", inv.Delivered)
	}
	inv.writePayment(root, credit)
	for _, a := range inv.Allowances {
		c := root.group("cac:AllowanceCharge")
		c.put("cbc:ChargeIndicator", fmt.Sprint(a.Charge))
		c.put("cbc:AllowanceChargeReason", a.Reason)
		if a.Percent != 0 {
			c.put("cbc:MultiplierFactorNumeric", a.Percent.Percent())
		}
		amount(c, "cbc:Amount", a.AmountMinor)
		if a.Percent != 0 {
			amount(c, "cbc:BaseAmount", a.BaseMinor)
		}
		category(c.group("cac:TaxCategory"), a.Category, a.Rate, Exemption{})
	}
	total := root.group("cac:TaxTotal")
	amount(total, "cbc:TaxAmount", inv.Totals.TaxMinor)
	for _, t := range inv.Taxes {
		s := total.group("cac:TaxSubtotal")
		amount(s, "cbc:TaxableAmount", t.BaseMinor)
		amount(s, "cbc:TaxAmount", t.TaxMinor)
		category(s.group("cac:TaxCategory"), t.Category, t.Rate, Exemption{t.Category, t.Code, t.Reason})
	}
	sum := root.group("cac:LegalMonetaryTotal")
	amount(sum, "cbc:LineExtensionAmount", inv.Totals.LineMinor)
	amount(sum, "cbc:TaxExclusiveAmount", inv.Totals.NetMinor)
	amount(sum, "cbc:TaxInclusiveAmount", inv.Totals.GrossMinor)
	// A sum of allowances is written wherever there is one, be it of nothing.
	charges := 0
	for _, a := range inv.Allowances {
		if a.Charge {
			charges++
		}
	}
	for _, o := range []struct {
		name  string
		minor int64
		write bool
	}{{"cbc:AllowanceTotalAmount", inv.Totals.AllowanceMinor, charges < len(inv.Allowances)}, {"cbc:ChargeTotalAmount", inv.Totals.ChargeMinor, charges > 0},
		{"cbc:PrepaidAmount", inv.PrepaidMinor, inv.PrepaidMinor != 0}, {"cbc:PayableRoundingAmount", inv.RoundingMinor, inv.RoundingMinor != 0}} {
		if o.write {
			amount(sum, o.name, o.minor)
		}
	}
	amount(sum, "cbc:PayableAmount", inv.Totals.PayableMinor)
	for _, l := range inv.Lines {
		e := root.group(line)
		e.put("cbc:ID", l.ID)
		e.put("cbc:Note", l.Note)
		e.put(quantity, l.Quantity.String(), "unitCode", l.Unit)
		amount(e, "cbc:LineExtensionAmount", l.NetMinor)
		item := e.group("cac:Item")
		item.put("cbc:Description", l.Description)
		item.put("cbc:Name", l.Name)
		category(item.group("cac:ClassifiedTaxCategory"), l.Category, l.Rate, Exemption{})
		price := e.group("cac:Price")
		price.put("cbc:PriceAmount", l.Price.String(), "currencyID", inv.Currency)
		if l.PriceBase != 0 {
			price.put("cbc:BaseQuantity", l.PriceBase.String(), "unitCode", l.Unit)
		}
	}
	return root, nil
}

func (inv Invoice) writePayment(root *element, credit bool) {
	p := inv.Pay
	if p.Means != "" {
		e := root.group("cac:PaymentMeans")
		e.put("cbc:PaymentMeansCode", p.Means)
		if credit {
			e.put("cbc:PaymentDueDate", inv.Due) // a credit note has no due date of its own
		}
		e.put("cbc:PaymentID", p.Reference)
		if p.IBAN != "" {
			a := e.group("cac:PayeeFinancialAccount")
			a.put("cbc:ID", p.IBAN)
			a.put("cbc:Name", p.AccountName)
			if p.BIC != "" {
				a.group("cac:FinancialInstitutionBranch").put("cbc:ID", p.BIC)
			}
		}
	}
	if p.Terms != "" {
		root.group("cac:PaymentTerms").put("cbc:Note", p.Terms)
	}
}

func (p Party) write(e *element) {
	e.put("cbc:EndpointID", p.Endpoint, "schemeID", p.EndpointScheme)
	if p.ID != "" {
		e.group("cac:PartyIdentification").put("cbc:ID", p.ID)
	}
	if p.TradingName != "" {
		e.group("cac:PartyName").put("cbc:Name", p.TradingName)
	}
	a := e.group("cac:PostalAddress")
	a.put("cbc:StreetName", p.Street)
	a.put("cbc:AdditionalStreetName", p.Extra)
	a.put("cbc:CityName", p.City)
	a.put("cbc:PostalZone", p.Postcode)
	a.put("cbc:CountrySubentity", p.Region)
	if p.Country != "" {
		a.group("cac:Country").put("cbc:IdentificationCode", p.Country)
	}
	// A tax registration that is not the VAT number goes by another scheme; FC is the usual word for it.
	for _, n := range [][2]string{{p.VAT, "VAT"}, {p.TaxNumber, "FC"}} {
		if n[0] != "" {
			t := e.group("cac:PartyTaxScheme")
			t.put("cbc:CompanyID", n[0])
			t.group("cac:TaxScheme").put("cbc:ID", n[1])
		}
	}
	l := e.group("cac:PartyLegalEntity")
	l.put("cbc:RegistrationName", p.Name)
	l.put("cbc:CompanyID", p.LegalID)
	if p.Contact+p.Phone+p.Email != "" {
		c := e.group("cac:Contact")
		c.put("cbc:Name", p.Contact)
		c.put("cbc:Telephone", p.Phone)
		c.put("cbc:ElectronicMail", p.Email)
	}
}

func category(e *element, c Category, r money.Rate, x Exemption) {
	e.put("cbc:ID", string(c))
	e.put("cbc:Percent", r.Percent())
	e.put("cbc:TaxExemptionReasonCode", x.Code)
	e.put("cbc:TaxExemptionReason", x.Reason)
	e.group("cac:TaxScheme").put("cbc:ID", "VAT")
}

// texts are all free texts of the document.
func (inv Invoice) texts() []string {
	out := []string{inv.Number, inv.Issued, inv.Due, inv.Delivered, inv.From, inv.To, inv.Note, inv.BuyerReference, inv.OrderReference, inv.Preceding.Number, inv.Preceding.Issued,
		inv.Pay.Means, inv.Pay.IBAN, inv.Pay.BIC, inv.Pay.AccountName, inv.Pay.Reference, inv.Pay.Terms, string(inv.Kind)}
	for _, p := range []Party{inv.Seller, inv.Buyer} {
		out = append(out, p.Name, p.TradingName, p.VAT, p.TaxNumber, p.LegalID, p.ID, p.Endpoint, p.EndpointScheme, p.Street, p.Extra, p.City, p.Postcode, p.Region, p.Country, p.Contact, p.Phone, p.Email)
	}
	for _, a := range inv.Allowances {
		out = append(out, a.Reason, string(a.Category))
	}
	for _, l := range inv.Lines {
		out = append(out, l.ID, l.Note, l.Name, l.Description, l.Unit, string(l.Category))
	}
	for _, t := range inv.Taxes {
		out = append(out, t.Code, t.Reason)
	}
	return out
}
