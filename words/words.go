// Package words holds the texts that people read in every language of the app, and writes numbers, money and dates as each language
// does. The English text is its own key.
//
// In: an English text, as it stands in a page or as a numeric package made it. Out: the same in the reader's language; what the
// catalogue lacks stays English. A key with places {1}, {2}, … matches sentences with figures in them:
//
//	"photo {1} of {2} is too bright": "Foto {1} von {2} ist zu hell"
package words

import (
	"embed"
	"encoding/json"
	"fmt"
	"regexp"
	"sort"
	"strconv"
	"strings"
	"sync"
	"time"

	"golang.org/x/text/feature/plural"
	"golang.org/x/text/language"
	"golang.org/x/text/message"
	"golang.org/x/text/number"

	"fairmetal/money"
)

//go:embed *.json
var files embed.FS

// Lang is a language of the app.
type Lang string

// Languages of the app.
const (
	English Lang = "en"
	German  Lang = "de"
)

// Langs lists the languages.
var Langs = []Lang{English, German}

// Name is what speakers call their language.
func (l Lang) Name() string { return map[Lang]string{English: "English", German: "Deutsch"}[l] }

// tag adds the customs of a region: the day before the month in English too.
func (l Lang) tag() language.Tag {
	if l == German {
		return language.German
	}
	return language.BritishEnglish
}

var matcher = language.NewMatcher([]language.Tag{language.English, language.German})

// Match picks the language: the first of the wishes that the app knows (each a tag such as "de" or an Accept-Language header).
func Match(wishes ...string) Lang {
	for _, w := range wishes {
		tags, _, err := language.ParseAcceptLanguage(w)
		if err != nil || len(tags) == 0 {
			continue
		}
		if _, i, c := matcher.Match(tags...); c != language.No {
			return Langs[i]
		}
	}
	return English
}

// catalogue of one language.
type catalogue struct {
	exact    map[string]string
	patterns []pattern
	plurals  map[string]map[string]string
}

type pattern struct {
	match *regexp.Regexp
	order []string // the places in the order of the key
	to    string
	fixed int // letters that are no place: the more, the better the match
}

var loaded = sync.OnceValue(func() map[Lang]*catalogue {
	out := map[Lang]*catalogue{English: {}}
	for _, l := range Langs[1:] {
		data, err := files.ReadFile(string(l) + ".json")
		if err != nil {
			panic(err) // embedded
		}
		c, err := parse(data)
		if err != nil {
			panic(fmt.Sprintf("%s: %v", l, err)) // embedded, and held by a test
		}
		out[l] = c
	}
	return out
})

var place = regexp.MustCompile(`\{(\d)\}`)

func parse(data []byte) (*catalogue, error) {
	var doc struct {
		Texts   map[string]string            `json:"texts"`
		Plurals map[string]map[string]string `json:"plurals"`
	}
	if err := json.Unmarshal(data, &doc); err != nil {
		return nil, err
	}
	c := &catalogue{exact: map[string]string{}, plurals: doc.Plurals}
	for k, v := range doc.Texts {
		if !place.MatchString(k) {
			c.exact[k] = v
			continue
		}
		p := pattern{to: v}
		expr, at := "^", 0
		for _, m := range place.FindAllStringSubmatchIndex(k, -1) {
			expr += regexp.QuoteMeta(k[at:m[0]]) + "(.+?)"
			p.fixed += m[0] - at
			p.order = append(p.order, k[m[0]:m[1]])
			at = m[1]
		}
		p.fixed += len(k) - at
		re, err := regexp.Compile("(?s)" + expr + regexp.QuoteMeta(k[at:]) + "$")
		if err != nil {
			return nil, err
		}
		p.match = re
		c.patterns = append(c.patterns, p)
	}
	sort.Slice(c.patterns, func(i, j int) bool {
		if c.patterns[i].fixed != c.patterns[j].fixed {
			return c.patterns[i].fixed > c.patterns[j].fixed
		}
		return c.patterns[i].to < c.patterns[j].to
	})
	return c, nil
}

// Keys lists the English texts that a language has a translation of.
func (l Lang) Keys() []string {
	var out []string
	for k := range loaded()[l].exact {
		out = append(out, k)
	}
	sort.Strings(out)
	return out
}

// Has tells whether a text is there in the language.
func (l Lang) Has(english string) bool {
	_, ok := loaded()[l].lookup(l, english)
	return ok || l == English
}

// T says a text in the language.
func (l Lang) T(english string) string {
	if l == English || english == "" {
		return english
	}
	if v, ok := loaded()[l].lookup(l, english); ok {
		return v
	}
	return english
}

func (c *catalogue) lookup(l Lang, english string) (string, bool) {
	if c == nil {
		return "", false
	}
	if v, ok := c.exact[english]; ok {
		return v, true
	}
	for _, p := range c.patterns {
		m := p.match.FindStringSubmatch(english)
		if m == nil {
			continue
		}
		v := p.to
		for i, key := range p.order {
			v = strings.ReplaceAll(v, key, l.figure(m[i+1]))
		}
		return v, true
	}
	return "", false
}

var (
	plainFigure = regexp.MustCompile(`^-?\d+\.\d+$`)
	plainAmount = regexp.MustCompile(`^(-?\d+)\.(\d\d) ([A-Z]{3})$`)
)

// figure says what stands in a place of a sentence: a decimal or an amount as the language writes it, else a text of its own.
func (l Lang) figure(s string) string {
	if m := plainAmount.FindStringSubmatch(s); m != nil {
		if minor, err := strconv.ParseInt(m[1]+m[2], 10, 64); err == nil {
			return l.Money(minor, m[3])
		}
	}
	if plainFigure.MatchString(s) {
		if v, err := strconv.ParseFloat(s, 64); err == nil {
			return l.Number(v, len(s)-strings.Index(s, ".")-1)
		}
	}
	return l.T(s)
}

// N says how many of something there are, by the language's rules of number: N(2, "mark", "marks") is "2 marks".
func (l Lang) N(n int, one, many string) string {
	form := plural.Cardinal.MatchPlural(l.tag(), n, 0, 0, 0, 0)
	text := many
	if form == plural.One {
		text = one
	}
	if l != English {
		if p, ok := loaded()[l].plurals[many]; ok {
			text = p["other"]
			if form == plural.One {
				text = p["one"]
			}
		}
	}
	return l.Number(float64(n), 0) + " " + text
}

// HasN tells whether the language knows a countable thing.
func (l Lang) HasN(many string) bool {
	p, ok := loaded()[l].plurals[many]
	return l == English || ok && p["one"] != "" && p["other"] != ""
}

// Number writes a number with a fixed count of decimals.
func (l Lang) Number(v float64, decimals int) string {
	return message.NewPrinter(l.tag()).Sprint(number.Decimal(v, number.Scale(decimals)))
}

// Signed writes a whole number with its sign.
func (l Lang) Signed(v float64) string {
	s := l.Number(v, 0)
	if !strings.HasPrefix(s, "-") && !strings.HasPrefix(s, "\u2212") && s != "0" {
		s = "+" + s
	}
	return s
}

// Money writes an amount with its currency.
func (l Lang) Money(minor int64, currency string) string {
	a, err := money.New(minor, currency)
	if err != nil {
		return strconv.FormatInt(minor, 10) + " " + currency
	}
	return a.Format(string(l))
}

// Date writes a day.
func (l Lang) Date(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	if l == German {
		return t.Format("02.01.2006")
	}
	return t.Format("2 Jan 2006")
}

// Time writes a day with its time.
func (l Lang) Time(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return l.Date(t) + ", " + t.Format("15:04")
}
