package mark

import (
	"math"
	"slices"

	"fairmetal/internal/order"
	"fairmetal/surface"
)

// unread adds the holes that no mark holds yet though the metal at their rim is not even: small sharp marks of which the stripes show nothing but a crown. How deep they are
// is not known; what passed for a high is their crown, as is a ring about one whose flanks are seen.
func (f *finder) unread(marks []Mark) []Mark {
	all := slices.Clone(marks)
	marks = slices.DeleteFunc(marks, func(m Mark) bool {
		return m.Kind == High && m.Folded && slices.ContainsFunc(all, func(o Mark) bool {
			return o.Kind != High && o.Folded && o.Inside(m.XMM, m.YMM, 1, crownReachMM) && AsCrown(m.DepthUM, o.WidthMM)
		})
	})
	var raw float64
	for k := range f.holes {
		h := &f.holes[k]
		area := float64(len(h.cells)) * f.s.PitchMM * f.s.PitchMM
		if area < leastUnreadMM2 || area > mostUnreadMM2 || f.onLine(h.cells, 0.5) != nil {
			continue
		}
		m := ofHole(f.s.Grid, h.cells)
		if m.LengthMM > unreadCompact*m.WidthMM || slices.ContainsFunc(marks, func(o Mark) bool {
			return o.Inside(m.XMM, m.YMM, 1, crownReachMM) && (o.Kind != High || !AsCrown(o.DepthUM, m.WidthMM))
		}) {
			continue
		}
		if raw == 0 {
			raw = spread(f.um)
		}
		q := &region{sign: -1, cells: f.around(h)}
		far := f.farAround(&m)
		var sum, n float64
		for _, i := range q.cells {
			if v := float64(f.um[i]) - far; v == v {
				sum, n = sum+v*v, n+1
				m.DepthUM, m.CrownUM = max(m.DepthUM, -v), max(m.CrownUM, v)
			}
		}
		if n == 0 || math.Sqrt(sum/n) < unevenRim*raw {
			continue
		}
		f.metal(q, &m)
		m.DepthUM, m.CrownUM = round(max(m.DepthUM, m.CrownUM), 1), round(m.CrownUM, 1)
		m.DepthSigmaUM = m.DepthUM
		marks = slices.DeleteFunc(marks, func(o Mark) bool {
			return o.Kind == High && AsCrown(o.DepthUM, m.WidthMM) && (o.Inside(m.XMM, m.YMM, 1, 0) || m.Inside(o.XMM, o.YMM, 1, crownReachMM))
		})
		marks = append(marks, m)
	}
	return marks
}

const (
	leastUnreadMM2 = 20.0  // a mark of 6 mm hides 28
	mostUnreadMM2  = 800.0 // of a larger one flanks are seen
	unreadCompact  = 2.5   // times as long as wide: what runs on further is a line's, or a strip without stripes
	unevenRim      = 3.0   // times the spread of even metal; where noise alone makes holes it is one and a half
	farRing        = 3.0   // times a hole's length and width, beyond its crown
	crownReachMM   = 3.0   // beside a mark a hole is its own, and a high a hole's crown
)

// AsCrown tells whether a high is no higher than the crown of a low of that breadth may be: the highest of the rendered scenes is 63 um round a low of
// 22 mm, where they push metal up by 5 to 17 % of the depth.
func AsCrown(highUM, breadthMM float64) bool { return highUM < 3*breadthMM }

// farAround is the middle height, um, of the metal in a ring about a mark, beyond what its crown reaches; zero where none is known.
func (f *finder) farAround(m *Mark) float64 {
	var ring []float64
	m.Cells(f.s.Grid, farRing, rimOfHoleMM, func(i int) {
		x, y := f.s.XY(i%f.s.Cols, i/f.s.Cols)
		if v := float64(f.um[i]); v == v && !m.Inside(x, y, farRing, 0) {
			ring = append(ring, v)
		}
	})
	if len(ring) == 0 {
		return 0
	}
	return order.Median(ring)
}

// Hidden is a low of unknown depth, round, where the metal inside a mark has no value, and how wide a circle of that area is; zero where all has one.
func Hidden(s *surface.Surface, m *Mark) (low Mark, acrossMM float64) {
	var cells []int
	m.Cells(s.Grid, 1, 0, func(i int) {
		if h := s.Height[i]; h != h {
			cells = append(cells, i)
		}
	})
	if len(cells) == 0 {
		return low, 0
	}
	return ofHole(s.Grid, cells), 2 * s.PitchMM * math.Sqrt(float64(len(cells))/math.Pi)
}

// ofHole is a round low where cells have no value, as long and as wide as an ellipse of their second moments.
func ofHole(g surface.Grid, cells []int) Mark {
	o := oval(g, cells)
	m := Mark{Kind: Round, XMM: round(o.XMM, 2), YMM: round(o.YMM, 2), LengthMM: round(o.LengthMM, 1), WidthMM: round(o.WidthMM, 1),
		AngleDeg: round(math.Mod(o.AngleDeg+180, 180), 1), Folded: true, DeepestMM: [2]float64{round(o.XMM, 2), round(o.YMM, 2)}}
	sin, cos := math.Sincos(o.AngleDeg * math.Pi / 180)
	for k := range unreadCorners {
		s, c := math.Sincos(2 * math.Pi * float64(k) / unreadCorners)
		a, b := m.LengthMM/2*c, m.WidthMM/2*s
		m.OutlineMM = append(m.OutlineMM, [2]float64{round(o.XMM+cos*a-sin*b, 2), round(o.YMM+sin*a+cos*b, 2)})
	}
	return m
}

const unreadCorners = 24

// around lists the cells within two millimetres of a hole that are not of it.
func (f *finder) around(h *hole) []int {
	in := make(map[int]bool, 2*len(h.cells))
	for _, i := range h.cells {
		in[i] = true
	}
	var out []int
	front := h.cells
	for range int(math.Ceil(rimOfHoleMM / f.s.PitchMM)) {
		var next []int
		for _, i := range front {
			beside, n := f.s.Beside(i)
			for _, j := range beside[:n] {
				if !in[j] {
					in[j] = true
					next = append(next, j)
				}
			}
		}
		out, front = append(out, next...), next
	}
	return out
}

const rimOfHoleMM = 2.0
