package invoice

import (
	"strings"

	"fairmetal/money"
)

// Code lists, from memory. Of units and exemption codes only the form is looked at.
var (
	invoiceTypes = words("80 82 84 130 202 203 204 211 218 219 295 325 326 331 336 380 382 383 384 385 386 387 388 389 390 393 394 395 456 457 458 527 553 575 623 633 751 780 817 870 875 876 877 935")
	creditTypes  = words("81 83 261 262 296 308 381 396 420 458 502 503 532")
	categories   = words("AE L M E S Z G O K B")
	// UNTDID 4461 is dense up to 70; the rest are the few beyond.
	meansBeyond = words("74 75 76 77 78 91 92 93 94 95 96 97 98 ZZZ")
	countries   = words("AD AE AF AG AI AL AM AO AQ AR AS AT AU AW AX AZ BA BB BD BE BF BG BH BI BJ BL BM BN BO BQ BR BS BT BV BW BY BZ CA CC CD CF CG CH CI CK CL CM CN CO CR CU CV CW CX CY CZ " +
		"DE DJ DK DM DO DZ EC EE EG EH ER ES ET FI FJ FK FM FO FR GA GB GD GE GF GG GH GI GL GM GN GP GQ GR GS GT GU GW GY HK HM HN HR HT HU ID IE IL IM IN IO IQ IR IS IT JE JM JO JP KE KG KH KI " +
		"KM KN KP KR KW KY KZ LA LB LC LI LK LR LS LT LU LV LY MA MC MD ME MF MG MH MK ML MM MN MO MP MQ MR MS MT MU MV MW MX MY MZ NA NC NE NF NG NI NL NO NP NR NU NZ OM PA PE PF PG PH PK PL PM " +
		"PN PR PS PT PW PY QA RE RO RS RU RW SA SB SC SD SE SG SH SI SJ SK SL SM SN SO SR SS ST SV SX SY SZ TC TD TF TG TH TJ TK TL TM TN TO TR TT TV TW TZ UA UG UM US UY UZ VA VC VE VG VI VN VU " +
		"WF WS YE YT ZA ZM ZW XI 1A")
)

func words(s string) map[string]bool {
	m := map[string]bool{}
	for _, w := range strings.Fields(s) {
		m[w] = true
	}
	return m
}

func isCountry(s string) bool { return countries[s] }

var codeRules = []rule{
	{"BR-CL-01", "", "the type of the document is not of the list (380 invoice, 381 credit note)", func(d *document, e *element) bool {
		c := e.get(d.typeCode)
		return c == "" || d.name == "Invoice" && invoiceTypes[c] || d.name == "CreditNote" && creditTypes[c]
	}},
	{"BR-CL-04", "", "the currency is not of ISO 4217", func(_ *document, e *element) bool {
		_, err := money.Exponent(e.get("cbc:DocumentCurrencyCode"))
		return e.get("cbc:DocumentCurrencyCode") == "" || err == nil
	}},
	{"BR-CL-14", seller + "/cac:PostalAddress/" + country, "the country is not of ISO 3166-1", countryCode},
	{"BR-CL-14", buyer + "/cac:PostalAddress/" + country, "the country is not of ISO 3166-1", countryCode},
	{"BR-CL-16", "cac:PaymentMeans/cbc:PaymentMeansCode", "the means of payment is not of the list (30 credit transfer, 58 SEPA transfer, 10 cash)", func(_ *document, e *element) bool {
		n, err := money.ParseFixed(e.text, 0)
		return err == nil && n >= 1 && n <= 70 || meansBeyond[e.text]
	}},
	{"BR-CL-17", subtotal + "/cac:TaxCategory", "the VAT category is not of the list", categoryCode("cbc:ID")},
	{"BR-CL-17", "cac:AllowanceCharge/cac:TaxCategory", "the VAT category is not of the list", categoryCode("cbc:ID")},
	{"BR-CL-18", "line", "the VAT category is not of the list", categoryCode(lineCategory + "/cbc:ID")},
	{"BR-CL-22", subtotal, "an exemption code begins with VATEX-; write a reason in words instead (BT-121)", func(_ *document, e *element) bool {
		c := e.get("cac:TaxCategory/cbc:TaxExemptionReasonCode")
		return c == "" || strings.HasPrefix(strings.ToUpper(c), "VATEX-")
	}},
	{"BR-CL-23", "line", "the unit is no code of UN/ECE recommendation 20 (HUR hours, C62 pieces)", func(d *document, e *element) bool {
		u := e.at(d.quantity).attr("unitCode")
		return len(u) <= 3 && strings.Trim(u, "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ") == ""
	}},
	{"BT-5", "", "all amounts are in the currency of the document", func(d *document, e *element) bool {
		c := e.get("cbc:DocumentCurrencyCode")
		check := append([]*element{d.sum}, d.lines...)
		check = append(append(check, d.tax), d.tax.all("cac:TaxSubtotal")...)
		for _, g := range append(check, e.all("cac:AllowanceCharge")...) {
			if g == nil {
				continue
			}
			for _, k := range g.kids {
				if s := k.attr("currencyID"); s != c && strings.HasSuffix(k.name, "Amount") {
					return false
				}
			}
		}
		return true
	}},
	{"scope", "", "VAT categories G, K, O, L, M and B are not checked here; have another program look at this document", func(d *document, e *element) bool {
		for _, t := range d.tax.all("cac:TaxSubtotal/cac:TaxCategory/cbc:ID") {
			if c := Category(t.text); categories[t.text] && c != Standard && c != Zero && c != Exempt && c != ReverseCharge {
				return false
			}
		}
		return true
	}},
}

func countryCode(_ *document, e *element) bool { return isCountry(e.text) }

func categoryCode(path string) func(*document, *element) bool {
	return func(_ *document, e *element) bool { c := e.get(path); return c == "" || categories[c] }
}
