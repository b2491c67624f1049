package tracing

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"

	"fairmetal/typeface"
)

// Papers by name, portrait, mm (ISO 216; letter: ANSI/ASME Y14.1).
var Papers = map[string][2]float64{"A4": {210, 297}, "A3": {297, 420}, "letter": {215.9, 279.4}}

const (
	marginMM  = 8.0  // what common printers leave white
	overlapMM = 10.0 // between neighbouring tiles, for joining
	footMM    = 20.0 // for the bar, the tile's name and what to do
	mostTiles = 60
	spelled   = 14 // hits on a tile up to which tool and amounts stand beside them; the list has them all
)

// fixed makes two runs give the same bytes.
var fixed = time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)

// colours: push, pull and tap differ in sign and colour; black printers keep the sign.
var (
	ink   = [3]int{25, 28, 32}
	quiet = [3]int{120, 126, 132}
	faint = [3]int{205, 208, 212}
	hue   = map[string][3]int{"push": {176, 40, 20}, "pull": {20, 90, 160}, "tap": {20, 120, 60}}
)

type sheet struct {
	*fpdf.Fpdf
	r      Round
	all    box
	tw, th float64 // of the paper
	aw, ah float64 // of the drawing on a tile
}

// PDF draws the round in tiles of a paper ("" is A4), then lists the hits.
func PDF(r Round, paper string) ([]byte, error) {
	if paper == "" {
		paper = "A4"
	}
	size, ok := Papers[paper]
	if !ok {
		return nil, fmt.Errorf("paper %q is not known; choose A4, A3 or letter", paper)
	}
	b, err := r.bounds()
	if err != nil {
		return nil, err
	}
	s := &sheet{r: r, all: b}
	// Turn the paper the way that needs fewer tiles.
	s.tw, s.th = size[0], size[1]
	if tiles(b, size[1], size[0]) < tiles(b, s.tw, s.th) {
		s.tw, s.th = s.th, s.tw
	}
	if n := tiles(b, s.tw, s.th); n > mostTiles {
		return nil, fmt.Errorf("the tracing would take %d sheets; draw fewer hits at a time or take larger paper", n)
	}
	s.aw, s.ah = drawing(s.tw, s.th)
	s.open()
	cols, rws := span(b.w(), s.aw), span(b.h(), s.ah)
	for q := range rws {
		for c := range cols {
			s.tile(c, q, cols, rws)
		}
	}
	s.list()
	var out bytes.Buffer
	if err := s.Output(&out); err != nil {
		return nil, fmt.Errorf("the PDF cannot be made (%w)", err)
	}
	return out.Bytes(), nil
}

func drawing(w, h float64) (float64, float64) { return w - 2*marginMM, h - 2*marginMM - footMM }

func span(length, usable float64) int {
	if length <= usable {
		return 1
	}
	return 1 + int(math.Ceil((length-usable)/(usable-overlapMM)-1e-9))
}

func tiles(b box, w, h float64) int {
	aw, ah := drawing(w, h)
	return span(b.w(), aw) * span(b.h(), ah)
}

func (s *sheet) open() {
	orientation := "P"
	if s.tw > s.th {
		orientation = "L"
	}
	s.Fpdf = fpdf.NewCustom(&fpdf.InitType{OrientationStr: orientation, UnitStr: "mm", Size: fpdf.SizeType{Wd: min(s.tw, s.th), Ht: max(s.tw, s.th)}})
	typeface.Use(s.Fpdf)
	s.SetCatalogSort(true)
	s.SetCreationDate(fixed)
	s.SetModificationDate(fixed)
	s.SetTitle(s.r.Panel+" - "+s.r.Title, true)
	s.SetLang("en")
	s.SetAutoPageBreak(false, 0)
	s.SetMargins(0, 0, 0)
}

func (s *sheet) pen(c [3]int, mm float64) {
	s.SetDrawColor(c[0], c[1], c[2])
	s.SetLineWidth(mm)
}

func (s *sheet) text(x, y, w, h float64, style string, size float64, c [3]int, align, text string) {
	s.SetFont(typeface.Family, style, size)
	s.SetTextColor(c[0], c[1], c[2])
	s.SetXY(x, y)
	s.CellFormat(w, h, text, "", 0, align, false, 0, "")
}

// tile draws one sheet. Panel coordinates run from the upper left corner: columns along +x, rows along -y.
func (s *sheet) tile(c, q, cols, rws int) {
	s.AddPage()
	px0, py1 := s.all.x0+float64(c)*(s.aw-overlapMM), s.all.y1-float64(q)*(s.ah-overlapMM)
	w, h := min(s.aw, s.all.x1-px0), min(s.ah, py1-s.all.y0)
	view := box{px0, py1 - h, px0 + w, py1}
	at := func(p [2]float64) fpdf.PointType {
		return fpdf.PointType{X: marginMM + p[0] - px0, Y: marginMM + py1 - p[1]}
	}
	s.ClipRect(marginMM, marginMM, w, h, false)
	s.raster(view, at)
	for _, m := range s.r.Marks {
		s.pen(quiet, 0.25)
		s.polygon(m.MM, at)
		if len(m.MM) > 0 {
			p := at(lowest(m.MM))
			s.text(p.X-10, p.Y+0.6, 20, 3, "", 6, quiet, "C", m.Name)
		}
	}
	for _, card := range s.r.Cards {
		s.pen(ink, 0.3)
		s.polygon(card.Symbol[:], at)
		s.SetDashPattern([]float64{1.5, 1}, 0)
		s.polygon(card.Outline, at)
		s.SetDashPattern(nil, 0)
		x, y := card.middle()
		p := at([2]float64{x, y})
		s.text(p.X-15, p.Y-5, 30, 7, "B", 16, ink, "C", card.Letter)
		s.text(p.X-15, p.Y+2, 30, 3, "", 5.5, quiet, "C", "lay over card "+card.Letter)
	}
	s.hits(view, at)
	s.ClipEnd()
	s.joins(w, h)
	s.foot(fmt.Sprintf("row %d of %d, column %d of %d; overlap %g mm", q+1, rws, c+1, cols, overlapMM))
}

func lowest(p [][2]float64) [2]float64 {
	best := p[0]
	for _, q := range p {
		if q[1] < best[1] {
			best = q
		}
	}
	return best
}

func (s *sheet) polygon(p [][2]float64, at func([2]float64) fpdf.PointType) {
	if len(p) < 2 {
		return
	}
	pts := make([]fpdf.PointType, len(p))
	for i := range p {
		pts[i] = at(p[i])
	}
	s.Polygon(pts, "D")
}

// raster draws lines every 50 mm of the panel frame with their coordinates, and the origin.
func (s *sheet) raster(view box, at func([2]float64) fpdf.PointType) {
	const step = 50.0
	s.pen(faint, 0.1)
	for k := math.Ceil(view.x0 / step); k*step <= view.x1; k++ {
		a, b := at([2]float64{k * step, view.y0}), at([2]float64{k * step, view.y1})
		s.Line(a.X, a.Y, b.X, b.Y)
		s.text(b.X+0.4, b.Y+0.4, 14, 2.6, "", 5.5, quiet, "L", fmt.Sprintf("x %d", int(k*step)))
	}
	for k := math.Ceil(view.y0 / step); k*step <= view.y1; k++ {
		a, b := at([2]float64{view.x0, k * step}), at([2]float64{view.x1, k * step})
		s.Line(a.X, a.Y, b.X, b.Y)
		s.text(a.X+0.4, a.Y-2.8, 14, 2.6, "", 5.5, quiet, "L", fmt.Sprintf("y %d", int(k*step)))
	}
	o := at([2]float64{0, 0})
	s.pen(quiet, 0.2)
	s.Circle(o.X, o.Y, 1.2, "D")
}

// joins are the crosses on which neighbouring tiles are laid.
func (s *sheet) joins(w, h float64) {
	s.pen(ink, 0.1)
	for _, p := range [][2]float64{{0, 0}, {w, 0}, {0, h}, {w, h}} {
		x, y := marginMM+p[0], marginMM+p[1]
		s.Line(x-4, y, x+4, y)
		s.Line(x, y-4, x, y+4)
	}
}

// foot draws the bar of 100 mm and what to do with the sheet.
func (s *sheet) foot(name string) {
	x, y := marginMM+2, s.th-marginMM
	s.pen(ink, 0.2)
	s.Line(x, y, x+100, y)
	for i := range 11 {
		tick := 1.6
		if i%5 == 0 {
			tick = 3
		}
		s.Line(x+float64(10*i), y, x+float64(10*i), y-tick)
	}
	s.text(x+102, y-3.2, 80, 3.4, "", 5.5, quiet, "L", "100 mm - measure; if it differs, print at 100 %, not fitted to the page")
	s.text(x, y-14.5, 0, 4, "B", 8, ink, "L", s.r.Panel+" - "+s.r.Title)
	s.text(x, y-10.5, 0, 3.4, "", 6.5, quiet, "L", name)
	s.text(x, y-7, 0, 3.4, "", 6.5, quiet, "L", "push: round   pull: square   tap: triangle   numbers: working order   lay the drawn cards over the cards, then mark through the crosses")
}

// list prints the hits in working order.
func (s *sheet) list() {
	const rowMM = 4.2
	y := s.th
	for _, h := range s.r.Hits {
		if y+rowMM > s.th-marginMM {
			s.AddPage()
			s.text(marginMM, marginMM, 0, 5, "B", 10, ink, "L", s.r.Panel+" - "+s.r.Title+": hits in working order")
			y = marginMM + 7
			for k, head := range []string{"no", "kind", "x mm", "y mm", "tool and amounts"} {
				s.text(marginMM+listAt[k], y, listAt[k+1]-listAt[k]-2, rowMM, "B", 7, quiet, listAlign[k], head)
			}
			y += rowMM
		}
		for k, v := range []string{fmt.Sprint(h.N), h.Kind, fmt.Sprintf("%.1f", h.XMM), fmt.Sprintf("%.1f", h.YMM), strings.Join(h.Lines, "; ")} {
			w := listAt[k+1] - listAt[k] - 2
			s.SetFont(typeface.Family, "", 7.5)
			size := 7.5 * min(1, w/max(1, s.GetStringWidth(v)+2)) // long lines in smaller letters
			s.text(marginMM+listAt[k], y, w, rowMM, "", size, ink, listAlign[k], v)
		}
		y += rowMM
	}
}

// columns of the list, mm from the margin.
var (
	listAt    = []float64{0, 12, 26, 42, 58, 194}
	listAlign = []string{"R", "L", "R", "R", "L"}
)
