package tracing

import (
	"fmt"
	"math"

	"codeberg.org/go-pdf/fpdf"

	"fairmetal/typeface"
)

// hits draws every hit's sign, number and, where a tile holds few, its words.
func (s *sheet) hits(view box, at func([2]float64) fpdf.PointType) {
	var here []Hit
	for _, h := range s.r.Hits {
		if h.XMM >= view.x0 && h.XMM <= view.x1 && h.YMM >= view.y0 && h.YMM <= view.y1 {
			here = append(here, h)
		}
	}
	words := len(here) <= spelled
	sizes := make([][2]float64, len(here))
	for i, h := range here {
		s.SetFont(typeface.Family, "B", 8)
		w, ht := s.GetStringWidth(fmt.Sprint(h.N))+0.8, 3.2
		if words {
			s.SetFont(typeface.Family, "", 5.5)
			for _, l := range h.Lines {
				w, ht = max(w, s.GetStringWidth(l)+0.8), ht+2.3
			}
		}
		sizes[i] = [2]float64{w, ht}
	}
	places := labels(here, sizes)
	for i, h := range here {
		p, c := at([2]float64{h.XMM, h.YMM}), hue[h.Kind]
		s.pen(c, 0.25)
		s.sign(p, h.Kind)
		if !places[i].ok {
			continue // no room beside it; the list has its place
		}
		b := places[i].box
		edge := at([2]float64{min(max(h.XMM, b.x0), b.x1), min(max(h.YMM, b.y0), b.y1)})
		if d := math.Hypot(edge.X-p.X, edge.Y-p.Y); d > 3 {
			s.pen(c, 0.12)
			s.Line(p.X+1.5*(edge.X-p.X)/d, p.Y+1.5*(edge.Y-p.Y)/d, edge.X, edge.Y)
		}
		corner := at([2]float64{b.x0, b.y1})
		s.text(corner.X, corner.Y, b.w(), 3.2, "B", 8, c, "L", fmt.Sprint(h.N))
		if words {
			for k, l := range h.Lines {
				s.text(corner.X, corner.Y+3.2+2.3*float64(k), b.w(), 2.3, "", 5.5, ink, "L", l)
			}
		}
	}
}

// sign marks the place with a fine cross and the kind by its frame: push round, pull square, tap a triangle that points down.
func (s *sheet) sign(p fpdf.PointType, kind string) {
	s.Line(p.X-1.4, p.Y, p.X+1.4, p.Y)
	s.Line(p.X, p.Y-1.4, p.X, p.Y+1.4)
	switch kind {
	case "push":
		s.Circle(p.X, p.Y, 1, "D")
	case "pull":
		s.Rect(p.X-1, p.Y-1, 2, 2, "D")
	case "tap":
		s.Polygon([]fpdf.PointType{{X: p.X - 1.2, Y: p.Y - 0.8}, {X: p.X + 1.2, Y: p.Y - 0.8}, {X: p.X, Y: p.Y + 1.3}}, "D")
	}
}
