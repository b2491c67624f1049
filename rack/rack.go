// Package rack holds the technician's own tools with the sizes that the computation needs, and finds the one that fits.
package rack

import (
	_ "embed"
	"encoding/json"
	"fmt"
	"math"
	"sort"

	"fairmetal/metal"
)

// Rack is the tools at hand. Lengths in mm.
type Rack struct {
	Format int   `json:"format"`
	Tips   []Tip `json:"tips"`
	Bars   []Bar `json:"bars"`
	Tabs   []Tab `json:"tabs"`
	Taps   []Tap `json:"taps"`
}

// Tip is a tool end for pushes from behind.
type Tip struct {
	Name     string  `json:"name"`
	RadiusMM float64 `json:"radius_mm"`
	Soft     bool    `json:"soft,omitempty"`
}

// Bar carries a tip behind the panel; leverage is tip force over hand force.
type Bar struct {
	Name     string  `json:"name"`
	LengthMM float64 `json:"length_mm"`
	ReachMM  float64 `json:"reach_mm"`
	Leverage float64 `json:"leverage"`
}

// Tab is a glue tab.
type Tab struct {
	Name     string  `json:"name"`
	LengthMM float64 `json:"length_mm"`
	WidthMM  float64 `json:"width_mm"`
}

// Tap is a knock-down for highs.
type Tap struct {
	Name     string  `json:"name"`
	RadiusMM float64 `json:"radius_mm"`
}

//go:embed default.json
var defaultJSON []byte

// Default is a rack that most technicians would recognise as a start.
func Default() Rack {
	r, err := Parse(defaultJSON)
	if err != nil {
		panic(err) // the embedded file is part of the program
	}
	return r
}

const maxBytes = 1 << 20

// Parse reads a rack and checks its numbers.
func Parse(data []byte) (Rack, error) {
	var r Rack
	if len(data) > maxBytes {
		return r, fmt.Errorf("the rack file is %d kB; it should list tools only", len(data)>>10)
	}
	if err := json.Unmarshal(data, &r); err != nil {
		return Rack{}, fmt.Errorf("the rack file cannot be read (%w); correct it or start from the default rack", err)
	}
	if r.Format != 1 {
		return Rack{}, fmt.Errorf("the rack file has format %d; write \"format\": 1", r.Format)
	}
	ok := func(v, lo, hi float64) bool { return v >= lo && v <= hi }
	for _, t := range r.Tips {
		if t.Name == "" || !ok(t.RadiusMM, 0.2, 100) {
			return Rack{}, fmt.Errorf("tip %q has a radius of %g mm; give a name and 0.2 to 100 mm", t.Name, t.RadiusMM)
		}
	}
	for _, b := range r.Bars {
		if b.Name == "" || !ok(b.LengthMM, 20, 3000) || !ok(b.ReachMM, 0, b.LengthMM) || !ok(b.Leverage, 0.2, 20) {
			return Rack{}, fmt.Errorf("bar %q is not possible; give length 20 to 3000 mm, a reach within it and a leverage of 0.2 to 20", b.Name)
		}
	}
	for _, t := range r.Tabs {
		if t.Name == "" || !ok(t.LengthMM, 2, 200) || !ok(t.WidthMM, 2, 200) {
			return Rack{}, fmt.Errorf("tab %q of %g x %g mm is not possible", t.Name, t.LengthMM, t.WidthMM)
		}
	}
	for _, t := range r.Taps {
		if t.Name == "" || !ok(t.RadiusMM, 0.2, 100) {
			return Rack{}, fmt.Errorf("knock-down %q has a radius of %g mm; give a name and 0.2 to 100 mm", t.Name, t.RadiusMM)
		}
	}
	if len(r.Tips)+len(r.Tabs) == 0 {
		return Rack{}, fmt.Errorf("the rack holds neither tips nor tabs; add what you work with")
	}
	return r, nil
}

// TipFor returns the bluntest tip that still reaches into a low of the given sharpest radius, from blunt to sharp: no blunter
// than a third of it. ok is false for a rack without tips.
func (r Rack) TipFor(radiusMM float64) (Tip, bool) {
	if len(r.Tips) == 0 {
		return Tip{}, false
	}
	tips := append([]Tip(nil), r.Tips...)
	sort.Slice(tips, func(i, j int) bool { return tips[i].RadiusMM > tips[j].RadiusMM })
	for _, t := range tips {
		if t.RadiusMM <= radiusMM/3 {
			return t, true
		}
	}
	return tips[len(tips)-1], true
}

// TapFor returns the bluntest knock-down no wider than a high.
func (r Rack) TapFor(widthMM float64) (Tap, bool) {
	best, found := Tap{}, false
	for _, t := range r.Taps {
		fits, fitted := 2*t.RadiusMM <= widthMM, 2*best.RadiusMM <= widthMM
		if !found || fits && (!fitted || t.RadiusMM > best.RadiusMM) || !fits && !fitted && t.RadiusMM < best.RadiusMM {
			best, found = t, true
		}
	}
	return best, found
}

// TabFor returns the tab whose size comes nearest to two thirds of a low's length and width: larger ones lift the rim with it.
func (r Rack) TabFor(lengthMM, widthMM float64) (Tab, bool) {
	best, found := Tab{}, false
	score := math.Inf(1)
	for _, t := range r.Tabs {
		s := math.Abs(math.Log(t.LengthMM/(0.67*lengthMM))) + math.Abs(math.Log(t.WidthMM/(0.67*widthMM)))
		if s < score {
			best, score, found = t, s, true
		}
	}
	return best, found
}

// BarFor returns the shortest bar that reaches.
func (r Rack) BarFor(reachMM float64) (Bar, bool) {
	best, found := Bar{}, false
	for _, b := range r.Bars {
		if b.ReachMM >= reachMM && (!found || b.LengthMM < best.LengthMM) {
			best, found = b, true
		}
	}
	return best, found
}

// Metal is the tip as package metal wants it.
func (t Tip) Metal() metal.Tip {
	return metal.Tip{Name: t.Name, RadiusMM: t.RadiusMM, Soft: t.Soft}
}

// Metal is the tab as package metal wants it.
func (t Tab) Metal() metal.Tab {
	return metal.Tab{Name: t.Name, LengthMM: t.LengthMM, WidthMM: t.WidthMM}
}
