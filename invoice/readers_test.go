package invoice

import (
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// sequences of UBL 2.1 for the elements that are written, from memory of the schemas and of the published examples [EN16931]; those of
// invoices are held against a schema by TestSchema.
var sequences = map[string]string{
	"Invoice": "cbc:CustomizationID cbc:ID cbc:IssueDate cbc:DueDate cbc:InvoiceTypeCode cbc:Note cbc:DocumentCurrencyCode cbc:BuyerReference cac:InvoicePeriod cac:OrderReference cac:BillingReference " +
		"cac:AccountingSupplierParty cac:AccountingCustomerParty cac:Delivery cac:PaymentMeans cac:PaymentTerms cac:AllowanceCharge cac:TaxTotal cac:LegalMonetaryTotal cac:InvoiceLine",
	"CreditNote": "cbc:CustomizationID cbc:ID cbc:IssueDate cbc:CreditNoteTypeCode cbc:Note cbc:DocumentCurrencyCode cbc:BuyerReference cac:InvoicePeriod cac:OrderReference cac:BillingReference " +
		"cac:AccountingSupplierParty cac:AccountingCustomerParty cac:Delivery cac:PaymentMeans cac:PaymentTerms cac:AllowanceCharge cac:TaxTotal cac:LegalMonetaryTotal cac:CreditNoteLine",
	"cac:InvoicePeriod": "cbc:StartDate cbc:EndDate", "cac:OrderReference": "cbc:ID", "cac:BillingReference": "cac:InvoiceDocumentReference", "cac:InvoiceDocumentReference": "cbc:ID cbc:IssueDate",
	"cac:AccountingSupplierParty": "cac:Party", "cac:AccountingCustomerParty": "cac:Party",
	"cac:Party":     "cbc:EndpointID cac:PartyIdentification cac:PartyName cac:PostalAddress cac:PartyTaxScheme cac:PartyLegalEntity cac:Contact",
	"cac:PartyName": "cbc:Name", "cac:PartyIdentification": "cbc:ID",
	"cac:PostalAddress": "cbc:StreetName cbc:AdditionalStreetName cbc:CityName cbc:PostalZone cbc:CountrySubentity cac:Country", "cac:Country": "cbc:IdentificationCode",
	"cac:PartyTaxScheme": "cbc:CompanyID cac:TaxScheme", "cac:TaxScheme": "cbc:ID", "cac:PartyLegalEntity": "cbc:RegistrationName cbc:CompanyID", "cac:Contact": "cbc:Name cbc:Telephone cbc:ElectronicMail",
	"cac:Delivery": "cbc:ActualDeliveryDate", "cac:PaymentMeans": "cbc:PaymentMeansCode cbc:PaymentDueDate cbc:PaymentID cac:PayeeFinancialAccount",
	"cac:PayeeFinancialAccount": "cbc:ID cbc:Name cac:FinancialInstitutionBranch", "cac:FinancialInstitutionBranch": "cbc:ID", "cac:PaymentTerms": "cbc:Note",
	"cac:AllowanceCharge": "cbc:ChargeIndicator cbc:AllowanceChargeReason cbc:MultiplierFactorNumeric cbc:Amount cbc:BaseAmount cac:TaxCategory",
	"cac:TaxCategory":     "cbc:ID cbc:Percent cbc:TaxExemptionReasonCode cbc:TaxExemptionReason cac:TaxScheme", "cac:ClassifiedTaxCategory": "cbc:ID cbc:Percent cac:TaxScheme",
	"cac:TaxTotal": "cbc:TaxAmount cac:TaxSubtotal", "cac:TaxSubtotal": "cbc:TaxableAmount cbc:TaxAmount cac:TaxCategory",
	"cac:LegalMonetaryTotal": "cbc:LineExtensionAmount cbc:TaxExclusiveAmount cbc:TaxInclusiveAmount cbc:AllowanceTotalAmount cbc:ChargeTotalAmount cbc:PrepaidAmount cbc:PayableRoundingAmount cbc:PayableAmount",
	"cac:InvoiceLine":        "cbc:ID cbc:Note cbc:InvoicedQuantity cbc:LineExtensionAmount cac:Item cac:Price", "cac:CreditNoteLine": "cbc:ID cbc:Note cbc:CreditedQuantity cbc:LineExtensionAmount cac:Item cac:Price",
	"cac:Item": "cbc:Description cbc:Name cac:ClassifiedTaxCategory", "cac:Price": "cbc:PriceAmount cbc:BaseQuantity",
}

// documents are one of each kind and category, by name.
func documents(t *testing.T) map[string][]byte {
	t.Helper()
	out := map[string][]byte{}
	for _, c := range []Category{Standard, Zero, Exempt, ReverseCharge} {
		inv := base(c)
		inv.PrepaidMinor, inv.RoundingMinor, inv.Preceding = 5000, 3, Preceding{"2025-0007", "2025-12-01"}
		inv = computed(t, inv)
		note, err := Credit(inv, "2026-0002", "2026-11-26", "billed twice", "set off against 2026-0003")
		if err != nil {
			t.Fatal(err)
		}
		note.Pay.Means, note.Due = "1", "2026-12-24" // by any means
		for _, x := range []Invoice{inv, note} {
			data, err := x.XML()
			if err != nil {
				t.Fatal(err)
			}
			out[string(c)+x.Number] = data
		}
	}
	return out
}

// TestSequences: an XML schema's sequence knows no other order.
func TestSequences(t *testing.T) {
	seen := map[string]bool{}
	var walk func(e *element)
	walk = func(e *element) {
		order, known := sequences[e.name]
		if !known {
			t.Errorf("%s has children", e.name)
		}
		last := 0
		for _, k := range e.kids {
			at := strings.Index(" "+order+" ", " "+k.name+" ")
			if at < last {
				t.Errorf("%s in %s is out of order or unknown", k.name, e.name)
			}
			last, seen[e.name+k.name] = at, true
			if len(k.kids) > 0 {
				walk(k)
			}
		}
	}
	for _, data := range documents(t) {
		r, err := parse(data)
		if err != nil {
			t.Fatal(err)
		}
		walk(r)
	}
	for parent, order := range sequences {
		for _, k := range strings.Fields(order) {
			if !seen[parent+k] {
				t.Errorf("no document has %s in %s", k, parent)
			}
		}
	}
}

// TestIndependentSums: libxml2 finds the file well-formed and adds up the same by XPath.
func TestIndependentSums(t *testing.T) {
	if _, err := exec.LookPath("xmllint"); err != nil {
		t.Skip("xmllint is not installed (package libxml2-utils)")
	}
	for name, data := range documents(t) {
		file := filepath.Join(t.TempDir(), "invoice.xml")
		if err := os.WriteFile(file, data, 0o600); err != nil {
			t.Fatal(err)
		}
		e := func(name string) string { return "*[local-name()='" + name + "']" }
		total := func(name string) string { return "number(/*/" + e("LegalMonetaryTotal") + "/" + e(name) + ")" }
		lines := "sum(/*/*[contains(local-name(),'Line')]/" + e("LineExtensionAmount") + ")"
		adjust := func(charge string) string {
			return "sum(/*/" + e("AllowanceCharge") + "[" + e("ChargeIndicator") + "='" + charge + "']/" + e("Amount") + ")"
		}
		taxes := "sum(/*/" + e("TaxTotal") + "/" + e("TaxSubtotal") + "/" + e("TaxAmount") + ")"
		cent := func(a, b string) string { return "round(100*(" + a + "))=round(100*(" + b + "))" }
		for _, rule := range []string{cent(total("LineExtensionAmount"), lines), cent(total("TaxExclusiveAmount"), lines+"-"+adjust("false")+"+"+adjust("true")),
			cent(total("TaxInclusiveAmount"), total("TaxExclusiveAmount")+"+"+taxes),
			cent(total("PayableAmount"), total("TaxInclusiveAmount")+"-sum(//"+e("PrepaidAmount")+")+sum(//"+e("PayableRoundingAmount")+")")} {
			out, err := exec.Command("xmllint", "--nonet", "--xpath", rule, file).CombinedOutput()
			if err != nil || strings.TrimSpace(string(out)) != "true" {
				t.Errorf("%s: %s is %s, %v", name, rule, out, err)
			}
		}
	}
}

// script reads the documents with the npm package einvoicing, which shares nothing with us.
const script = `const {UblReader}=require("einvoicing"),fs=require("fs");
new UblReader().read(fs.readFileSync(process.argv[1],"utf8")).then(d=>{const p=d.toPrimitive();console.log(JSON.stringify({
number:p.id._recordId,issued:p.issueDate.props.date,kind:p.type.props.type,currency:p.currency.props.code,seller:p.seller.props.legalName,buyer:p.buyer.props.legalName,note:p.notes,
lines:p.lines.map(l=>[l.name,l.quantity,l.unitCode||"",l.price,l.netAmount,l.tax.percent]),taxes:p.taxes.map(t=>[t.id._recordId,t.taxableAmount,t.taxAmount,t.taxExemptionReason||""]),
charges:p.charges.map(c=>[c.props.isCharge,c.props.amount,c.props.reasonText])}))})`

// TestIndependentReader compares what another program understands. The package is not in Debian: make it found by NODE_PATH to run this
// (npm install einvoicing@0.0.3).
func TestIndependentReader(t *testing.T) {
	if err := exec.Command("node", "-e", `require("einvoicing")`).Run(); err != nil {
		t.Skip("node with the npm package einvoicing is not installed, or NODE_PATH does not lead to it")
	}
	for name, data := range documents(t) {
		file := filepath.Join(t.TempDir(), "invoice.xml")
		if err := os.WriteFile(file, data, 0o600); err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command("node", "-e", script, file).Output()
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		inv, err := Read(data)
		if err != nil {
			t.Fatal(err)
		}
		euro := func(minor int64) float64 { return float64(minor) / 100 }
		want := map[string]any{"number": inv.Number, "issued": inv.Issued, "kind": string(inv.Kind), "currency": inv.Currency, "seller": inv.Seller.Name, "buyer": inv.Buyer.Name, "note": inv.Note}
		var lines, taxes, charges []any
		for _, l := range inv.Lines {
			if inv.Kind == CreditNote {
				l.Unit = "" // the package looks for the unit of an invoiced quantity only
			}
			lines = append(lines, []any{l.Name, float64(l.Quantity) / 1e6, l.Unit, float64(l.Price) / 1e6, euro(l.NetMinor), float64(l.Rate) / 1e4})
		}
		for _, x := range inv.Taxes {
			taxes = append(taxes, []any{fmt.Sprintf("%s:%s", x.Category, x.Rate.Percent()), euro(x.BaseMinor), euro(x.TaxMinor), x.Reason})
		}
		for _, a := range inv.Allowances {
			charges = append(charges, []any{a.Charge, euro(a.AmountMinor), a.Reason})
		}
		want["lines"], want["taxes"], want["charges"] = lines, taxes, charges
		ours, err := json.Marshal(want)
		if err != nil {
			t.Fatal(err)
		}
		var theirs any
		if err := json.Unmarshal(out, &theirs); err != nil {
			t.Fatal(err)
		}
		sorted, err := json.Marshal(theirs)
		if err != nil {
			t.Fatal(err)
		}
		if string(sorted) != string(ours) {
			t.Errorf("%s:\ntheirs %s\n  ours %s", name, sorted, ours)
		}
	}
}
