package payqr

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"fairmetal/money"
)

// Bounds of EPC069-12. Lengths in characters, the payload in bytes.
const (
	MaxBytes     = 331
	maxName      = 70
	maxText      = 140
	maxHint      = 70
	maxPurpose   = 4
	minMinor     = 1              // 0.01 EUR
	maxMinor     = 999_999_999_99 // 999999999.99 EUR
	maxVersionQR = 13
)

// Transfer is one credit transfer in euro.
type Transfer struct {
	Name        string `json:"name"` // of the payee
	IBAN        string `json:"iban"`
	BIC         string `json:"bic"`          // optional in version 002
	AmountMinor int64  `json:"amount_minor"` // euro cents
	Purpose     string `json:"purpose"`      // up to 4 capitals of ISO 20022, optional
	Reference   string `json:"reference"`    // creditor reference RF..., or
	Text        string `json:"text"`         // free text; not both
	Hint        string `json:"hint"`         // to the payer, optional; shown, not sent
}

// Payload checks a transfer and writes its lines.
func (t Transfer) Payload() (string, error) {
	t, err := t.checked()
	if err != nil {
		return "", err
	}
	lines := []string{"BCD", "002", "1", "SCT", t.BIC, t.Name, t.IBAN, "EUR" + money.FormatFixed(t.AmountMinor, 2), t.Purpose, t.Reference, t.Text, t.Hint}
	p := strings.TrimRight(strings.Join(lines, "\n"), "\n")
	if len(p) > MaxBytes {
		return "", fmt.Errorf("the payment code needs %d bytes, %d fit; shorten the text or the name", len(p), MaxBytes)
	}
	return p, nil
}

func (t Transfer) checked() (Transfer, error) {
	var err error
	if t.IBAN, err = IBAN(t.IBAN); err != nil {
		return t, err
	}
	if t.BIC = squeeze(t.BIC); t.BIC != "" {
		// ISO 9362: four letters or digits, two letters of the country, two, and perhaps three more.
		if (len(t.BIC) != 8 && len(t.BIC) != 11) || !alnum(t.BIC) || !capitals(t.BIC[4:6]) {
			return t, fmt.Errorf("%q is no BIC; it has 8 or 11 letters and digits, or leave it empty", cut(t.BIC))
		}
	}
	if t.AmountMinor < minMinor || t.AmountMinor > maxMinor {
		return t, fmt.Errorf("an amount of %s EUR cannot be paid by code; it takes 0.01 to 999999999.99", money.FormatFixed(t.AmountMinor, 2))
	}
	if t.Purpose = squeeze(t.Purpose); len(t.Purpose) > maxPurpose || !alnum(t.Purpose) {
		return t, fmt.Errorf("the purpose %q is no code of at most %d capitals; leave it empty", cut(t.Purpose), maxPurpose)
	}
	if t.Reference != "" {
		if t.Text != "" {
			return t, fmt.Errorf("a transfer carries either a reference or a text; leave one empty")
		}
		if t.Reference, err = Reference(t.Reference); err != nil {
			return t, err
		}
	}
	for _, f := range []struct {
		what, s string
		most    int
		wanted  bool
	}{{"name of the payee", t.Name, maxName, true}, {"text", t.Text, maxText, false}, {"hint to the payer", t.Hint, maxHint, false}} {
		if err := line(f.what, f.s, f.most, f.wanted); err != nil {
			return t, err
		}
	}
	return t, nil
}

// line checks one line of free text.
func line(what, s string, most int, wanted bool) error {
	switch n := utf8.RuneCountInString(s); {
	case !utf8.ValidString(s):
		return fmt.Errorf("the %s is not valid UTF-8; type it again", what)
	case n > most:
		return fmt.Errorf("the %s has %d characters, %d fit", what, n, most)
	case s != strings.TrimSpace(s):
		return fmt.Errorf("the %s begins or ends with a blank; take it away", what)
	case wanted && s == "":
		return fmt.Errorf("the %s is missing", what)
	}
	for i, r := range []rune(s) {
		if !unicode.In(r, unicode.Latin) && r > '~' || unicode.IsControl(r) {
			return fmt.Errorf("the %s holds %q at place %d, which banks do not take; write it in Latin letters", what, r, i+1)
		}
	}
	return nil
}

// Parse reads a payload of version 001 or 002, lines ended by LF or CR LF, in UTF-8 or ISO 8859-1 (character sets 1 and 2).
func Parse(payload string) (Transfer, error) {
	if len(payload) > MaxBytes {
		return Transfer{}, fmt.Errorf("%d bytes are no payment code; at most %d", len(payload), MaxBytes)
	}
	l := strings.Split(strings.ReplaceAll(payload, "\r\n", "\n"), "\n")
	if len(l) < 8 || len(l) > 12 || l[0] != "BCD" || l[3] != "SCT" {
		return Transfer{}, fmt.Errorf("this is no payment code of EPC069-12; it has 8 to 12 lines from BCD on")
	}
	if l[1] != "001" && l[1] != "002" {
		return Transfer{}, fmt.Errorf("version %q of the payment code is not known; 001 and 002 are", cut(l[1]))
	}
	switch l[2] {
	case "1":
	case "2":
		for i := range l {
			r := make([]rune, len(l[i]))
			for k := range len(l[i]) {
				r[k] = rune(l[i][k])
			}
			l[i] = string(r)
		}
	default:
		return Transfer{}, fmt.Errorf("character set %q of the payment code is not read; 1 and 2 are", cut(l[2]))
	}
	l = append(l, "", "", "", "")
	if l[1] == "001" && l[4] == "" {
		return Transfer{}, fmt.Errorf("version 001 wants a BIC; write version 002")
	}
	euros, ok := strings.CutPrefix(l[7], "EUR")
	minor, err := money.ParseFixed(euros, 2)
	if !ok || err != nil {
		return Transfer{}, fmt.Errorf("the amount %q is not one such as EUR12.34", cut(l[7]))
	}
	return Transfer{Name: l[5], IBAN: l[6], BIC: l[4], AmountMinor: minor, Purpose: l[8], Reference: l[9], Text: l[10], Hint: l[11]}.checked()
}
