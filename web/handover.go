package web

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"image/png"
	"io/fs"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"fairmetal/bill"
	"fairmetal/fair"
	"fairmetal/inspection"
	"fairmetal/invoice"
	"fairmetal/job"
	"fairmetal/money"
	"fairmetal/quote"
	"fairmetal/report"
	"fairmetal/trim"
	"fairmetal/words"
	"fairmetal/workshop"
)

// handOverView is the page of the step.
type handOverView struct {
	jobHead
	Parts    []trim.Part
	Care     string
	Warranty string
	Receipt  string // what is signed
	SignName string
	Report   job.Paper
	Invoice  job.Paper
	Credit   job.Paper
	Bill     billForm
	Problem  string
	Broken   []invoice.Violation
	PaidHow  []string
}

// billForm is an invoice as it is edited.
type billForm struct {
	Currency string
	Lines    []billLine
	Taxes    []quote.Tax
	Total    int64 // as the lines stand
}

type billLine struct{ Text, Why, Amount string }

// paidHow are the ways to pay.
var paidHow = []string{"transfer", "card", "cash"}

// receipt is what is signed when the vehicle leaves.
const receipt = "I have received the vehicle, looked at the panel in the striped light, and had what is left explained to me."

func (a *App) handOverPage(w http.ResponseWriter, r *http.Request) {
	a.departure(w, r, http.StatusOK, func(v *handOverView) {})
}

// departure shows the page; more fills in what a refused form came with.
func (a *App) departure(w http.ResponseWriter, r *http.Request, status int, more func(v *handOverView)) {
	ctx := r.Context()
	h, err := a.head(r, job.HandOver)
	v := handOverView{jobHead: h, PaidHow: paidHow}
	var set workshop.Settings
	if err == nil {
		set, err = a.bench.Settings(ctx)
		l := a.lang(r)
		v.Parts = trim.Default().For(h.Job.Kind).Parts
		v.Care, v.Warranty, v.Receipt, v.SignName = set.House.CareText(l.T), set.House.WarrantyText(l.T), receipt, h.Job.Customer
	}
	if err == nil {
		var p job.Person
		if p, err = a.buyer(ctx, set, h.Job); err == nil {
			v.Bill = a.bill(ctx, set, h, paperLang(set, p, a.lang(r)))
		}
	}
	if err != nil {
		a.fail(w, r, err)
		return
	}
	for _, p := range h.Papers { // the newest first
		switch {
		case p.Kind == "report" && v.Report.ID == "":
			v.Report = p
		case p.Kind == "invoice" && p.State != takenBack && v.Invoice.ID == "":
			v.Invoice = p
		case p.Kind == "credit" && v.Credit.ID == "":
			v.Credit = p
		}
	}
	more(&v)
	a.render(w, r, status, "handover", view{Title: h.Job.Vehicle + ", " + h.Job.Panel, Place: "bench", Data: v})
}

const takenBack = "taken back"

// agreed is the capture that the offer rests on: the one of the deal, else the first measured one.
func agreed(h jobHead) job.Capture {
	for _, c := range h.Captures {
		if c.ID == h.Job.Record.Deal.Capture && c.State == job.Measured {
			return c
		}
	}
	return first(h.Captures)
}

// bill starts an invoice with the lines of the quote, in the language of the paper.
func (a *App) bill(ctx context.Context, set workshop.Settings, h jobHead, l words.Lang) billForm {
	f := billForm{Currency: set.Rates.Currency, Taxes: set.Rates.Taxes}
	if o, err := workshop.Offer(a.records.Folder(ctx, agreed(h).ID)); err == nil && len(o.Quote.Lines) > 0 {
		f.Currency, f.Total = o.Quote.Currency, o.Quote.TotalMinor
		for _, line := range bill.Lines(o.Quote) {
			f.Lines = append(f.Lines, billLine{l.T(line.Text), l.T(line.Why), decimal(line.Minor, f.Currency)})
		}
	}
	return f
}

// decimal writes an amount for a field.
func decimal(minor int64, currency string) string {
	a, err := money.New(minor, currency)
	if err != nil {
		return ""
	}
	return a.Decimal()
}

// amount reads an amount from a field: comma or point.
func amount(text, currency string) (int64, error) {
	text = strings.ReplaceAll(strings.TrimSpace(text), ",", ".")
	if text == "" {
		return 0, nil
	}
	a, err := money.Parse(text, currency)
	if err != nil {
		return 0, &job.FieldError{Field: "amount", Text: "Write amounts as plain figures, such as 120.50."}
	}
	return a.Minor, nil
}

// saveDeparture keeps what is ticked, paid and signed; each button of the page says what it is about.
func (a *App) saveDeparture(w http.ResponseWriter, r *http.Request) {
	if !a.form(w, r) {
		return
	}
	id := r.PathValue("id")
	l := a.lang(r)
	err := a.change(r.Context(), id, func(j *job.Job) error {
		d := &j.Record.Departure
		switch do := r.PostFormValue("do"); do {
		case "refitted":
			d.Refitted = map[string]bool{}
			for _, p := range r.PostForm["part"] {
				if len(p) <= 200 {
					d.Refitted[p] = true
				}
			}
		case "paid":
			d.PaidHow = r.PostFormValue("how")
			if d.PaidHow != "" && !slices.Contains(paidHow, d.PaidHow) {
				return &job.FieldError{Field: "how", Text: "Choose how it was paid."}
			}
			d.Paid = d.PaidHow != ""
		case "unsign":
			d.Received = job.Signature{}
		default:
			s, err := job.Sign(l.T(receipt), r.PostFormValue("signname"), r.PostFormValue("strokes"), time.Now())
			if err != nil {
				return err
			}
			d.Received = s
		}
		return nil
	})
	var field *job.FieldError
	if errors.As(err, &field) {
		a.departure(w, r, http.StatusUnprocessableEntity, func(v *handOverView) {
			v.Problem, v.SignName = field.Text, r.PostFormValue("signname")
		})
		return
	}
	if err == nil && r.PostFormValue("do") == "paid" {
		err = a.markPaid(r.Context(), id, r.PostFormValue("how") != "")
	}
	if err != nil {
		a.fail(w, r, err)
		return
	}
	http.Redirect(w, r, "/jobs/"+id+"/handover#"+r.PostFormValue("do"), http.StatusSeeOther)
}

// markPaid notes on the job's invoice whether it is paid.
func (a *App) markPaid(ctx context.Context, id string, paid bool) error {
	papers, err := a.records.Papers(ctx, id, 200)
	if err != nil {
		return err
	}
	state := "sent"
	if paid {
		state = "paid"
	}
	for _, p := range papers {
		if p.Kind == "invoice" && p.State != takenBack && p.State != state {
			if err := a.records.SetPaperState(ctx, p.ID, state); err != nil {
				return err
			}
		}
	}
	return nil
}

// buyer is the job's person; where it has none, the customer as the job names them, in the house's country.
func (a *App) buyer(ctx context.Context, set workshop.Settings, j job.Job) (job.Person, error) {
	p := job.Person{Name: j.Customer}
	if j.PersonID != "" {
		var err error
		if p, err = a.records.Person(ctx, j.PersonID); err != nil {
			return p, err
		}
		if p.Erased {
			p.Name = j.Customer
		}
	}
	if p.Country == "" {
		p.Country = set.House.Country
	}
	return p, nil
}

// paperLang is the language of a person's papers.
func paperLang(set workshop.Settings, p job.Person, reader words.Lang) words.Lang {
	return words.Match(p.Lang, set.House.Lang, string(reader))
}

// draft is what an invoice of the job is made of, as far as it is known without its lines.
func (a *App) draft(r *http.Request, j job.Job) (bill.Draft, error) {
	set, err := a.bench.Settings(r.Context())
	if err != nil {
		return bill.Draft{}, err
	}
	p, err := a.buyer(r.Context(), set, j)
	l := paperLang(set, p, a.lang(r))
	now := time.Now()
	d := bill.Draft{House: set.House, Buyer: p, Vehicle: j.Vehicle, Panel: j.Panel, Issued: now, Delivered: now, Currency: set.Rates.Currency, Taxes: set.Rates.Taxes, Lang: string(l), T: l.T}
	if at := j.Record.Departure.Received.At; !at.IsZero() {
		d.Delivered = at
	}
	return d, err
}

// Series of numbers.
var (
	invoices = invoice.Series{Prefix: "R-", Digits: 4}
	credits  = invoice.Series{Prefix: "C-", Digits: 4}
)

// number keeps a paper under the next number of its series; make renders it under that number. Somebody else may take the number in
// between: then the next one is tried.
func (a *App) numbered(ctx context.Context, s invoice.Series, p job.Paper, issued time.Time, make func(number string) (map[string][]byte, error)) (job.Paper, error) {
	const tries = 5
	var err error
	for range tries {
		var n int
		if n, err = a.records.NextNumber(ctx, p.Kind, s.Prefix+strconv.Itoa(issued.Year())+"-"); err != nil {
			return p, err
		}
		if p.Number, err = s.Number(issued.Year(), n); err != nil {
			return p, err
		}
		var files map[string][]byte
		if files, err = make(p.Number); err != nil {
			return p, err
		}
		var kept job.Paper
		if kept, err = a.records.AddPaper(ctx, p, files); err == nil {
			return kept, nil
		}
	}
	return p, err
}

// makeInvoice issues the invoice from the edited lines.
func (a *App) makeInvoice(w http.ResponseWriter, r *http.Request) {
	if !a.form(w, r) {
		return
	}
	ctx, id := r.Context(), r.PathValue("id")
	j, err := a.records.Job(ctx, id)
	var d bill.Draft
	if err == nil {
		d, err = a.draft(r, j)
	}
	var papers []job.Paper
	if err == nil {
		papers, err = a.records.Papers(ctx, id, 200)
	}
	if err != nil {
		a.fail(w, r, err)
		return
	}
	form := billForm{Currency: d.Currency, Taxes: d.Taxes}
	texts, whys, amounts := r.PostForm["text"], r.PostForm["why"], r.PostForm["amount"]
	for i := range min(len(texts), len(whys), len(amounts), 200) {
		form.Lines = append(form.Lines, billLine{texts[i], whys[i], amounts[i]})
		var m int64
		if m, err = amount(amounts[i], d.Currency); err != nil {
			break
		}
		if m != 0 {
			d.Lines = append(d.Lines, bill.Line{Text: texts[i], Why: whys[i], Minor: m})
		}
	}
	if slices.ContainsFunc(papers, func(p job.Paper) bool { return p.Kind == "invoice" && p.State != takenBack }) {
		err = &job.FieldError{Field: "invoice", Text: "This job has an invoice already. Take it back by a credit note before you make another."}
	}
	var broken []invoice.Violation
	var inv invoice.Invoice
	if err == nil {
		// A try under a made-up number tells what is missing before a real number is used up.
		d.Number = "0"
		if inv, err = d.Invoice(); err == nil {
			_, broken, err = d.Files(inv)
		}
	}
	if err == nil && (len(broken) == 0 || r.PostFormValue("plain") != "") {
		p := job.Paper{JobID: id, Kind: "invoice", Lang: d.Lang, Currency: d.Currency, TotalMinor: inv.Totals.PayableMinor, State: "sent"}
		_, err = a.numbered(ctx, invoices, p, d.Issued, func(number string) (map[string][]byte, error) {
			d.Number = number
			inv, err := d.Invoice()
			if err != nil {
				return nil, err
			}
			files, _, err := d.Files(inv)
			return files, err
		})
		if err == nil {
			http.Redirect(w, r, "/jobs/"+id+"/handover#invoice", http.StatusSeeOther)
			return
		}
	}
	a.departure(w, r, http.StatusUnprocessableEntity, func(v *handOverView) {
		v.Bill, v.Broken = form, broken
		if err != nil {
			v.Problem = err.Error()
		}
	})
}

// makeCredit takes an issued invoice back in full.
func (a *App) makeCredit(w http.ResponseWriter, r *http.Request) {
	if !a.form(w, r) {
		return
	}
	ctx := r.Context()
	p, err := a.records.Paper(ctx, r.PathValue("id"))
	var j job.Job
	if err == nil && (p.Kind != "invoice" || p.State == takenBack) {
		err = &job.FieldError{Field: "paper", Text: "This paper is no invoice, or was taken back already."}
	}
	why := strings.TrimSpace(r.PostFormValue("why"))
	if err == nil && why == "" {
		err = &job.FieldError{Field: "why", Text: "Say why the invoice is taken back; the customer reads it."}
	}
	if err == nil {
		j, err = a.records.Job(ctx, p.JobID)
	}
	var inv invoice.Invoice
	if err == nil {
		var data []byte
		if data, err = a.records.Attachment(ctx, p.JobID, p.ID+"/invoice.json"); err == nil {
			err = json.Unmarshal(data, &inv)
		}
	}
	var d bill.Draft
	if err == nil {
		d, err = a.draft(r, j)
		d.Currency, d.Lang = p.Currency, p.Lang
		d.T = words.Match(p.Lang).T
	}
	if err == nil {
		_, err = a.numbered(ctx, credits, job.Paper{JobID: p.JobID, Kind: "credit", Lang: p.Lang, Currency: p.Currency, TotalMinor: p.TotalMinor, State: "sent"}, d.Issued, func(number string) (map[string][]byte, error) {
			note, err := invoice.Credit(inv, number, d.Issued.Format(time.DateOnly), why, d.T("What was paid is paid back."))
			if err != nil {
				return nil, err
			}
			files, _, err := d.Files(note)
			return files, err
		})
	}
	if err == nil {
		err = a.records.SetPaperState(ctx, p.ID, takenBack)
	}
	if err != nil {
		a.fail(w, r, err)
		return
	}
	http.Redirect(w, r, "/jobs/"+p.JobID+"/handover#invoice", http.StatusSeeOther)
}

// makeReport writes the report that goes with the vehicle.
func (a *App) makeReport(w http.ResponseWriter, r *http.Request) {
	h, err := a.head(r, job.HandOver)
	if err == nil && first(h.Captures).ID == "" {
		err = &job.FieldError{Field: "report", Text: "There is nothing to report yet: measure a capture first."}
	}
	var doc report.HandOver
	if err == nil {
		doc, err = a.reportOf(r, h)
	}
	var pdf []byte
	if err == nil {
		pdf, err = doc.PDF()
	}
	if err == nil {
		_, err = a.records.AddPaper(r.Context(), job.Paper{JobID: h.Job.ID, Kind: "report", Number: doc.Number, Lang: doc.Lang, Currency: doc.Currency, State: "sent"}, map[string][]byte{"report.pdf": pdf})
	}
	if err != nil {
		a.fail(w, r, err)
		return
	}
	http.Redirect(w, r, "/jobs/"+h.Job.ID+"/handover#report", http.StatusSeeOther)
}

// reportOf gathers what the report shows.
func (a *App) reportOf(r *http.Request, h jobHead) (report.HandOver, error) {
	ctx, j := r.Context(), h.Job
	d, err := a.draft(r, j)
	if err != nil {
		return report.HandOver{}, err
	}
	l := words.Match(d.Lang)
	before, after := agreed(h), first(h.Captures)
	for _, c := range h.Captures {
		if c.State == job.Measured {
			after = c
		}
	}
	doc := report.HandOver{Lang: d.Lang, House: bill.Letter(d.House), Customer: d.Buyer.Lines(), Vehicle: j.Vehicle, Panel: j.Panel, Number: fmt.Sprintf("B-%05d", j.Number), Date: time.Now(), Currency: d.Currency,
		Left: j.Record.Departure.Left, Care: d.House.CareText(l.T), Warranty: d.House.WarrantyText(l.T)}
	one := before.ID == after.ID
	captures := []job.Capture{before, after}
	if one {
		captures = captures[:1]
	}
	sizes := map[string]job.Size{}
	for i, c := range captures {
		name := l.T([]string{"before", "after the work"}[i])
		folder := a.records.Folder(ctx, c.ID)
		if data, err := fs.ReadFile(folder, "overlay.png"); err == nil {
			doc.Pictures = append(doc.Pictures, report.Picture{Data: data, Text: name})
		}
		stored, err := inspection.Load(folder)
		if err != nil {
			return doc, err
		}
		if m, err := fair.Stripes(stored.Surface, lamp(&stored.Document)); err == nil {
			var b strings.Builder
			if err := png.Encode(&b, m); err != nil {
				return doc, err
			}
			doc.Pictures = append(doc.Pictures, report.Picture{Data: []byte(b.String()), Text: name + ", " + l.T("the striped light in the metal")})
		}
		list, err := a.records.Sizes(ctx, c.ID)
		if err != nil {
			return doc, err
		}
		for _, s := range list {
			sizes[s.ID] = s
		}
	}
	um := func(v float64) string { return l.Number(v/1000, 2) + " mm" }
	if one {
		for _, s := range sortedSizes(sizes) {
			doc.Marks = append(doc.Marks, report.Moved{ID: s.ID, Kind: l.T(s.Kind), Size: fmt.Sprintf("%.0f x %.0f mm", s.LengthMM, s.WidthMM), Was: um(s.DepthUM)})
		}
	} else {
		p, err := a.compare(ctx, [2]string{before.ID, after.ID})
		if err != nil {
			return doc, err
		}
		for _, c := range p.Changes {
			m := report.Moved{ID: c.Before, State: l.T(string(c.State)), Is: um(c.IsUM), Was: um(c.WasUM)}
			if c.WasLeast {
				m.Was = l.T("not known")
			}
			if c.IsLeast {
				m.Is = l.T("not known")
			}
			if m.ID == "" {
				m.ID, m.Was = c.After, ""
			}
			if s, ok := sizes[m.ID]; ok {
				m.Kind, m.Size = l.T(s.Kind), fmt.Sprintf("%.0f x %.0f mm", s.LengthMM, s.WidthMM)
			}
			doc.Marks = append(doc.Marks, m)
		}
	}
	if v, err := a.check(ctx, j, after); err == nil {
		doc.Answer = l.T(map[fair.Answer]string{fair.Yes: "Fair: no reflected line wobbles more than the house's limit, from any side.", fair.No: "Not fair everywhere: see what is left.", fair.NotSure: "Fair as far as it could be measured; the limit lies within what the measurement leaves open."}[v.Answer])
		doc.Reasons = append(doc.Reasons, fmt.Sprintf("%s: %s mrad (%s mm, %s)", l.T("Worst line"), l.Number(v.Worst.WobbleMRad, 1), l.Number(v.Worst.WobbleMM, 1), l.T("on the board")))
	}
	doc.Done = done(j, l)
	if s := j.Record.Departure.Received; s.Given() {
		doc.Received = s.Text + " " + s.Name + ", " + l.Time(s.At.Local())
		for _, line := range s.Strokes {
			var points [][2]float64
			for _, p := range line {
				points = append(points, p)
			}
			doc.Strokes = append(doc.Strokes, points)
		}
	}
	return doc, nil
}

func sortedSizes(m map[string]job.Size) []job.Size {
	var out []job.Size
	for _, s := range m {
		out = append(out, s)
	}
	slices.SortFunc(out, func(a, b job.Size) int { return strings.Compare(a.ID, b.ID) })
	return out
}

// done lists what was done, for the customer.
func done(j job.Job, l words.Lang) []string {
	var out []string
	hits := 0
	for _, h := range j.Record.Work.Said() {
		if h.Did == job.Made {
			hits++
		}
	}
	if hits > 0 {
		out = append(out, l.N(hits, "hit", "hits")+" "+l.T("at the metal, without filler and without paint"))
	}
	if minutes := j.Record.Work.Sum(); minutes >= 1 {
		out = append(out, l.Number(minutes/60, 1)+" h "+l.T("of work"))
	}
	var parts []string
	for p, ok := range j.Record.Departure.Refitted {
		if ok {
			parts = append(parts, l.T(p))
		}
	}
	slices.Sort(parts)
	if len(parts) > 0 {
		out = append(out, l.T("Refitted")+": "+strings.Join(parts, ", "))
	}
	return out
}

// paperTypes are the files of papers.
var paperTypes = map[string]string{"quote.pdf": "application/pdf", "report.pdf": "application/pdf", "invoice.pdf": "application/pdf", "invoice.xml": "application/xml"}

// paperFile sends a file of a paper, as it left the house.
func (a *App) paperFile(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("name")
	kind, ok := paperTypes[name]
	if !ok {
		http.NotFound(w, r)
		return
	}
	p, err := a.records.Paper(r.Context(), r.PathValue("id"))
	var data []byte
	if err == nil {
		data, err = a.records.Attachment(r.Context(), p.JobID, p.ID+"/"+name)
	}
	if err != nil {
		a.fail(w, r, err)
		return
	}
	how := "inline"
	if strings.HasSuffix(name, ".xml") {
		how = "attachment"
	}
	w.Header().Set("Content-Type", kind)
	w.Header().Set("Cache-Control", "private, max-age=86400")
	w.Header().Set("Content-Disposition", how+`; filename="`+strings.ToLower(p.Number)+name[strings.LastIndexByte(name, '.'):]+`"`)
	w.Write(data)
}
