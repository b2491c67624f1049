package money

import (
	"fmt"
	"math/big"
	"strconv"
	"strings"

	"github.com/bojanz/currency"
)

// MaxMinor bounds every amount, in minor units: 10 million million, so that a hundred thousand of them still add up within an int64.
const MaxMinor = 10_000_000_000_000

// Amount is a sum of money. The zero value is no amount: it has no currency.
type Amount struct {
	Minor    int64  `json:"minor"`    // cents for EUR, yen for JPY, fils (1/1000) for KWD
	Currency string `json:"currency"` // ISO 4217, three capitals
}

// Exponent is the number of decimals of a currency in ISO 4217: JPY 0, EUR 2, KWD 3.
func Exponent(code string) (int, error) {
	n, ok := currency.GetDigits(code)
	if !ok {
		return 0, fmt.Errorf("%q is no ISO 4217 currency; write EUR, for example", code)
	}
	return int(n), nil
}

// New checks an amount of minor units.
func New(minor int64, code string) (Amount, error) {
	if _, err := Exponent(code); err != nil {
		return Amount{}, err
	}
	return bounded(minor, code)
}

func bounded(minor int64, code string) (Amount, error) {
	if minor > MaxMinor || minor < -MaxMinor {
		return Amount{}, fmt.Errorf("an amount of %d minor units of %s is out of range; check for a slip in the figures", minor, code)
	}
	return Amount{minor, code}, nil
}

// Parse reads a plain decimal figure with a point, such as -12.34, with at most the currency's decimals.
func Parse(text, code string) (Amount, error) {
	exp, err := Exponent(code)
	if err != nil {
		return Amount{}, err
	}
	v, err := ParseFixed(text, exp)
	if err != nil {
		return Amount{}, fmt.Errorf("%w, in %s", err, code)
	}
	return bounded(v, code)
}

// ParseFixed reads a plain decimal as a whole number of units of 10^-decimals, exactly: "12.5" with 2 decimals is 1250. It wants at
// least one digit before the point and one after it, takes a minus but no plus, exponent, blank or grouping.
func ParseFixed(text string, decimals int) (int64, error) {
	bad := fmt.Errorf("%q is not a figure such as 12.34 with at most %d decimals", clip(text), decimals)
	s, neg := strings.CutPrefix(text, "-")
	whole, frac, _ := strings.Cut(s, ".")
	frac = strings.TrimRight(frac, "0")
	if len(text) > 64 || whole == "" || strings.HasSuffix(s, ".") || len(frac) > decimals || strings.Trim(whole+frac, "0123456789") != "" {
		return 0, bad
	}
	v, err := strconv.ParseInt(whole+frac+strings.Repeat("0", decimals-len(frac)), 10, 64)
	if err != nil {
		return 0, bad
	}
	if neg {
		v = -v
	}
	return v, nil
}

// FormatFixed is the inverse of ParseFixed, always with all decimals.
func FormatFixed(v int64, decimals int) string {
	s := strconv.FormatInt(v, 10)
	s, neg := strings.CutPrefix(s, "-")
	if len(s) <= decimals {
		s = strings.Repeat("0", decimals+1-len(s)) + s
	}
	if decimals > 0 {
		s = s[:len(s)-decimals] + "." + s[len(s)-decimals:]
	}
	if neg {
		s = "-" + s
	}
	return s
}

func clip(s string) string {
	if len(s) > 40 {
		return s[:40] + "..."
	}
	return s
}

// Decimal is the plain figure with the currency's decimals, for files: 12.30, 1200 (JPY), 0.005 (KWD).
func (a Amount) Decimal() string {
	exp, err := Exponent(a.Currency)
	if err != nil {
		exp = 0
	}
	return FormatFixed(a.Minor, exp)
}

// String is for explanations: 12.30 EUR.
func (a Amount) String() string { return a.Decimal() + " " + a.Currency }

// Format writes the amount for people, by locale (de, en, en-GB ...), with the CLDR's signs, grouping and spaces.
func (a Amount) Format(locale string) string {
	v, err := currency.NewAmount(a.Decimal(), a.Currency)
	if err != nil {
		return a.String()
	}
	return currency.NewFormatter(currency.NewLocale(locale)).Format(v)
}

// Add sums two amounts of one currency.
func (a Amount) Add(b Amount) (Amount, error) {
	if a.Currency != b.Currency {
		return Amount{}, fmt.Errorf("%s and %s cannot be added; convert one of them first", a, b)
	}
	return bounded(a.Minor+b.Minor, a.Currency)
}

// Sub is a - b.
func (a Amount) Sub(b Amount) (Amount, error) { return a.Add(b.Neg()) }

// Neg changes the sign.
func (a Amount) Neg() Amount { return Amount{-a.Minor, a.Currency} }

// Times is a num / den, rounded half away from zero to the minor unit: 3.25 h is Times(325, 100).
func (a Amount) Times(num, den int64) (Amount, error) {
	v, err := MulDiv(a.Minor, num, den)
	if err != nil {
		return Amount{}, err
	}
	return bounded(v, a.Currency)
}

// MulDiv is a b / den, rounded half away from zero, exact in between.
func MulDiv(a, b, den int64) (int64, error) {
	if den == 0 {
		return 0, fmt.Errorf("a division by nothing; give a divisor")
	}
	n, d := new(big.Int).Mul(big.NewInt(a), big.NewInt(b)), big.NewInt(den)
	neg := n.Sign()*d.Sign() < 0
	n.Abs(n)
	d.Abs(d)
	// floor((2n + d) / 2d) rounds a magnitude half up.
	n.Lsh(n, 1).Add(n, d).Div(n, d.Lsh(d, 1))
	if neg {
		n.Neg(n)
	}
	if !n.IsInt64() {
		return 0, fmt.Errorf("%d times %d / %d is too large", a, b, den)
	}
	return n.Int64(), nil
}
