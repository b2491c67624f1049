package trim

import (
	_ "embed"
	"fmt"
	"math"
	"slices"

	"fairmetal/internal/strict"
)

// List is the workshop's own.
type List struct {
	Format int    `json:"format"`
	Parts  []Part `json:"parts"`
}

// Part is one thing that comes off.
type Part struct {
	Panel   string  `json:"panel"` // kind of panel: roof, door, bonnet, wing, tailgate, quarter, or a house's own word
	Text    string  `json:"text"`
	OffMin  float64 `json:"off_minutes"`
	OnMin   float64 `json:"on_minutes"`
	Spread  float64 `json:"spread"`         // standard deviation, share of the minutes
	When    string  `json:"when,omitempty"` // only for some work; "": always
	Caution string  `json:"caution,omitempty"`
}

// Work is what a panel takes.
type Work struct {
	Parts   []Part  `json:"parts"`
	Minutes float64 `json:"minutes"`
	Low     float64 `json:"low"` // P10
	High    float64 `json:"high"`
}

//go:embed trim.json
var defaultList []byte

// Default is the embedded list.
func Default() List {
	l, err := Parse(defaultList)
	if err != nil {
		panic(err) // the embedded file is part of the program
	}
	return l
}

const (
	maxBytes = 1 << 20
	maxParts = 1000
	p10      = 1.2816 // 10 % point of the standard normal distribution, negated
)

// Parse reads a list and checks it. Names that are not known are slips of the pen and refused.
func Parse(data []byte) (List, error) {
	var l List
	f := strict.File{What: "trim list", Holds: "list parts", Mend: "correct it or start from the default", MaxBytes: maxBytes}
	if err := f.Decode(data, &l); err != nil {
		return List{}, err
	}
	return l, l.check()
}

func (l List) check() error {
	if l.Format != 1 {
		return fmt.Errorf("the trim list has format %d; write \"format\": 1", l.Format)
	}
	if len(l.Parts) > maxParts {
		return fmt.Errorf("the trim list has %d parts; list at most %d", len(l.Parts), maxParts)
	}
	in := func(v, lo, hi float64) bool { return v >= lo && v <= hi }
	for i, p := range l.Parts {
		if p.Panel == "" || len(p.Panel) > 100 || p.Text == "" || len(p.Text) > 300 || len(p.When) > 100 || len(p.Caution) > 500 {
			return fmt.Errorf("part %d of the trim list lacks its panel or text, or they are too long; give both in a few words", i+1)
		}
		if !in(p.OffMin, 0, 1440) || !in(p.OnMin, 0, 1440) || !in(p.Spread, 0, 1) {
			return fmt.Errorf("%q takes %g and %g minutes give or take %g of them; set minutes from 0 to 1440 and the spread from 0 to 1", p.Text, p.OffMin, p.OnMin, p.Spread)
		}
	}
	return nil
}

// For is what a kind of panel takes: the parts without a condition and those whose condition is among when. Parts vary each by itself.
func (l List) For(panel string, when ...string) Work {
	w := Work{Parts: []Part{}}
	var v float64
	for _, p := range l.Parts {
		if p.Panel != panel || p.When != "" && !slices.Contains(when, p.When) {
			continue
		}
		w.Parts = append(w.Parts, p)
		m := p.OffMin + p.OnMin
		w.Minutes += m
		v += m * m * p.Spread * p.Spread
	}
	s := p10 * math.Sqrt(v)
	w.Low, w.High = max(0, w.Minutes-s), w.Minutes+s
	return w
}

// Panels lists the kinds of panel in the list's order.
func (l List) Panels() []string {
	out := []string{}
	for _, p := range l.Parts {
		if !slices.Contains(out, p.Panel) {
			out = append(out, p.Panel)
		}
	}
	return out
}
