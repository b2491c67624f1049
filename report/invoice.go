package report

import (
	"fmt"
	"time"

	"fairmetal/payqr"
)

// Invoice is all that the paper of an invoice or a credit note shows.
type Invoice struct {
	Lang       string // BCP 47; "" is en
	Credit     bool
	House      House
	Customer   []string // name and address
	Vehicle    string
	Panel      string
	Number     string
	Date       time.Time
	Due        time.Time
	Delivered  time.Time
	Preceding  string // of a credit note: the invoice that it takes back
	Currency   string
	Lines      []Line
	NetMinor   int64
	Taxes      []Tax
	TotalMinor int64
	Terms      string
	Notes      []string
	Bank       []string      // account, line by line
	QR         *payqr.Symbol // to pay with; may be nil
}

// invoiceWords are the texts of an invoice in one language.
type invoiceWords struct {
	invoice, credit, due, delivered, preceding, pay, scan, sum string
}

var invoiceTexts = map[string]invoiceWords{
	"en": {"Invoice", "Credit note", "payable by", "Work handed over on", "Takes back invoice", "Payment", "Scan with your bank's app", "Amount due"},
	"de": {"Rechnung", "Gutschrift", "zahlbar bis", "Leistung übergeben am", "Hebt auf: Rechnung", "Zahlung", "Mit der App Ihrer Bank einlesen", "Zu zahlen"},
}

// PDF renders the paper.
func (v Invoice) PDF() ([]byte, error) {
	iw := of(invoiceTexts, v.Lang)
	title := iw.invoice
	if v.Credit {
		title = iw.credit
	}
	q := Quote{Lang: v.Lang, House: v.House, Vehicle: v.Vehicle, Panel: v.Panel, Number: v.Number, Date: v.Date, Customer: v.Customer, Currency: v.Currency, title: title}
	return q.render(func(p *paper) { v.content(p, iw) })
}

func (v Invoice) content(p *paper, iw invoiceWords) {
	if !v.Delivered.IsZero() {
		p.pair("", iw.delivered+" "+p.date(v.Delivered))
	}
	if v.Preceding != "" {
		p.pair("", iw.preceding+" "+v.Preceding)
	}
	p.SetY(p.GetY() + 3)
	var rows [][]string
	for _, l := range v.Lines {
		rows = append(rows, []string{l.Text, l.Why, p.money(l.AmountMinor)})
	}
	p.table([]column{{p.w.item, 62, "L"}, {"", width - 96, "L"}, {p.w.amount, 34, "R"}}, rows)
	p.line()
	p.sum(p.w.net, p.money(v.NetMinor), false)
	for _, t := range v.Taxes {
		p.sum(fmt.Sprintf("%s %s %%", t.Name, rate(t.RateBP)), p.money(t.AmountMinor), false)
	}
	total := iw.sum
	if v.Credit {
		total = p.w.total
	}
	p.sum(total, p.money(v.TotalMinor), true)
	for _, n := range v.Notes {
		p.body(n)
	}
	if v.Terms != "" || len(v.Bank) > 0 {
		p.heading(iw.pay)
		if v.Terms != "" {
			p.body(v.Terms)
		}
		if !v.Due.IsZero() {
			p.body(iw.due + " " + p.date(v.Due))
		}
		for _, b := range v.Bank {
			p.body(b)
		}
	}
	if v.QR != nil {
		p.symbol(*v.QR, iw.scan)
	}
}

// qrMM is the side of the payment symbol, quiet zone included: its modules stay over 0.5 mm up to version 13.
const qrMM = 42

// symbol draws the payment code, module by module: no picture to blur.
func (p *paper) symbol(s payqr.Symbol, text string) {
	if p.GetY() > 275-qrMM-8 {
		p.AddPage()
	}
	x, y, m := left, p.GetY()+3, qrMM/float64(s.Size)
	p.SetFillColor(255, 255, 255)
	p.Rect(x, y, qrMM, qrMM, "F")
	p.SetFillColor(0, 0, 0)
	for r := range s.Size {
		for c := 0; c < s.Size; c++ {
			n := 0
			for c+n < s.Size && s.Dark(c+n, r) {
				n++
			}
			if n > 0 {
				// A hair over the module's height closes the seams between rows.
				p.Rect(x+float64(c)*m, y+float64(r)*m, float64(n)*m, m*1.02, "F")
				c += n
			}
		}
	}
	p.SetXY(x, y+qrMM)
	p.font("", 7.5)
	p.colour(quiet)
	p.CellFormat(qrMM, 4, text, "", 1, "C", false, 0, "")
}

// of picks a paper's texts by language, English where there are none.
func of[W any](texts map[string]W, lang string) W {
	if len(lang) >= 2 {
		if w, ok := texts[lang[:2]]; ok {
			return w
		}
	}
	return texts["en"]
}
