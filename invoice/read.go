package invoice

import (
	"fmt"

	"fairmetal/money"
)

// Read takes an invoice or credit note of UBL 2.1 apart. It reads what the struct holds and leaves the rest out; call Check for the
// standard's rules. Amounts that cannot be carried exactly are an error.
func Read(data []byte) (Invoice, error) {
	root, err := parse(data)
	if err != nil {
		return Invoice{}, err
	}
	if err := limits(root); err != nil {
		return Invoice{}, err
	}
	r := reader{}
	credit := root.name == "CreditNote"
	typeCode, line, quantity := "cbc:InvoiceTypeCode", "cac:InvoiceLine", "cbc:InvoicedQuantity"
	if credit {
		typeCode, line, quantity = "cbc:CreditNoteTypeCode", "cac:CreditNoteLine", "cbc:CreditedQuantity"
	}
	inv := Invoice{Kind: Kind(root.get(typeCode)), Number: root.get("cbc:ID"), Issued: root.get("cbc:IssueDate"), Due: root.get("cbc:DueDate"),
		Delivered: root.get("cac:Delivery/cbc:ActualDeliveryDate"), From: root.get("cac:InvoicePeriod/cbc:StartDate"), To: root.get("cac:InvoicePeriod/cbc:EndDate"),
		Currency: root.get("cbc:DocumentCurrencyCode"), Note: root.get("cbc:Note"), BuyerReference: root.get("cbc:BuyerReference"), OrderReference: root.get("cac:OrderReference/cbc:ID"),
		Preceding: Preceding{root.get("cac:BillingReference/cac:InvoiceDocumentReference/cbc:ID"), root.get("cac:BillingReference/cac:InvoiceDocumentReference/cbc:IssueDate")},
		Seller:    readParty(root.at("cac:AccountingSupplierParty/cac:Party")), Buyer: readParty(root.at("cac:AccountingCustomerParty/cac:Party"))}
	if r.exp, err = exponent(inv.Currency); err != nil {
		return Invoice{}, err
	}
	means := root.at("cac:PaymentMeans")
	account := means.at("cac:PayeeFinancialAccount")
	inv.Pay = Payment{Means: means.get("cbc:PaymentMeansCode"), Reference: means.get("cbc:PaymentID"), IBAN: account.get("cbc:ID"), AccountName: account.get("cbc:Name"),
		BIC: account.get("cac:FinancialInstitutionBranch/cbc:ID"), Terms: root.get("cac:PaymentTerms/cbc:Note")}
	if credit {
		inv.Due = means.get("cbc:PaymentDueDate")
	}
	for _, e := range root.all("cac:AllowanceCharge") {
		a := Allowance{Charge: yes(e.get("cbc:ChargeIndicator")), Reason: e.get("cbc:AllowanceChargeReason"), AmountMinor: r.minor(e, "cbc:Amount"),
			Percent: r.rate(e.get("cbc:MultiplierFactorNumeric")), BaseMinor: r.minor(e, "cbc:BaseAmount")}
		a.Category, a.Rate = r.category(e.at("cac:TaxCategory"))
		inv.Allowances = append(inv.Allowances, a)
	}
	tax := ownTaxTotal(root)
	for _, e := range tax.all("cac:TaxSubtotal") {
		c := e.at("cac:TaxCategory")
		t := Tax{BaseMinor: r.minor(e, "cbc:TaxableAmount"), TaxMinor: r.minor(e, "cbc:TaxAmount"), Code: c.get("cbc:TaxExemptionReasonCode"), Reason: c.get("cbc:TaxExemptionReason")}
		t.Category, t.Rate = r.category(c)
		inv.Taxes = append(inv.Taxes, t)
		if t.Code+t.Reason != "" {
			inv.Exemptions = append(inv.Exemptions, Exemption{t.Category, t.Code, t.Reason})
		}
	}
	sum := root.at("cac:LegalMonetaryTotal")
	inv.PrepaidMinor, inv.RoundingMinor = r.minor(sum, "cbc:PrepaidAmount"), r.minor(sum, "cbc:PayableRoundingAmount")
	inv.Totals = Totals{LineMinor: r.minor(sum, "cbc:LineExtensionAmount"), AllowanceMinor: r.minor(sum, "cbc:AllowanceTotalAmount"), ChargeMinor: r.minor(sum, "cbc:ChargeTotalAmount"),
		NetMinor: r.minor(sum, "cbc:TaxExclusiveAmount"), TaxMinor: r.minor(tax, "cbc:TaxAmount"), GrossMinor: r.minor(sum, "cbc:TaxInclusiveAmount"), PayableMinor: r.minor(sum, "cbc:PayableAmount")}
	for _, e := range root.all(line) {
		l := Line{ID: e.get("cbc:ID"), Note: e.get("cbc:Note"), Quantity: r.micro(e.get(quantity)), Unit: e.at(quantity).attr("unitCode"), NetMinor: r.minor(e, "cbc:LineExtensionAmount"),
			Name: e.get("cac:Item/cbc:Name"), Description: e.get("cac:Item/cbc:Description"), Price: r.micro(e.get("cac:Price/cbc:PriceAmount")), PriceBase: r.micro(e.get("cac:Price/cbc:BaseQuantity"))}
		l.Category, l.Rate = r.category(e.at("cac:Item/cac:ClassifiedTaxCategory"))
		inv.Lines = append(inv.Lines, l)
	}
	return inv, r.err
}

// maxSubtotals bounds the VAT breakdown: there are nine categories and a handful of rates.
const maxSubtotals = 100

// limits keeps the work on a hostile document in proportion: every row of the breakdown is compared with all lines.
func limits(root *element) error {
	lines := max(len(root.all("cac:InvoiceLine")), len(root.all("cac:CreditNoteLine")), len(root.all("cac:AllowanceCharge")))
	if n := len(root.all(subtotal)); lines > maxLines || n > maxSubtotals {
		return fmt.Errorf("the invoice has %d lines and %d rows of VAT; at most %d and %d are read", lines, n, maxLines, maxSubtotals)
	}
	return nil
}

// reader keeps the first figure that could not be read.
type reader struct {
	exp int
	err error
}

func (r *reader) fixed(text string, decimals int) int64 {
	if text == "" {
		return 0
	}
	v, err := money.ParseFixed(text, decimals)
	if err != nil && r.err == nil {
		r.err = fmt.Errorf("the invoice holds a figure that cannot be kept exactly: %w", err)
	}
	return v
}

func (r *reader) minor(e *element, path string) int64 {
	v := r.fixed(e.get(path), r.exp)
	if (v > money.MaxMinor || v < -money.MaxMinor) && r.err == nil {
		r.err = fmt.Errorf("the invoice holds an amount of %q, which is out of range", clip(e.get(path)))
	}
	return v
}

func (r *reader) micro(text string) Micro { return Micro(r.fixed(text, microDecimals)) }

func (r *reader) rate(text string) money.Rate {
	if text == "" {
		return 0
	}
	v, err := money.ParseRate(text)
	if err != nil && r.err == nil {
		r.err = err
	}
	return v
}

func (r *reader) category(e *element) (Category, money.Rate) {
	return Category(e.get("cbc:ID")), r.rate(e.get("cbc:Percent"))
}

// yes reads a boolean of XML Schema.
func yes(s string) bool { return s == "true" || s == "1" }

// ownTaxTotal is the VAT in the document's currency; a second total may stand in the accounting currency [BT-111].
func ownTaxTotal(root *element) *element {
	all := root.all("cac:TaxTotal")
	for _, e := range all {
		if e.at("cbc:TaxAmount").attr("currencyID") == root.get("cbc:DocumentCurrencyCode") {
			return e
		}
	}
	return nil
}

func readParty(e *element) Party {
	p := Party{Name: e.get("cac:PartyLegalEntity/cbc:RegistrationName"), TradingName: e.get("cac:PartyName/cbc:Name"), LegalID: e.get("cac:PartyLegalEntity/cbc:CompanyID"), ID: e.get("cac:PartyIdentification/cbc:ID"),
		Endpoint: e.get("cbc:EndpointID"), EndpointScheme: e.at("cbc:EndpointID").attr("schemeID"),
		Contact: e.get("cac:Contact/cbc:Name"), Phone: e.get("cac:Contact/cbc:Telephone"), Email: e.get("cac:Contact/cbc:ElectronicMail")}
	a := e.at("cac:PostalAddress")
	p.Street, p.Extra, p.City, p.Postcode = a.get("cbc:StreetName"), a.get("cbc:AdditionalStreetName"), a.get("cbc:CityName"), a.get("cbc:PostalZone")
	p.Region, p.Country = a.get("cbc:CountrySubentity"), a.get("cac:Country/cbc:IdentificationCode")
	for _, t := range e.all("cac:PartyTaxScheme") {
		if t.get("cac:TaxScheme/cbc:ID") == "VAT" {
			p.VAT = t.get("cbc:CompanyID")
		} else {
			p.TaxNumber = t.get("cbc:CompanyID")
		}
	}
	return p
}
