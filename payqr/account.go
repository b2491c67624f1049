package payqr

import (
	"fmt"
	"strings"
)

// lengths of account numbers by country, of the IBAN registry (ISO 13616), the countries of the SEPA area. From memory.
var lengths = map[string]int{"AD": 24, "AL": 28, "AT": 20, "BE": 16, "BG": 22, "CH": 21, "CY": 28, "CZ": 24, "DE": 22, "DK": 18, "EE": 20, "ES": 24, "FI": 18,
	"FR": 27, "GB": 22, "GI": 23, "GR": 27, "HR": 21, "HU": 28, "IE": 22, "IS": 26, "IT": 27, "LI": 21, "LT": 20, "LU": 20, "LV": 21, "MC": 27, "MD": 24, "ME": 22,
	"MK": 19, "MT": 31, "NL": 18, "NO": 15, "PL": 28, "PT": 25, "RO": 24, "RS": 22, "SE": 24, "SI": 19, "SK": 24, "SM": 27, "VA": 22}

// The shortest and longest numbers of ISO 13616, for countries outside the table.
const shortest, longest = 15, 34

func squeeze(s string) string {
	return strings.ToUpper(strings.NewReplacer(" ", "", "\u00a0", "", "\t", "").Replace(strings.TrimSpace(s)))
}

// IBAN cleans and checks an account number: country, length, letters, modulo 97.
func IBAN(typed string) (string, error) {
	s := squeeze(typed)
	if len(s) < 4 || len(s) > longest || !capitals(s[:2]) || !digits(s[2:4]) || !alnum(s) {
		return "", fmt.Errorf("%q is no IBAN; it begins with two letters and two digits, such as DE89", cut(typed))
	}
	if want, ok := lengths[s[:2]]; ok && len(s) != want {
		return "", fmt.Errorf("the IBAN has %d characters, one of %s has %d; compare it with the bank's paper", len(s), s[:2], want)
	} else if len(s) < shortest {
		return "", fmt.Errorf("the IBAN has %d characters only; compare it with the bank's paper", len(s))
	}
	if mod97(s[4:]+s[:4]) != 1 {
		return "", fmt.Errorf("the check digits of the IBAN do not fit: one character at least is wrong; compare it with the bank's paper")
	}
	return s, nil
}

// GroupIBAN writes a clean IBAN in groups of four, as on paper.
func GroupIBAN(s string) string {
	var b strings.Builder
	for i, c := range []byte(s) {
		if i > 0 && i%4 == 0 {
			b.WriteByte(' ')
		}
		b.WriteByte(c)
	}
	return b.String()
}

// Reference checks a creditor reference of ISO 11649: RF, two check digits, 1 to 21 letters and digits.
func Reference(typed string) (string, error) {
	s := squeeze(typed)
	if len(s) < 5 || len(s) > 25 || s[:2] != "RF" || !digits(s[2:4]) || !alnum(s) {
		return "", fmt.Errorf("%q is no creditor reference; it begins with RF and two digits", cut(typed))
	}
	if mod97(s[4:]+s[:4]) != 1 {
		return "", fmt.Errorf("the check digits of the reference %s do not fit; compare it with the invoice", s)
	}
	return s, nil
}

// MakeReference turns an invoice number into a creditor reference: what is no letter or digit is left out, the check digits are
// 98 - mod 97.
func MakeReference(number string) (string, error) {
	var b strings.Builder
	for _, r := range strings.ToUpper(number) {
		if r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' {
			b.WriteRune(r)
		}
	}
	s := b.String()
	if s == "" || len(s) > 21 {
		return "", fmt.Errorf("%q makes no creditor reference; it needs 1 to 21 letters or digits", cut(number))
	}
	return fmt.Sprintf("RF%02d%s", 98-mod97(s+"RF00"), s), nil
}

// mod97 of letters and digits, letters as 10 to 35 (ISO 7064, MOD 97-10).
func mod97(s string) int {
	r := 0
	for i := range len(s) {
		if c := s[i]; c <= '9' {
			r = (r*10 + int(c-'0')) % 97
		} else {
			r = (r*100 + int(c-'A') + 10) % 97
		}
	}
	return r
}

func all(s string, ok func(c byte) bool) bool {
	for i := range len(s) {
		if !ok(s[i]) {
			return false
		}
	}
	return true
}

func digits(s string) bool   { return all(s, func(c byte) bool { return c >= '0' && c <= '9' }) }
func capitals(s string) bool { return all(s, func(c byte) bool { return c >= 'A' && c <= 'Z' }) }
func alnum(s string) bool {
	return all(s, func(c byte) bool { return c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' })
}

func cut(s string) string {
	if len(s) > 40 {
		return s[:40] + "..."
	}
	return s
}
