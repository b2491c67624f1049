package report

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func sample() Quote {
	return Quote{House: House{Name: "Fennel Yard Dents", Address: []string{"Fennel Yard 4"}, TaxID: "XX 123"}, Customer: []string{"Łódź Müller & Söhne"}, Vehicle: "Van 12", Panel: "Roof",
		Number: "Q-00007", Date: time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC), Valid: time.Date(2026, 12, 25, 0, 0, 0, 0, time.UTC), Answer: "Yes.",
		Marks: []Mark{{"m01", "round low", "70 mm left, 8 mm down", "24 x 22 mm", "0.31 mm", "yes"}}, Stages: []Stage{{"raise", "3 hits", "2 min"}}, Hours: "4.0 h",
		Currency: "EUR", Lines: []Line{{"Repair work", "4.00 h at 78.00 EUR an hour", 31200}}, NetMinor: 31200, Taxes: []Tax{{"VAT", 1900, 5928}}, TotalMinor: 37128,
		LowMinor: 30000, HighMinor: 45000, PaintMinor: 90000, PaintDays: 3, Cautions: []string{"Hot glue burns."}}
}

// text extracts a PDF's text with poppler, or skips.
func text(t *testing.T, pdf []byte) string {
	t.Helper()
	tool, err := exec.LookPath("pdftotext")
	if err != nil {
		t.Skip("pdftotext (package poppler-utils) is not on this machine: the paper was not read back")
	}
	file := filepath.Join(t.TempDir(), "q.pdf")
	if err := os.WriteFile(file, pdf, 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command(tool, "-layout", file, "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	return string(out)
}

func TestPaperSaysWhatItMust(t *testing.T) {
	pdf, err := sample().PDF()
	if err != nil {
		t.Fatal(err)
	}
	got := text(t, pdf)
	for _, want := range []string{"Fennel Yard Dents", "Łódź Müller & Söhne", "Q-00007", "25 December 2026", "0.31 mm", "€312.00", "VAT 19 %", "€59.28", "€371.28", "€900.00", "1 / 1", "Hot glue burns."} {
		if !strings.Contains(got, want) {
			t.Errorf("%q is missing from\n%s", want, got)
		}
	}
}

func TestGerman(t *testing.T) {
	q := sample()
	q.Lang = "de"
	pdf, err := q.PDF()
	if err != nil {
		t.Fatal(err)
	}
	got := text(t, pdf)
	for _, want := range []string{"Angebot", "25.12.2026", "371,28", "Geht es ohne Lack?"} {
		if !strings.Contains(got, want) {
			t.Errorf("%q is missing", want)
		}
	}
}

// TestLongLists break over pages without losing rows, and long words stay inside their columns.
func TestLongLists(t *testing.T) {
	q := sample()
	q.Marks = nil
	for i := range 120 {
		q.Marks = append(q.Marks, Mark{fmt.Sprintf("k%03d", i), "round low", strings.Repeat("x", 70), "1 x 1 mm", "0.1 mm", "yes"})
	}
	pdf, err := q.PDF()
	if err != nil {
		t.Fatal(err)
	}
	got := text(t, pdf)
	for _, want := range []string{"k000", "k060", "k119", "€371.28"} {
		if !strings.Contains(got, want) {
			t.Errorf("%q is missing", want)
		}
	}
}

func TestDeclineHasNoPrice(t *testing.T) {
	q := sample()
	q.Declined, q.Answer = true, "No."
	pdf, err := q.PDF()
	if err != nil {
		t.Fatal(err)
	}
	if got := text(t, pdf); strings.Contains(got, "371.28") || strings.Contains(got, "signature") {
		t.Errorf("a decline shows a price or asks for a signature:\n%s", got)
	}
}

func TestRepeatableAndRobust(t *testing.T) {
	a, err := sample().PDF()
	if err != nil {
		t.Fatal(err)
	}
	b, _ := sample().PDF()
	if !bytes.Equal(a, b) {
		t.Error("two runs differ")
	}
	q := sample()
	q.Picture = []byte("no picture")
	if _, err := q.PDF(); err != nil {
		t.Errorf("a broken picture: %v", err)
	}
	q.Currency = "XYZ"
	if _, err := q.PDF(); err == nil {
		t.Error("currency XYZ was printed")
	}
}
