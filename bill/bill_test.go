package bill

import (
	"encoding/json"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fairmetal/house"
	"fairmetal/internal/poppler"
	"fairmetal/invoice"
	"fairmetal/job"
	"fairmetal/payqr"
	"fairmetal/quote"
)

func draft() Draft {
	h := house.Default()
	h.Name, h.Street, h.Postcode, h.City, h.TaxID, h.IBAN, h.Phone, h.Email = "Fennel Yard Dents", "Fennel Yard 4", "12345", "Musterstadt", "DE123456789", "DE89370400440532013000", "0000 123456", "hello@fennelyard.example"
	return Draft{House: h, Buyer: job.Person{Company: "Lindenhof Parcels", Street: "Depot 1", Postcode: "54321", City: "Musterstadt", Country: "DE"}, Vehicle: "Van 07", Panel: "Sliding door, left",
		Number: "R-2026-0001", Issued: time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC), Delivered: time.Date(2026, 11, 24, 9, 0, 0, 0, time.UTC), Currency: "EUR",
		Lines: []Line{{"Repair work", "3.25 h", 25350}, {"Tabs, glue, cleaner, tips", "46 hits", 552}, {"Rounding", "", -2}}, Taxes: []quote.Tax{{Name: "VAT", RateBP: 1900}}, Lang: "en", T: func(s string) string { return s }}
}

func files(t *testing.T, d Draft) (invoice.Invoice, map[string][]byte, []invoice.Violation) {
	t.Helper()
	inv, err := d.Invoice()
	if err != nil {
		t.Fatal(err)
	}
	f, broken, err := d.Files(inv)
	if err != nil {
		t.Fatal(err)
	}
	return inv, f, broken
}

// TestInvoice: 253.50 + 5.52 - 0.02 = 259.00 net, 49.21 VAT, 308.21 to pay; the document meets the standard's rules, and paper and
// document say the same.
func TestInvoice(t *testing.T) {
	inv, f, broken := files(t, draft())
	if inv.Totals.NetMinor != 25900 || inv.Totals.TaxMinor != 4921 || inv.Totals.PayableMinor != 30821 || len(broken) != 0 {
		t.Errorf("%+v, %v", inv.Totals, broken)
	}
	if v, err := invoice.Check(f["invoice.xml"]); err != nil || len(v) != 0 {
		t.Errorf("rules %v, %v", v, err)
	}
	var kept invoice.Invoice
	if err := json.Unmarshal(f["invoice.json"], &kept); err != nil || kept.Totals != inv.Totals {
		t.Errorf("kept %+v, %v", kept.Totals, err)
	}
	out, err := exec.Command(poppler.Tool(t, "pdftotext"), "-layout", poppler.Save(t, f["invoice.pdf"]), "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"Invoice", "R-2026-0001", "Lindenhof Parcels, Depot 1, 54321 Musterstadt", "€253.50", "VAT 19 %", "€49.21", "€308.21", "24 November 2026", "9 December 2026", "IBAN DE89 3704 0044 0532 0130 00", "-€0.02"} {
		if !strings.Contains(string(out), want) {
			t.Errorf("%q is missing in\n%s", want, out)
		}
	}
}

// TestPaymentCode: a decoder that is not ours reads the code off the printed page and finds amount, account and number.
func TestPaymentCode(t *testing.T) {
	_, f, _ := files(t, draft())
	zbar, err := exec.LookPath("zbarimg")
	if err != nil {
		t.Skip("zbarimg (package zbar-tools) is not on this machine: the payment code was not read back")
	}
	page := filepath.Join(t.TempDir(), "page")
	if out, err := exec.Command(poppler.Tool(t, "pdftoppm"), "-r", "200", "-png", "-singlefile", poppler.Save(t, f["invoice.pdf"]), page).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	out, err := exec.Command(zbar, "--raw", "-q", page+".png").Output()
	if err != nil {
		t.Fatal(err)
	}
	got, err := payqr.Parse(strings.TrimRight(string(out), "\n"))
	if err != nil || got.AmountMinor != 30821 || got.IBAN != "DE89370400440532013000" || got.Text != "R-2026-0001" || got.Name != "Fennel Yard Dents" {
		t.Errorf("%+v, %v, from %q", got, err, out)
	}
}

// TestGerman paper and small business without tax.
func TestGerman(t *testing.T) {
	d := draft()
	d.Lang, d.Taxes, d.NoTax = "de", nil, "Kein Steuerausweis: Kleinunternehmer nach § 19 UStG."
	inv, f, broken := files(t, d)
	if inv.Totals.TaxMinor != 0 || inv.Totals.PayableMinor != 25900 || len(broken) != 0 {
		t.Errorf("%+v, %v", inv.Totals, broken)
	}
	out, err := exec.Command(poppler.Tool(t, "pdftotext"), poppler.Save(t, f["invoice.pdf"]), "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"Rechnung", "Zu zahlen", "259,00", "Kleinunternehmer", "25.11.2026"} {
		if !strings.Contains(string(out), want) {
			t.Errorf("%q is missing", want)
		}
	}
}

// TestCreditMirrors: a credit note takes the same sum back and names its invoice; nobody is asked to pay it.
func TestCreditMirrors(t *testing.T) {
	d := draft()
	inv, _, _ := files(t, d)
	note, err := invoice.Credit(inv, "C-2026-0001", "2026-11-26", "Wrong van", "")
	if err != nil {
		t.Fatal(err)
	}
	f, broken, err := d.Files(note)
	if err != nil || len(broken) != 0 || note.Totals.PayableMinor != inv.Totals.PayableMinor {
		t.Fatalf("%+v, %v, %v", note.Totals, broken, err)
	}
	out, err := exec.Command(poppler.Tool(t, "pdftotext"), poppler.Save(t, f["invoice.pdf"]), "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	if s := string(out); !strings.Contains(s, "Credit note") || !strings.Contains(s, "R-2026-0001") || strings.Contains(s, "IBAN") {
		t.Errorf("%s", s)
	}
}

// TestWhatIsMissingIsTold: a house that has not said its VAT number gets a paper, no document, and the rule; impossible lines are refused.
func TestWhatIsMissingIsTold(t *testing.T) {
	d := draft()
	d.House.TaxID = ""
	if _, f, broken := files(t, d); len(broken) == 0 || f["invoice.xml"] != nil || f["invoice.pdf"] == nil {
		t.Errorf("broken rules %v", broken)
	}
	for name, change := range map[string]func(d *Draft){
		"no lines": func(d *Draft) { d.Lines = nil }, "no text": func(d *Draft) { d.Lines[0].Text = " " }, "less than nothing": func(d *Draft) { d.Lines[2].Minor = -99999999 }, "yen": func(d *Draft) { d.Currency = "JPY" }, "no money": func(d *Draft) { d.Currency = "EURO" },
	} {
		d := draft()
		change(&d)
		if _, err := d.Invoice(); err == nil {
			t.Errorf("%s: made", name)
		}
	}
}
