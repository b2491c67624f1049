// Package mark finds and describes the flaws on a measured surface.
package mark

// Kind is the sort of a mark.
type Kind string

// The kinds of marks.
const (
	Round  Kind = "round"  // a bowl
	Crease Kind = "crease" // a long sharp low
	Star   Kind = "star"   // creases that meet
	Line   Kind = "line"   // a low across a feature line
	High   Kind = "high"   // metal above the form
)

// Mark is one flaw. Places and lengths are in mm in the panel frame. DepthUM is positive for lows and highs alike: the
// extreme of the surface inside the mark. The outline is drawn at a tenth of that; length and width are the largest and the
// smallest breadth of it, angle the direction of the length from +x, in [0, 180).
type Mark struct {
	ID           string       `json:"id"`
	Kind         Kind         `json:"kind"`
	XMM          float64      `json:"x_mm"` // middle of the outline
	YMM          float64      `json:"y_mm"`
	LengthMM     float64      `json:"length_mm"`
	WidthMM      float64      `json:"width_mm"`
	AngleDeg     float64      `json:"angle_deg"`
	DepthUM      float64      `json:"depth_um"`
	DepthSigmaUM float64      `json:"depth_sigma_um"`
	CrownUM      float64      `json:"crown_um"`           // height of the raised rim around a low
	DeepestMM    [2]float64   `json:"deepest_mm"`         // where the extreme lies
	VolumeMM3    float64      `json:"volume_mm3"`         // between surface and form, inside the outline
	RadiusMM     float64      `json:"sharpest_radius_mm"` // sharpest radius of curvature inside
	StretchPct   float64      `json:"stretch_pct"`        // mean excess area inside the outline, per cent
	EdgeMM       float64      `json:"edge_mm"`            // distance to the nearest unmeasured metal or panel edge
	Folded       bool         `json:"folded"`             // part of it could not be read (folded, or stripes too dense): depth_um is the least it can be
	OutlineMM    [][2]float64 `json:"outline_mm"`         // closed polygon
	OutlinePX    [][2]float64 `json:"outline_px"`         // the same on photo.jpg
}
