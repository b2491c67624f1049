package door

import (
	"bytes"
	"context"
	"errors"
	"mime"
	"net/http"
	"path"
	"strconv"
	"time"

	"fairmetal/job"
	"fairmetal/store"
)

// linkKind is the only kind of paper that a link opens.
const linkKind = "quote"

// maxLinkDays bounds how long a link works.
const maxLinkDays = 90

// MakeLink makes a link to a quote that works for some days, and returns its path. The records keep its hash alone.
func (d *Door) MakeLink(ctx context.Context, p job.Paper, days int) (string, time.Time, error) {
	switch {
	case p.Kind != linkKind:
		return "", time.Time{}, &job.FieldError{Field: "paper", Text: "A link opens a quote, no other paper."}
	case days < 1 || days > maxLinkDays:
		return "", time.Time{}, &job.FieldError{Field: "days", Text: "A link works for 1 to 90 days."}
	}
	plain, kept := token()
	ends := d.now().AddDate(0, 0, days)
	return "/q/" + plain, ends, d.Records.AddLink(ctx, store.Link{Token: kept, PaperID: p.ID, Ends: ends})
}

func (d *Door) linksPage(w http.ResponseWriter, r *http.Request) { d.showLinks(w, r, page{}) }

func (d *Door) showLinks(w http.ResponseWriter, r *http.Request, p page) {
	var err error
	if p.Paper, err = d.Records.Paper(r.Context(), r.PathValue("id")); err == nil {
		p.Links, err = d.Records.Links(r.Context(), p.Paper.ID)
	}
	if err != nil {
		d.fail(w, r, err)
		return
	}
	p.Title = "Links for the customer"
	d.show(w, r, http.StatusOK, "links", p)
}

func (d *Door) makeLink(w http.ResponseWriter, r *http.Request) {
	days, err := strconv.Atoi(r.PostFormValue("days"))
	if err != nil {
		days = 0
	}
	p, err := d.Records.Paper(r.Context(), r.PathValue("id"))
	var at string
	var ends time.Time
	if err == nil {
		at, ends, err = d.MakeLink(r.Context(), p, days)
	}
	if err != nil {
		d.fail(w, r, err)
		return
	}
	base := d.Address
	if base == "" {
		base = "http://" + r.Host
	}
	v := page{URL: base + at, Ends: ends.Format("2 January 2006")}
	v.code(v.URL)
	d.showLinks(w, r, v)
}

func (d *Door) closeLinks(w http.ResponseWriter, r *http.Request) {
	if err := d.Records.EndLinks(r.Context(), r.PathValue("id")); err != nil {
		d.fail(w, r, err)
		return
	}
	http.Redirect(w, r, "/papers/"+r.PathValue("id")+"/links", http.StatusSeeOther)
}

// errLink is all that a stranger learns of a link that does not work.
const errLink = "This link does not work any more. Ask the workshop for a new one."

// opened finds the quote that a link opens.
func (d *Door) opened(w http.ResponseWriter, r *http.Request) (p job.Paper, ends time.Time, ok bool) {
	// The address holds the secret: it must not travel on.
	w.Header().Set("Referrer-Policy", "no-referrer")
	l, err := d.Records.Link(r.Context(), hashed(r.PathValue("token")))
	if err == nil && d.now().Before(l.Ends) {
		p, err = d.Records.Paper(r.Context(), l.PaperID)
		if err == nil && p.Kind == linkKind {
			return p, l.Ends, true
		}
	}
	if err != nil && !errors.Is(err, store.ErrNotFound) {
		d.fail(w, r, err)
		return p, ends, false
	}
	d.problem(w, r, http.StatusNotFound, errLink)
	return p, ends, false
}

func (d *Door) quotePage(w http.ResponseWriter, r *http.Request) {
	p, ends, ok := d.opened(w, r)
	if !ok {
		return
	}
	files, err := d.Records.PaperFiles(r.Context(), p)
	if err != nil {
		d.fail(w, r, err)
		return
	}
	d.show(w, r, http.StatusOK, "quote", page{Title: "Quote " + p.Number, Ends: ends.Format("2 January 2006"), Token: r.PathValue("token"), Files: files})
}

func (d *Door) quoteFile(w http.ResponseWriter, r *http.Request) {
	p, _, ok := d.opened(w, r)
	if !ok {
		return
	}
	name := r.PathValue("name")
	data, err := d.Records.Attachment(r.Context(), p.JobID, p.ID+"/"+name)
	if errors.Is(err, store.ErrNotFound) {
		d.problem(w, r, http.StatusNotFound, errLink)
		return
	}
	if err != nil {
		d.fail(w, r, err)
		return
	}
	kind := "application/octet-stream"
	switch path.Ext(name) {
	case ".pdf":
		kind = "application/pdf"
	case ".jpg":
		kind = "image/jpeg"
	case ".png":
		kind = "image/png"
	}
	w.Header().Set("Content-Type", kind)
	w.Header().Set("Cache-Control", "no-store")
	w.Header().Set("Content-Disposition", mime.FormatMediaType("inline", map[string]string{"filename": name}))
	http.ServeContent(w, r, name, time.Time{}, bytes.NewReader(data))
}
