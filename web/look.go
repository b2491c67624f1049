package web

import (
	"context"
	"encoding/json"
	"io/fs"
	"net/http"
	"strings"
	"time"

	"fairmetal/compare"
	"fairmetal/inspection"
	"fairmetal/job"
	"fairmetal/offer"
	"fairmetal/workshop"
)

// result is what was measured and made of a capture.
type result struct {
	Document *inspection.Document
	Offer    offer.Offer
	Priced   bool
}

// result reads the results of a capture; nothing where it is not measured.
func (a *App) result(ctx context.Context, c job.Capture) (result, error) {
	var v result
	if c.State != job.Measured {
		return v, nil
	}
	folder := a.records.Folder(ctx, c.ID)
	data, err := fs.ReadFile(folder, "surface.json")
	if err != nil {
		return v, err
	}
	v.Document = &inspection.Document{}
	if err := json.Unmarshal(data, v.Document); err != nil {
		return v, err
	}
	if o, err := workshop.Offer(folder); err == nil {
		v.Offer, v.Priced = o, true
	}
	return v, nil
}

// lookView is the page of the measured panel.
type lookView struct {
	jobHead
	Result   result
	Against  *job.Capture // the capture compared with
	Progress compare.Progress
}

func (a *App) lookPage(w http.ResponseWriter, r *http.Request) {
	h, err := a.head(r, job.Look)
	v := lookView{jobHead: h}
	if err == nil {
		v.Result, err = a.result(r.Context(), h.Shown)
	}
	if err == nil && v.Result.Document != nil {
		err = a.since(r.Context(), &v)
	}
	if err != nil {
		a.fail(w, r, err)
		return
	}
	a.render(w, r, http.StatusOK, "look", view{Title: h.Job.Vehicle + ", " + h.Job.Panel, Place: "bench", Data: v})
}

// since compares with the capture before the shown one.
func (a *App) since(ctx context.Context, v *lookView) error {
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
	var err error
	v.Progress, err = a.compare(ctx, [2]string{v.Against.ID, v.Shown.ID})
	return err
}

// maxCompared bounds the comparisons that are kept.
const maxCompared = 64

// compare compares two captures, or remembers having done so: to find how they lie takes a second or two.
func (a *App) compare(ctx context.Context, ids [2]string) (compare.Progress, error) {
	a.mu.Lock()
	p, ok := a.compared[ids]
	a.mu.Unlock()
	if ok {
		return p, nil
	}
	before, err := inspection.Load(a.records.Folder(ctx, ids[0]))
	if err != nil {
		return p, err
	}
	after, err := inspection.Load(a.records.Folder(ctx, ids[1]))
	if err != nil {
		return p, err
	}
	p = compare.Panels(before.Side(), after.Side())
	a.mu.Lock()
	defer a.mu.Unlock()
	if len(a.compared) >= maxCompared || a.compared == nil {
		a.compared = map[[2]string]compare.Progress{}
	}
	a.compared[ids] = p
	return p, nil
}

// types are the files of a capture that a browser may ask for.
var types = map[string]string{"surface.json": "application/json", "marks.json": "application/json", "plan.json": "application/json", "quote.json": "application/json", "verdict.json": "application/json",
	"height.f32": "application/octet-stream", "sigma.f32": "application/octet-stream", "planned.f32": "application/octet-stream", "fair.json": "application/json", "photo.jpg": "image/jpeg", "heat.png": "image/png", "overlay.png": "image/png", "quote.pdf": "application/pdf"}

func (a *App) captureFile(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("name")
	kind, ok := types[name]
	if !ok {
		http.NotFound(w, r)
		return
	}
	data, err := a.records.File(r.Context(), r.PathValue("id"), name)
	if err != nil {
		a.fail(w, r, err)
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
