package card

import (
	"strings"
	"testing"
)

func TestTextParse(t *testing.T) {
	for _, c := range []struct {
		letter string
		side   float64
		text   string
	}{
		{"A", 40, "FM1 A 40"}, {"B", 10, "FM1 B 10"}, {"Z", 200, "FM1 Z 200"}, {"A", 40.5, "FM1 A 40.5"}, {"C", 99.9, "FM1 C 99.9"},
	} {
		if got := Text(c.letter, c.side); got != c.text {
			t.Errorf("Text(%q, %v) = %q, want %q", c.letter, c.side, got, c.text)
		}
		l, s, err := Parse(c.text)
		if err != nil || l != c.letter || s != c.side {
			t.Errorf("Parse(%q) = %q, %v, %v", c.text, l, s, err)
		}
	}
}

func TestParseRefuses(t *testing.T) {
	for _, text := range []string{
		"", "FM1", "FM1 A", "FM2 A 40", "fm1 A 40", "FM1 a 40", "FM1 AB 40", "FM1  A 40", "FM1 A 40 ", " FM1 A 40", "FM1 A 9.9",
		"FM1 A 201", "FM1 A -40", "FM1 A +40", "FM1 A 040", "FM1 A 40.0", "FM1 A 40.25", "FM1 A 4e1", "FM1 A NaN", "FM1 A Inf",
		"FM1 A 0x28", "FM1 Ä 40", "FM1 A 100.5", "FM1 A 4_0", "https://example.org/FM1 A 40",
	} {
		if l, s, err := Parse(text); err == nil {
			t.Errorf("Parse(%q) = %q, %v, want an error", text, l, s)
		} else if !strings.Contains(err.Error(), "use a card printed with") {
			t.Errorf("Parse(%q): %q does not say what to do", text, err)
		}
	}
}

// What Parse accepts is exactly what Text writes, within the limits, and fits a symbol.
func FuzzParse(f *testing.F) {
	for _, s := range []string{"FM1 A 40", "FM1 B 25.5", "FM1 Z 200", "FM1 A 1e2", "FM1 A 040", "FM1  40", "FM1 A 10.0", "FM1 A\x0040"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		l, s, err := Parse(text)
		if err != nil {
			return
		}
		if Text(l, s) != text {
			t.Errorf("Parse(%q) = %q, %v, which is written %q", text, l, s, Text(l, s))
		}
		if !(s >= MinSideMM && s <= MaxSideMM) || len(l) != 1 || l < "A" || l > "Z" {
			t.Errorf("Parse(%q) = %q, %v: out of limits", text, l, s)
		}
		if m, err := Symbol(l, s); err != nil || len(m) != Modules {
			t.Errorf("Symbol(%q, %v): %v", l, s, err)
		}
	})
}
