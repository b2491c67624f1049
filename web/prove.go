package web

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"image/png"
	"io/fs"
	"net/http"
	"strconv"
	"sync"

	"fairmetal/compare"
	"fairmetal/fair"
	"fairmetal/inspection"
	"fairmetal/job"
	"fairmetal/plan"
	"fairmetal/workshop"
)

// proveView is the page of the step.
type proveView struct {
	jobHead
	Result   result
	Before   job.Capture // the first measured one
	Checked  bool
	Fair     fair.Verdict
	NotFair  string // why it was not judged
	Progress compare.Progress
	Story    compare.Story
	Planned  bool      // there is a surface as planned
	Plan     plan.Plan // made on the first capture
	Left     string
	Problem  string
}

// Both tells whether there is a before and a now.
func (v proveView) Both() bool { return v.Before.ID != v.Shown.ID }

func (a *App) provePage(w http.ResponseWriter, r *http.Request) {
	a.proof(w, r, http.StatusOK, "", nil)
}

// proof shows the page; problem and left are what a save that was not taken came with.
func (a *App) proof(w http.ResponseWriter, r *http.Request, status int, problem string, left *string) {
	ctx := r.Context()
	h, err := a.head(r, job.Prove)
	v := proveView{jobHead: h, Problem: problem, Left: h.Job.Record.Departure.Left}
	if left != nil {
		v.Left = *left
	}
	if err == nil {
		v.Result, err = a.result(ctx, h.Shown)
	}
	if err == nil && v.Result.Document != nil {
		v.Before = first(h.Captures)
		if v.Both() {
			v.Progress, err = a.compare(ctx, [2]string{v.Before.ID, h.Shown.ID})
		}
		if err == nil {
			v.Story, err = a.story(ctx, h.Job, h.Shown.ID)
		}
		if err == nil {
			v.Fair, err = a.check(ctx, h.Job, h.Shown)
			v.Checked = err == nil
			if err != nil && !errors.Is(err, fs.ErrNotExist) {
				v.NotFair, err = err.Error(), nil
			}
		}
		_, missing := a.records.File(ctx, v.Before.ID, "planned.f32")
		v.Planned = missing == nil
		if o, err := workshop.Offer(a.records.Folder(ctx, v.Before.ID)); err == nil {
			v.Plan = o.Plan
		}
	}
	if err != nil {
		a.fail(w, r, err)
		return
	}
	a.render(w, r, status, "prove", view{Title: h.Job.Vehicle + ", " + h.Job.Panel, Place: "bench", Data: v})
}

// first is the first measured capture.
func first(cs []job.Capture) job.Capture {
	for _, c := range cs {
		if c.State == job.Measured {
			return c
		}
	}
	return job.Capture{}
}

// checks remembers hand-over checks that were made anew because the house changed its limits; each takes a second.
type checks struct {
	sync.Mutex
	by map[string]fair.Verdict
}

const maxChecks = 64

// check is the hand-over check of a capture by the house's limits: as it was made with the measurement, or anew where those limits have
// changed since.
func (a *App) check(ctx context.Context, j job.Job, c job.Capture) (fair.Verdict, error) {
	set, err := a.bench.Settings(ctx)
	if err != nil {
		return fair.Verdict{}, err
	}
	if data, err := a.records.File(ctx, c.ID, "fair.json"); err == nil {
		var v fair.Verdict
		if err := json.Unmarshal(data, &v); err == nil && v.Limits == set.Limits {
			return v, nil
		}
	}
	key := fmt.Sprint(c.ID, set.Limits)
	a.checked.Lock()
	defer a.checked.Unlock()
	if v, ok := a.checked.by[key]; ok {
		return v, nil
	}
	stored, err := inspection.Load(a.records.Folder(ctx, c.ID))
	if err != nil {
		return fair.Verdict{}, err
	}
	v, err := fair.Judge(stored.Surface, set.Limits)
	if err != nil {
		return v, err
	}
	if len(a.checked.by) >= maxChecks || a.checked.by == nil {
		a.checked.by = map[string]fair.Verdict{}
	}
	a.checked.by[key] = v
	return v, nil
}

// saveLeft keeps what is left, and why.
func (a *App) saveLeft(w http.ResponseWriter, r *http.Request) {
	if !a.form(w, r) {
		return
	}
	j, err := a.records.Job(r.Context(), r.PathValue("id"))
	left := r.PostFormValue("left")
	if err == nil && len(left) > 4000 {
		a.proof(w, r, http.StatusUnprocessableEntity, "This text is longer than 4000 letters: shorten it.", &left)
		return
	}
	if err == nil {
		j.Rev, _ = strconv.ParseInt(r.PostFormValue("rev"), 10, 64)
		j.Record.Departure.Left = left
		err = a.records.SaveJob(r.Context(), j)
	}
	var between *job.ErrConflict
	if errors.As(err, &between) {
		a.proof(w, r, http.StatusConflict, err.Error(), &left)
		return
	}
	if err != nil {
		a.fail(w, r, err)
		return
	}
	http.Redirect(w, r, "/jobs/"+j.ID+"/prove#left", http.StatusSeeOther)
}

// maxStripesPX is the longer side of a picture of the striped light.
const maxStripesPX = 560

// lamp is the light that the page and the papers start with: from the upper left, three quarters down, on a board as far as at the capture.
func lamp(d *inspection.Document) fair.Lamp {
	l := fair.Lamp{View: fair.View{AzimuthDeg: 250, ElevationDeg: 40}, Light: fair.Light{LineDeg: 90}, PitchMM: 24, BoardMM: 700, EyeMM: 900, RXMM: d.Form.RXMM, RYMM: d.Form.RYMM}
	l.PXPerMM = min(2, maxStripesPX/(d.Grid.PitchMM*float64(max(d.Grid.Cols, d.Grid.Rows, 1))))
	return l
}

// stripes is a picture of the striped light in the metal, for browsers without scripts.
func (a *App) stripes(w http.ResponseWriter, r *http.Request) {
	stored, err := inspection.Load(a.records.Folder(r.Context(), r.PathValue("id")))
	if err != nil {
		a.fail(w, r, err)
		return
	}
	l := lamp(&stored.Document)
	for name, v := range map[string]*float64{"azimuth": &l.AzimuthDeg, "elevation": &l.ElevationDeg, "line": &l.LineDeg, "pitch": &l.PitchMM} {
		if r.FormValue(name) != "" {
			*v = number(r.FormValue(name))
		}
	}
	m, err := fair.Stripes(stored.Surface, l)
	if err != nil {
		a.fail(w, r, &job.FieldError{Field: "light", Text: err.Error()})
		return
	}
	w.Header().Set("Content-Type", "image/png")
	w.Header().Set("Cache-Control", "private, max-age=86400")
	(&png.Encoder{CompressionLevel: png.BestSpeed}).Encode(w, m)
}

// Light is the light to start with and the part of the panel to show, for the script.
func (v proveView) Light() (template.JS, error) {
	l := lamp(v.Result.Document)
	doc := struct {
		Azimuth   float64   `json:"azimuth"`
		Elevation float64   `json:"elevation"`
		Line      float64   `json:"line"`
		Pitch     float64   `json:"pitch"`
		Board     float64   `json:"board"`
		Eye       float64   `json:"eye"`
		Shift     float64   `json:"shift"`
		Zoom      float64   `json:"zoom"`
		Around    []float64 `json:"around,omitempty"`
	}{l.AzimuthDeg, l.ElevationDeg, l.LineDeg, l.PitchMM, l.BoardMM, l.EyeMM, 0, 1, v.around()}
	b, err := json.Marshal(doc)
	return template.JS(b), err
}

// besideMM is how much sound metal is shown beside the hits.
const besideMM = 40

// around is the box of the planned hits with sound metal beside: left, low, right, high. None without hits.
func (v proveView) around() []float64 {
	var b []float64
	for _, r := range v.Plan.Rounds {
		for _, h := range r.Hits {
			if b == nil {
				b = []float64{h.XMM, h.YMM, h.XMM, h.YMM}
			}
			b = []float64{min(b[0], h.XMM), min(b[1], h.YMM), max(b[2], h.XMM), max(b[3], h.YMM)}
		}
	}
	if b != nil {
		b = []float64{b[0] - besideMM, b[1] - besideMM, b[2] + besideMM, b[3] + besideMM}
	}
	return b
}
