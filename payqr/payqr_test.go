package payqr

import (
	"bytes"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode"
)

func transfer() Transfer {
	return Transfer{Name: "Fairmetal Flottenpflege Müller", IBAN: "DE89 3704 0044 0532 0130 00", AmountMinor: 11900, Text: "Rechnung 2026-0001 vom 25.11.2026"}
}

// TestAccounts: the example numbers that the IBAN registry publishes for its countries, from memory.
func TestAccounts(t *testing.T) {
	for _, s := range []string{"DE89 3704 0044 0532 0130 00", "GB82 WEST 1234 5698 7654 32", "FR14 2004 1010 0505 0001 3M02 606", "NL91 ABNA 0417 1643 00", "AT61 1904 3002 3457 3201",
		"BE68 5390 0754 7034", "CH93 0076 2011 6238 5295 7", "ES91 2100 0418 4502 0005 1332", "IT60 X054 2811 1010 0000 0123 456", "NO93 8601 1117 947", "PL61 1090 1014 0000 0712 1981 2874", "MT84 MALT 0110 0001 2345 MTLC AST0 01S"} {
		clean, err := IBAN(strings.ToLower(s))
		if err != nil || GroupIBAN(clean) != s {
			t.Errorf("%s: %q, %v", s, clean, err)
		}
	}
	for bad, says := range map[string]string{"": "no IBAN", "DE": "no IBAN", "8937": "no IBAN", "DE89 3704 0044 0532 0130 01": "check digits", "DE98 3704 0044 0532 0130 00": "check digits",
		"DE89 3704 0044 0532 0130 0": "21 characters", "XX1": "no IBAN", "XX12 3": "5 characters", "DE89*704 0044 0532 0130 00": "no IBAN", strings.Repeat("D", 40): "no IBAN"} {
		if s, err := IBAN(bad); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%q: %q, %v", bad, s, err)
		}
	}
}

// TestEverySlipOfAnAccount: 97 is prime, so one wrong digit and one swap of unlike neighbours are always found (ISO 7064).
func TestEverySlipOfAnAccount(t *testing.T) {
	good := "DE89370400440532013000"
	for i := 2; i < len(good); i++ {
		for c := byte('0'); c <= '9'; c++ {
			if c != good[i] {
				if s, err := IBAN(good[:i] + string(c) + good[i+1:]); err == nil {
					t.Errorf("%s accepted", s)
				}
			}
		}
		if i+1 < len(good) && good[i] != good[i+1] {
			if s, err := IBAN(good[:i] + string(good[i+1]) + string(good[i]) + good[i+2:]); err == nil {
				t.Errorf("%s accepted", s)
			}
		}
	}
}

// TestReference: RF18 5390 0754 7034 is the example published with ISO 11649, from memory.
func TestReference(t *testing.T) {
	if s, err := MakeReference("5390 0754 7034"); err != nil || s != "RF18539007547034" {
		t.Errorf("%q, %v", s, err)
	}
	if s, err := Reference("rf18 5390 0754 7034"); err != nil || s != "RF18539007547034" {
		t.Errorf("%q, %v", s, err)
	}
	for _, number := range []string{"2026-0001", "A/7", "9"} {
		s, err := MakeReference(number)
		if err == nil {
			_, err = Reference(s)
		}
		if err != nil {
			t.Errorf("%s: %v", number, err)
		}
	}
	for _, bad := range []string{"RF19539007547034", "RF18", "XX18539007547034", "RF1853900754703412345678901234", "RFA8539007547034"} {
		if s, err := Reference(bad); err == nil {
			t.Errorf("%s accepted as %s", bad, s)
		}
	}
	for _, bad := range []string{"", "---", strings.Repeat("1", 22)} {
		if s, err := MakeReference(bad); err == nil {
			t.Errorf("%q makes %s", bad, s)
		}
	}
}

// TestPayload: the lines of EPC069-12 in their order, by hand.
func TestPayload(t *testing.T) {
	p, err := transfer().Payload()
	want := "BCD\n002\n1\nSCT\n\nFairmetal Flottenpflege Müller\nDE89370400440532013000\nEUR119.00\n\n\nRechnung 2026-0001 vom 25.11.2026"
	if err != nil || p != want {
		t.Errorf("%q, %v", p, err)
	}
	full := Transfer{Name: "N", IBAN: "BE68539007547034", BIC: "bank be bb", AmountMinor: 1, Purpose: "char", Reference: "RF18 5390 0754 7034", Hint: "thank you"}
	p, err = full.Payload()
	want = "BCD\n002\n1\nSCT\nBANKBEBB\nN\nBE68539007547034\nEUR0.01\nCHAR\nRF18539007547034\n\nthank you"
	if err != nil || p != want {
		t.Errorf("%q, %v", p, err)
	}
}

func TestRefused(t *testing.T) {
	for says, change := range map[string]func(*Transfer){
		"name of the payee is missing": func(x *Transfer) { x.Name = "" },
		"name of the payee has 71":     func(x *Transfer) { x.Name = strings.Repeat("n", 71) },
		"check digits of the IBAN":     func(x *Transfer) { x.IBAN = "DE89370400440532013001" },
		"no BIC":                       func(x *Transfer) { x.BIC = "BANKBE" },
		"amount of 0.00":               func(x *Transfer) { x.AmountMinor = 0 },
		"amount of -1.00":              func(x *Transfer) { x.AmountMinor = -100 },
		"amount of 1000000000.00":      func(x *Transfer) { x.AmountMinor = 100_000_000_000 },
		"either a reference or a text": func(x *Transfer) { x.Reference = "RF18539007547034" },
		"text has 141":                 func(x *Transfer) { x.Text = strings.Repeat("t", 141) },
		"hint to the payer has 71":     func(x *Transfer) { x.Hint = strings.Repeat("h", 71) },
		"'\\n' at place 2":             func(x *Transfer) { x.Text = "a\nEUR1" },
		"'日' at place 1":               func(x *Transfer) { x.Text = "日" },
		"not valid UTF-8":              func(x *Transfer) { x.Text = "\xff" },
		"begins or ends with a blank":  func(x *Transfer) { x.Name = " n" },
		"purpose":                      func(x *Transfer) { x.Purpose = "SALARY" },
		"needs 471 bytes":              func(x *Transfer) { x.Name, x.Text = strings.Repeat("ä", 70), strings.Repeat("ö", 140) },
	} {
		x := transfer()
		change(&x)
		if p, err := x.Payload(); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("want %q: %q, %v", says, p, err)
		}
	}
}

// largest has exactly 331 bytes.
func largest(t *testing.T) string {
	t.Helper()
	x := transfer()
	x.Name, x.Text, x.Hint = strings.Repeat("Nn", 35), strings.Repeat("T", 140), strings.Repeat("h", 69)
	p, err := x.Payload()
	if err != nil || len(p) != MaxBytes {
		t.Fatalf("%d bytes, %v", len(p), err)
	}
	return p
}

// TestDecodedBack by the library's reader, at error correction M, version 13 for the largest payload.
func TestDecodedBack(t *testing.T) {
	small, err := transfer().Payload()
	if err != nil {
		t.Fatal(err)
	}
	for payload, version := range map[string]int{small: 7, largest(t): 13} {
		s, err := Encode(payload)
		if err != nil || s.Version != version || s.Size != 17+4*version+2*Quiet {
			t.Fatalf("version %d, %d modules, %v", s.Version, s.Size, err)
		}
		bmp, err := gozxing.NewBinaryBitmapFromImage(s.Image(4))
		if err != nil {
			t.Fatal(err)
		}
		r, err := qrcode.NewQRCodeReader().Decode(bmp, map[gozxing.DecodeHintType]any{gozxing.DecodeHintType_CHARACTER_SET: "UTF-8"})
		if err != nil || r.GetText() != payload {
			t.Fatalf("%q read back as %v, %v", payload, r, err)
		}
		if level := r.GetResultMetadata()[gozxing.ResultMetadataType_ERROR_CORRECTION_LEVEL]; level != "M" {
			t.Errorf("error correction %v", level)
		}
	}
	for _, bad := range []string{"", strings.Repeat("x", MaxBytes+1)} {
		if _, err := Encode(bad); err == nil {
			t.Errorf("%d bytes drawn", len(bad))
		}
	}
}

// TestIndependentReader: zbar reads the symbols from a picture.
func TestIndependentReader(t *testing.T) {
	if _, err := exec.LookPath("zbarimg"); err != nil {
		t.Skip("zbarimg is not installed (package zbar-tools)")
	}
	small, err := transfer().Payload()
	if err != nil {
		t.Fatal(err)
	}
	for _, payload := range []string{small, Plain(small), largest(t)} {
		s, err := Encode(payload)
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		if err := png.Encode(&b, s.Image(5)); err != nil {
			t.Fatal(err)
		}
		name := filepath.Join(t.TempDir(), "pay.png")
		if err := os.WriteFile(name, b.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command("zbarimg", "--quiet", "--raw", "-Sdisable", "-Sqrcode.enable", name).Output()
		if err != nil || strings.TrimSuffix(string(out), "\n") != payload {
			t.Errorf("%q read as %q, %v", payload, out, err)
		}
	}
}

// TestQuietZone and path: the border is light, and the path covers each dark module once.
func TestQuietZone(t *testing.T) {
	s, err := Encode("BCD")
	if err != nil {
		t.Fatal(err)
	}
	dark := 0
	for y := range s.Size {
		for x := range s.Size {
			if border := min(x, y, s.Size-1-x, s.Size-1-y) < Quiet; border && s.Dark(x, y) {
				t.Errorf("dark module %d, %d in the quiet zone", x, y)
			}
			if s.Dark(x, y) {
				dark++
			}
		}
	}
	var area int
	for _, bar := range strings.Split(strings.TrimSuffix(s.Path(), "z"), "z") {
		_, width, _ := strings.Cut(bar, "v1h-")
		n := 0
		for _, c := range width {
			n = n*10 + int(c-'0')
		}
		area += n
	}
	if area != dark || dark == 0 {
		t.Errorf("the path covers %d modules of %d", area, dark)
	}
}

func TestPlain(t *testing.T) {
	for s, want := range map[string]string{"Jürgen Groß": "Juergen Gross", "Łódź, Æbleø": "Lodz, AEbleo", "Señor Ångström": "Senor Angstroem", "u\u0308": "ue", "日\n": "..", "plain 1-2": "plain 1-2"} {
		if got := Plain(s); got != want {
			t.Errorf("%q is spelled %q, want %q", s, got, want)
		}
	}
}

func FuzzParse(f *testing.F) {
	p, _ := transfer().Payload()
	f.Add(p)
	f.Add("BCD\r\n001\r\n2\r\nSCT\r\nBANKBEBB\r\nN\xe4me\r\nBE68539007547034\r\nEUR1\r\n\r\n\r\n\r\n")
	f.Fuzz(func(t *testing.T, s string) {
		x, err := Parse(s)
		if err != nil {
			return
		}
		p, err := x.Payload()
		if err != nil {
			if strings.Contains(err.Error(), "bytes") {
				return // one set's letters are longer in the other
			}
			t.Fatalf("%q reads as %+v, which cannot be written: %v", s, x, err)
		}
		y, err := Parse(p)
		if err != nil || x != y {
			t.Fatalf("%+v is read back as %+v, %v", x, y, err)
		}
	})
}
