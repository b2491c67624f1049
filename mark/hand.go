package mark

import (
	"math"

	"fairmetal/surface"
)

// Merge makes one mark of several that the eye sees as one, the deepest giving name, kind and place of its deepest point. The outline is
// the hull of theirs; what is not known better is the worst of them. No marks give the zero Mark.
func Merge(marks []Mark) Mark {
	if len(marks) == 0 {
		return Mark{}
	}
	m := marks[0]
	for _, k := range marks[1:] {
		if k.DepthUM > m.DepthUM {
			m = k
		}
	}
	var mm, px [][2]float64
	m.VolumeMM3, m.StretchPct = 0, 0
	for _, k := range marks {
		mm, px = append(mm, k.OutlineMM...), append(px, k.OutlinePX...)
		m.VolumeMM3 += k.VolumeMM3
		m.StretchPct = max(m.StretchPct, k.StretchPct)
		m.CrownUM = max(m.CrownUM, k.CrownUM)
		m.DepthSigmaUM = max(m.DepthSigmaUM, k.DepthSigmaUM)
		m.EdgeMM = min(m.EdgeMM, k.EdgeMM)
		if k.RadiusMM > 0 && (m.RadiusMM == 0 || k.RadiusMM < m.RadiusMM) {
			m.RadiusMM = k.RadiusMM
		}
		m.Folded = m.Folded || k.Folded
	}
	m.drawn(convexHull(mm), convexHull(px))
	return m
}

// Split cuts a mark in two at a place, across its length; each half gets its depth and volume from the surface, named after the whole
// with a and b. ok is false where the cut leaves nothing on one side.
func Split(m Mark, xMM, yMM float64, s *surface.Surface) (a, b Mark, ok bool) {
	sin, cos := math.Sincos(m.AngleDeg * math.Pi / 180)
	side := func(p [2]float64) float64 { return cos*(p[0]-xMM) + sin*(p[1]-yMM) }
	sign := 1.0
	if m.Kind == High {
		sign = -1
	}
	half := func(name string, keep float64) (Mark, bool) {
		h := m
		h.ID = m.ID + name
		outline := cut(m.OutlineMM, func(p [2]float64) float64 { return keep * side(p) })
		if len(outline) < 3 {
			return h, false
		}
		h.DepthUM, h.VolumeMM3 = 0, 0
		for row := range s.Rows {
			for col := range s.Cols {
				x, y := s.XY(col, row)
				z := -sign * float64(s.Height[row*s.Cols+col])
				if !(z > 0) || keep*side([2]float64{x, y}) < 0 || !m.Inside(x, y, 1, 0) {
					continue
				}
				h.VolumeMM3 += z * s.PitchMM * s.PitchMM
				if um := 1000 * z; um > h.DepthUM {
					h.DepthUM, h.DeepestMM = um, [2]float64{x, y}
				}
			}
		}
		h.DepthUM, h.VolumeMM3 = round(h.DepthUM, 1), round(h.VolumeMM3, 2)
		if h.DepthUM == 0 {
			return h, false
		}
		h.drawn(outline, matching(m, outline))
		return h, true
	}
	a, okA := half("a", -1)
	b, okB := half("b", 1)
	return a, b, okA && okB
}

// drawn sets a mark's outline, size and middle.
func (m *Mark) drawn(mm, px [][2]float64) {
	if len(mm) < 3 {
		return
	}
	m.OutlineMM, m.OutlinePX = mm, px
	m.LengthMM, m.WidthMM, m.AngleDeg = breadths(convexHull(mm))
	m.LengthMM, m.WidthMM = round(m.LengthMM, 2), round(m.WidthMM, 2)
	if x, y, ok := centroid(mm); ok {
		m.XMM, m.YMM = round(x, 2), round(y, 2)
	}
}

// cut keeps the part of a polygon where f is not negative [SutherlandHodgman1974].
func cut(polygon [][2]float64, f func(p [2]float64) float64) [][2]float64 {
	var out [][2]float64
	for i, p := range polygon {
		q := polygon[(i+1)%len(polygon)]
		fp, fq := f(p), f(q)
		if fp >= 0 {
			out = append(out, p)
		}
		if fp*fq < 0 {
			t := fp / (fp - fq)
			out = append(out, [2]float64{p[0] + t*(q[0]-p[0]), p[1] + t*(q[1]-p[1])})
		}
	}
	return out
}

// matching carries a polygon in mm onto the photo by the nearest points of the mark's own outlines, which run in step.
func matching(m Mark, polygon [][2]float64) [][2]float64 {
	if len(m.OutlineMM) != len(m.OutlinePX) {
		return nil
	}
	var out [][2]float64
	for _, p := range polygon {
		best, at := math.Inf(1), 0
		for i, q := range m.OutlineMM {
			if d := math.Hypot(p[0]-q[0], p[1]-q[1]); d < best {
				best, at = d, i
			}
		}
		out = append(out, m.OutlinePX[at])
	}
	return out
}
