package workshop

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"fairmetal/inspection"
	"fairmetal/job"
	"fairmetal/offer"
	"fairmetal/report"
	"fairmetal/store"
	"fairmetal/words"
)

// letterhead is the head of a job's quote in a language.
func letterhead(set Settings, j job.Job, p job.Person, lang words.Lang) offer.Letterhead {
	l := offer.Letterhead{House: report.House{Name: set.House.Name, Address: set.House.Address(), TaxID: set.House.TaxID}, Lang: string(lang), Vehicle: j.Vehicle, Panel: PanelName(j, lang),
		Number: fmt.Sprintf("Q-%05d", j.Number), Date: time.Now(), ValidDays: set.House.QuoteDays, Customer: p.Lines()}
	if len(l.Customer) == 0 && j.Customer != "" {
		l.Customer = []string{j.Customer}
	}
	return l
}

// PanelName is the job's panel in a language: that of the drawing, where the panel was picked there and not named anew.
func PanelName(j job.Job, lang words.Lang) string {
	if p, ok := job.PlaceOf(j.Record.Arrival.Place); ok {
		for _, l := range words.Langs {
			if j.Panel == l.T(p.Name) {
				return lang.T(p.Name)
			}
		}
	}
	return j.Panel
}

// PaperLang is the language of a person's papers: asked for, else the person's, else the house's.
func (s Settings) PaperLang(asked words.Lang, p job.Person) words.Lang {
	return words.Match(string(asked), p.Lang, s.House.Lang)
}

// customer reads a job's person, if it has one.
func (w *Workshop) customer(ctx context.Context, j job.Job) (job.Person, error) {
	if j.PersonID == "" {
		return job.Person{}, nil
	}
	return w.Store.Person(ctx, j.PersonID)
}

// Standing reads the standing offer of a capture, or makes one where there is none yet.
func (w *Workshop) Standing(ctx context.Context, j job.Job, captureID string) (Standing, error) {
	body, err := w.Store.Attachment(ctx, j.ID, StandingName(captureID))
	if errors.Is(err, store.ErrNotFound) {
		return w.Reprice(ctx, j.ID, captureID)
	}
	if err != nil {
		return Standing{}, err
	}
	return ReadStanding(body)
}

// Quote writes the standing offer on a capture as a paper that never changes, in the customer's language unless another is asked for, and
// notes it with the job: what was agreed on an earlier one is open again.
func (w *Workshop) Quote(ctx context.Context, jobID, captureID string, lang words.Lang) (job.Paper, error) {
	j, err := w.Store.Job(ctx, jobID)
	if err != nil {
		return job.Paper{}, err
	}
	st, err := w.Standing(ctx, j, captureID)
	if err != nil {
		return job.Paper{}, err
	}
	if st.Quote.Answer == "declined" {
		return job.Paper{}, &job.FieldError{Field: "mark", Text: "These marks cannot be offered without paint: choose others, or decline the job."}
	}
	if len(st.Quote.Lines) == 0 {
		return job.Paper{}, &job.FieldError{Field: "mark", Text: "There is nothing to offer: no marks are left that need work."}
	}
	set, err := w.Settings(ctx)
	if err != nil {
		return job.Paper{}, err
	}
	person, err := w.customer(ctx, j)
	if err != nil {
		return job.Paper{}, err
	}
	folder := w.Store.Folder(ctx, captureID)
	stored, err := inspection.Load(folder)
	if err != nil {
		return job.Paper{}, err
	}
	lang = set.PaperLang(lang, person)
	l := letterhead(set, j, person, lang)
	stored.Marks = Chosen(st.Seen, j.Record.Deal)
	if n := len(st.Seen) - len(stored.Marks); n > 0 {
		l.Note = fmt.Sprintf("This quote is about %s only; the other marks stay as they are.", strings.Join(st.Chosen, ", "))
	}
	pdf, err := st.Offer.Paper(stored, folder, l)
	if err != nil {
		return job.Paper{}, err
	}
	paper, err := w.Store.AddPaper(ctx, job.Paper{JobID: j.ID, Kind: "quote", Number: l.Number, Lang: string(lang), Currency: st.Quote.Currency, TotalMinor: st.Quote.TotalMinor, State: "sent"}, map[string][]byte{"quote.pdf": pdf})
	if err != nil {
		return paper, err
	}
	return paper, w.alter(ctx, j.ID, func(j *job.Job) bool { return offered(j, captureID, paper.ID) })
}

// offered notes a new quote with a job.
func offered(j *job.Job, captureID, paperID string) bool {
	d := &j.Record.Deal
	d.Capture, d.Paper, d.Accepted, d.How, d.Link = captureID, paperID, job.Signature{}, "", job.Link{}
	if d.Choice == "" || d.Choice == "decline" {
		d.Choice, j.Declined = "all", false
	}
	if j.Step == job.Arrive || j.Step == job.Look || j.Step == job.Done {
		j.Step = job.Offer
	}
	return true
}

// QuoteLot writes one quote for several jobs of one customer, each with its newest measured capture and its standing offer. The paper belongs
// to the first job; all of them point to it.
func (w *Workshop) QuoteLot(ctx context.Context, jobIDs []string, lang words.Lang) (job.Paper, error) {
	if len(jobIDs) == 0 {
		return job.Paper{}, &job.FieldError{Field: "jobs", Text: "Tick the panels that the quote is for."}
	}
	set, err := w.Settings(ctx)
	if err != nil {
		return job.Paper{}, err
	}
	var first job.Job
	var person job.Person
	lot := report.Lot{}
	captures := map[string]string{}
	for i, id := range jobIDs {
		j, err := w.Store.Job(ctx, id)
		if err != nil {
			return job.Paper{}, err
		}
		if i == 0 {
			first = j
			if person, err = w.customer(ctx, j); err != nil {
				return job.Paper{}, err
			}
			lang = set.PaperLang(lang, person)
		}
		if j.PersonID != first.PersonID || j.Customer != first.Customer {
			return job.Paper{}, &job.FieldError{Field: "jobs", Text: "One quote is for one customer: tick panels of one customer only."}
		}
		c, err := w.lastMeasured(ctx, j)
		if err != nil {
			return job.Paper{}, err
		}
		st, err := w.Standing(ctx, j, c.ID)
		if err != nil {
			return job.Paper{}, err
		}
		captures[j.ID] = c.ID
		if err := addToLot(&lot, j, st, lang); err != nil {
			return job.Paper{}, err
		}
	}
	n, err := w.Store.NextNumber(ctx, "quote", "L-")
	if err != nil {
		return job.Paper{}, err
	}
	l := letterhead(set, first, person, lang)
	lot.Lang, lot.House, lot.Customer, lot.Number, lot.Date, lot.Valid = string(lang), l.House, l.Customer, fmt.Sprintf("L-%05d", n), l.Date, l.Date.AddDate(0, 0, l.ValidDays)
	pdf, err := lot.PDF()
	if err != nil {
		return job.Paper{}, err
	}
	paper, err := w.Store.AddPaper(ctx, job.Paper{JobID: first.ID, Kind: "quote", Number: lot.Number, Lang: string(lang), Currency: lot.Currency, TotalMinor: lot.TotalMinor(), State: "sent"}, map[string][]byte{"quote.pdf": pdf})
	if err != nil {
		return paper, err
	}
	for id, c := range captures {
		if err := w.alter(ctx, id, func(j *job.Job) bool { return offered(j, c, paper.ID) }); err != nil {
			return paper, err
		}
	}
	return paper, nil
}

// lastMeasured is the newest measured capture of a job.
func (w *Workshop) lastMeasured(ctx context.Context, j job.Job) (job.Capture, error) {
	all, err := w.Store.Captures(ctx, j.ID)
	if err != nil {
		return job.Capture{}, err
	}
	var last job.Capture
	for _, c := range all {
		if c.State == job.Measured {
			last = c
		}
	}
	if last.ID == "" {
		return last, &job.FieldError{Field: "jobs", Text: fmt.Sprintf("%s, %s is not measured yet: leave it out or wait for it.", j.Vehicle, j.Panel)}
	}
	return last, nil
}

// addToLot adds a job's offer to a quote for several.
func addToLot(lot *report.Lot, j job.Job, st Standing, lang words.Lang) error {
	q := st.Quote
	if lot.Currency == "" {
		lot.Currency = q.Currency
	}
	if q.Currency != lot.Currency {
		return &job.FieldError{Field: "jobs", Text: "The panels are priced in different currencies: price them anew first."}
	}
	row := report.LotRow{Vehicle: j.Vehicle, Panel: PanelName(j, lang), Marks: len(st.Chosen), NetMinor: q.NetMinor}
	if q.Answer == "declined" {
		row.Note = lang.T("not without paint")
	}
	chosen := Chosen(st.Seen, j.Record.Deal)
	for _, m := range chosen {
		row.DeepUM = max(row.DeepUM, m.DepthUM)
	}
	row.Hours = q.Hours
	lot.Rows = append(lot.Rows, row)
	for _, t := range q.Taxes {
		lot.AddTax(report.Tax{Name: lang.T(t.Name), RateBP: t.RateBP, AmountMinor: t.AmountMinor})
	}
	lot.LowMinor, lot.HighMinor = lot.LowMinor+q.TotalLowMinor, lot.HighMinor+q.TotalHighMinor
	return nil
}
