// Package report writes the papers a customer reads: the quote as a PDF.
//
// In: plain structs with everything that is printed. Out: PDF bytes, A4, fonts embedded, title and language set; the same input
// gives the same bytes. Texts come from a table of words so that another language needs no new layout.
package report

import (
	"bytes"
	"fmt"
	"image"
	_ "image/jpeg" // the picture may be either
	_ "image/png"
	"strconv"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"
	"github.com/bojanz/currency"

	"fairmetal/typeface"
)

// House is who offers.
type House struct {
	Name    string
	Address []string
	TaxID   string
}

// Mark is one row of the list of marks.
type Mark struct {
	ID, Kind, Place, Size, Depth, Verdict string
}

// Stage is one row of what will be done.
type Stage struct {
	Title, Text, Minutes string
}

// Line is one line of the price.
type Line struct {
	Text, Why   string
	AmountMinor int64
}

// Tax is one tax line.
type Tax struct {
	Name        string
	RateBP      int64
	AmountMinor int64
}

// Quote is all that the paper shows.
type Quote struct {
	Lang     string // BCP 47; "" is en
	House    House
	Customer []string
	Vehicle  string
	Panel    string
	Number   string
	Date     time.Time
	Valid    time.Time
	Picture  []byte // JPEG or PNG of the panel with the heat map; may be nil
	// Labels are mark numbers on the picture, at shares of its width and height.
	Labels     []Label
	Marks      []Mark
	Answer     string // in a few words
	Declined   bool
	Reasons    []string
	Stages     []Stage
	Hours      string
	Currency   string
	Lines      []Line
	NetMinor   int64
	Taxes      []Tax
	TotalMinor int64
	LowMinor   int64
	HighMinor  int64
	PaintMinor int64
	PaintDays  int
	Cautions   []string

	title string // of the other papers, which share head and foot with the quote
}

// Label is a number on the picture.
type Label struct {
	Text string
	X, Y float64 // 0..1
}

const (
	left, top, right = 18.0, 16.0, 18.0
	width            = 210 - left - right
)

// colours of the papers: a warm dark for text, a quiet accent.
var (
	ink    = [3]int{33, 38, 42}
	quiet  = [3]int{105, 112, 118}
	accent = [3]int{176, 92, 20}
	rule   = [3]int{206, 200, 190}
	wash   = [3]int{247, 243, 236}
)

type paper struct {
	*fpdf.Fpdf
	w words
	f *currency.Formatter
	q *Quote
}

// PDF renders the quote.
func (q Quote) PDF() ([]byte, error) {
	return q.render(func(p *paper) {
		p.picture()
		p.answer()
		p.marks()
		p.work()
		p.price()
		p.close()
	})
}

// render makes the paper: head and foot of the house, and what is between.
func (q Quote) render(content func(p *paper)) ([]byte, error) {
	if len(q.Currency) != 3 || !currency.IsValid(q.Currency) {
		return nil, fmt.Errorf("currency %q is not an ISO 4217 code; correct it in the house settings", q.Currency)
	}
	if q.Lang == "" {
		q.Lang = "en"
	}
	p := &paper{Fpdf: fpdf.New("P", "mm", "A4", ""), w: wordsFor(q.Lang), f: currency.NewFormatter(currency.NewLocale(q.Lang)), q: &q}
	if q.title != "" {
		p.w.title = q.title
	}
	typeface.Use(p.Fpdf)
	p.SetCatalogSort(true)
	p.SetCreationDate(q.Date)
	p.SetModificationDate(q.Date)
	p.SetTitle(p.w.title+" "+q.Number, true)
	p.SetAuthor(q.House.Name, true)
	p.SetLang(q.Lang)
	p.SetMargins(left, top, right)
	p.SetAutoPageBreak(true, 20)
	p.AliasNbPages("{n}")
	p.SetFooterFunc(p.footer)
	p.AddPage()
	p.head()
	content(p)
	var b bytes.Buffer
	if err := p.Output(&b); err != nil {
		return nil, fmt.Errorf("the paper cannot be written as PDF (%w)", err)
	}
	return b.Bytes(), nil
}

func (p *paper) colour(c [3]int)                 { p.SetTextColor(c[0], c[1], c[2]) }
func (p *paper) font(style string, size float64) { p.SetFont(typeface.Family, style, size) }

func (p *paper) footer() {
	p.SetY(-14)
	p.font("", 7.5)
	p.colour(quiet)
	p.CellFormat(width/2, 5, p.q.House.Name+"  "+p.q.House.TaxID, "", 0, "L", false, 0, "")
	p.CellFormat(width/2, 5, fmt.Sprintf("%s %s   %d / {n}", p.w.title, p.q.Number, p.PageNo()), "", 0, "R", false, 0, "")
}

func (p *paper) head() {
	q := p.q
	p.font("B", 13)
	p.colour(ink)
	p.CellFormat(width/2, 6, q.House.Name, "", 2, "L", false, 0, "")
	p.font("", 8)
	p.colour(quiet)
	for _, a := range q.House.Address {
		p.CellFormat(width/2, 4, a, "", 2, "L", false, 0, "")
	}
	y := p.GetY()
	p.SetXY(left+width/2, top)
	p.font("B", 18)
	p.colour(accent)
	p.CellFormat(width/2, 8, p.w.title, "", 2, "R", false, 0, "")
	p.font("", 8)
	p.colour(quiet)
	p.CellFormat(width/2, 4, q.Number+"   "+p.date(q.Date), "", 2, "R", false, 0, "")
	if !q.Valid.IsZero() && !q.Declined {
		p.CellFormat(width/2, 4, p.w.valid+" "+p.date(q.Valid), "", 2, "R", false, 0, "")
	}
	p.SetXY(left, max(y, p.GetY())+4)
	p.line()
	p.SetY(p.GetY() + 2)
	p.pair(p.w.customer, strings.Join(q.Customer, ", "))
	p.pair(p.w.vehicle, q.Vehicle)
	p.pair(p.w.panel, q.Panel)
	p.SetY(p.GetY() + 2)
}

func (p *paper) date(t time.Time) string { return t.Format(p.w.dateLayout) }

func (p *paper) line() {
	p.SetDrawColor(rule[0], rule[1], rule[2])
	p.SetLineWidth(0.25)
	p.Line(left, p.GetY(), left+width, p.GetY())
}

func (p *paper) pair(label, text string) {
	if text == "" {
		return
	}
	p.SetX(left)
	p.font("", 8)
	p.colour(quiet)
	p.CellFormat(26, 5, label, "", 0, "L", false, 0, "")
	p.font("", 9.5)
	p.colour(ink)
	p.MultiCell(width-26, 5, text, "", "L", false)
}

func (p *paper) heading(text string) {
	if p.GetY() > 250 {
		p.AddPage()
	}
	p.SetXY(left, p.GetY()+4)
	p.font("B", 11)
	p.colour(ink)
	p.CellFormat(width, 6, text, "", 1, "L", false, 0, "")
}

func (p *paper) body(text string) {
	p.SetX(left)
	p.font("", 9)
	p.colour(ink)
	p.MultiCell(width, 4.6, text, "", "L", false)
}

// picture places the heat map, with the marks' numbers.
func (p *paper) picture() {
	q := p.q
	cfg, format, err := image.DecodeConfig(bytes.NewReader(q.Picture))
	if err != nil || cfg.Width == 0 || cfg.Height == 0 {
		return
	}
	name := "panel"
	p.RegisterImageOptionsReader(name, fpdf.ImageOptions{ImageType: format}, bytes.NewReader(q.Picture))
	h := min(width*float64(cfg.Height)/float64(cfg.Width), 88)
	w := h * float64(cfg.Width) / float64(cfg.Height)
	x, y := left+(width-w)/2, p.GetY()
	p.ImageOptions(name, x, y, w, h, false, fpdf.ImageOptions{ImageType: format}, 0, "")
	p.font("B", 6.5)
	for _, l := range q.Labels {
		lx, ly := x+l.X*w, y+l.Y*h
		tw := p.GetStringWidth(l.Text) + 1.6
		p.SetFillColor(255, 255, 255)
		p.RoundedRect(lx-tw/2, ly-1.7, tw, 3.4, 1, "1234", "F")
		p.colour(ink)
		p.SetXY(lx-tw/2, ly-1.7)
		p.CellFormat(tw, 3.4, l.Text, "", 0, "C", false, 0, "")
	}
	p.SetXY(left, y+h+1)
	p.font("", 7.5)
	p.colour(quiet)
	p.CellFormat(width, 4, p.w.pictureNote, "", 1, "C", false, 0, "")
}

func (p *paper) answer() {
	p.heading(p.w.verdict)
	p.body(p.q.Answer)
	for _, r := range p.q.Reasons {
		p.bullet(r)
	}
}

func (p *paper) bullet(text string) {
	p.SetX(left + 1)
	p.font("", 9)
	p.colour(ink)
	p.CellFormat(4, 4.6, "–", "", 0, "L", false, 0, "")
	p.MultiCell(width-5, 4.6, text, "", "L", false)
}

// column of a table.
type column struct {
	title string
	w     float64
	align string
}

// table prints rows with wrapped cells and repeats its head on a new page.
func (p *paper) table(cols []column, rows [][]string) {
	head := func() {
		p.SetX(left)
		p.font("", 7.5)
		p.colour(quiet)
		for _, c := range cols {
			p.CellFormat(c.w, 5, c.title, "", 0, c.align, false, 0, "")
		}
		p.Ln(5)
		p.line()
	}
	head()
	for i, r := range rows {
		p.font("", 8.5)
		lines := make([][]string, len(cols))
		n := 1
		for k, c := range cols {
			lines[k] = p.SplitText(fit(r[k]), c.w-1.5)
			n = max(n, len(lines[k]))
		}
		h := float64(n)*4.2 + 1.2
		if p.GetY()+h > 275 {
			p.AddPage()
			head()
			p.font("", 8.5)
		}
		y := p.GetY()
		if i%2 == 1 {
			p.SetFillColor(wash[0], wash[1], wash[2])
			p.Rect(left, y, width, h, "F")
		}
		x := left
		p.colour(ink)
		for k, c := range cols {
			for j, s := range lines[k] {
				p.SetXY(x, y+0.6+4.2*float64(j))
				p.CellFormat(c.w, 4.2, s, "", 0, c.align, false, 0, "")
			}
			x += c.w
		}
		p.SetXY(left, y+h)
	}
}

// fit breaks words that no column could hold.
func fit(s string) string {
	f := strings.Fields(s)
	for i, w := range f {
		if r := []rune(w); len(r) > 40 {
			var parts []string
			for len(r) > 24 {
				parts, r = append(parts, string(r[:24])), r[24:]
			}
			f[i] = strings.Join(append(parts, string(r)), " ")
		}
	}
	return strings.Join(f, " ")
}

func (p *paper) marks() {
	if len(p.q.Marks) == 0 {
		return
	}
	p.heading(p.w.marks)
	var rows [][]string
	for _, m := range p.q.Marks {
		rows = append(rows, []string{m.ID, m.Kind, m.Place, m.Size, m.Depth, m.Verdict})
	}
	p.table([]column{{"", 12, "L"}, {p.w.kind, 26, "L"}, {p.w.place, 44, "L"}, {p.w.size, 30, "R"}, {p.w.depth, 26, "R"}, {p.w.possible, width - 138, "R"}}, rows)
}

func (p *paper) work() {
	if p.q.Declined || len(p.q.Stages) == 0 {
		return
	}
	p.heading(p.w.work)
	var rows [][]string
	for _, s := range p.q.Stages {
		rows = append(rows, []string{s.Title, s.Text, s.Minutes})
	}
	p.table([]column{{p.w.step, 52, "L"}, {p.w.what, width - 82, "L"}, {p.w.time, 30, "R"}}, rows)
	p.SetY(p.GetY() + 1)
	p.body(p.w.hours + " " + p.q.Hours)
}

func (p *paper) money(minor int64) string {
	a, err := currency.NewAmountFromInt64(minor, p.q.Currency)
	if err != nil {
		return strconv.FormatInt(minor, 10)
	}
	return p.f.Format(a)
}

func (p *paper) price() {
	q := p.q
	if q.Declined {
		return
	}
	p.heading(p.w.price)
	var rows [][]string
	for _, l := range q.Lines {
		rows = append(rows, []string{l.Text, l.Why, p.money(l.AmountMinor)})
	}
	p.table([]column{{p.w.item, 56, "L"}, {p.w.how, width - 90, "L"}, {p.w.amount, 34, "R"}}, rows)
	p.sums()
	if q.PaintMinor > 0 {
		p.SetX(left)
		p.MultiCell(width, 4.2, fmt.Sprintf(p.w.paintNote, p.money(q.PaintMinor), q.PaintDays), "", "R", false)
	}
}

// sums prints net, taxes, total and the range.
func (p *paper) sums() {
	q := p.q
	p.line()
	p.sum(p.w.net, p.money(q.NetMinor), false)
	for _, t := range q.Taxes {
		p.sum(fmt.Sprintf("%s %s %%", t.Name, strings.Replace(rate(t.RateBP), ".", p.w.point, 1)), p.money(t.AmountMinor), false)
	}
	p.sum(p.w.total, p.money(q.TotalMinor), true)
	p.font("", 8)
	p.colour(quiet)
	p.SetX(left)
	if q.HighMinor > q.LowMinor {
		p.MultiCell(width, 4.2, fmt.Sprintf(p.w.rangeNote, p.money(q.LowMinor), p.money(q.HighMinor)), "", "R", false)
	}
}

// decimal is a number as the paper's language writes it.
func (p *paper) decimal(v float64, digits int) string {
	return strings.Replace(strconv.FormatFloat(v, 'f', digits, 64), ".", p.w.point, 1)
}

// rate prints hundredths of a per cent without needless zeros.
func rate(bp int64) string {
	return strings.TrimRight(strings.TrimRight(fmt.Sprintf("%d.%02d", bp/100, bp%100), "0"), ".")
}

func (p *paper) sum(label, amount string, strong bool) {
	if p.GetY() > 270 {
		p.AddPage()
	}
	p.SetX(left)
	style, size := "", 9.0
	if strong {
		style, size = "B", 12
	}
	p.font(style, size)
	p.colour(ink)
	p.CellFormat(width-40, 6, label, "", 0, "R", false, 0, "")
	p.CellFormat(40, 6, amount, "", 1, "R", false, 0, "")
}

func (p *paper) close() {
	q := p.q
	if len(q.Cautions) > 0 {
		p.heading(p.w.cautions)
		for _, c := range q.Cautions {
			p.bullet(c)
		}
	}
	if q.Declined {
		return
	}
	if p.GetY() > 245 {
		p.AddPage()
	}
	p.SetY(p.GetY() + 3)
	p.font("", 8.5)
	p.colour(ink)
	p.MultiCell(width, 4.4, p.w.consent, "", "L", false)
	y := p.GetY() + 14
	p.SetDrawColor(ink[0], ink[1], ink[2])
	p.Line(left, y, left+70, y)
	p.Line(left+90, y, left+width, y)
	p.SetXY(left, y+1)
	p.font("", 7.5)
	p.colour(quiet)
	p.CellFormat(90, 4, p.w.placeDate, "", 0, "L", false, 0, "")
	p.CellFormat(60, 4, p.w.signature, "", 0, "L", false, 0, "")
}
