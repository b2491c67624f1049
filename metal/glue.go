package metal

import "math"

// Tab is a glue tab.
type Tab struct {
	Name              string
	LengthMM, WidthMM float64 // equal: round
}

// AreaMM2 is the glued area of an elliptical tab.
func (t Tab) AreaMM2() float64 { return math.Pi / 4 * t.LengthMM * t.WidthMM }

// Hot-melt glue on smooth clear coat: mean adhesive strength over the tab at 20 C, MPa, and the share left by uneven lift. Common
// practice, no source for the exact numbers.
const (
	glueMPa  = 1.1
	glueLift = 0.65
)

// PullOffN is the pull at which a tab lets go, N, at a skin temperature: the factor by temperature (1.1 at 10 C, 1 at 20, 0.8 at 30,
// 0.5 at 40, 0.3 at 50, 0.1 at 60) is common practice. Large tabs on curved metal peel from the edge: from 16 mm on the
// capacity grows with the perimeter rather than the area.
func (t Tab) PullOffN(tempC float64) float64 {
	area := t.AreaMM2()
	const knee = math.Pi / 4 * 16 * 16
	if area > knee {
		area = math.Sqrt(area * knee)
	}
	return glueMPa * glueLift * area * interp(tempC, []float64{10, 20, 30, 40, 50, 60, 70}, []float64{1.1, 1, 0.8, 0.5, 0.3, 0.1, 0})
}
