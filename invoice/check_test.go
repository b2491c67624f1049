package invoice

import (
	"slices"
	"testing"
)

const total = "cac:LegalMonetaryTotal/"

// broken is one change for each rule that Check knows, on a sound invoice of the category named first.
var broken = []struct {
	rule string
	base Category
	edit func(r *element)
}{
	{"BR-01", Standard, func(r *element) { r.set("cbc:CustomizationID", "urn:other") }},
	{"BR-02", Standard, func(r *element) { r.drop("cbc:ID") }},
	{"BR-03", Standard, func(r *element) { r.set("cbc:IssueDate", "25.11.2026") }},
	{"BR-04", Standard, func(r *element) { r.drop("cbc:InvoiceTypeCode") }},
	{"BR-05", Standard, func(r *element) { r.drop("cbc:DocumentCurrencyCode") }},
	{"BR-06", Standard, func(r *element) { r.drop(seller + "/cac:PartyLegalEntity/cbc:RegistrationName") }},
	{"BR-07", Standard, func(r *element) { r.drop(buyer + "/cac:PartyLegalEntity/cbc:RegistrationName") }},
	{"BR-08", Standard, func(r *element) { r.drop(seller + "/cac:PostalAddress") }},
	{"BR-09", Standard, func(r *element) { r.drop(seller + "/cac:PostalAddress/" + country) }},
	{"BR-10", Standard, func(r *element) { r.drop(buyer + "/cac:PostalAddress") }},
	{"BR-11", Standard, func(r *element) { r.drop(buyer + "/cac:PostalAddress/" + country) }},
	{"BR-12", Standard, func(r *element) { r.drop(total + "cbc:LineExtensionAmount") }},
	{"BR-13", Standard, func(r *element) { r.drop(total + "cbc:TaxExclusiveAmount") }},
	{"BR-14", Standard, func(r *element) { r.drop(total + "cbc:TaxInclusiveAmount") }},
	{"BR-15", Standard, func(r *element) { r.drop(total + "cbc:PayableAmount") }},
	{"BR-16", Standard, func(r *element) { r.drop("cac:InvoiceLine") }},
	{"BR-17", Standard, func(r *element) { r.set("cac:PayeeParty/cac:PartyIdentification/cbc:ID", "1") }},
	{"BR-18", Standard, func(r *element) { r.set("cac:TaxRepresentativeParty/cac:PostalAddress/"+country, "DE") }},
	{"BR-19", Standard, func(r *element) { r.set("cac:TaxRepresentativeParty/cac:PartyName/cbc:Name", "R") }},
	{"BR-20", Standard, func(r *element) { r.set("cac:TaxRepresentativeParty/cac:PostalAddress/cbc:CityName", "R") }},
	{"BR-21", Standard, func(r *element) { r.drop("cac:InvoiceLine/cbc:ID") }},
	{"BR-22", Standard, func(r *element) { r.drop("cac:InvoiceLine/cbc:InvoicedQuantity") }},
	{"BR-23", Standard, func(r *element) { r.at("cac:InvoiceLine/cbc:InvoicedQuantity").attrs = nil }},
	{"BR-24", Standard, func(r *element) { r.drop("cac:InvoiceLine/cbc:LineExtensionAmount") }},
	{"BR-25", Standard, func(r *element) { r.drop("cac:InvoiceLine/cac:Item/cbc:Name") }},
	{"BR-26", Standard, func(r *element) { r.drop("cac:InvoiceLine/cac:Price/cbc:PriceAmount") }},
	{"BR-27", Standard, func(r *element) { r.set("cac:InvoiceLine/cac:Price/cbc:PriceAmount", "-1") }},
	{"BR-28", Standard, func(r *element) { r.set("cac:InvoiceLine/cac:Price/cac:AllowanceCharge/cbc:BaseAmount", "-1") }},
	{"BR-29", Standard, func(r *element) { r.set("cac:InvoicePeriod/cbc:EndDate", "2026-11-22") }},
	{"BR-30", Standard, func(r *element) {
		r.set("cac:InvoiceLine/cac:InvoicePeriod/cbc:StartDate", "2026-11-24")
		r.set("cac:InvoiceLine/cac:InvoicePeriod/cbc:EndDate", "2026-11-23")
	}},
	{"BR-31", Standard, func(r *element) { r.drop("cac:AllowanceCharge/cbc:Amount") }},
	{"BR-32", Standard, func(r *element) { r.drop("cac:AllowanceCharge/cac:TaxCategory") }},
	{"BR-33", Standard, func(r *element) { r.drop("cac:AllowanceCharge/cbc:AllowanceChargeReason") }},
	{"BR-36", Standard, func(r *element) { r.drop("cac:AllowanceCharge/cbc:Amount") }},
	{"BR-37", Standard, func(r *element) { r.drop("cac:AllowanceCharge/cac:TaxCategory") }},
	{"BR-38", Standard, func(r *element) { r.drop("cac:AllowanceCharge/cbc:AllowanceChargeReason") }},
	{"BR-41", Standard, func(r *element) { lineAllowance(r, "false", "", "broken") }},
	{"BR-42", Standard, func(r *element) { lineAllowance(r, "false", "1.00", "") }},
	{"BR-43", Standard, func(r *element) { lineAllowance(r, "true", "", "broken") }},
	{"BR-44", Standard, func(r *element) { lineAllowance(r, "true", "1.00", "") }},
	{"BR-45", Standard, func(r *element) { r.drop(subtotal + "/cbc:TaxableAmount") }},
	{"BR-46", Standard, func(r *element) { r.drop(subtotal + "/cbc:TaxAmount") }},
	{"BR-47", Standard, func(r *element) { r.drop(subtotal + "/cac:TaxCategory/cbc:ID") }},
	{"BR-48", Standard, func(r *element) { r.drop(subtotal + "/cac:TaxCategory/cbc:Percent") }},
	{"BR-49", Standard, func(r *element) { r.drop("cac:PaymentMeans/cbc:PaymentMeansCode") }},
	{"BR-50", Standard, func(r *element) { r.drop("cac:PaymentMeans/cac:PayeeFinancialAccount/cbc:ID") }},
	{"BR-52", Standard, func(r *element) { r.set("cac:AdditionalDocumentReference/cbc:DocumentDescription", "photo") }},
	{"BR-53", Standard, func(r *element) { r.set("cbc:TaxCurrencyCode", "SEK") }},
	{"BR-54", Standard, func(r *element) { r.set("cac:InvoiceLine/cac:Item/cac:AdditionalItemProperty/cbc:Name", "panel") }},
	{"BR-55", Standard, func(r *element) {
		r.set("cac:BillingReference/cac:InvoiceDocumentReference/cbc:IssueDate", "2026-01-01")
	}},
	{"BR-56", Standard, func(r *element) { r.set("cac:TaxRepresentativeParty/cac:PartyName/cbc:Name", "R") }},
	{"BR-57", Standard, func(r *element) { r.set("cac:Delivery/cac:DeliveryLocation/cac:Address/cbc:CityName", "Town") }},
	{"BR-61", Standard, func(r *element) { r.drop("cac:PaymentMeans/cac:PayeeFinancialAccount") }},
	{"BR-62", Standard, func(r *element) { r.at(seller + "/cbc:EndpointID").attrs = nil }},
	{"BR-63", Standard, func(r *element) { r.at(buyer + "/cbc:EndpointID").attrs = nil }},
	{"BR-64", Standard, func(r *element) { r.set("cac:InvoiceLine/cac:Item/cac:StandardItemIdentification/cbc:ID", "1") }},
	{"BR-65", Standard, func(r *element) {
		r.set("cac:InvoiceLine/cac:Item/cac:CommodityClassification/cbc:ItemClassificationCode", "1")
	}},
	{"BR-CO-03", Standard, func(r *element) {
		r.set("cbc:TaxPointDate", "2026-11-24")
		r.set("cac:InvoicePeriod/cbc:DescriptionCode", "35")
	}},
	{"BR-CO-04", Standard, func(r *element) { r.drop("cac:InvoiceLine/cac:Item/cac:ClassifiedTaxCategory") }},
	{"BR-CO-09", Standard, func(r *element) { r.set(seller+"/cac:PartyTaxScheme/cbc:CompanyID", "123456789") }},
	{"BR-CO-10", Standard, func(r *element) { r.set(total+"cbc:LineExtensionAmount", "286.91") }},
	{"BR-CO-11", Standard, func(r *element) { r.set(total+"cbc:AllowanceTotalAmount", "13.80") }},
	{"BR-CO-12", Standard, func(r *element) { r.drop(total + "cbc:ChargeTotalAmount") }},
	{"BR-CO-13", Standard, func(r *element) { r.set(total+"cbc:TaxExclusiveAmount", "298.10") }},
	{"BR-CO-14", Standard, func(r *element) { r.set("cac:TaxTotal/cbc:TaxAmount", "55.45") }},
	{"BR-CO-15", Standard, func(r *element) { r.set(total+"cbc:TaxInclusiveAmount", "353.55") }},
	{"BR-CO-16", Standard, func(r *element) { r.set(total+"cbc:PayableAmount", "353.50") }},
	{"BR-CO-17", Standard, func(r *element) { r.set(subtotal+"/cbc:TaxAmount", "54.00") }},
	{"BR-CO-18", Standard, func(r *element) { r.drop(subtotal) }},
	{"BR-CO-19", Standard, func(r *element) { r.drop("cac:InvoicePeriod/cbc:StartDate"); r.drop("cac:InvoicePeriod/cbc:EndDate") }},
	{"BR-CO-20", Standard, func(r *element) { r.at("cac:InvoiceLine").group("cac:InvoicePeriod") }},
	{"BR-CO-25", Standard, func(r *element) { r.drop("cbc:DueDate"); r.drop("cac:PaymentTerms") }},
	{"BR-CO-26", Standard, func(r *element) {
		r.drop(seller + "/cac:PartyTaxScheme")
		r.drop(seller + "/cac:PartyLegalEntity/cbc:CompanyID")
		r.drop(seller + "/cac:PartyIdentification")
	}},
	{"ISO13616", Standard, func(r *element) {
		r.set("cac:PaymentMeans/cac:PayeeFinancialAccount/cbc:ID", "DE89370400440532013001")
	}},
	{"BR-CL-01", Standard, func(r *element) { r.set("cbc:InvoiceTypeCode", "381") }},
	{"BR-CL-04", Standard, func(r *element) { r.set("cbc:DocumentCurrencyCode", "EUX") }},
	{"BR-CL-14", Standard, func(r *element) { r.set(buyer+"/cac:PostalAddress/"+country, "Germany") }},
	{"BR-CL-16", Standard, func(r *element) { r.set("cac:PaymentMeans/cbc:PaymentMeansCode", "71") }},
	{"BR-CL-17", Standard, func(r *element) { r.set(subtotal+"/cac:TaxCategory/cbc:ID", "X") }},
	{"BR-CL-18", Standard, func(r *element) { r.set("cac:InvoiceLine/"+lineCategory+"/cbc:ID", "X") }},
	{"BR-CL-22", ReverseCharge, func(r *element) { r.set(subtotal+"/cac:TaxCategory/cbc:TaxExemptionReasonCode", "reverse") }},
	{"BR-CL-23", Standard, func(r *element) { r.at("cac:InvoiceLine/cbc:InvoicedQuantity").setAttr("unitCode", "hour") }},
	{"BT-5", Standard, func(r *element) { r.at("cac:InvoiceLine/cbc:LineExtensionAmount").setAttr("currencyID", "CHF") }},
	{"scope", Standard, func(r *element) { r.set(subtotal+"/cac:TaxCategory/cbc:ID", "K") }},
	{"BR-DEC-01", Standard, func(r *element) { r.set("cac:AllowanceCharge/cbc:Amount", "13.801") }},
	{"BR-DEC-02", Standard, func(r *element) { r.set("cac:AllowanceCharge/cbc:BaseAmount", "276.251") }},
	{"BR-DEC-05", Standard, func(r *element) { r.all("cac:AllowanceCharge/cbc:Amount")[1].text = "25.001" }},
	{"BR-DEC-06", Standard, func(r *element) { r.all("cac:AllowanceCharge")[1].put("cbc:BaseAmount", "1.001") }},
	{"BR-DEC-09", Standard, func(r *element) { r.set(total+"cbc:LineExtensionAmount", "286.900001") }},
	{"BR-DEC-10", Standard, func(r *element) { r.set(total+"cbc:AllowanceTotalAmount", "13.811") }},
	{"BR-DEC-11", Standard, func(r *element) { r.set(total+"cbc:ChargeTotalAmount", "25.001") }},
	{"BR-DEC-12", Standard, func(r *element) { r.set(total+"cbc:TaxExclusiveAmount", "298.091") }},
	{"BR-DEC-13", Standard, func(r *element) { r.set("cac:TaxTotal/cbc:TaxAmount", "55.441") }},
	{"BR-DEC-14", Standard, func(r *element) { r.set(total+"cbc:TaxInclusiveAmount", "1e2") }},
	{"BR-DEC-16", Standard, func(r *element) { r.set(total+"cbc:PrepaidAmount", "0.001") }},
	{"BR-DEC-17", Standard, func(r *element) { r.set(total+"cbc:PayableRoundingAmount", "0.001") }},
	{"BR-DEC-18", Standard, func(r *element) { r.set(total+"cbc:PayableAmount", "353.5299") }},
	{"BR-DEC-19", Standard, func(r *element) { r.set(subtotal+"/cbc:TaxableAmount", "288.141") }},
	{"BR-DEC-20", Standard, func(r *element) { r.set(subtotal+"/cbc:TaxAmount", "54.7466") }},
	{"BR-DEC-23", Standard, func(r *element) { r.set("cac:InvoiceLine/cbc:LineExtensionAmount", "276.2501") }},

	{"BR-S-01", Standard, func(r *element) { r.drop(subtotal) }},
	{"BR-S-02", Standard, func(r *element) { r.drop(seller + "/cac:PartyTaxScheme") }},
	{"BR-S-03", Standard, func(r *element) { r.drop(seller + "/cac:PartyTaxScheme") }},
	{"BR-S-04", Standard, func(r *element) { r.drop(seller + "/cac:PartyTaxScheme") }},
	{"BR-S-05", Standard, func(r *element) { r.set("cac:InvoiceLine/"+lineCategory+"/cbc:Percent", "0") }},
	{"BR-S-06", Standard, func(r *element) { r.set("cac:AllowanceCharge/cac:TaxCategory/cbc:Percent", "0") }},
	{"BR-S-07", Standard, func(r *element) { r.all("cac:AllowanceCharge/cac:TaxCategory/cbc:Percent")[1].text = "nineteen" }},
	{"BR-S-08", Standard, func(r *element) { r.set(subtotal+"/cbc:TaxableAmount", "288.15") }},
	{"BR-S-09", Standard, func(r *element) { r.set(subtotal+"/cbc:TaxAmount", "54.76") }},
	{"BR-S-10", Standard, func(r *element) { r.set(subtotal+"/cac:TaxCategory/cbc:TaxExemptionReason", "none") }},
}

func lineAllowance(r *element, charge, amount, reason string) {
	a := r.at("cac:InvoiceLine").group("cac:AllowanceCharge")
	a.put("cbc:ChargeIndicator", charge)
	a.put("cbc:AllowanceChargeReason", reason)
	a.put("cbc:Amount", amount)
}

func rulesOf(v []Violation) []string {
	var out []string
	for _, x := range v {
		out = append(out, x.Rule)
	}
	return out
}

func base(c Category) Invoice {
	if c == Standard {
		return sample()
	}
	return exempt(c)
}

// TestSoundInvoicesBreakNothing, one of each category, as invoice and as credit note.
func TestSoundInvoicesBreakNothing(t *testing.T) {
	for _, c := range []Category{Standard, Zero, Exempt, ReverseCharge} {
		if v := check(root(t, base(c))); len(v) > 0 {
			t.Errorf("category %s: %v", c, v)
		}
		note, err := Credit(computed(t, base(c)), "2026-0002", "2026-11-26", "billed twice", "paid back by transfer within 7 days")
		if err != nil {
			t.Fatal(err)
		}
		if v := check(root(t, note)); len(v) > 0 {
			t.Errorf("credit note of category %s: %v", c, v)
		}
	}
}

// TestEachRuleIsSeen: the change breaks its rule, and the tables hold no rule without a change that breaks it.
func TestEachRuleIsSeen(t *testing.T) {
	cases := broken
	for _, c := range []Category{Zero, Exempt, ReverseCharge} {
		id := func(n string) string { return "BR-" + string(c) + "-" + n }
		add := func(n string, edit func(r *element)) {
			cases = append(cases, struct {
				rule string
				base Category
				edit func(r *element)
			}{id(n), c, edit})
		}
		noSeller := func(r *element) { r.drop(seller + "/cac:PartyTaxScheme") }
		add("01", func(r *element) { r.kids = append(r.kids, twice(r.at("cac:TaxTotal"))...) })
		add("02", noSeller)
		add("03", noSeller)
		add("04", noSeller)
		add("05", func(r *element) { r.set("cac:InvoiceLine/"+lineCategory+"/cbc:Percent", "19") })
		add("06", func(r *element) { r.set("cac:AllowanceCharge/cac:TaxCategory/cbc:Percent", "19") })
		add("07", func(r *element) { r.all("cac:AllowanceCharge/cac:TaxCategory/cbc:Percent")[1].text = "19" })
		add("08", func(r *element) { r.set(subtotal+"/cbc:TaxableAmount", "1.00") })
		add("09", func(r *element) { r.set(subtotal+"/cbc:TaxAmount", "1.00") })
		add("10", func(r *element) {
			if c == Zero {
				r.set(subtotal+"/cac:TaxCategory/cbc:TaxExemptionReason", "none")
				return
			}
			r.drop(subtotal + "/cac:TaxCategory/cbc:TaxExemptionReason")
			r.drop(subtotal + "/cac:TaxCategory/cbc:TaxExemptionReasonCode")
		})
	}
	seen := map[string]bool{}
	for _, c := range cases {
		r := root(t, base(c.base))
		c.edit(r)
		if v := check(r); !slices.Contains(rulesOf(v), c.rule) {
			t.Errorf("%s is not seen; %v", c.rule, v)
		}
		seen[c.rule] = true
	}
	tables := [][]rule{documentRules, partyRules, lineRules, sumRules, codeRules}
	for _, c := range []Category{Standard, Zero, Exempt, ReverseCharge} {
		tables = append(tables, categoryRules(c))
	}
	n := 0
	for _, table := range tables {
		n += len(table)
		for _, r := range table {
			if !seen[r.id] {
				t.Errorf("no case breaks %s", r.id)
			}
		}
	}
	t.Logf("%d rules, %d cases", n, len(cases))
}

// twice doubles the breakdown inside a tax total.
func twice(e *element) []*element {
	e.kids = append(e.kids, e.all("cac:TaxSubtotal")...)
	return nil
}

// TestReverseChargeNeedsTheBuyer: the seller's number alone will not do.
func TestReverseChargeNeedsTheBuyer(t *testing.T) {
	r := root(t, exempt(ReverseCharge))
	r.drop(buyer + "/cac:PartyTaxScheme")
	for _, id := range []string{"BR-AE-02", "BR-AE-03", "BR-AE-04"} {
		if v := check(r); !slices.Contains(rulesOf(v), id) {
			t.Errorf("%s: %v", id, v)
		}
	}
}

// TestWhereIsNamed: the second line is told as such.
func TestWhereIsNamed(t *testing.T) {
	r := root(t, sample())
	r.all("cac:InvoiceLine/cac:Item/cbc:Name")[1].text = ""
	v := check(r)
	if len(v) != 1 || v[0].String() != "BR-25 (line 2): name what was done or sold (BT-153)" {
		t.Errorf("%v", v)
	}
}
