package money

import (
	"math/rand/v2"
	"testing"
)

func eur(t *testing.T, s string) Amount {
	t.Helper()
	a, err := Parse(s, "EUR")
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// TestExponents: ISO 4217, table A.1, from memory: the currencies that do not have two decimals, and some that do.
func TestExponents(t *testing.T) {
	for code, want := range map[string]int{"EUR": 2, "USD": 2, "CHF": 2, "SEK": 2, "HUF": 2, "TRY": 2,
		"BIF": 0, "CLP": 0, "DJF": 0, "GNF": 0, "ISK": 0, "JPY": 0, "KMF": 0, "KRW": 0, "PYG": 0, "RWF": 0, "UGX": 0, "VND": 0, "VUV": 0, "XAF": 0, "XOF": 0, "XPF": 0,
		"BHD": 3, "IQD": 3, "JOD": 3, "KWD": 3, "LYD": 3, "OMR": 3, "TND": 3} {
		if n, err := Exponent(code); err != nil || n != want {
			t.Errorf("%s: %d decimals, %v, want %d", code, n, err, want)
		}
	}
	for _, code := range []string{"", "eur", "EURO", "ZZZ"} {
		if _, err := New(1, code); err == nil {
			t.Errorf("currency %q accepted", code)
		}
	}
}

func TestText(t *testing.T) {
	for _, c := range []struct {
		text, code, decimal, en, de string
		minor                       int64
	}{
		{"1234567.8", "EUR", "1234567.80", "€1,234,567.80", "1.234.567,80\u00a0€", 123456780},
		{"-0.05", "EUR", "-0.05", "-€0.05", "-0,05\u00a0€", -5},
		{"1200", "JPY", "1200", "¥1,200", "1.200\u00a0¥", 1200},
		{"1.234", "KWD", "1.234", "KWD\u00a01.234", "1,234\u00a0KWD", 1234},
		{"7.000", "EUR", "7.00", "€7.00", "7,00\u00a0€", 700},
	} {
		a, err := Parse(c.text, c.code)
		if err != nil || a.Minor != c.minor || a.Decimal() != c.decimal {
			t.Errorf("%s %s: %d, %s, %v", c.text, c.code, a.Minor, a.Decimal(), err)
		}
		if en, de := a.Format("en"), a.Format("de"); en != c.en || de != c.de {
			t.Errorf("%s: en %q, de %q", a, en, de)
		}
	}
	for _, bad := range []string{"", "-", ".", "1.", ".5", "1,5", "+1", " 1", "1e3", "1.234", "0x1", "--1", "1.2.3", "1.-2", "99999999999999999999", "100000000000000"} {
		if a, err := Parse(bad, "EUR"); err == nil {
			t.Errorf("%q read as %s", bad, a)
		}
	}
	if a, err := Parse("1.5", "JPY"); err == nil {
		t.Errorf("half a yen read as %s", a)
	}
}

// TestRounding: half away from zero, by hand. 1/2 = 0.5, 3/2 = 1.5, 5/3 = 1.67, 4/3 = 1.33.
func TestRounding(t *testing.T) {
	for _, c := range [][4]int64{{1, 1, 2, 1}, {-1, 1, 2, -1}, {3, 1, 2, 2}, {-3, 1, 2, -2}, {5, 1, 3, 2}, {4, 1, 3, 1}, {-4, 1, 3, -1}, {1, -1, 2, -1}, {1, 1, -2, -1}, {0, 5, 7, 0},
		{9e18, 9e18, 9e18, 9e18}} {
		if got, err := MulDiv(c[0], c[1], c[2]); err != nil || got != c[3] {
			t.Errorf("%d x %d / %d = %d, %v, want %d", c[0], c[1], c[2], got, err, c[3])
		}
	}
	if _, err := MulDiv(9e18, 9e18, 1); err == nil {
		t.Error("8.1e37 fits an int64")
	}
	if _, err := MulDiv(1, 1, 0); err == nil {
		t.Error("a division by 0")
	}
}

// TestCash: Swiss coins of 5 rappen, Swedish ones of a krona.
func TestCash(t *testing.T) {
	for _, c := range []struct{ minor, step, want int64 }{{1002, 5, 1000}, {1003, 5, 1005}, {1007, 5, 1005}, {1008, 5, 1010}, {-1003, 5, -1005}, {149, 100, 100}, {150, 100, 200}, {7, 1, 7}} {
		a := Amount{c.minor, "CHF"}
		r, d, err := a.Cash(c.step)
		if err != nil || r.Minor != c.want || a.Minor+d.Minor != r.Minor {
			t.Errorf("%d in steps of %d: %d, difference %d, %v", c.minor, c.step, r.Minor, d.Minor, err)
		}
	}
	if _, _, err := (Amount{1, "CHF"}).Cash(0); err == nil {
		t.Error("coins of nothing")
	}
}

func TestCurrenciesDoNotMix(t *testing.T) {
	if s, err := (Amount{1, "EUR"}).Add(Amount{1, "CHF"}); err == nil {
		t.Errorf("1 EUR + 1 CHF = %s", s)
	}
	if s, err := (Amount{MaxMinor, "EUR"}).Add(Amount{1, "EUR"}); err == nil {
		t.Errorf("beyond the most: %s", s)
	}
}

// TestAllocate: 10.00 in three is 3.34, 3.33, 3.33; 0.05 by 3:7 is 0.015 and 0.035, the larger remainder equal, so the first gets it.
func TestAllocate(t *testing.T) {
	for _, c := range []struct {
		minor   int64
		weights []int64
		want    []int64
	}{{1000, []int64{1, 1, 1}, []int64{334, 333, 333}}, {-1000, []int64{1, 1, 1}, []int64{-334, -333, -333}}, {5, []int64{3, 7}, []int64{2, 3}}, {100, []int64{0, 1, 0}, []int64{0, 100, 0}}, {2, []int64{1, 1, 1}, []int64{1, 1, 0}}} {
		parts, err := (Amount{c.minor, "EUR"}).Allocate(c.weights)
		if err != nil {
			t.Fatal(err)
		}
		for i, p := range parts {
			if p.Minor != c.want[i] {
				t.Errorf("%d by %v: part %d is %d, want %d", c.minor, c.weights, i, p.Minor, c.want[i])
			}
		}
	}
	for _, w := range [][]int64{nil, {0, 0}, {1, -1}} {
		if _, err := (Amount{1, "EUR"}).Allocate(w); err == nil {
			t.Errorf("divided by %v", w)
		}
	}
}

// TestAllocateConserves: parts add up to the whole, each within one unit of its exact share, none of a zero weight.
func TestAllocateConserves(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 2000 {
		a := Amount{rng.Int64N(2*MaxMinor) - MaxMinor, "EUR"}
		if rng.IntN(2) == 0 {
			a.Minor %= 100
		}
		w := make([]int64, 1+rng.IntN(12))
		var sum int64
		for i := range w {
			w[i] = rng.Int64N(1000) * rng.Int64N(2)
			sum += w[i]
		}
		if sum == 0 {
			w[0], sum = 1, 1
		}
		parts, err := a.Allocate(w)
		if err != nil {
			t.Fatal(err)
		}
		var got int64
		for i, p := range parts {
			got += p.Minor
			if w[i] == 0 && p.Minor != 0 {
				t.Fatalf("%s by %v: part %d of weight 0 is %s", a, w, i, p)
			}
			if d := float64(p.Minor) - float64(a.Minor)*float64(w[i])/float64(sum); d > 1.01 || d < -1.01 {
				t.Fatalf("%s by %v: part %d is %s, off by %g", a, w, i, p, d)
			}
		}
		if got != a.Minor {
			t.Fatalf("%s by %v: parts add up to %d", a, w, got)
		}
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"0", "-0.05", "12.340", "999999999999.99", "1.", "00.10"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		a, err := Parse(s, "KWD")
		if err != nil {
			return
		}
		b, err := Parse(a.Decimal(), "KWD")
		if err != nil || a != b {
			t.Fatalf("%q is %s, read again %s, %v", s, a, b, err)
		}
	})
}
