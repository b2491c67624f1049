package metal

import (
	"fmt"
	"math"
	"strings"
)

// TabShape is the outline of a glue tab.
type TabShape string

// Shapes; without one a tab is an ellipse, a disc where both sides are equal.
const (
	RoundTab  TabShape = "round"
	SquareTab TabShape = "square"
	LongTab   TabShape = "long" // straight sides, half-round ends
)

// Tab is a glue tab.
type Tab struct {
	Name              string
	LengthMM, WidthMM float64 // equal: round or square
	Shape             TabShape
}

// AreaMM2 is the glued area.
func (t Tab) AreaMM2() float64 {
	l, w := max(t.LengthMM, t.WidthMM), min(t.LengthMM, t.WidthMM)
	switch t.Shape {
	case SquareTab:
		return l * w
	case LongTab:
		return (l-w)*w + math.Pi/4*w*w
	}
	return math.Pi / 4 * l * w
}

// EdgeMM is the length of its edge; an ellipse after Ramanujan (1914, from memory, within 0.1 % to 5 to 1).
func (t Tab) EdgeMM() float64 {
	l, w := max(t.LengthMM, t.WidthMM), min(t.LengthMM, t.WidthMM)
	switch t.Shape {
	case SquareTab:
		return 2 * (l + w)
	case LongTab:
		return 2*(l-w) + math.Pi*w
	}
	return math.Pi / 2 * (3*(l+w) - math.Sqrt((3*l+w)*(l+3*w)))
}

// reachMM is the radius of a disc of the same area: how far the tab spreads its pull.
func (t Tab) reachMM() float64 { return math.Sqrt(t.AreaMM2() / math.Pi) }

// Glue is a hot-melt glue for tabs.
type Glue struct {
	Name     string
	MPa      float64 // mean adhesive strength over the tab on smooth clear coat at its best temperature
	shiftC   float64 // its curve against that of the general glue
	FromC    float64 // where it is meant to be used
	ToC      float64
	ReleaseC float64 // from here on it comes off by warmth
}

// glues: the adhesive strength on clear coat governs, 0.5 to 2 MPa, not that in the bulk (ethylene-vinyl acetate 2 to 6 MPa, polyamide 5 to
// 15). Strengths and curves are common practice, no source for the exact numbers.
var glues = []Glue{
	{"general glue", 1.1, 0, 12, 32, 60},
	{"warm-weather glue", 1.0, 13, 25, 45, 73},
	{"cold-weather glue", 1.0, -12, 2, 20, 48},
}

// Glues lists the known glues.
func Glues() []Glue { return append([]Glue(nil), glues...) }

// GlueNamed finds a glue; no name: the general one.
func GlueNamed(name string) (Glue, error) {
	var names []string
	for _, g := range glues {
		if key(name) == key(g.Name) || key(name) == "" {
			return g, nil
		}
		names = append(names, g.Name)
	}
	return Glue{}, fmt.Errorf("glue %q is not known; choose one of %s", name, strings.Join(names, ", "))
}

// StrengthMPa at a skin temperature: the general glue keeps 0.7 of its strength at 0 C where it is brittle, 1.1 at 10, 1 at 20, 0.8 at 30, 0.5
// at 40, 0.3 at 50, 0.1 at 60, none at 70; other glues the same, moved along. Common practice, the curve assumed.
func (g Glue) StrengthMPa(tempC float64) float64 {
	return g.MPa * max(0, interp(min(tempC-g.shiftC, 70), []float64{0, 10, 20, 30, 40, 50, 60, 70}, []float64{0.7, 1.1, 1, 0.8, 0.5, 0.3, 0.1, 0}))
}

// Share of the strength that an uneven lift leaves: common practice, 0.5 to 0.8.
const glueLift = 0.65

// Stiffness of the glue line per thickness, MPa/mm: hot melt of some 25 MPa, 1 mm thick (from memory).
const glueBedMPaPerMM = 25.0

// edgeMM is how far in from its edge a tab holds: the sheet bends away under it over the length (D/bed)^(1/4) of a plate on an elastic
// bed (Hertz; [Timoshenko1959] art. 57, from memory), 4 mm for both usual skins. Farther in, glue adds nothing before the edge peels.
func (s Sheet) edgeMM() float64 { return math.Pow(s.Rigidity()/glueBedMPaPerMM, 0.25) }

// HoldN is the pull at which a tab lets go, N: strength x share of an even lift x the area that holds, which is all of a small tab and a
// strip along the edge of a large one: a round tab grows with its area to 16 mm and with its edge from there.
func (s Sheet) HoldN(t Tab, g Glue, tempC float64) float64 {
	return g.StrengthMPa(tempC) * glueLift * min(t.AreaMM2(), t.EdgeMM()*s.edgeMM())
}

// PullOffN is HoldN of the general glue on a usual skin.
func (t Tab) PullOffN(tempC float64) float64 {
	steel, _ := Lookup("steel")
	return Sheet{Material: steel, ThicknessMM: 0.7}.HoldN(t, glues[0], tempC)
}
