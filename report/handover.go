package report

import (
	"bytes"
	"image"
	"time"

	"codeberg.org/go-pdf/fpdf"
)

// HandOver is all that the report shows that goes with the vehicle.
type HandOver struct {
	Lang     string
	House    House
	Customer []string
	Vehicle  string
	Panel    string
	Number   string
	Date     time.Time
	Currency string // the house's
	Pictures []Picture
	Marks    []Moved
	Answer   string // of the hand-over check
	Reasons  []string
	Done     []string // what was done, point by point
	Left     string
	Care     string
	Warranty string
	Received string // who took the vehicle, and when; "" when nobody signed yet
	Strokes  [][][2]float64
}

// Picture is JPEG or PNG with what stands under it.
type Picture struct {
	Data []byte
	Text string
}

// Moved is one mark before and after.
type Moved struct{ ID, Kind, Size, Was, Is, State string }

type handOverWords struct {
	title, found, was, is, state, verdict, done, left, nothing, care, warranty, received, sign string
}

var handOverTexts = map[string]handOverWords{
	"en": {"Report", "What was found and what became of it", "before", "after", "state", "Check in the striped light", "What was done", "What is left, and why", "Nothing is left that the check can see.", "Care", "Warranty", "Vehicle received", "signature"},
	"de": {"Bericht", "Was gefunden wurde und was daraus wurde", "vorher", "nachher", "Stand", "Prüfung im Streifenlicht", "Was getan wurde", "Was bleibt, und warum", "Es bleibt nichts, was die Prüfung sehen kann.", "Pflege", "Gewährleistung", "Fahrzeug erhalten", "Unterschrift"},
}

// PDF renders the report.
func (v HandOver) PDF() ([]byte, error) {
	w := of(handOverTexts, v.Lang)
	q := Quote{Lang: v.Lang, House: v.House, Customer: v.Customer, Vehicle: v.Vehicle, Panel: v.Panel, Number: v.Number, Date: v.Date, Currency: v.Currency, title: w.title}
	return q.render(func(p *paper) { v.content(p, w) })
}

func (v HandOver) content(p *paper, w handOverWords) {
	p.pairs(v.Pictures)
	if len(v.Marks) > 0 {
		p.heading(w.found)
		var rows [][]string
		for _, m := range v.Marks {
			rows = append(rows, []string{m.ID, m.Kind, m.Size, m.Was, m.Is, m.State})
		}
		p.table([]column{{"", 14, "L"}, {p.w.kind, 44, "L"}, {p.w.size, 32, "R"}, {w.was, 24, "R"}, {w.is, 24, "R"}, {w.state, width - 138, "R"}}, rows)
	}
	if v.Answer != "" {
		p.heading(w.verdict)
		p.body(v.Answer)
		for _, r := range v.Reasons {
			p.bullet(r)
		}
	}
	if len(v.Done) > 0 {
		p.heading(w.done)
		for _, d := range v.Done {
			p.bullet(d)
		}
	}
	p.heading(w.left)
	if v.Left == "" {
		p.body(w.nothing)
	} else {
		p.body(v.Left)
	}
	for _, s := range [][2]string{{w.care, v.Care}, {w.warranty, v.Warranty}} {
		if s[1] != "" {
			p.heading(s[0])
			p.body(s[1])
		}
	}
	if v.Received != "" {
		p.heading(w.received)
		p.body(v.Received)
		p.strokes(v.Strokes)
	}
}

// pairs places pictures two in a row.
func (p *paper) pairs(pictures []Picture) {
	const gap = 6.0
	w := (width - gap) / 2
	col, row, tallest := 0, p.GetY(), 0.0
	for i, pic := range pictures {
		cfg, format, err := image.DecodeConfig(bytes.NewReader(pic.Data))
		if err != nil || cfg.Width == 0 || cfg.Height == 0 {
			continue
		}
		h := min(w*float64(cfg.Height)/float64(cfg.Width), 62)
		if col == 0 && row+h > 262 {
			p.AddPage()
			row = p.GetY()
		}
		name := "picture" + string(rune('a'+i%26))
		p.RegisterImageOptionsReader(name, fpdf.ImageOptions{ImageType: format}, bytes.NewReader(pic.Data))
		x, real := left+float64(col)*(w+gap), h*float64(cfg.Width)/float64(cfg.Height)
		p.ImageOptions(name, x+(w-real)/2, row, real, h, false, fpdf.ImageOptions{ImageType: format}, 0, "")
		p.SetXY(x, row+h+0.5)
		p.font("", 7.5)
		p.colour(quiet)
		p.CellFormat(w, 4, pic.Text, "", 0, "C", false, 0, "")
		tallest = max(tallest, h)
		if col++; col == 2 {
			col, row, tallest = 0, row+tallest+7, 0
		}
	}
	if col > 0 {
		row += tallest + 7
	}
	p.SetXY(left, row)
}

// signMM is the width of a signature on paper.
const signMM = 60

// strokes draws a signature: points in hundredths of its width.
func (p *paper) strokes(lines [][][2]float64) {
	if len(lines) == 0 {
		return
	}
	x, y := left, p.GetY()+2
	p.SetDrawColor(ink[0], ink[1], ink[2])
	p.SetLineWidth(0.4)
	low := 0.0
	for _, l := range lines {
		for i := range l {
			low = max(low, l[i][1]/100*signMM)
			if i > 0 {
				p.Line(x+l[i-1][0]/100*signMM, y+l[i-1][1]/100*signMM, x+l[i][0]/100*signMM, y+l[i][1]/100*signMM)
			}
		}
	}
	p.SetXY(left, y+low+2)
}
