package job

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"fairmetal/rack"
)

// Ways to say where an area of the panel is.
const (
	WholePanel = "whole panel"
	LeftHalf   = "left half"
	RightHalf  = "right half"
	UpperHalf  = "upper half"
	LowerHalf  = "lower half"
	Rectangle  = "rectangle"
	Drawn      = "drawn on the map"
)

// AreaShapes are the ways in the order of the form.
var AreaShapes = []string{WholePanel, LeftHalf, RightHalf, UpperHalf, LowerHalf, Drawn, Rectangle}

// farMM is where a half of a panel ends: beyond any panel, within the bounds of package rack.
const farMM = 5000

// AreaOutline is the outline, mm in the panel frame, of an area: halves about the middle of what was measured, a rectangle by its two corners.
func AreaOutline(shape string, middleMM, cornerMM, oppositeMM [2]float64) ([][2]float64, error) {
	x0, y0, x1, y1 := -farMM+0.0, -farMM+0.0, farMM+0.0, farMM+0.0
	switch shape {
	case WholePanel:
		return nil, nil
	case LeftHalf:
		x1 = middleMM[0]
	case RightHalf:
		x0 = middleMM[0]
	case UpperHalf:
		y0 = middleMM[1]
	case LowerHalf:
		y1 = middleMM[1]
	case Rectangle:
		x0, x1 = min(cornerMM[0], oppositeMM[0]), max(cornerMM[0], oppositeMM[0])
		y0, y1 = min(cornerMM[1], oppositeMM[1]), max(cornerMM[1], oppositeMM[1])
		if math.IsNaN(x0+x1+y0+y1) || x1-x0 < 1 || y1-y0 < 1 {
			return nil, &FieldError{"x0", "A rectangle needs its left, right, lower and upper edge in mm, as the map shows them."}
		}
	default:
		return nil, &FieldError{"shape", fmt.Sprintf("There is no area %q: choose one of the list.", shape)}
	}
	return [][2]float64{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}}, nil
}

// DrawnOutline reads an outline that was drawn on the map: "x,y x,y x,y", mm.
func DrawnOutline(drawn string) ([][2]float64, error) {
	var out [][2]float64
	for _, p := range strings.Fields(drawn) {
		x, y, _ := strings.Cut(p, ",")
		px, errX := strconv.ParseFloat(x, 64)
		py, errY := strconv.ParseFloat(y, 64)
		if errX != nil || errY != nil {
			return nil, &FieldError{"outline", "What was drawn did not arrive whole: draw it on the map again."}
		}
		out = append(out, [2]float64{px, py})
	}
	if len(out) < 3 {
		return nil, &FieldError{"outline", "Draw around the part on the map first, or choose a half or a rectangle."}
	}
	return out, nil
}

// NextArea is a name for an area that was drawn without one.
func (a *Arrival) NextArea() string {
	for n := 1; ; n++ {
		name := fmt.Sprintf("area %d", n)
		if !slices.ContainsFunc(a.Behind.Areas, func(o rack.Area) bool { return o.Name == name }) {
			return name
		}
	}
}

// Tell notes how an area is reached from behind. It lies over those told before; one with the same name takes the other's place.
func (a *Arrival) Tell(area rack.Area) error {
	areas := slices.DeleteFunc(slices.Clone(a.Behind.Areas), func(o rack.Area) bool { return o.Name == area.Name })
	told := rack.Access{Format: 1, Areas: append(areas, area)}
	data, err := json.Marshal(told)
	if err != nil {
		return err
	}
	if told, err = rack.ParseAccess(data); err != nil {
		return &FieldError{"shape", err.Error()}
	}
	a.Behind = told
	return nil
}

// Forget takes what was told of an area back.
func (a *Arrival) Forget(name string) {
	a.Behind.Areas = slices.DeleteFunc(slices.Clone(a.Behind.Areas), func(o rack.Area) bool { return o.Name == name })
	if len(a.Behind.Areas) == 0 {
		a.Behind = rack.Access{}
	}
}
