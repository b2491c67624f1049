package invoice

import (
	"strings"
	"testing"
)

// TestHostileFiles are refused in words.
func TestHostileFiles(t *testing.T) {
	open := `<Invoice xmlns="` + nsInvoice + `" xmlns:cbc="` + nsCBC + `" xmlns:cac="` + nsCAC + `">`
	for name, c := range map[string][2]string{
		"entities": {`<!DOCTYPE x [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]>` + open + `<cbc:ID>&b;</cbc:ID></Invoice>`, "document type"},
		"external": {`<!DOCTYPE x SYSTEM "file:///etc/passwd">` + open + `</Invoice>`, "document type"},
		"depth":    {open + strings.Repeat("<cac:Party>", 1000), "nests"},
		"number":   {open + strings.Repeat("<cbc:ID/>", maxElements+1), "nests or lists"},
		"size":     {strings.Repeat(" ", maxBytes+1), "16 are read"},
		"other":    {`<html/>`, "no UBL 2.1"},
		"encoding": {`<?xml version="1.0" encoding="UTF-16"?>` + open + `</Invoice>`, "well-formed"},
		"cut off":  {open, "well-formed"},
		"two":      {open + `</Invoice>` + open + `</Invoice>`, "two documents"},
		"empty":    {``, "empty"},
		"figure":   {open + `<cbc:DocumentCurrencyCode>EUR</cbc:DocumentCurrencyCode><cac:LegalMonetaryTotal><cbc:PayableAmount>1e9</cbc:PayableAmount></cac:LegalMonetaryTotal></Invoice>`, "kept exactly"},
		"lines":    {open + strings.Repeat("<cac:InvoiceLine/>", maxLines+1) + `</Invoice>`, "at most 10000"},
		"taxes":    {open + "<cac:TaxTotal>" + strings.Repeat("<cac:TaxSubtotal/>", maxSubtotals+1) + `</cac:TaxTotal></Invoice>`, "101 rows of VAT"},
		"currency": {open + `</Invoice>`, "ISO 4217"},
	} {
		if _, err := Read([]byte(c[0])); err == nil || !strings.Contains(err.Error(), c[1]) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func FuzzRead(f *testing.F) {
	for _, c := range []Category{Standard, ReverseCharge} {
		inv := base(c)
		if err := inv.Compute(); err != nil {
			f.Fatal(err)
		}
		data, err := inv.XML()
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		v, err := Check(data)
		if err != nil {
			return
		}
		inv, err := Read(data)
		if err != nil || len(v) > 0 {
			return
		}
		// A sound document that is read can be written again as far as the struct holds it, or the rules say what is missing.
		again, err := inv.XML()
		if err != nil {
			return
		}
		back, err := Read(again)
		if err != nil {
			t.Fatal(err)
		}
		if back.Totals != inv.Totals || len(back.Lines) != len(inv.Lines) {
			t.Fatalf("%+v is read back as %+v", inv.Totals, back.Totals)
		}
	})
}
