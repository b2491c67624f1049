package invoice

import (
	"strings"

	"fairmetal/payqr"
)

const (
	seller  = "cac:AccountingSupplierParty/cac:Party"
	buyer   = "cac:AccountingCustomerParty/cac:Party"
	country = "cac:Country/cbc:IdentificationCode"
)

// documentRules of the head and of payment.
var documentRules = []rule{
	{"BR-01", "", "name the specification (BT-24)", func(_ *document, e *element) bool {
		return strings.HasPrefix(e.get("cbc:CustomizationID"), customization)
	}},
	{"BR-02", "", "give the number (BT-1)", has("cbc:ID")},
	{"BR-03", "", "give the date of issue as 2026-11-25 (BT-2)", func(_ *document, e *element) bool { _, ok := date(e.get("cbc:IssueDate")); return ok }},
	{"BR-04", "", "give the type of the document (BT-3)", func(d *document, e *element) bool { return e.get(d.typeCode) != "" }},
	{"BR-05", "", "give the currency (BT-5)", has("cbc:DocumentCurrencyCode")},
	{"BR-16", "", "give at least one line", func(d *document, _ *element) bool { return len(d.lines) > 0 }},
	{"BR-29", "cac:InvoicePeriod", "let the period end on or after its start (BT-74)", ordered},
	{"BR-CO-19", "cac:InvoicePeriod", "give the period a start or an end", func(_ *document, e *element) bool {
		return e.get("cbc:StartDate") != "" || e.get("cbc:EndDate") != "" || e.get("cbc:DescriptionCode") != ""
	}},
	{"BR-CO-03", "", "give either the tax point date or its code, not both", func(_ *document, e *element) bool {
		return e.get("cbc:TaxPointDate") == "" || e.get("cac:InvoicePeriod/cbc:DescriptionCode") == ""
	}},
	{"BR-49", "cac:PaymentMeans", "give the code of the means of payment (BT-81)", has("cbc:PaymentMeansCode")},
	{"BR-50", "cac:PaymentMeans/cac:PayeeFinancialAccount", "give the account (BT-84)", has("cbc:ID")},
	{"BR-61", "cac:PaymentMeans", "a credit transfer needs the account (BT-84)", func(_ *document, e *element) bool {
		c := e.get("cbc:PaymentMeansCode")
		return c != CreditTransfer && c != SEPATransfer || e.get("cac:PayeeFinancialAccount/cbc:ID") != ""
	}},
	{"BR-52", "cac:AdditionalDocumentReference", "give the reference of the supporting document (BT-122)", has("cbc:ID")},
	{"BR-55", "cac:BillingReference", "give the number of the earlier invoice (BT-25)", has("cac:InvoiceDocumentReference/cbc:ID")},
	{"BR-57", "cac:Delivery/cac:DeliveryLocation/cac:Address", "give the country of delivery (BT-80)", has(country)},
	{"BR-CO-25", "", "where something is to pay, give a due date or terms of payment", func(d *document, e *element) bool {
		return d.name != "Invoice" || amount(d.sum, "cbc:PayableAmount") <= 0 || e.get("cbc:DueDate") != "" || e.get("cac:PaymentTerms/cbc:Note") != ""
	}},
	{"ISO13616", "cac:PaymentMeans", "the account is no sound IBAN; compare it with the bank's paper", func(_ *document, e *element) bool {
		if e.get("cbc:PaymentMeansCode") != SEPATransfer {
			return true // an account elsewhere need not be one
		}
		id := e.get("cac:PayeeFinancialAccount/cbc:ID")
		_, err := payqr.IBAN(id)
		return id == "" || err == nil
	}},
}

// partyRules of seller, buyer, payee and tax representative.
var partyRules = []rule{
	{"BR-06", "", "give the seller's registered name (BT-27)", has(seller + "/cac:PartyLegalEntity/cbc:RegistrationName")},
	{"BR-07", "", "give the buyer's registered name (BT-44)", has(buyer + "/cac:PartyLegalEntity/cbc:RegistrationName")},
	{"BR-08", "", "give the seller's address", group(seller + "/cac:PostalAddress")},
	{"BR-09", "", "give the seller's country (BT-40)", has(seller + "/cac:PostalAddress/" + country)},
	{"BR-10", "", "give the buyer's address", group(buyer + "/cac:PostalAddress")},
	{"BR-11", "", "give the buyer's country (BT-55)", has(buyer + "/cac:PostalAddress/" + country)},
	{"BR-17", "cac:PayeeParty", "give the payee's name (BT-59)", has("cac:PartyName/cbc:Name")},
	{"BR-18", "cac:TaxRepresentativeParty", "give the tax representative's name (BT-62)", has("cac:PartyName/cbc:Name")},
	{"BR-19", "cac:TaxRepresentativeParty", "give the tax representative's address", group("cac:PostalAddress")},
	{"BR-20", "cac:TaxRepresentativeParty", "give the tax representative's country (BT-69)", has("cac:PostalAddress/" + country)},
	{"BR-56", "cac:TaxRepresentativeParty", "give the tax representative's VAT number (BT-63)", has("cac:PartyTaxScheme/cbc:CompanyID")},
	{"BR-62", seller + "/cbc:EndpointID", "name the scheme of the seller's electronic address", scheme},
	{"BR-63", buyer + "/cbc:EndpointID", "name the scheme of the buyer's electronic address", scheme},
	{"BR-CO-26", "", "identify the seller by a number: VAT, register or other", func(_ *document, e *element) bool {
		return vatNumber(e, seller) || e.get(seller+"/cac:PartyIdentification/cbc:ID") != "" || e.get(seller+"/cac:PartyLegalEntity/cbc:CompanyID") != ""
	}},
	{"BR-CO-09", seller + "/cac:PartyTaxScheme", "begin the seller's VAT number with its country's letters (BT-31)", vatPrefix},
	{"BR-CO-09", buyer + "/cac:PartyTaxScheme", "begin the buyer's VAT number with its country's letters (BT-48)", vatPrefix},
	{"BR-CO-09", "cac:TaxRepresentativeParty/cac:PartyTaxScheme", "begin the representative's VAT number with its country's letters (BT-63)", vatPrefix},
}

func scheme(_ *document, e *element) bool { return e.text == "" || e.attr("schemeID") != "" }

// vatNumber tells whether a party has one, not only a local tax registration.
func vatNumber(e *element, party string) bool { return taxNumber(e, party, true) }

func taxNumber(e *element, party string, vat bool) bool {
	for _, t := range e.all(party + "/cac:PartyTaxScheme") {
		if t.get("cbc:CompanyID") != "" && (t.get("cac:TaxScheme/cbc:ID") == "VAT") == vat {
			return true
		}
	}
	return false
}

func vatPrefix(_ *document, e *element) bool {
	id := e.get("cbc:CompanyID")
	if e.get("cac:TaxScheme/cbc:ID") != "VAT" {
		return true
	}
	// Greece writes EL, Northern Ireland XI.
	return len(id) > 2 && (isCountry(id[:2]) || id[:2] == "EL" || id[:2] == "XI")
}

// lineRules of lines, allowances and charges.
var lineRules = []rule{
	{"BR-21", "line", "give the line's number (BT-126)", has("cbc:ID")},
	{"BR-22", "line", "give the quantity (BT-129)", func(d *document, e *element) bool { return e.get(d.quantity) != "" }},
	{"BR-23", "line", "give the unit of the quantity (BT-130)", func(d *document, e *element) bool { return e.at(d.quantity).attr("unitCode") != "" }},
	{"BR-24", "line", "give the net amount (BT-131)", has("cbc:LineExtensionAmount")},
	{"BR-25", "line", "name what was done or sold (BT-153)", has("cac:Item/cbc:Name")},
	{"BR-26", "line", "give the net price of a unit (BT-146)", has("cac:Price/cbc:PriceAmount")},
	{"BR-27", "line", "let the net price be 0 or more; a credit has a negative quantity (BT-146)", notNegative("cac:Price/cbc:PriceAmount")},
	{"BR-28", "line", "let the gross price be 0 or more (BT-148)", notNegative("cac:Price/cac:AllowanceCharge/cbc:BaseAmount")},
	{"BR-CO-04", "line", "give the VAT category (BT-151)", has("cac:Item/cac:ClassifiedTaxCategory/cbc:ID")},
	{"BR-CO-20", "line", "give the line's period a start or an end", func(_ *document, e *element) bool {
		p := e.at("cac:InvoicePeriod")
		return p == nil || p.get("cbc:StartDate")+p.get("cbc:EndDate") != ""
	}},
	{"BR-30", "line", "let the line's period end on or after its start (BT-135)", func(d *document, e *element) bool { return ordered(d, e.at("cac:InvoicePeriod")) }},
	{"BR-54", "line", "give each attribute of the item a name and a value", func(_ *document, e *element) bool {
		for _, p := range e.all("cac:Item/cac:AdditionalItemProperty") {
			if p.get("cbc:Name") == "" || p.get("cbc:Value") == "" {
				return false
			}
		}
		return true
	}},
	{"BR-64", "line", "name the scheme of the item's standard number (BT-157)", func(_ *document, e *element) bool {
		id := e.at("cac:Item/cac:StandardItemIdentification/cbc:ID")
		return id == nil || id.attr("schemeID") != ""
	}},
	{"BR-65", "line", "name the list of the item's class (BT-158)", func(_ *document, e *element) bool {
		for _, c := range e.all("cac:Item/cac:CommodityClassification/cbc:ItemClassificationCode") {
			if c.attr("listID") == "" {
				return false
			}
		}
		return true
	}},
	{"BR-31", "cac:AllowanceCharge", "give the amount of the allowance (BT-92)", adjusted(false, has("cbc:Amount"))},
	{"BR-32", "cac:AllowanceCharge", "give the VAT category of the allowance (BT-95)", adjusted(false, has("cac:TaxCategory/cbc:ID"))},
	{"BR-33", "cac:AllowanceCharge", "give the reason of the allowance (BT-97)", adjusted(false, reason)},
	{"BR-36", "cac:AllowanceCharge", "give the amount of the charge (BT-99)", adjusted(true, has("cbc:Amount"))},
	{"BR-37", "cac:AllowanceCharge", "give the VAT category of the charge (BT-102)", adjusted(true, has("cac:TaxCategory/cbc:ID"))},
	{"BR-38", "cac:AllowanceCharge", "give the reason of the charge (BT-104)", adjusted(true, reason)},
	{"BR-41", "line", "give the amount of the line's allowance (BT-136)", lineAdjusted(false, has("cbc:Amount"))},
	{"BR-42", "line", "give the reason of the line's allowance (BT-139)", lineAdjusted(false, reason)},
	{"BR-43", "line", "give the amount of the line's charge (BT-141)", lineAdjusted(true, has("cbc:Amount"))},
	{"BR-44", "line", "give the reason of the line's charge (BT-144)", lineAdjusted(true, reason)},
}

var reason = either("cbc:AllowanceChargeReason", "cbc:AllowanceChargeReasonCode")

func notNegative(path string) func(*document, *element) bool {
	return func(_ *document, e *element) bool { return !strings.HasPrefix(e.get(path), "-") }
}

func adjusted(charge bool, ok func(*document, *element) bool) func(*document, *element) bool {
	return func(d *document, e *element) bool { return yes(e.get("cbc:ChargeIndicator")) != charge || ok(d, e) }
}

func lineAdjusted(charge bool, ok func(*document, *element) bool) func(*document, *element) bool {
	one := adjusted(charge, ok)
	return func(d *document, e *element) bool {
		for _, a := range e.all("cac:AllowanceCharge") {
			if !one(d, a) {
				return false
			}
		}
		return true
	}
}
