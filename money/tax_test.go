package money

import (
	"math/rand/v2"
	"testing"
)

func TestRates(t *testing.T) {
	for text, want := range map[string]Rate{"19": 190000, "5.5": 55000, "8.875": 88750, "0": 0, "100": 1000000, "7.00": 70000, "0.0001": 1} {
		r, err := ParseRate(text)
		if err != nil || r != want {
			t.Errorf("%s %%: %d, %v", text, r, err)
		}
		if text != "7.00" && r.Percent() != text {
			t.Errorf("%d is written %s %%", r, r.Percent())
		}
	}
	for _, bad := range []string{"", "19 %", "-1", "100.1", "0.00001", "x"} {
		if r, err := ParseRate(bad); err == nil {
			t.Errorf("%q read as %d", bad, r)
		}
	}
	if BasisPoints(1900) != 190000 || BasisPoints(8) != 800 {
		t.Error("basis points are hundredths of a per cent")
	}
}

// TestTaxByHand: 19 % of 33.33 is 6.3327, of 10.50 is 1.995, of -10.50 its mirror; 21 % of 0.50 is 0.105.
func TestTaxByHand(t *testing.T) {
	for _, c := range []struct {
		net  string
		rate Rate
		want string
	}{{"100.00", 190000, "19.00"}, {"33.33", 190000, "6.33"}, {"10.50", 190000, "2.00"}, {"-10.50", 190000, "-2.00"}, {"0.50", 210000, "0.11"}, {"12.34", 200000, "2.47"}} {
		if got, err := c.rate.On(eur(t, c.net)); err != nil || got.Decimal() != c.want {
			t.Errorf("%s %% of %s: %s, %v, want %s", c.rate.Percent(), c.net, got, err, c.want)
		}
	}
	// 119.00 with 19 % within: 100.00 and 19.00. 10.00: 8.403 and the rest.
	for _, c := range [][3]string{{"119.00", "100.00", "19.00"}, {"10.00", "8.40", "1.60"}, {"-10.00", "-8.40", "-1.60"}} {
		net, tax, err := Rate(190000).Within(eur(t, c[0]))
		if err != nil || net.Decimal() != c[1] || tax.Decimal() != c[2] {
			t.Errorf("%s holds %s and %s, %v", c[0], net, tax, err)
		}
	}
}

// TestPublishedExample: the VAT breakdown of example 2 of the European standard's validation artefacts [EN16931], in NOK: 25 % on
// 1273.00 + 187.50 is 365.13 (365.125), 15 % on 4.96 - 3.96 is 0.15, exempt -25.00; in all 1436.50 + 365.28 = 1801.78.
func TestPublishedExample(t *testing.T) {
	nok := func(minor int64) Amount { return Amount{minor, "NOK"} }
	s, err := Total([]Line{{nok(127300), 250000, "S"}, {nok(-396), 150000, "S"}, {nok(496), 150000, "S"}, {nok(-2500), 0, "E"}, {nok(18750), 250000, "S"}}, PerTotal)
	if err != nil {
		t.Fatal(err)
	}
	want := []Group{{"S", 250000, nok(146050), nok(36513)}, {"S", 150000, nok(100), nok(15)}, {"E", 0, nok(-2500), nok(0)}}
	if len(s.Groups) != len(want) {
		t.Fatalf("groups %+v", s.Groups)
	}
	for i := range want {
		if s.Groups[i] != want[i] {
			t.Errorf("group %+v, want %+v", s.Groups[i], want[i])
		}
	}
	if s.Net != nok(143650) || s.Tax != nok(36528) || s.Gross != nok(180178) {
		t.Errorf("%s + %s = %s", s.Net, s.Tax, s.Gross)
	}
}

// TestRules: three lines of 0.50 at 21 %: per line 3 x 0.11 (0.105 each), per sum 0.32 (0.315).
func TestRules(t *testing.T) {
	l := Line{Amount{50, "EUR"}, 210000, ""}
	for rule, want := range map[Rule]int64{PerLine: 33, PerTotal: 32} {
		s, err := Total([]Line{l, l, l}, rule)
		if err != nil || s.Tax.Minor != want {
			t.Errorf("per %s: %s, %v", rule, s.Tax, err)
		}
	}
	for _, bad := range [][]Line{nil, {{Amount{1, "EUR"}, 2000000, ""}}, {{Amount{1, "EUR"}, 0, ""}, {Amount{1, "CHF"}, 0, ""}}} {
		if s, err := Total(bad, PerTotal); err == nil {
			t.Errorf("%+v adds up to %+v", bad, s)
		}
	}
	if _, err := Total([]Line{l}, "never"); err == nil {
		t.Error("an unknown rule")
	}
}

// TestSumsConserve: nets, taxes and groups add up; the two rules differ by at most half a unit a line and one more a group; the mirror
// of a bill has the mirrored foot; a split gross comes back.
func TestSumsConserve(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	rates := []Rate{0, 55000, 70000, 190000, 250000}
	for range 1000 {
		n := 1 + rng.IntN(20)
		lines, mirror := make([]Line, n), make([]Line, n)
		var net int64
		for i := range lines {
			lines[i] = Line{Amount{rng.Int64N(2_000_000) - 500_000, "EUR"}, rates[rng.IntN(len(rates))], "S"}
			mirror[i] = lines[i]
			mirror[i].Net = lines[i].Net.Neg()
			net += lines[i].Net.Minor
			a, b, err := lines[i].Rate.Within(lines[i].Net)
			if err != nil || a.Minor+b.Minor != lines[i].Net.Minor {
				t.Fatalf("%s split into %s and %s, %v", lines[i].Net, a, b, err)
			}
		}
		s, err := Total(lines, PerTotal)
		if err != nil {
			t.Fatal(err)
		}
		p, err := Total(lines, PerLine)
		if err != nil {
			t.Fatal(err)
		}
		m, err := Total(mirror, PerTotal)
		if err != nil {
			t.Fatal(err)
		}
		var base, tax int64
		for _, g := range s.Groups {
			base, tax = base+g.Base.Minor, tax+g.Tax.Minor
		}
		if s.Net.Minor != net || base != net || tax != s.Tax.Minor || s.Gross.Minor != net+tax || p.Gross.Minor != net+p.Tax.Minor {
			t.Fatalf("%+v of %+v", s, lines)
		}
		if d := s.Tax.Minor - p.Tax.Minor; 2*max(d, -d) > int64(n+len(s.Groups)) {
			t.Fatalf("per line %s, per total %s for %d lines", p.Tax, s.Tax, n)
		}
		if m.Gross != s.Gross.Neg() || m.Tax != s.Tax.Neg() {
			t.Fatalf("mirror %+v of %+v", m, s)
		}
	}
}
