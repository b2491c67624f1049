package rack

import (
	"fmt"
	"math"
	"slices"
)

// Access tells which places of a panel can be reached from behind. The zero value: everywhere, from an opening of unknown distance.
type Access struct {
	Format int    `json:"format"`
	Areas  []Area `json:"areas"` // a later one lies over an earlier one
	// Frame is where the skin is held all round, by a flange or bonded; none: not known. Braces hold it in between.
	Frame  *Line  `json:"frame,omitempty"` // from the lower left corner to the upper right
	Braces []Line `json:"braces,omitempty"`
}

// Line leads from one place to another, mm in the panel frame.
type Line struct {
	X0MM float64 `json:"x0_mm"`
	Y0MM float64 `json:"y0_mm"`
	X1MM float64 `json:"x1_mm"`
	Y1MM float64 `json:"y1_mm"`
}

// leastFrameMM: in a narrower frame nothing is worked.
const leastFrameMM = 40

// Area is a part of the panel with its access from behind.
type Area struct {
	Name      string       `json:"name"`
	OutlineMM [][2]float64 `json:"outline_mm,omitempty"` // polygon in the panel frame; none: the whole panel
	Behind    bool         `json:"behind"`               // can be reached from behind at all
	ReachMM   float64      `json:"reach_mm,omitempty"`   // from the opening to the place
	GapMM     float64      `json:"gap_mm,omitempty"`     // how wide the opening is; 0: wide
	AngleDeg  float64      `json:"angle_deg,omitempty"`  // by which the push leans from the panel's normal
	Why       string       `json:"why,omitempty"`        // a brace, a double skin, foam
}

// maxLeanDeg is how far a push may lean: beyond it the tip slides more than it lifts. Common practice, no source.
const maxLeanDeg = 60

// ParseAccess reads access areas.
func ParseAccess(data []byte) (Access, error) {
	var a Access
	if err := file("access", "areas").Decode(data, &a); err != nil {
		return Access{}, err
	}
	if a.Format != 1 {
		return Access{}, fmt.Errorf("the access file has format %d; write \"format\": 1", a.Format)
	}
	if len(a.Areas) > maxTools {
		return Access{}, fmt.Errorf("the access file lists %d areas; list at most %d", len(a.Areas), maxTools)
	}
	for _, l := range slices.Concat(a.Braces, a.frame()) {
		for _, v := range []float64{l.X0MM, l.Y0MM, l.X1MM, l.Y1MM} {
			if !within(v, -1e4, 1e4) {
				return Access{}, fmt.Errorf("the frame or a brace reaches to %g mm; give places within 10 m of the cards", v)
			}
		}
	}
	if len(a.Braces) > maxTools {
		return Access{}, fmt.Errorf("the access file lists %d braces; list at most %d", len(a.Braces), maxTools)
	}
	if f := a.Frame; f != nil && (f.X1MM-f.X0MM < leastFrameMM || f.Y1MM-f.Y0MM < leastFrameMM) {
		return Access{}, fmt.Errorf("the frame from (%g, %g) to (%g, %g) mm is too narrow; give its lower left corner first, then the upper right, at least %d mm apart", f.X0MM, f.Y0MM, f.X1MM, f.Y1MM, leastFrameMM)
	}
	for _, r := range a.Areas {
		if r.Name == "" {
			return Access{}, fmt.Errorf("an access area has no name; call it what you call the place")
		}
		if len(r.OutlineMM) != 0 && len(r.OutlineMM) < 3 || len(r.OutlineMM) > 1000 {
			return Access{}, fmt.Errorf("area %q has an outline of %d points; give 3 to 1000, or none for the whole panel", r.Name, len(r.OutlineMM))
		}
		for _, p := range r.OutlineMM {
			if !within(p[0], -1e4, 1e4) || !within(p[1], -1e4, 1e4) {
				return Access{}, fmt.Errorf("area %q has a corner at (%g, %g) mm; corners lie within 10 m of the cards", r.Name, p[0], p[1])
			}
		}
		if !within(r.ReachMM, 0, 3000) || !within(r.GapMM, 0, 2000) || !within(r.AngleDeg, 0, maxLeanDeg) {
			return Access{}, fmt.Errorf("area %q is not possible; give a reach of 0 to 3000 mm, a gap of 0 to 2000 mm, a lean of 0 to %d degrees", r.Name, maxLeanDeg)
		}
	}
	return a, nil
}

func (a Access) frame() []Line {
	if a.Frame == nil {
		return nil
	}
	return []Line{*a.Frame}
}

// At returns the area at a place: the last one listed that holds it.
func (a Access) At(x, y float64) Area {
	for i := len(a.Areas) - 1; i >= 0; i-- {
		if r := a.Areas[i]; len(r.OutlineMM) == 0 || inside(r.OutlineMM, x, y) {
			return r
		}
	}
	return Area{Name: "open", Behind: true}
}

// Lean is how much harder a leaning push must be: 1/cos of its angle.
func (r Area) Lean() float64 { return 1 / math.Cos(min(r.AngleDeg, maxLeanDeg)*math.Pi/180) }

// inside is the even-odd rule.
func inside(poly [][2]float64, x, y float64) bool {
	in := false
	for i, j := 0, len(poly)-1; i < len(poly); j, i = i, i+1 {
		a, b := poly[i], poly[j]
		if (a[1] > y) != (b[1] > y) && x < (b[0]-a[0])*(y-a[1])/(b[1]-a[1])+a[0] {
			in = !in
		}
	}
	return in
}
