package money

import "fmt"

// Rate is a tax rate in parts per million: 190000 is 19 %. The fourth decimal of a per cent is the finest.
type Rate int64

const (
	ppm        = 1_000_000
	perPercent = ppm / 100
	maxRate    = Rate(ppm) // 100 %
)

// BasisPoints is the rate of hundredths of a per cent: 1900 is 19 %.
func BasisPoints(bp int64) Rate { return Rate(bp * perPercent / 100) }

// ParseRate reads per cent: 19, 5.5, 8.875.
func ParseRate(percent string) (Rate, error) {
	v, err := ParseFixed(percent, 4)
	if err != nil {
		return 0, fmt.Errorf("the tax rate: %w", err)
	}
	return Rate(v), Rate(v).check()
}

func (r Rate) check() error {
	if r < 0 || r > maxRate {
		return fmt.Errorf("a tax of %s %% is not possible; give 0 to 100", r.Percent())
	}
	return nil
}

// Percent is the shortest figure in per cent: 19, 5.5, 8.875.
func (r Rate) Percent() string {
	s := FormatFixed(int64(r), 4)
	for s[len(s)-1] == '0' {
		s = s[:len(s)-1]
	}
	if s[len(s)-1] == '.' {
		s = s[:len(s)-1]
	}
	return s
}

// On is the tax on a net amount, net r / 100 %, rounded half away from zero.
func (r Rate) On(net Amount) (Amount, error) {
	if err := r.check(); err != nil {
		return Amount{}, err
	}
	return net.Times(int64(r), ppm)
}

// Within splits an amount that already holds the tax: net = gross / (1 + r), rounded half away from zero, and the tax is the rest, so
// that they add up again.
func (r Rate) Within(gross Amount) (net, tax Amount, err error) {
	if err = r.check(); err != nil {
		return Amount{}, Amount{}, err
	}
	if net, err = gross.Times(ppm, ppm+int64(r)); err != nil {
		return Amount{}, Amount{}, err
	}
	tax, err = gross.Sub(net)
	return net, tax, err
}

// Rule says where tax is rounded.
type Rule string

const (
	PerTotal Rule = "total" // once for the sum of each kind and rate: EN 16931, BR-CO-17
	PerLine  Rule = "line"  // for each line, then added
)

// Line is one net amount with its tax.
type Line struct {
	Net  Amount
	Rate Rate
	Kind string // keeps apart what has one rate but another reason: the VAT category code of EN 16931, or ""
}

// Group is the tax of one kind and rate.
type Group struct {
	Kind      string
	Rate      Rate
	Base, Tax Amount
}

// Sum is the foot of a bill.
type Sum struct {
	Net, Tax, Gross Amount
	Groups          []Group // in the order of their first lines
}

// Total adds up lines of one currency. Net + Tax = Gross exactly, and so do the groups.
func Total(lines []Line, rule Rule) (Sum, error) {
	if len(lines) == 0 {
		return Sum{}, fmt.Errorf("nothing to add up; give at least one line")
	}
	if rule != PerTotal && rule != PerLine {
		return Sum{}, fmt.Errorf("tax rounding %q is not known; write total or line", rule)
	}
	zero, err := New(0, lines[0].Net.Currency)
	if err != nil {
		return Sum{}, err
	}
	s := Sum{Net: zero, Tax: zero, Gross: zero}
	type key struct {
		kind string
		rate Rate
	}
	at := map[key]int{}
	for _, l := range lines {
		k := key{l.Kind, l.Rate}
		i, ok := at[k]
		if !ok {
			i = len(s.Groups)
			at[k] = i
			s.Groups = append(s.Groups, Group{l.Kind, l.Rate, zero, zero})
		}
		g := &s.Groups[i]
		if g.Base, err = g.Base.Add(l.Net); err != nil {
			return Sum{}, err
		}
		t, err := l.Rate.On(l.Net)
		if err != nil {
			return Sum{}, err
		}
		if rule == PerLine {
			if g.Tax, err = g.Tax.Add(t); err != nil {
				return Sum{}, err
			}
		}
	}
	for i := range s.Groups {
		g := &s.Groups[i]
		if rule == PerTotal {
			if g.Tax, err = g.Rate.On(g.Base); err != nil {
				return Sum{}, err
			}
		}
		if s.Net, err = s.Net.Add(g.Base); err != nil {
			return Sum{}, err
		}
		if s.Tax, err = s.Tax.Add(g.Tax); err != nil {
			return Sum{}, err
		}
	}
	s.Gross, err = s.Net.Add(s.Tax)
	return s, err
}
