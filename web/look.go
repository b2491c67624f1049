package web

import (
	"context"
	"encoding/json"
	"errors"
	"io/fs"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"fairmetal/compare"
	"fairmetal/inspection"
	"fairmetal/job"
	"fairmetal/mark"
	"fairmetal/offer"
	"fairmetal/store"
	"fairmetal/workshop"
)

// result is what was measured and made of a capture, as the job stands now.
type result struct {
	Document *inspection.Document
	Offer    offer.Offer
	Priced   bool
	Marks    []mark.Mark // as the eye corrected them
	Chosen   []string    // the marks that the offer is about
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
	body, err := a.records.Attachment(ctx, c.JobID, workshop.StandingName(c.ID))
	if err == nil {
		st, err := workshop.ReadStanding(body)
		v.Offer, v.Priced, v.Marks, v.Chosen = st.Offer, true, st.Seen, st.Chosen
		return v, err
	}
	if !errors.Is(err, store.ErrNotFound) {
		return v, err
	}
	if v.Marks, err = readMarks(folder); err != nil {
		return v, err
	}
	for _, m := range v.Marks {
		v.Chosen = append(v.Chosen, m.ID)
	}
	if o, err := workshop.Offer(folder); err == nil {
		v.Offer, v.Priced = o, true
	}
	return v, nil
}

// readMarks reads the marks of a result as they were measured.
func readMarks(folder fs.FS) ([]mark.Mark, error) {
	var doc struct {
		Marks []mark.Mark `json:"marks"`
	}
	data, err := fs.ReadFile(folder, "marks.json")
	if err == nil {
		err = json.Unmarshal(data, &doc)
	}
	return doc.Marks, err
}

// Picked tells whether a mark is offered.
func (r result) Picked(id string) bool { return slices.Contains(r.Chosen, id) }

// unread are the places without a value of one kind for which the advice is the same.
type unread struct {
	Kind, Advice string
	Places       []inspection.Area
}

// Unread is where the metal has no value.
func (r result) Unread() (list []unread) {
	for _, a := range r.Document.Areas {
		i := slices.IndexFunc(list, func(u unread) bool { return u.Kind == a.Kind && u.Advice == a.Advice })
		if i < 0 {
			i, list = len(list), append(list, unread{Kind: a.Kind, Advice: a.Advice})
		}
		list[i].Places = append(list[i].Places, a)
	}
	return list
}

// lookView is the page of the measured panel.
type lookView struct {
	jobHead
	Result   result
	Eye      []job.Eye // corrections of the shown capture
	Kinds    []mark.Kind
	Shapes   []string   // of areas that are reached from behind, or not
	Typed    url.Values // what was sent, where it was refused
	Areas    string     // of how the panel is reached from behind, for the map: JSON
	Twins    []twin     // measured photos that may lend their form
	Problem  string
	Against  *job.Capture // the capture compared with
	Progress compare.Progress
	Story    compare.Story
}

func (a *App) lookPage(w http.ResponseWriter, r *http.Request) {
	a.showLook(w, r, http.StatusOK, "")
}

func (a *App) showLook(w http.ResponseWriter, r *http.Request, status int, problem string) {
	h, err := a.head(r, job.Look)
	v := lookView{jobHead: h, Problem: problem, Kinds: []mark.Kind{mark.Round, mark.Crease, mark.Star, mark.Line, mark.High}, Shapes: job.AreaShapes, Typed: r.PostForm}
	for _, e := range h.Job.Record.Eye {
		if e.Capture == h.Shown.ID {
			v.Eye = append(v.Eye, e)
		}
	}
	if err == nil {
		v.Result, err = a.result(r.Context(), h.Shown)
	}
	if err == nil && v.Result.Document != nil {
		v.Areas, err = drawnAreas(h.Job.Record.Arrival.Behind, a.lang(r))
	}
	if err == nil && v.Result.Document != nil {
		err = a.since(r.Context(), &v)
	}
	if err == nil && v.Result.Document != nil {
		v.Story, err = a.story(r.Context(), h.Job, h.Shown.ID)
	}
	if err == nil && v.Result.Document != nil && len(h.Job.Record.Work.Hits) == 0 {
		v.Twins, err = a.twins(r.Context(), h.Job)
	}
	if err != nil {
		a.fail(w, r, err)
		return
	}
	a.render(w, r, status, "look", view{Title: h.Job.Vehicle + ", " + h.Job.Panel, Place: "bench", Data: v})
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

// tale is what a story depends on: a capture and how many hits were noted by then.
type tale struct {
	capture string
	hits    int
}

// story is what the rounds before a capture have told, or what was remembered of it: it takes some seconds.
func (a *App) story(ctx context.Context, j job.Job, captureID string) (compare.Story, error) {
	key := tale{captureID, len(j.Record.Work.Hits)}
	if key.hits == 0 {
		return compare.Story{}, nil
	}
	a.mu.Lock()
	s, ok := a.told[key]
	a.mu.Unlock()
	if ok {
		return s, nil
	}
	s, err := a.bench.Story(ctx, j.ID, captureID)
	if err != nil {
		return s, err
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	if len(a.told) >= maxCompared || a.told == nil {
		a.told = map[tale]compare.Story{}
	}
	a.told[key] = s
	return s, nil
}

// types are the files of a capture that a browser may ask for.
var types = map[string]string{"surface.json": "application/json", "marks.json": "application/json", "plan.json": "application/json", "quote.json": "application/json", "verdict.json": "application/json",
	"height.f32": "application/octet-stream", "sigma.f32": "application/octet-stream", "planned.f32": "application/octet-stream", "fair.json": "application/json", "photo.jpg": "image/jpeg", workshop.SmallName: "image/jpeg", "heat.png": "image/png", "overlay.png": "image/png", "quote.pdf": "application/pdf"}

func (a *App) captureFile(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("name")
	if name == "seen.json" {
		a.seenMarks(w, r)
		return
	}
	kind, ok := types[name]
	if !ok {
		http.NotFound(w, r)
		return
	}
	data, err := a.records.File(r.Context(), r.PathValue("id"), name)
	if name == workshop.SmallName && errors.Is(err, store.ErrNotFound) {
		// Captures that were measured before small pictures were kept.
		if data, err = a.records.File(r.Context(), r.PathValue("id"), "overlay.png"); err == nil {
			data, err = workshop.Small(data)
		}
	}
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

// seenMarks sends the marks as the eye corrected them.
func (a *App) seenMarks(w http.ResponseWriter, r *http.Request) {
	c, err := a.records.Capture(r.Context(), r.PathValue("id"))
	var v result
	if err == nil {
		v, err = a.result(r.Context(), c)
	}
	if err != nil {
		a.fail(w, r, err)
		return
	}
	if v.Marks == nil {
		v.Marks = []mark.Mark{}
	}
	w.Header().Set("Cache-Control", "no-store")
	sendJSON(w, map[string]any{"marks": v.Marks})
}

// sendJSON answers a script.
func sendJSON(w http.ResponseWriter, v any) {
	w.Header().Set("Content-Type", "application/json")
	json.NewEncoder(w).Encode(v)
}
