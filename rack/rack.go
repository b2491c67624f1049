package rack

import (
	_ "embed"

	"fairmetal/metal"
)

// Hardness of a face that touches metal.
type Hardness string

// Faces from hard to soft. Rubber spreads the load over some millimetres: half the paint strain (package metal).
const (
	Steel   Hardness = "steel"
	Plastic Hardness = "plastic"
	Rubber  Hardness = "rubber"
)

// Rack is the tools at hand.
type Rack struct {
	Format  int      `json:"format"`
	Tips    []Tip    `json:"tips"`
	Bars    []Bar    `json:"bars"`
	Tabs    []Tab    `json:"tabs"`
	Taps    []Tap    `json:"taps"`
	Pullers []Puller `json:"pullers,omitempty"`
	Glues   []Glue   `json:"glues,omitempty"`
	Lights  []Light  `json:"lights,omitempty"`
}

// Tip is a tool end for pushes from behind.
type Tip struct {
	Name     string   `json:"name"`
	RadiusMM float64  `json:"radius_mm"`
	Hardness Hardness `json:"hardness,omitempty"` // "" is steel
}

// Bar carries a tip behind the panel.
type Bar struct {
	Name      string   `json:"name"`
	LengthMM  float64  `json:"length_mm"`
	ReachMM   float64  `json:"reach_mm"`         // how far its tip gets past the opening
	FulcrumMM float64  `json:"fulcrum_mm"`       // from the tip to where it is propped; 0: pushed by hand alone
	GapMM     float64  `json:"gap_mm,omitempty"` // the narrowest opening it passes; 0: any
	Tips      []string `json:"tips,omitempty"`   // names of the tips it takes; none: all
}

// Tab is a glue tab; equal sides: round.
type Tab struct {
	Name     string  `json:"name"`
	LengthMM float64 `json:"length_mm"`
	WidthMM  float64 `json:"width_mm"`
}

// Tap is a hammer or knock-down for highs.
type Tap struct {
	Name     string   `json:"name"`
	RadiusMM float64  `json:"radius_mm"`
	Hardness Hardness `json:"hardness,omitempty"`
}

// Puller draws a tab: a lifter or a slide hammer.
type Puller struct {
	Name string  `json:"name"`
	MaxN float64 `json:"max_n"`
}

// Glue holds within a range of skin temperatures; strength is relative to general glue.
type Glue struct {
	Name     string  `json:"name"`
	FromC    float64 `json:"from_c"`
	ToC      float64 `json:"to_c"`
	Strength float64 `json:"strength"`
	WaitS    float64 `json:"wait_s,omitempty"` // from setting the tab to the pull; 0: not known
}

// Light is a striped board or lamp that shows the reflection.
type Light struct {
	Name     string  `json:"name"`
	WidthMM  float64 `json:"width_mm"`
	HeightMM float64 `json:"height_mm"`
	PitchMM  float64 `json:"pitch_mm"`
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

// Leverage is tip force over hand force: (length - fulcrum)/fulcrum of a straight lever, 1 for a push without a prop.
func (b Bar) Leverage() float64 {
	if b.FulcrumMM <= 0 {
		return 1
	}
	return (b.LengthMM - b.FulcrumMM) / b.FulcrumMM
}

// Takes tells whether the bar takes a tip.
func (b Bar) Takes(tip string) bool {
	if len(b.Tips) == 0 || tip == "" {
		return true
	}
	for _, t := range b.Tips {
		if t == tip {
			return true
		}
	}
	return false
}

// Metal is the tip as package metal wants it.
func (t Tip) Metal() metal.Tip {
	return metal.Tip{Name: t.Name, RadiusMM: t.RadiusMM, Soft: t.Hardness == Rubber}
}

// Metal is the tab as package metal wants it.
func (t Tab) Metal() metal.Tab {
	return metal.Tab{Name: t.Name, LengthMM: t.LengthMM, WidthMM: t.WidthMM}
}
