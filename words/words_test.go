package words

import (
	"sort"
	"strings"
	"testing"
	"time"
)

func TestMatch(t *testing.T) {
	for _, c := range []struct {
		wishes []string
		want   Lang
	}{
		{nil, English}, {[]string{"de"}, German}, {[]string{"de-AT,de;q=0.9,en;q=0.5"}, German}, {[]string{"", "de"}, German},
		{[]string{"fr-FR"}, English}, {[]string{"fr, de;q=0.3"}, German}, {[]string{"en", "de"}, English}, {[]string{"not a tag \x00"}, English},
	} {
		if got := Match(c.wishes...); got != c.want {
			t.Errorf("%q: %s, want %s", c.wishes, got, c.want)
		}
	}
}

// Plural forms by the Unicode CLDR's cardinal rules of both languages: one for 1, other for the rest, 0 among them.
func TestCountables(t *testing.T) {
	for n, want := range map[int]string{0: "0 Dellen", 1: "1 Delle", 2: "2 Dellen", 1200: "1.200 Dellen"} {
		if got := German.N(n, "mark", "marks"); got != want {
			t.Errorf("%d: %q, want %q", n, got, want)
		}
	}
	if got := English.N(1, "mark", "marks") + ", " + English.N(1200, "mark", "marks"); got != "1 mark, 1,200 marks" {
		t.Error(got)
	}
}

func TestFiguresAndDates(t *testing.T) {
	day := time.Date(2026, 3, 4, 15, 6, 0, 0, time.UTC)
	for _, c := range []struct{ got, want string }{
		{English.Number(1234.5, 1), "1,234.5"}, {German.Number(1234.5, 1), "1.234,5"}, {German.Number(0.8, 2), "0,80"},
		{English.Signed(12), "+12"}, {German.Signed(-3), "-3"}, {English.Signed(0.2), "0"},
		{English.Date(day), "4 Mar 2026"}, {German.Date(day), "04.03.2026"}, {German.Time(day), "04.03.2026, 15:06"}, {German.Date(time.Time{}), ""},
		{strings.ReplaceAll(German.Money(11900, "EUR"), "\u00a0", " "), "119,00 €"},
	} {
		if c.got != c.want {
			t.Errorf("%q, want %q", c.got, c.want)
		}
	}
}

func TestSentencesWithFigures(t *testing.T) {
	c, err := parse([]byte(`{"texts": {"photo {1} of {2} is too bright": "Foto {1} von {2} ist zu hell", "photo {1}": "Foto {1}", "too {1}": "zu {1}", "long": "lang"}}`))
	if err != nil {
		t.Fatal(err)
	}
	for english, want := range map[string]string{"photo 3 of 8 is too bright": "Foto 3 von 8 ist zu hell", "photo 3": "Foto 3", "long": "lang", "photo": "", "too (.*)": "zu (.*)"} {
		if got, ok := c.lookup(English, english); got != want || ok != (want != "") {
			t.Errorf("%q: %q, want %q", english, got, want)
		}
	}
	if got := German.T("the taped board distance of 495 mm does not fit the stripes (about 10 % too long)"); got != "der gemessene Tafelabstand von 495 mm passt nicht zu den Streifen (etwa 10 % zu lang)" {
		t.Errorf("%q", got)
	}
}

// TestPlacesAgree: a translation uses just the places of its key.
func TestPlacesAgree(t *testing.T) {
	for _, l := range Langs[1:] {
		data, err := files.ReadFile(string(l) + ".json")
		if err != nil {
			t.Fatal(err)
		}
		c, err := parse(data)
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range c.patterns {
			used := map[string]bool{}
			for _, k := range place.FindAllString(p.to, -1) {
				used[k] = true
			}
			var keys []string
			for k := range used {
				keys = append(keys, k)
			}
			sort.Strings(keys)
			for _, k := range keys {
				if !strings.Contains(strings.Join(p.order, " "), k) {
					t.Errorf("%s: %q uses %s, which its key lacks", l, p.to, k)
				}
			}
		}
	}
}
