// Package prints makes what the technician prints at true size: scale cards and striped boards, as PDF.
//
// Every page carries a ruler of 100 mm; if it does not measure 100 mm the printer scaled the page. Sine-like stripes come in two
// ways: in grey steps, corrected for the sRGB curve that printers' drivers assume (IEC 61966-2-1), or as an area code of fine black
// bars that survives printers with a curve of their own.
package prints

import (
	"bytes"
	"fmt"
	"math"
	"time"

	"codeberg.org/go-pdf/fpdf"

	"fairmetal/card"
	"fairmetal/photo"
	"fairmetal/typeface"
)

// Papers by name, portrait, mm (ISO 216; letter: ANSI/ASME Y14.1).
var Papers = map[string][2]float64{"A4": {210, 297}, "A3": {297, 420}, "A2": {420, 594}, "A1": {594, 841}, "letter": {215.9, 279.4}}

// marginMM is what common printers leave white.
const marginMM = 8.0

// fixed makes two runs give the same bytes.
var fixed = time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)

func document(title string, w, h float64) *fpdf.Fpdf {
	orientation := "P"
	if w > h {
		orientation = "L"
	}
	pdf := fpdf.NewCustom(&fpdf.InitType{OrientationStr: orientation, UnitStr: "mm", Size: fpdf.SizeType{Wd: min(w, h), Ht: max(w, h)}})
	typeface.Use(pdf)
	pdf.SetCatalogSort(true)
	pdf.SetCreationDate(fixed)
	pdf.SetModificationDate(fixed)
	pdf.SetTitle(title, true)
	pdf.SetLang("en")
	pdf.SetAutoPageBreak(false, 0)
	pdf.SetMargins(0, 0, 0)
	return pdf
}

func output(pdf *fpdf.Fpdf) ([]byte, error) {
	var b bytes.Buffer
	if err := pdf.Output(&b); err != nil {
		return nil, fmt.Errorf("the PDF cannot be made (%w)", err)
	}
	return b.Bytes(), nil
}

// ruler draws 100 mm with a tick every 10 mm.
func ruler(pdf *fpdf.Fpdf, x, y float64) {
	pdf.SetDrawColor(0, 0, 0)
	pdf.SetLineWidth(0.2)
	pdf.Line(x, y, x+100, y)
	for i := range 11 {
		h := 1.6
		if i%5 == 0 {
			h = 3
		}
		pdf.Line(x+float64(10*i), y, x+float64(10*i), y-h)
	}
	pdf.SetFont(typeface.Family, "", 6.5)
	pdf.SetTextColor(60, 60, 60)
	pdf.SetXY(x+102, y-3.2)
	pdf.CellFormat(0, 3.4, "100 mm - measure this; if it differs, print again at 100 % without fitting to the page", "", 0, "L", false, 0, "")
}

// CardSheet asks for scale cards.
type CardSheet struct {
	SidesMM []float64 // of the symbols; one card A and one card B of each
	Paper   string    // "" is A4
}

// Cards draws the cards, as many on a page as fit.
func Cards(s CardSheet) ([]byte, error) {
	if s.Paper == "" {
		s.Paper = "A4"
	}
	size, ok := Papers[s.Paper]
	if !ok {
		return nil, fmt.Errorf("paper %q is not known; choose A4, A3, A2, A1 or letter", s.Paper)
	}
	if len(s.SidesMM) == 0 || len(s.SidesMM) > 20 {
		return nil, fmt.Errorf("name one to twenty card sizes")
	}
	pdf := document("Scale cards", size[0], size[1])
	const foot = 16.0
	x, y, row := marginMM, marginMM, 0.0
	page := func() {
		pdf.AddPage()
		ruler(pdf, marginMM+2, size[1]-marginMM)
		x, y, row = marginMM, marginMM, 0
	}
	page()
	for _, side := range s.SidesMM {
		for _, letter := range []string{"A", "B"} {
			modules, err := card.Symbol(letter, side)
			if err != nil {
				return nil, err
			}
			w, h := cardSize(side)
			if w > size[0]-2*marginMM || h > size[1]-2*marginMM-foot {
				return nil, fmt.Errorf("a card with a symbol of %g mm does not fit on %s; take larger paper", side, s.Paper)
			}
			if x+w > size[0]-marginMM {
				x, y, row = marginMM, y+row+4, 0
			}
			if y+h > size[1]-marginMM-foot {
				page()
			}
			drawCard(pdf, x, y, letter, side, modules)
			x, row = x+w+4, max(row, h)
		}
	}
	return output(pdf)
}

// cardSize is the outer size of a card: symbol, a quiet zone of four modules (ISO/IEC 18004), and a strip for the words.
func cardSize(side float64) (w, h float64) {
	full := side * 29 / 21
	return max(full, 34), full + card.LabelMM
}

func drawCard(pdf *fpdf.Fpdf, x, y float64, letter string, side float64, modules [][]bool) {
	w, h := cardSize(side)
	pdf.SetDrawColor(150, 150, 150)
	pdf.SetLineWidth(0.15)
	pdf.SetDashPattern([]float64{1.2, 1.2}, 0)
	pdf.Rect(x, y, w, h, "D")
	pdf.SetDashPattern(nil, 0)
	m := side / float64(len(modules))
	ox, oy := x+(w-side)/2, y+4*m
	pdf.SetFillColor(0, 0, 0)
	for r, line := range modules {
		// Runs of dark modules as one bar: no hairlines between them.
		for c := 0; c < len(line); c++ {
			if !line[c] {
				continue
			}
			n := 1
			for c+n < len(line) && line[c+n] {
				n++
			}
			pdf.Rect(ox+float64(c)*m, oy+float64(r)*m, float64(n)*m, m, "F")
			c += n
		}
	}
	pdf.SetTextColor(0, 0, 0)
	pdf.SetFont(typeface.Family, "B", 15)
	ty := y + h - card.LabelMM
	pdf.SetXY(x+2, ty)
	pdf.CellFormat(8, 8, letter, "", 0, "L", false, 0, "")
	pdf.SetFont(typeface.Family, "", 6)
	pdf.SetXY(x+9, ty+0.6)
	pdf.CellFormat(w-10, 3.2, fmt.Sprintf("symbol %g mm", side), "", 2, "L", false, 0, "")
	pdf.CellFormat(w-10, 3.2, map[string]string{"A": "left of the damage", "B": "right of the damage"}[letter], "", 0, "L", false, 0, "")
	// Which way is up.
	ax, ay := x+w-4, ty+1.2
	pdf.Polygon([]fpdf.PointType{{X: ax, Y: ay}, {X: ax - 1.6, Y: ay + 3}, {X: ax + 1.6, Y: ay + 3}}, "F")
	pdf.SetXY(ax-4, ay+3)
	pdf.SetFont(typeface.Family, "", 5.5)
	pdf.CellFormat(8, 3, "up", "", 0, "C", false, 0, "")
}

// BoardSpec asks for a striped board.
type BoardSpec struct {
	WidthMM, HeightMM float64
	PitchMM           float64
	Stripes           string // u, v or uv
	Profile           string // sine or square
	Bars              bool   // sine as an area code of fine bars in place of grey
	Paper             string // tiles; "" is A4
}

const (
	overlapMM  = 10.0 // between neighbouring tiles, for gluing
	footMM     = 14.0 // for the ruler and the tile's name
	greySteps  = 64   // a pitch: the mean error of a step is under 1 %
	maxTiles   = 150
	maxBoardMM = 3000.0
	barsPerMM  = 2.0 // of the area code
)

// Board draws the board in tiles.
func Board(s BoardSpec) ([]byte, error) {
	if s.Paper == "" {
		s.Paper = "A4"
	}
	size, ok := Papers[s.Paper]
	switch {
	case !ok:
		return nil, fmt.Errorf("paper %q is not known; choose A4, A3, A2, A1 or letter", s.Paper)
	case !(s.WidthMM >= 20 && s.WidthMM <= maxBoardMM && s.HeightMM >= 20 && s.HeightMM <= maxBoardMM):
		return nil, fmt.Errorf("a board of %g x %g mm is not possible; choose 20 to %g mm", s.WidthMM, s.HeightMM, maxBoardMM)
	case !(s.PitchMM >= 2 && s.PitchMM <= 500):
		return nil, fmt.Errorf("a pitch of %g mm is not possible; choose 2 to 500 mm", s.PitchMM)
	case s.Stripes != "u" && s.Stripes != "v" && s.Stripes != "uv":
		return nil, fmt.Errorf("stripes %q are not known; choose u (upright), v (level) or uv (crossed)", s.Stripes)
	case s.Profile != "sine" && s.Profile != "square":
		return nil, fmt.Errorf("profile %q is not known; choose sine or square", s.Profile)
	}
	// Turn the paper the way that needs fewer tiles.
	tw, th := size[0], size[1]
	if tiles(s, size[1], size[0]) < tiles(s, tw, th) {
		tw, th = th, tw
	}
	if n := tiles(s, tw, th); n > maxTiles {
		return nil, fmt.Errorf("the board would take %d sheets; take larger paper", n)
	}
	pdf := document("Striped board", tw, th)
	aw, ah := tw-2*marginMM, th-2*marginMM-footMM
	cols, rws := span(s.WidthMM, aw), span(s.HeightMM, ah)
	for r := range rws {
		for c := range cols {
			pdf.AddPage()
			x0, y0 := float64(c)*(aw-overlapMM), float64(r)*(ah-overlapMM)
			w, h := min(aw, s.WidthMM-x0), min(ah, s.HeightMM-y0)
			drawTile(pdf, s, x0, y0, w, h)
			crossMarks(pdf, w, h)
			ruler(pdf, marginMM+2, th-marginMM)
			pdf.SetXY(marginMM+2, th-marginMM-10)
			pdf.CellFormat(0, 4, fmt.Sprintf("row %d of %d, column %d of %d; pitch %g mm; overlap %g mm", r+1, rws, c+1, cols, s.PitchMM, overlapMM), "", 0, "L", false, 0, "")
		}
	}
	return output(pdf)
}

func span(length, usable float64) int {
	if length <= usable {
		return 1
	}
	return 1 + int(math.Ceil((length-usable)/(usable-overlapMM)-1e-9))
}

func tiles(s BoardSpec, w, h float64) int {
	return span(s.WidthMM, w-2*marginMM) * span(s.HeightMM, h-2*marginMM-footMM)
}

// crossMarks are the corners where tiles are joined.
func crossMarks(pdf *fpdf.Fpdf, w, h float64) {
	pdf.SetDrawColor(0, 0, 0)
	pdf.SetLineWidth(0.1)
	for _, p := range [][2]float64{{0, 0}, {w, 0}, {0, h}, {w, h}} {
		x, y := marginMM+p[0], marginMM+p[1]
		pdf.Line(x-4, y, x+4, y)
		pdf.Line(x, y-4, x, y+4)
	}
}

// drawTile draws the part of the board that starts at (x0, y0) mm from its upper left corner. Coordinates count from the board's
// middle, so that tiles and boards of all sizes are in phase.
func drawTile(pdf *fpdf.Fpdf, s BoardSpec, x0, y0, w, h float64) {
	pdf.ClipRect(marginMM, marginMM, w, h, false)
	defer pdf.ClipEnd()
	u0, v0 := x0-s.WidthMM/2, y0-s.HeightMM/2
	switch {
	case s.Stripes == "uv":
		crossed(pdf, s, u0, v0, w, h)
	case s.Stripes == "u":
		bands(s, u0, w, func(a, b float64, grey int) {
			pdf.SetFillColor(grey, grey, grey)
			pdf.Rect(marginMM+a, marginMM, b-a, h, "F")
		})
	default:
		bands(s, v0, h, func(a, b float64, grey int) {
			pdf.SetFillColor(grey, grey, grey)
			pdf.Rect(marginMM, marginMM+a, w, b-a, "F")
		})
	}
}

// bands cuts the stripes from coordinate c0 over length mm into strips of one grey; a and b count from the tile's edge.
func bands(s BoardSpec, c0, length float64, draw func(a, b float64, grey int)) {
	switch {
	case s.Profile == "square":
		// Bright where the cosine is positive: the dark half runs from a quarter to three quarters of the pitch.
		for k := math.Floor(c0/s.PitchMM) - 1; (k+0.25)*s.PitchMM < c0+length; k++ {
			strip((k+0.25)*s.PitchMM-c0, (k+0.75)*s.PitchMM-c0, length, 0, draw)
		}
	case s.Bars:
		// Black bars whose width follows the wanted darkness, barsPerMM to the millimetre: their mean is exact.
		step := 1 / barsPerMM
		for k := math.Floor(c0 / step); k*step < c0+length; k++ {
			mid := (k + 0.5) * step
			dark := 0.5 - 0.5*math.Cos(2*math.Pi*mid/s.PitchMM)
			strip(mid-dark*step/2-c0, mid+dark*step/2-c0, length, 0, draw)
		}
	default:
		step := s.PitchMM / greySteps
		for k := math.Floor(c0 / step); k*step < c0+length; k++ {
			// Neighbouring strips overlap by a hair so that no white lines show between them.
			strip(k*step-c0, (k+1)*step-c0+0.02, length, Grey(0.5+0.5*math.Cos(2*math.Pi*(k+0.5)/greySteps)), draw)
		}
	}
}

func strip(a, b, length float64, grey int, draw func(a, b float64, grey int)) {
	if a, b = max(a, 0), min(b, length); b > a {
		draw(a, b, grey)
	}
}

// Grey is the 8-bit sRGB value of a brightness in linear light, 0 to 1.
func Grey(linear float64) int { return int(math.Round(255 * photo.SRGB(linear))) }

// crossed draws both directions as squares of one grey (sine), or as a checkerboard (square).
func crossed(pdf *fpdf.Fpdf, s BoardSpec, u0, v0, w, h float64) {
	n := 16.0
	if s.Profile == "square" {
		n = 4
	}
	step := s.PitchMM / n
	level := func(k float64) float64 {
		c := math.Cos(2 * math.Pi * (k + 0.5) / n)
		if s.Profile == "square" {
			c = math.Copysign(1, c)
		}
		return 0.5 + 0.5*c
	}
	for j := math.Floor(v0 / step); j*step < v0+h; j++ {
		for i := math.Floor(u0 / step); i*step < u0+w; i++ {
			g := Grey((level(i) + level(j)) / 2)
			if g >= 255 {
				continue
			}
			pdf.SetFillColor(g, g, g)
			pdf.Rect(marginMM+i*step-u0, marginMM+j*step-v0, step+0.02, step+0.02, "F")
		}
	}
}
