package door

import (
	"bytes"
	"context"
	"embed"
	"errors"
	"fmt"
	"html/template"
	"log/slog"
	"net/http"
	"strings"
	"time"

	"fairmetal/job"
	"fairmetal/meter"
	"fairmetal/payqr"
	"fairmetal/store"
	"fairmetal/words"
)

//go:embed pages.html
var files embed.FS

// pages are parsed once for each language.
var pages = func() map[words.Lang]*template.Template {
	out := map[words.Lang]*template.Template{}
	for _, l := range words.Langs {
		says := template.FuncMap{"t": func(v any) string { return l.T(fmt.Sprint(v)) }, "date": l.Date}
		out[l] = template.Must(template.New("").Funcs(says).ParseFS(files, "pages.html"))
	}
	return out
}()

// page is what the door's own pages show.
type page struct {
	Title, Problem, Done string
	Who                  Who
	Lang                 words.Lang

	Name, Next                                    string
	Users                                         []store.User
	Address, TrustAddress, TrustCode, Fingerprint string
	TrustSize                                     int
	PasskeyHost                                   string // empty where browsers allow none
	Passkeys                                      []store.Passkey
}

// lang is the reader's language: chosen in the app, else the house's, else the browser's.
func (d *Door) lang(r *http.Request) words.Lang {
	var wishes []string
	if c, err := r.Cookie("lang"); err == nil {
		wishes = append(wishes, c.Value)
	}
	return words.Match(append(wishes, d.HouseLang(r.Context()), r.Header.Get("Accept-Language"))...)
}

// say answers a line of text in the reader's language.
func (d *Door) say(w http.ResponseWriter, r *http.Request, status int, text string) {
	http.Error(w, d.lang(r).T(text), status)
}

func (d *Door) show(w http.ResponseWriter, r *http.Request, status int, name string, p page) {
	p.Who, p.Lang, p.PasskeyHost = User(r.Context()), d.lang(r), passkeyHost(r)
	var b bytes.Buffer
	if err := pages[p.Lang].ExecuteTemplate(&b, name, p); err != nil {
		slog.Error("page", "name", name, "error", err)
		d.say(w, r, http.StatusInternalServerError, "The page could not be made. Go back and try again; nothing was lost.")
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(status)
	w.Write(b.Bytes())
}

// problem tells what is wrong: as a page to people, as a line to programs.
func (d *Door) problem(w http.ResponseWriter, r *http.Request, status int, text string) {
	if !strings.Contains(r.Header.Get("Accept"), "text/html") {
		d.say(w, r, status, text)
		return
	}
	d.show(w, r, status, "problem", page{Title: "A problem", Problem: text})
}

// fail shows an error in words.
func (d *Door) fail(w http.ResponseWriter, r *http.Request, err error) {
	var field *job.FieldError
	switch {
	case errors.As(err, &field):
		d.problem(w, r, http.StatusUnprocessableEntity, field.Text)
	case errors.Is(err, store.ErrNotFound):
		d.problem(w, r, http.StatusNotFound, "There is no such record. It may have been removed.")
	default:
		slog.Error("door", "error", err)
		d.problem(w, r, http.StatusInternalServerError, "Something went wrong in the workshop. Go back and try again; nothing was lost.")
	}
}

// routes are the door's own addresses.
func (d *Door) routes(network bool) []Route {
	at := func(pattern string, least job.Role, f http.HandlerFunc) Route {
		return Route{Pattern: pattern, Least: least, Handle: f}
	}
	out := []Route{
		at("GET /healthz", job.Anybody, d.health),
		at("GET /me", job.Viewer, d.mePage),
		at("GET /door", job.Owner, d.doorPage),
		at("POST /door/people", job.Owner, d.letIn),
		at("POST /door/people/{id}/passphrase", job.Owner, d.setPassphrase),
		at("POST /door/people/{id}/end", job.Owner, d.endSessions),
		at("POST /door/people/{id}/remove", job.Owner, d.remove),
	}
	if d.Metrics != nil {
		out = append(out, at("GET /metrics", job.Owner, d.metrics))
	}
	if network {
		out = append(out, at("GET /sign-in", job.Anybody, d.signInPage), at("POST /sign-in", job.Anybody, d.signInForm),
			at("POST /sign-out", job.Viewer, d.signOut), at("POST /me/passphrase", job.Viewer, d.changeMine))
		out = append(out, d.passkeyRoutes()...)
		out = append(out, d.trustRoutes()...)
	}
	return out
}

// healthTime bounds a look at the records.
const healthTime = 5 * time.Second

// health answers watchmen, who learn yes or no and nothing else.
func (d *Door) health(w http.ResponseWriter, r *http.Request) {
	ctx, done := context.WithTimeout(r.Context(), healthTime)
	defer done()
	w.Header().Set("Cache-Control", "no-store")
	if err := d.Health(ctx); err != nil {
		slog.Error("health", "error", err)
		http.Error(w, "not well: the log says why", http.StatusServiceUnavailable)
		return
	}
	fmt.Fprintln(w, "ok")
}

func (d *Door) metrics(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Content-Type", meter.Type)
	w.Header().Set("Cache-Control", "no-store")
	if err := d.Metrics.Write(w); err != nil {
		slog.Warn("metrics", "error", err) // whoever asked went away
	}
}

// safeNext keeps a way back inside the app.
func safeNext(next string) string {
	if !strings.HasPrefix(next, "/") || strings.HasPrefix(next, "//") || strings.ContainsAny(next, "\\\r\n\t") || strings.HasPrefix(next, "/sign-") {
		return "/"
	}
	return next
}

func (d *Door) signInPage(w http.ResponseWriter, r *http.Request) {
	d.show(w, r, http.StatusOK, "sign-in", page{Title: "Sign in", Next: safeNext(r.FormValue("next"))})
}

func (d *Door) signInForm(w http.ResponseWriter, r *http.Request) {
	next := safeNext(r.PostFormValue("next"))
	err := d.signIn(w, r, r.PostFormValue("name"), r.PostFormValue("passphrase"))
	switch {
	case err == nil:
		http.Redirect(w, r, next, http.StatusSeeOther)
	case errors.Is(err, errBusy):
		w.Header().Set("Retry-After", "60")
		d.show(w, r, http.StatusTooManyRequests, "sign-in", page{Title: "Sign in", Problem: err.Error(), Next: next})
	case errors.Is(err, errRefused):
		d.show(w, r, http.StatusUnauthorized, "sign-in", page{Title: "Sign in", Problem: err.Error(), Next: next, Name: r.PostFormValue("name")})
	default:
		d.fail(w, r, err)
	}
}

func (d *Door) mePage(w http.ResponseWriter, r *http.Request) {
	d.showMe(w, r, http.StatusOK, "")
}

func (d *Door) showMe(w http.ResponseWriter, r *http.Request, status int, problem string) {
	p := page{Title: "You", Problem: problem}
	if id := User(r.Context()).ID; id != "" {
		var err error
		if p.Passkeys, err = d.Records.Passkeys(r.Context(), id); err != nil {
			d.fail(w, r, err)
			return
		}
	}
	d.show(w, r, status, "me", p)
}

func (d *Door) changeMine(w http.ResponseWriter, r *http.Request) {
	who := User(r.Context())
	h, err := Hash(who.Name, r.PostFormValue("passphrase"))
	if err == nil {
		err = d.Records.SetPassphrase(r.Context(), who.ID, h)
	}
	var field *job.FieldError
	switch {
	case errors.As(err, &field):
		d.showMe(w, r, http.StatusUnprocessableEntity, field.Text)
	case err != nil:
		d.fail(w, r, err)
	default:
		http.Redirect(w, r, "/sign-in", http.StatusSeeOther)
	}
}

func (d *Door) doorPage(w http.ResponseWriter, r *http.Request) {
	d.showDoor(w, r, http.StatusOK, page{})
}

func (d *Door) showDoor(w http.ResponseWriter, r *http.Request, status int, p page) {
	var err error
	if p.Users, err = d.Records.Users(r.Context()); err != nil {
		d.fail(w, r, err)
		return
	}
	p.Title, p.Address = "Door", d.Address
	if d.Trust != nil {
		p.TrustAddress, p.Fingerprint = d.Trust.Page, d.Trust.Fingerprint()
		p.code(p.TrustAddress)
	}
	d.show(w, r, status, "door", p)
}

// code draws a text as a QR symbol; without one the page shows the text alone.
func (p *page) code(text string) {
	if s, err := payqr.Encode(text); err == nil {
		p.TrustCode, p.TrustSize = s.Path(), s.Size
	}
}

func (d *Door) letIn(w http.ResponseWriter, r *http.Request) {
	u, err := d.AddUser(r.Context(), r.PostFormValue("name"), job.Role(r.PostFormValue("role")), r.PostFormValue("passphrase"))
	var field *job.FieldError
	switch {
	case errors.As(err, &field):
		d.showDoor(w, r, http.StatusUnprocessableEntity, page{Problem: field.Text, Name: r.PostFormValue("name")})
	case err != nil:
		d.fail(w, r, err)
	default:
		d.showDoor(w, r, http.StatusOK, page{Done: u.Name + " can sign in now."})
	}
}

func (d *Door) setPassphrase(w http.ResponseWriter, r *http.Request) {
	h, err := Hash("", r.PostFormValue("passphrase"))
	if err == nil {
		err = d.Records.SetPassphrase(r.Context(), r.PathValue("id"), h)
	}
	d.backToDoor(w, r, err)
}

func (d *Door) endSessions(w http.ResponseWriter, r *http.Request) {
	d.backToDoor(w, r, d.Records.EndSessions(r.Context(), r.PathValue("id")))
}

func (d *Door) remove(w http.ResponseWriter, r *http.Request) {
	d.backToDoor(w, r, d.Records.RemoveUser(r.Context(), r.PathValue("id")))
}

func (d *Door) backToDoor(w http.ResponseWriter, r *http.Request, err error) {
	if err != nil {
		d.fail(w, r, err)
		return
	}
	http.Redirect(w, r, "/door", http.StatusSeeOther)
}
