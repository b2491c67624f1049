package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"fairmetal/door"
	"fairmetal/house"
	"fairmetal/job"
	"fairmetal/plan"
	"fairmetal/store"
	"fairmetal/workshop"
)

// offerView is the page of the step.
type offerView struct {
	jobHead
	Result  result
	Rounds  []stageRounds
	Paper   job.Paper // the quote that stands
	Has     bool      // there is one
	Quotes  []job.Paper
	Link    string // shown once, when it is made
	Until   time.Time
	Mail    string
	MailTo  string
	Name    string
	Accept  string // what is signed
	Problem string
	Langs   []string
}

// stageRounds is the plan in short.
type stageRounds struct {
	Stage   plan.Stage
	Rounds  int
	Hits    int
	Minutes float64
}

func (a *App) offerPage(w http.ResponseWriter, r *http.Request) {
	v, err := a.offerOf(r)
	if err != nil {
		a.fail(w, r, err)
		return
	}
	a.showOffer(w, r, http.StatusOK, v)
}

func (a *App) showOffer(w http.ResponseWriter, r *http.Request, status int, v offerView) {
	a.render(w, r, status, "offer", view{Title: v.Job.Vehicle + ", " + v.Job.Panel, Place: "bench", Data: v})
}

// offerOf reads what the page shows.
func (a *App) offerOf(r *http.Request) (offerView, error) {
	ctx := r.Context()
	h, err := a.head(r, job.Offer)
	v := offerView{jobHead: h}
	if err != nil {
		return v, err
	}
	// The offer rests on its own capture, not on those that came with the work.
	if r.URL.Query().Get("c") == "" {
		for _, c := range h.Captures {
			if c.ID == h.Job.Record.Deal.Capture {
				v.Shown = c
			}
		}
	}
	if v.Result, err = a.result(ctx, v.Shown); err != nil {
		return v, err
	}
	for _, round := range v.Result.Offer.Plan.Rounds {
		i := slices.IndexFunc(v.Rounds, func(s stageRounds) bool { return s.Stage == round.Stage })
		if i < 0 {
			i = len(v.Rounds)
			v.Rounds = append(v.Rounds, stageRounds{Stage: round.Stage})
		}
		v.Rounds[i].Rounds++
		v.Rounds[i].Hits += len(round.Hits)
		v.Rounds[i].Minutes += round.Minutes
	}
	for _, p := range h.Papers {
		if p.Kind == "quote" {
			v.Quotes = append(v.Quotes, p)
		}
	}
	if id := h.Job.Record.Deal.Paper; id != "" {
		v.Paper, err = a.records.Paper(ctx, id)
		// A lot's paper goes with the job that it was made for.
		if err != nil && !errors.Is(err, store.ErrNotFound) {
			return v, err
		}
		v.Has = err == nil
		// The customer signs what the customer can read.
		v.Accept = langOf(v.Paper).T(accepting(v.Paper))
	}
	v.Name = h.Job.Customer
	return v, nil
}

// accepting is what a customer says yes to; a text of the catalogue.
func accepting(p job.Paper) string {
	return fmt.Sprintf("I accept quote %s, version %d, over %s, and have read what it says about risks.", p.Number, p.Version, plainAmount(p.TotalMinor, p.Currency))
}

// plainAmount is an amount as texts with places carry it; the language writes it its own way.
func plainAmount(minor int64, currency string) string {
	return fmt.Sprintf("%d.%02d %s", minor/100, minor%100, currency)
}

// saveOffer takes the choice of marks and does what its button says: price it, make the quote, decline, or take a declined job up again.
func (a *App) saveOffer(w http.ResponseWriter, r *http.Request) {
	if !a.form(w, r) {
		return
	}
	ctx := r.Context()
	r.URL.RawQuery = url.Values{"c": {r.PostFormValue("capture")}}.Encode()
	v, err := a.offerOf(r)
	if err != nil {
		a.fail(w, r, err)
		return
	}
	old := v.Job.Record.Deal
	do, j := r.PostFormValue("do"), &v.Job
	if n, e := strconv.ParseInt(r.PostFormValue("rev"), 10, 64); e == nil {
		j.Rev = n
	}
	d := &j.Record.Deal
	d.Capture, d.Choice, d.Why = v.Shown.ID, "all", ""
	if r.PostFormValue("choice") == "some" {
		d.Choice, d.Marks = "some", r.PostForm["mark"]
		if len(d.Marks) == 0 {
			err = &job.FieldError{Field: "mark", Text: "Tick the marks that shall be done."}
		}
	} else {
		d.Marks = nil
	}
	switch do {
	case "decline":
		d.Choice, d.Why, j.Declined, j.Step = "decline", strings.TrimSpace(r.PostFormValue("why")), true, job.Done
		if len(d.Why) > 500 {
			err = &job.FieldError{Field: "why", Text: "The reason is longer than 500 letters: shorten it."}
		}
	case "reopen":
		d.Choice, j.Declined, j.Step = "", false, job.Offer
	}
	if err == nil {
		err = a.records.SaveJob(ctx, *j)
	}
	if err == nil && do != "decline" && do != "reopen" && (old.Choice != d.Choice || !slices.Equal(old.Marks, d.Marks) || old.Capture != d.Capture) && (old.Choice == "some" || d.Choice == "some") {
		_, err = a.bench.Reprice(ctx, j.ID, v.Shown.ID)
	}
	if err == nil && do == "quote" {
		_, err = a.bench.Quote(ctx, j.ID, v.Shown.ID, "")
	}
	a.afterOffer(w, r, v, err)
}

// afterOffer shows the page anew, or what is wrong with what was typed still in it.
func (a *App) afterOffer(w http.ResponseWriter, r *http.Request, v offerView, err error) {
	var field *job.FieldError
	var conflict *job.ErrConflict
	switch {
	case errors.As(err, &field):
		v.Problem = field.Text
		a.showOffer(w, r, http.StatusUnprocessableEntity, v)
	case errors.As(err, &conflict):
		v.Problem = conflict.Error()
		if now, e := a.records.Job(r.Context(), v.Job.ID); e == nil {
			v.Job.Rev = now.Rev
		}
		a.showOffer(w, r, http.StatusConflict, v)
	case err != nil:
		a.fail(w, r, err)
	default:
		to := "/jobs/" + v.Job.ID + "/offer"
		if v.Shown.ID != "" {
			to += "?c=" + v.Shown.ID
		}
		http.Redirect(w, r, to, http.StatusSeeOther)
	}
}

// acceptOffer takes the customer's yes by a signature.
func (a *App) acceptOffer(w http.ResponseWriter, r *http.Request) {
	if !a.form(w, r) {
		return
	}
	v, err := a.offerOf(r)
	if err != nil {
		a.fail(w, r, err)
		return
	}
	v.Name = r.PostFormValue("signname")
	s, err := job.Sign(v.Accept, v.Name, r.PostFormValue("strokes"), time.Now())
	if err == nil {
		err = a.bench.Accept(r.Context(), v.Job.ID, s, "signature")
	}
	if err == nil {
		http.Redirect(w, r, "/jobs/"+v.Job.ID+"/work", http.StatusSeeOther)
		return
	}
	a.afterOffer(w, r, v, err)
}

// linkOffer makes a link for the customer and shows it, this once.
func (a *App) linkOffer(w http.ResponseWriter, r *http.Request) {
	if !a.form(w, r) {
		return
	}
	v, err := a.offerOf(r)
	if err != nil {
		a.fail(w, r, err)
		return
	}
	code, until, err := a.bench.MakeLink(r.Context(), v.Job.ID)
	if err == nil {
		err = a.writeMail(r, &v, code, until)
	}
	if err != nil {
		a.afterOffer(w, r, v, err)
		return
	}
	a.showOffer(w, r, http.StatusOK, v)
}

// writeMail is the letter that carries the link, in the language of the paper.
func (a *App) writeMail(r *http.Request, v *offerView, code string, until time.Time) error {
	s, err := a.bench.Settings(r.Context())
	if err != nil {
		return err
	}
	base := door.Address(r.Context())
	if base == "" {
		base = "http://" + r.Host
	}
	v.Link, v.Until = base+"/q/"+code, until
	lang := s.PaperLang(langOf(v.Paper), job.Person{})
	subject := lang.T(fmt.Sprintf("Quote %s", v.Paper.Number))
	v.Mail = strings.Join([]string{
		lang.T("Hello,"), "",
		lang.T(fmt.Sprintf("here is our quote for %s: %s.", v.Job.Vehicle+", "+workshop.PanelName(v.Job, lang), plainAmount(v.Paper.TotalMinor, v.Paper.Currency))),
		lang.T("You can look at it and accept it here:"), v.Link, "",
		lang.T(fmt.Sprintf("The link is valid until %s.", lang.Date(until))), "",
		lang.T("Kind regards"), s.House.Name,
	}, "\n")
	to := ""
	if v.Job.PersonID != "" {
		p, err := a.records.Person(r.Context(), v.Job.PersonID)
		if err != nil {
			return err
		}
		to = p.Email
	}
	v.MailTo = "mailto:" + url.PathEscape(to) + "?" + strings.ReplaceAll(url.Values{"subject": {subject}, "body": {v.Mail}}.Encode(), "+", "%20")
	return nil
}

// quotePage is what a customer sees by the link: one quote, nothing else of the workshop.
type quotePage struct {
	Code   string
	Job    job.Job
	Paper  job.Paper
	House  house.House
	Accept string
	Name   string
	Given  job.Signature
	Wrong  string
	Panel  string
}

func (a *App) quoteByLink(w http.ResponseWriter, r *http.Request) { a.showQuote(w, r, "", "") }

func (a *App) showQuote(w http.ResponseWriter, r *http.Request, name, wrong string) {
	w.Header().Set("Referrer-Policy", "no-referrer") // the address is the secret
	ctx := r.Context()
	code := r.PathValue("code")
	j, p, err := a.bench.ByLink(ctx, code, time.Now())
	var s workshop.Settings
	if err == nil {
		s, err = a.bench.Settings(ctx)
	}
	if err != nil {
		a.failBare(w, r, err)
		return
	}
	lang := langOf(p)
	v := quotePage{Code: code, Job: j, Paper: p, House: s.House, Accept: accepting(p), Name: or(name, j.Customer), Given: j.Record.Deal.Accepted, Wrong: wrong, Panel: workshop.PanelName(j, lang)}
	status := http.StatusOK
	if wrong != "" {
		status = http.StatusUnprocessableEntity
	}
	w.Header().Set("X-Robots-Tag", "noindex")
	a.render(w, r, status, "quote", view{Title: "Quote", Bare: true, Lang: lang, Data: v})
}

func (a *App) acceptByLink(w http.ResponseWriter, r *http.Request) {
	if !a.form(w, r) {
		return
	}
	ctx := r.Context()
	j, p, err := a.bench.ByLink(ctx, r.PathValue("code"), time.Now())
	if err != nil {
		a.failBare(w, r, err)
		return
	}
	name := r.PostFormValue("signname")
	s, err := job.Sign(langOf(p).T(accepting(p)), name, r.PostFormValue("strokes"), time.Now())
	if err == nil {
		err = a.bench.Accept(ctx, j.ID, s, "code")
	}
	var field *job.FieldError
	if errors.As(err, &field) {
		a.showQuote(w, r, name, field.Text)
		return
	}
	if err != nil {
		a.failBare(w, r, err)
		return
	}
	http.Redirect(w, r, "/q/"+r.PathValue("code"), http.StatusSeeOther)
}

// quotePDFByLink sends the quote itself.
func (a *App) quotePDFByLink(w http.ResponseWriter, r *http.Request) {
	_, p, err := a.bench.ByLink(r.Context(), r.PathValue("code"), time.Now())
	var pdf []byte
	if err == nil {
		pdf, err = a.quotePDF(r.Context(), p)
	}
	if err != nil {
		a.failBare(w, r, err)
		return
	}
	w.Header().Set("Cache-Control", "no-store")
	w.Header().Set("Referrer-Policy", "no-referrer")
	a.sendPDF(w, r, p.Number+".pdf", pdf, nil)
}

func (a *App) quotePDF(ctx context.Context, p job.Paper) ([]byte, error) {
	return a.records.Attachment(ctx, p.JobID, p.ID+"/quote.pdf")
}
