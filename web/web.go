// Package web is the workshop's app in the browser: server-rendered pages, forms that work without script, and small scripts where a
// picture must move. Nothing is fetched from anywhere else. Who may come in is package door's business: the routes only tell the least
// role that each of them needs.
package web

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"html/template"
	"io/fs"
	"log/slog"
	"net/http"
	"strings"
	"sync"
	"time"

	"fairmetal/blob"
	"fairmetal/compare"
	"fairmetal/door"
	"fairmetal/job"
	"fairmetal/photo"
	"fairmetal/store"
	"fairmetal/words"
	"fairmetal/workshop"
)

//go:embed assets templates
var files embed.FS

// Records is what the app needs of the store.
type Records interface {
	door.Records

	AddJob(ctx context.Context, j job.Job) (job.Job, error)
	SaveJob(ctx context.Context, j job.Job) error
	SaveJobs(ctx context.Context, list []job.Job) error
	RemoveJob(ctx context.Context, id string) error
	Job(ctx context.Context, id string) (job.Job, error)
	JobNumbered(ctx context.Context, number int64) (job.Job, error)
	FindJobs(ctx context.Context, q store.Query) ([]job.Job, error)
	CountJobs(ctx context.Context, q store.Query) (map[job.Step]int, error)
	Capture(ctx context.Context, id string) (job.Capture, error)
	Captures(ctx context.Context, jobID string) ([]job.Capture, error)
	LastCaptures(ctx context.Context, jobIDs []string) (map[string]job.Capture, error)
	SizesOf(ctx context.Context, captureIDs []string) (map[string][]job.Size, error)
	Sizes(ctx context.Context, captureID string) ([]job.Size, error)
	File(ctx context.Context, captureID, name string) ([]byte, error)
	Folder(ctx context.Context, captureID string) fs.FS
	Attach(ctx context.Context, jobID string, files map[string][]byte) error
	Attachment(ctx context.Context, jobID, name string) ([]byte, error)

	SavePerson(ctx context.Context, p job.Person) (job.Person, error)
	SavePeople(ctx context.Context, list []job.Person) error
	Person(ctx context.Context, id string) (job.Person, error)
	People(ctx context.Context, text string, limit int) ([]job.Person, error)
	ErasePerson(ctx context.Context, id string) error
	SaveVehicle(ctx context.Context, v job.Vehicle) (job.Vehicle, error)
	SaveVehicles(ctx context.Context, list []job.Vehicle) error
	Vehicle(ctx context.Context, id string) (job.Vehicle, error)
	Vehicles(ctx context.Context, text, personID string, limit int) ([]job.Vehicle, error)

	AddPaper(ctx context.Context, p job.Paper, files map[string][]byte) (job.Paper, error)
	Paper(ctx context.Context, id string) (job.Paper, error)
	Papers(ctx context.Context, jobID string, limit int) ([]job.Paper, error)
	SetPaperState(ctx context.Context, id, state string) error
	NextNumber(ctx context.Context, kind, start string) (int, error)

	Sums(ctx context.Context) ([]job.Sum, error)
	Timed(ctx context.Context, step job.Step, limit int) ([]job.Timed, error)
	MarkKinds(ctx context.Context) ([]job.MarkKind, error)

	Setting(ctx context.Context, name string, v any) (rev int64, err error)
	SaveSetting(ctx context.Context, name string, rev int64, v any) error
	Entries(ctx context.Context, jobID string, limit int) ([]job.Entry, error)
}

// Bench is what the app needs of the running workshop.
type Bench interface {
	AddCapture(ctx context.Context, jobID, title string, files map[string][]byte) (job.Capture, error)
	Listen() (<-chan workshop.Event, func())
	Settings(ctx context.Context) (workshop.Settings, error)
	MeasureOver(ctx context.Context, jobID, captureID, twinID string) (job.Capture, error)
	Reprice(ctx context.Context, jobID, captureID string) (workshop.Standing, error)
	Story(ctx context.Context, jobID, captureID string) (compare.Story, error)
	Quote(ctx context.Context, jobID, captureID string, lang words.Lang) (job.Paper, error)
	QuoteLot(ctx context.Context, jobIDs []string, lang words.Lang) (job.Paper, error)
	MakeLink(ctx context.Context, jobID string) (code string, until time.Time, err error)
	ByLink(ctx context.Context, code string, now time.Time) (job.Job, job.Paper, error)
	Accept(ctx context.Context, jobID string, s job.Signature, how string) error
}

// App serves the pages.
type App struct {
	records Records
	bench   Bench
	pages   map[words.Lang]map[string]*template.Template
	scripts map[words.Lang]template.JS // texts that the scripts say

	mu       sync.Mutex
	compared map[[2]string]compare.Progress // by the ids of both captures, whose results never change
	told     map[tale]compare.Story
	checked  checks
}

// New parses the pages, once for each language.
func New(r Records, b Bench) (*App, error) {
	a := &App{records: r, bench: b, pages: map[words.Lang]map[string]*template.Template{}, scripts: map[words.Lang]template.JS{}}
	names, err := fs.Glob(files, "templates/page-*.html")
	if err != nil {
		return nil, err
	}
	for _, l := range words.Langs {
		a.pages[l] = map[string]*template.Template{}
		for _, n := range names {
			t, err := template.New("layout.html").Funcs(helpers(l)).ParseFS(files, "templates/layout.html", "templates/parts.html", n)
			if err != nil {
				return nil, err
			}
			a.pages[l][strings.TrimSuffix(strings.TrimPrefix(n, "templates/page-"), ".html")] = t
		}
		if a.scripts[l], err = scriptTexts(l); err != nil {
			return nil, err
		}
	}
	return a, nil
}

// uploads are the routes whose requests may be larger than forms are.
var uploads = map[string]int64{"POST /jobs/{id}/captures": maxUploadBytes, "POST /hail/{person}/photos": maxUploadBytes, "POST /jobs/{id}/arrive": maxFlawsBytes, "POST /jobs/{id}/check": photo.DefaultMaxBytes,
	"POST /books/import": maxListBytes, "POST /jobs/{id}/work/log": maxLogBytes}

// DoorRoutes are the app's routes as a door guards them.
func (a *App) DoorRoutes() []door.Route {
	var out []door.Route
	for _, r := range a.Routes() {
		out = append(out, door.Route{Pattern: r.Pattern, Least: r.Least, Handle: r.serve, MaxBytes: uploads[r.Pattern]})
	}
	return out
}

// Handler serves this computer alone.
func (a *App) Handler() http.Handler {
	return door.New(a.records).Loopback(a.DoorRoutes())
}

// view is what every page gets.
type view struct {
	Title string
	Place string // of the navigation: bench, rack, books, house
	Data  any
	Bare  bool // without the places: a page for a customer

	// Filled in by render; a language that is set stays.
	Lang   words.Lang
	Texts  template.JS
	Who    string // is signed in; empty at the workshop's own computer
	Inches bool   // beside millimetres
}

// lang is the reader's language: chosen in the app, else the house's, else the browser's.
func (a *App) lang(r *http.Request) words.Lang {
	s, err := a.bench.Settings(r.Context())
	if err != nil {
		s = workshop.Settings{}
	}
	return readers(r, s.House.Lang)
}

// readers is lang where the house's language is known already.
func readers(r *http.Request, house string) words.Lang {
	var wishes []string
	if c, err := r.Cookie("lang"); err == nil {
		wishes = append(wishes, c.Value)
	}
	return words.Match(append(wishes, house, r.Header.Get("Accept-Language"))...)
}

func (a *App) render(w http.ResponseWriter, r *http.Request, status int, page string, v view) {
	set, err := a.bench.Settings(r.Context())
	if err != nil {
		set = workshop.Settings{}
	}
	if v.Lang == "" {
		v.Lang = readers(r, set.House.Lang)
	}
	v.Inches = set.House.Inches
	v.Texts = a.scripts[v.Lang]
	if u := door.User(r.Context()); u.ID != "" {
		v.Who = u.Name
	}
	t, ok := a.pages[v.Lang][page]
	if !ok {
		http.Error(w, "no such page", http.StatusInternalServerError)
		return
	}
	var b strings.Builder
	if err := t.Execute(&b, v); err != nil {
		slog.Error("page", "name", page, "error", err)
		http.Error(w, v.Lang.T("The page could not be made. Go back and try again; nothing was lost."), http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(status)
	fmt.Fprint(w, b.String())
}

func (a *App) page(name, place, title string) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		a.render(w, r, http.StatusOK, name, view{Title: title, Place: place})
	}
}

// fail shows an error in words.
func (a *App) fail(w http.ResponseWriter, r *http.Request, err error) {
	a.failOn(w, r, "problem", false, err)
}

// failBare shows an error to a customer.
func (a *App) failBare(w http.ResponseWriter, r *http.Request, err error) {
	a.failOn(w, r, "ended", true, err)
}

func (a *App) failOn(w http.ResponseWriter, r *http.Request, page string, bare bool, err error) {
	status, text := plain(err)
	if status == http.StatusInternalServerError {
		slog.Error("request", "route", r.Pattern, "error", err)
	}
	a.render(w, r, status, page, view{Title: "A problem", Data: text, Bare: bare})
}

// plain says an error in words for the one who works; faults of our own do not tell their insides.
func plain(err error) (status int, text string) {
	status, text = http.StatusInternalServerError, "Something went wrong in the workshop. Go back and try again; nothing was lost."
	var conflict *job.ErrConflict
	var field *job.FieldError
	var big *http.MaxBytesError
	switch {
	case errors.Is(err, store.ErrNotFound):
		status, text = http.StatusNotFound, "There is no such job, capture or paper. It may have been removed."
	case errors.As(err, &conflict):
		status, text = http.StatusConflict, conflict.Error()
	case errors.Is(err, workshop.ErrNoLink):
		status, text = http.StatusNotFound, "This link is not valid or has ended. Ask the workshop for a new one."
	case errors.As(err, &field):
		status, text = http.StatusUnprocessableEntity, field.Text
	case errors.Is(err, blob.ErrAway):
		status, text = http.StatusServiceUnavailable, "The place where photos are kept does not answer. Nothing was lost: try again in a minute."
	case errors.As(err, &big):
		status, text = http.StatusRequestEntityTooLarge, "That is more than this form takes. Send less at a time."
	}
	return status, text
}

// maxFormBytes bounds a form without files.
const maxFormBytes = 256 << 10

// form reads a form's fields; it answers the request itself where they cannot be read.
func (a *App) form(w http.ResponseWriter, r *http.Request) bool {
	r.Body = http.MaxBytesReader(w, r.Body, maxFormBytes)
	if err := r.ParseForm(); err != nil {
		a.render(w, r, http.StatusBadRequest, "problem", view{Title: "A problem", Data: "The form could not be read. Go back and send it again."})
		return false
	}
	return true
}
