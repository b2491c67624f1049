// Package web is the workshop's app in the browser: server-rendered pages, forms that work without script, and small scripts where a
// picture must move. Loopback only; nothing is fetched from anywhere else.
package web

import (
	"context"
	"embed"
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"io/fs"
	"log/slog"
	"net"
	"net/http"
	"strings"
	"time"

	"fairmetal/compare"
	"fairmetal/inspection"
	"fairmetal/job"
	"fairmetal/offer"
	"fairmetal/prints"
	"fairmetal/store"
	"fairmetal/workshop"
)

//go:embed assets templates
var files embed.FS

// Records is what the app needs of the store.
type Records interface {
	AddJob(ctx context.Context, j job.Job) (job.Job, error)
	SaveJob(ctx context.Context, j job.Job) error
	Job(ctx context.Context, id string) (job.Job, error)
	Jobs(ctx context.Context, limit int) ([]job.Job, error)
	Capture(ctx context.Context, id string) (job.Capture, error)
	Captures(ctx context.Context, jobID string) ([]job.Capture, error)
	LastCaptures(ctx context.Context, jobIDs []string) (map[string]job.Capture, error)
	File(ctx context.Context, captureID, name string) ([]byte, error)
	Folder(ctx context.Context, captureID string) fs.FS
}

// Bench is what the app needs of the running workshop.
type Bench interface {
	AddCapture(ctx context.Context, jobID, title string, files map[string][]byte) (job.Capture, error)
	Listen() (<-chan workshop.Event, func())
}

// App serves the pages.
type App struct {
	records Records
	bench   Bench
	pages   map[string]*template.Template
}

// New parses the pages.
func New(r Records, b Bench) (*App, error) {
	a := &App{records: r, bench: b, pages: map[string]*template.Template{}}
	names, err := fs.Glob(files, "templates/page-*.html")
	if err != nil {
		return nil, err
	}
	for _, n := range names {
		t, err := template.New("layout.html").Funcs(helpers).ParseFS(files, "templates/layout.html", "templates/parts.html", n)
		if err != nil {
			return nil, err
		}
		a.pages[strings.TrimSuffix(strings.TrimPrefix(n, "templates/page-"), ".html")] = t
	}
	return a, nil
}

// Handler routes all requests.
func (a *App) Handler() http.Handler {
	m := http.NewServeMux()
	m.HandleFunc("GET /{$}", a.benchPage)
	m.HandleFunc("GET /jobs/new", a.newJobPage)
	m.HandleFunc("POST /jobs", a.addJob)
	m.HandleFunc("GET /jobs/{id}", a.jobPage)
	m.HandleFunc("POST /jobs/{id}/step", a.setStep)
	m.HandleFunc("GET /jobs/{id}/capture", a.capturePage)
	m.HandleFunc("POST /jobs/{id}/captures", a.addCapture)
	m.HandleFunc("GET /captures/{id}/{name}", a.captureFile)
	m.HandleFunc("GET /events", a.events)
	m.HandleFunc("GET /board", a.page("board", "Board"))
	m.HandleFunc("GET /prints", a.page("prints", "Cards and boards"))
	m.HandleFunc("GET /prints/cards.pdf", a.cardsPDF)
	m.HandleFunc("GET /prints/board.pdf", a.boardPDF)
	m.HandleFunc("GET /healthz", func(w http.ResponseWriter, r *http.Request) { fmt.Fprintln(w, "ok") })
	static, err := fs.Sub(files, "assets")
	if err != nil {
		panic(err) // the embedded folder is part of the program
	}
	m.Handle("GET /assets/", http.StripPrefix("/assets/", cached(http.FileServerFS(static))))
	return guard(http.NewCrossOriginProtection().Handler(m))
}

// guard lets only requests for loopback names through, so that no page elsewhere can reach the app by a name of its own, and sets
// the headers that keep pages to themselves.
func guard(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		host := r.Host
		if h, _, err := net.SplitHostPort(host); err == nil {
			host = h
		}
		if ip := net.ParseIP(strings.Trim(host, "[]")); host != "localhost" && (ip == nil || !ip.IsLoopback()) {
			http.Error(w, "This workshop answers on this computer only.", http.StatusForbidden)
			return
		}
		h := w.Header()
		h.Set("Content-Security-Policy", "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'; manifest-src 'self'")
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		next.ServeHTTP(w, r)
	})
}

func cached(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Cache-Control", "no-cache")
		next.ServeHTTP(w, r)
	})
}

// view is what every page gets.
type view struct {
	Title string
	Place string // of the navigation
	Data  any
}

func (a *App) render(w http.ResponseWriter, status int, page string, v view) {
	t, ok := a.pages[page]
	if !ok {
		http.Error(w, "no such page", http.StatusInternalServerError)
		return
	}
	var b strings.Builder
	if err := t.Execute(&b, v); err != nil {
		slog.Error("page", "name", page, "error", err)
		http.Error(w, "The page could not be made. Go back and try again; nothing was lost.", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(status)
	fmt.Fprint(w, b.String())
}

func (a *App) page(name, title string) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		a.render(w, http.StatusOK, name, view{Title: title, Place: name})
	}
}

// fail shows an error in words.
func (a *App) fail(w http.ResponseWriter, err error) {
	status, text := http.StatusInternalServerError, "Something went wrong in the workshop. Go back and try again; nothing was lost."
	switch {
	case errors.Is(err, store.ErrNotFound):
		status, text = http.StatusNotFound, "There is no such job or capture. It may have been removed."
	default:
		slog.Error("request", "error", err)
	}
	a.render(w, status, "problem", view{Title: "A problem", Data: text})
}

// card is a job on the bench.
type card struct {
	job.Job
	Last  job.Capture
	Seen  bool // has a capture
	Total string
}

// column is one step on the bench.
type column struct {
	Step  job.Step
	Name  string
	Cards []card
}

// benchLimit bounds the cards of one page.
const benchLimit = 200

func (a *App) benchPage(w http.ResponseWriter, r *http.Request) {
	jobs, err := a.records.Jobs(r.Context(), benchLimit)
	if err != nil {
		a.fail(w, err)
		return
	}
	ids := make([]string, len(jobs))
	for i, j := range jobs {
		ids[i] = j.ID
	}
	last, err := a.records.LastCaptures(r.Context(), ids)
	if err != nil {
		a.fail(w, err)
		return
	}
	by := map[job.Step][]card{}
	for _, j := range jobs {
		c, ok := last[j.ID]
		k := card{Job: j, Last: c, Seen: ok}
		if ok && c.State == job.Measured && c.TotalMinor > 0 && j.Step != job.HandOver {
			k.Total = money(c.TotalMinor, c.Currency)
		}
		by[j.Step] = append(by[j.Step], k)
	}
	var cols []column
	for _, s := range job.Steps {
		cols = append(cols, column{s, stepNames[s], by[s]})
	}
	a.render(w, http.StatusOK, "bench", view{Title: "Bench", Place: "bench", Data: map[string]any{"Columns": cols, "Empty": len(jobs) == 0}})
}

// jobForm is the form for a job with what was typed and what is wrong.
type jobForm struct {
	Job     job.Job
	Field   string
	Problem string
	Kinds   []string
}

func (a *App) newJobPage(w http.ResponseWriter, r *http.Request) {
	a.render(w, http.StatusOK, "newjob", view{Title: "New job", Place: "bench", Data: jobForm{Job: job.Job{Material: "steel"}, Kinds: job.Kinds}})
}

func (a *App) addJob(w http.ResponseWriter, r *http.Request) {
	r.Body = http.MaxBytesReader(w, r.Body, 64<<10)
	if err := r.ParseForm(); err != nil {
		http.Error(w, "The form could not be read. Go back and send it again.", http.StatusBadRequest)
		return
	}
	j := job.Job{Vehicle: r.PostFormValue("vehicle"), Panel: r.PostFormValue("panel"), Kind: r.PostFormValue("kind"), Customer: r.PostFormValue("customer"),
		Material: r.PostFormValue("material"), SheetMM: number(r.PostFormValue("sheet")), FilmUM: number(r.PostFormValue("film")), NoReach: r.PostFormValue("noreach") != "", Notes: r.PostFormValue("notes"), Step: job.Look}
	if j.Kind == "" {
		j.Kind = offer.PanelKind(j.Panel)
	}
	saved, err := a.records.AddJob(r.Context(), j)
	var field *job.FieldError
	if errors.As(err, &field) {
		a.render(w, http.StatusUnprocessableEntity, "newjob", view{Title: "New job", Place: "bench", Data: jobForm{j, field.Field, field.Text, job.Kinds}})
		return
	}
	if err != nil {
		a.fail(w, err)
		return
	}
	http.Redirect(w, r, "/jobs/"+saved.ID+"/capture", http.StatusSeeOther)
}

func (a *App) setStep(w http.ResponseWriter, r *http.Request) {
	j, err := a.records.Job(r.Context(), r.PathValue("id"))
	if err == nil {
		j.Step = job.Step(r.PostFormValue("step"))
		err = a.records.SaveJob(r.Context(), j)
	}
	var field *job.FieldError
	if errors.As(err, &field) {
		http.Error(w, field.Text, http.StatusUnprocessableEntity)
		return
	}
	if err != nil {
		a.fail(w, err)
		return
	}
	http.Redirect(w, r, "/jobs/"+j.ID, http.StatusSeeOther)
}

// jobView is a job's page.
type jobView struct {
	Job      job.Job
	Steps    []stepView
	Captures []job.Capture
	Shown    job.Capture
	Has      bool // a capture is shown
	Result   *inspection.Document
	Offer    offer.Offer
	Priced   bool
	Against  *job.Capture // the capture compared with
	Progress compare.Progress
}

type stepView struct {
	Step job.Step
	Name string
	Here bool
	Done bool
}

func (a *App) jobPage(w http.ResponseWriter, r *http.Request) {
	ctx := r.Context()
	j, err := a.records.Job(ctx, r.PathValue("id"))
	if err != nil {
		a.fail(w, err)
		return
	}
	v := jobView{Job: j}
	passed := true
	for _, s := range job.Steps {
		here := s == j.Step
		if here {
			passed = false
		}
		v.Steps = append(v.Steps, stepView{s, stepNames[s], here, passed})
	}
	if v.Captures, err = a.records.Captures(ctx, j.ID); err != nil {
		a.fail(w, err)
		return
	}
	want := r.URL.Query().Get("c")
	for _, c := range v.Captures {
		if c.ID == want || want == "" {
			v.Shown, v.Has = c, true
		}
	}
	if v.Has && v.Shown.State == job.Measured {
		if err := a.loadShown(ctx, &v); err != nil {
			a.fail(w, err)
			return
		}
	}
	a.render(w, http.StatusOK, "job", view{Title: j.Vehicle + ", " + j.Panel, Place: "bench", Data: v})
}

func (a *App) loadShown(ctx context.Context, v *jobView) error {
	folder := a.records.Folder(ctx, v.Shown.ID)
	data, err := fs.ReadFile(folder, "surface.json")
	if err != nil {
		return err
	}
	v.Result = &inspection.Document{}
	if err := json.Unmarshal(data, v.Result); err != nil {
		return err
	}
	if o, err := workshop.Offer(folder); err == nil {
		v.Offer, v.Priced = o, true
	}
	// The capture before this one, for what has moved since.
	for i, c := range v.Captures {
		if c.ID == v.Shown.ID {
			break
		}
		if c.State == job.Measured {
			v.Against = &v.Captures[i]
		}
	}
	if v.Against == nil {
		return nil
	}
	before, err := inspection.Load(a.records.Folder(ctx, v.Against.ID))
	if err != nil {
		return err
	}
	after, err := inspection.Load(folder)
	if err != nil {
		return err
	}
	v.Progress = compare.Captures(before.Surface, after.Surface, before.Marks, after.Marks)
	return nil
}

// types are the files of a capture that a browser may ask for.
var types = map[string]string{"surface.json": "application/json", "marks.json": "application/json", "plan.json": "application/json", "quote.json": "application/json", "verdict.json": "application/json",
	"height.f32": "application/octet-stream", "sigma.f32": "application/octet-stream", "photo.jpg": "image/jpeg", "heat.png": "image/png", "overlay.png": "image/png", "quote.pdf": "application/pdf"}

func (a *App) captureFile(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("name")
	kind, ok := types[name]
	if !ok {
		http.NotFound(w, r)
		return
	}
	data, err := a.records.File(r.Context(), r.PathValue("id"), name)
	if err != nil {
		a.fail(w, err)
		return
	}
	w.Header().Set("Content-Type", kind)
	// A result never changes under its capture's address.
	w.Header().Set("Cache-Control", "private, max-age=86400")
	if name == "quote.pdf" {
		w.Header().Set("Content-Disposition", `inline; filename="quote.pdf"`)
	}
	http.ServeContent(w, r, name, time.Time{}, strings.NewReader(string(data)))
}

// heartbeat keeps the event stream open through idle times.
const heartbeat = 20 * time.Second

// events streams what happens to captures (server-sent events).
func (a *App) events(w http.ResponseWriter, r *http.Request) {
	rc := http.NewResponseController(w)
	w.Header().Set("Content-Type", "text/event-stream")
	w.Header().Set("Cache-Control", "no-store")
	c, stop := a.bench.Listen()
	defer stop()
	tick := time.NewTicker(heartbeat)
	defer tick.Stop()
	fmt.Fprint(w, ": open\n\n")
	rc.Flush()
	for n := 1; ; n++ {
		select {
		case <-r.Context().Done():
			return
		case <-tick.C:
			fmt.Fprint(w, ": still here\n\n")
		case e := <-c:
			data, err := json.Marshal(e)
			if err != nil {
				return
			}
			fmt.Fprintf(w, "id: %d\ndata: %s\n\n", n, data)
		}
		if rc.Flush() != nil {
			return
		}
	}
}

func (a *App) cardsPDF(w http.ResponseWriter, r *http.Request) {
	pdf, err := prints.Cards(prints.CardSheet{SidesMM: []float64{number(r.FormValue("side")), number(r.FormValue("side"))}, Paper: r.FormValue("paper")})
	a.sendPDF(w, "cards.pdf", pdf, err)
}

func (a *App) boardPDF(w http.ResponseWriter, r *http.Request) {
	pdf, err := prints.Board(prints.BoardSpec{WidthMM: number(r.FormValue("width")), HeightMM: number(r.FormValue("height")), PitchMM: number(r.FormValue("pitch")),
		Stripes: r.FormValue("stripes"), Profile: r.FormValue("profile"), Bars: r.FormValue("bars") != "", Paper: r.FormValue("paper")})
	a.sendPDF(w, "board.pdf", pdf, err)
}

func (a *App) sendPDF(w http.ResponseWriter, name string, pdf []byte, err error) {
	if err != nil {
		a.render(w, http.StatusUnprocessableEntity, "problem", view{Title: "Cannot print that", Place: "prints", Data: err.Error()})
		return
	}
	w.Header().Set("Content-Type", "application/pdf")
	w.Header().Set("Content-Disposition", `inline; filename="`+name+`"`)
	w.Write(pdf)
}
