package web

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"encoding/json"
	"errors"
	"html/template"
	"net/http"
	"slices"
	"strconv"
	"time"

	"fairmetal/compare"
	"fairmetal/inspection"
	"fairmetal/job"
	"fairmetal/plan"
	"fairmetal/rack"
	"fairmetal/rates"
	"fairmetal/tracing"
	"fairmetal/words"
)

// planned is a hit of the plan as the page at the panel shows it.
type planned struct {
	plan.Hit
	Round int       `json:"round"` // from 0
	Part  string    `json:"part"`  // of package rates: where its time is booked
	Said  string    `json:"said,omitempty"`
	Felt  string    `json:"felt,omitempty"`
	Glue  rack.Glue `json:"glue,omitzero"` // of a pull
	How   string    `json:"how,omitempty"` // what the method alone does not say
}

// how says of a held hit what it is held by.
func how(h plan.Hit) string {
	switch {
	case h.Sharp:
		return "Between the sharpest tip and a held knock-down, so that the neighbours stay."
	case h.Held:
		return "Between the tip and a held knock-down, so that the neighbours stay."
	}
	return ""
}

// workView is the page of the step.
type workView struct {
	jobHead
	Result result
	Story  compare.Story
	Hits   []planned
	Now    planned // the hit to do; N is 0 when all are said
	Said   int
	Hard   bool // several of the last hits felt hard: measure before going on
	Key    string
	Spans  []job.Span
	Parts  []rates.Part
	Today  string
	Data   template.JS // what the script needs, as JSON
}

// Disturb is the picture of who disturbs whom.
func (v workView) Disturb() disturbance { return disturb(v.Result.Marks, v.Result.Offer.Plan) }

// Round is the round of the hit to do.
func (v workView) Round() plan.Round { return v.Result.Offer.Plan.Rounds[v.Now.Round] }

// lookBack is over how many hits a row of hard ones is looked for, and how many of them call for a measurement. Common practice, no source.
const lookBack, manyHard = 5, 3

func (a *App) workPage(w http.ResponseWriter, r *http.Request) {
	h, err := a.head(r, job.Work)
	v := workView{jobHead: h, Parts: rates.Parts, Today: time.Now().Format(dateTimeField), Key: newKey()}
	if err == nil {
		v.Result, err = a.result(r.Context(), h.Shown)
	}
	if err == nil && v.Result.Document != nil {
		v.Story, err = a.story(r.Context(), h.Job, h.Shown.ID)
	}
	if err == nil {
		err = a.atPanel(r, &v)
	}
	if err != nil {
		a.fail(w, r, err)
		return
	}
	a.render(w, r, http.StatusOK, "work", view{Title: h.Job.Vehicle + ", " + h.Job.Panel, Place: "bench", Data: v})
}

// newKey makes the key of a note that is sent by a plain form: sending the page twice is one note.
func newKey() string {
	b := make([]byte, 10)
	rand.Read(b) // never fails on supported systems
	return hex.EncodeToString(b)
}

// part is where the time of a hit is booked.
func part(s plan.Stage, method string) string {
	if method == "pull" {
		return string(rates.Pull)
	}
	return string(map[plan.Stage]rates.Part{plan.Raise: rates.Raise, plan.Level: rates.Level, plan.Finish: rates.Finish}[s])
}

// atPanel fills in the hits, which of them is next, and what the script needs.
func (a *App) atPanel(r *http.Request, v *workView) error {
	set, err := a.bench.Settings(r.Context())
	if err != nil {
		return err
	}
	l := a.lang(r)
	said := v.Job.Record.Work.Said()
	want, _ := strconv.Atoi(r.URL.Query().Get("n"))
	glue, _ := set.Rack.GlueFor(v.Result.Offer.Plan.TempC)
	var last []job.HitDone
	for i, round := range v.Result.Offer.Plan.Rounds {
		for _, h := range round.Hits {
			p := planned{Hit: h, Round: i, Part: part(round.Stage, h.Method), How: how(h)}
			if d, ok := said[job.HitPlace{Capture: v.Shown.ID, N: h.N}]; ok {
				p.Said, p.Felt = d.Did, d.Felt
				v.Said++
				last = append(last, d)
			}
			if h.Method == "pull" {
				p.Glue = glue
			}
			if v.Now.N == 0 && p.Said == "" || h.N == want {
				v.Now = p
			}
			v.Hits = append(v.Hits, p)
		}
	}
	slices.SortFunc(last, func(a, b job.HitDone) int { return a.At.Compare(b.At) })
	hard := 0
	for _, d := range last[max(0, len(last)-lookBack):] {
		if d.Felt == job.Hard {
			hard++
		}
	}
	v.Hard = hard >= manyHard
	for _, s := range v.Job.Record.Work.Spans {
		if s.End.After(s.Start) {
			v.Spans = append(v.Spans, s)
		}
	}
	v.Data, err = v.script(l)
	return err
}

// script is what the page at the panel needs to go on without the network.
func (v workView) script(l words.Lang) (template.JS, error) {
	type round struct {
		Title string   `json:"title"`
		Stage string   `json:"stage"`
		Watch []string `json:"watch"`
	}
	doc := struct {
		Job     string    `json:"job"`
		Capture string    `json:"capture"`
		Rounds  []round   `json:"rounds"`
		Hits    []planned `json:"hits"`
		Noted   int       `json:"noted"` // length of the job's log
	}{Job: v.Job.ID, Capture: v.Shown.ID, Hits: slices.Clone(v.Hits), Noted: len(v.Job.Record.Work.Hits)}
	for _, r := range v.Result.Offer.Plan.Rounds {
		o := round{Title: l.T(r.Title), Stage: l.T(string(r.Stage))}
		for _, t := range r.Watch {
			o.Watch = append(o.Watch, l.T(t))
		}
		doc.Rounds = append(doc.Rounds, o)
	}
	for i := range doc.Hits {
		h := &doc.Hits[i]
		h.Method, h.Tool, h.Bar, h.Glue.Name, h.How = l.T(h.Method), l.T(h.Tool), l.T(h.Bar), l.T(h.Glue.Name), l.T(h.How)
	}
	b, err := json.Marshal(doc)
	return template.JS(b), err
}

// log merges notes into the job's log, however often somebody else saves in between. What cannot be right is told by its key.
func (a *App) log(ctx context.Context, id string, hits []job.HitDone, spans []job.Span) (job.Worklog, map[string]string, error) {
	captures, err := a.records.Captures(ctx, id)
	if err != nil {
		return job.Worklog{}, nil, err
	}
	for {
		j, err := a.records.Job(ctx, id)
		if err != nil {
			return job.Worklog{}, nil, err
		}
		refused, changed := map[string]string{}, false
		note := func(key string, hits []job.HitDone, spans []job.Span) {
			c, err := j.Record.Work.Merge(hits, spans, time.Now())
			if err != nil {
				refused[key] = err.Error()
			}
			changed = changed || c
		}
		for _, h := range hits {
			if !slices.ContainsFunc(captures, func(c job.Capture) bool { return c.ID == h.Capture }) {
				refused[h.Key] = "The plan of this hit was removed."
				continue
			}
			note(h.Key, []job.HitDone{h}, nil)
		}
		for _, s := range spans {
			note(s.Key, nil, []job.Span{s})
		}
		if !changed {
			return j.Record.Work, refused, nil
		}
		if len(hits) > 0 && (j.Step == job.Arrive || j.Step == job.Look || j.Step == job.Offer) {
			j.Step = job.Work
		}
		err = a.records.SaveJob(ctx, j)
		var between *job.ErrConflict
		if !errors.As(err, &between) {
			return j.Record.Work, refused, err
		}
	}
}

// maxLogBytes bounds what a device sends at once.
const maxLogBytes = 4 << 20

// workLog takes in what a device noted, perhaps while it was out of reach. The answer is the whole log as it stands now.
func (a *App) workLog(w http.ResponseWriter, r *http.Request) {
	var in struct {
		Hits  []job.HitDone `json:"hits"`
		Spans []job.Span    `json:"spans"`
	}
	type answer struct {
		Text    string            `json:"text,omitempty"`
		Hits    []job.HitDone     `json:"hits"`
		Spans   []job.Span        `json:"spans"`
		Refused map[string]string `json:"refused"`
	}
	l := a.lang(r)
	send := func(status int, v answer) {
		w.Header().Set("Content-Type", "application/json")
		w.Header().Set("Cache-Control", "no-store")
		w.WriteHeader(status)
		json.NewEncoder(w).Encode(v)
	}
	if err := json.NewDecoder(http.MaxBytesReader(w, r.Body, maxLogBytes)).Decode(&in); err != nil {
		send(http.StatusBadRequest, answer{Text: l.T("The notes of this device cannot be read. Reload the page.")})
		return
	}
	log, refused, err := a.log(r.Context(), r.PathValue("id"), in.Hits, in.Spans)
	if err != nil {
		status, text := plain(err)
		send(status, answer{Text: l.T(text)})
		return
	}
	for k, text := range refused {
		refused[k] = l.T(text)
	}
	send(http.StatusOK, answer{Hits: log.Hits, Spans: log.Spans, Refused: refused})
}

// workHit takes one hit by a plain form.
func (a *App) workHit(w http.ResponseWriter, r *http.Request) {
	if !a.form(w, r) {
		return
	}
	h := job.HitDone{Key: r.PostFormValue("key"), Capture: r.PostFormValue("capture"), Did: r.PostFormValue("did"), Part: r.PostFormValue("part"), At: time.Now()}
	h.N, _ = strconv.Atoi(r.PostFormValue("n"))
	h.Round, _ = strconv.Atoi(r.PostFormValue("round"))
	if h.Did == job.Hard {
		h.Did, h.Felt = job.Made, job.Hard
	}
	_, refused, err := a.log(r.Context(), r.PathValue("id"), []job.HitDone{h}, nil)
	if err == nil && refused[h.Key] != "" {
		err = &job.FieldError{Field: "hit", Text: refused[h.Key]}
	}
	if err != nil {
		a.fail(w, r, err)
		return
	}
	http.Redirect(w, r, "/jobs/"+r.PathValue("id")+"/work?c="+h.Capture, http.StatusSeeOther)
}

// dateTimeField is how browsers send a day with its time.
const dateTimeField = "2006-01-02T15:04"

// workSpan puts a time right by hand, adds one or takes one out.
func (a *App) workSpan(w http.ResponseWriter, r *http.Request) {
	if !a.form(w, r) {
		return
	}
	start, err := time.ParseInLocation(dateTimeField, r.PostFormValue("start"), time.Local)
	minutes := number(r.PostFormValue("minutes"))
	switch {
	case err != nil:
		err = &job.FieldError{Field: "start", Text: "Give the day and time when it began."}
	case !(minutes > 0 && minutes <= 24*60):
		err = &job.FieldError{Field: "minutes", Text: "Give the minutes it took, up to a day."}
	case !slices.Contains(rates.Parts, rates.Part(r.PostFormValue("part"))):
		err = &job.FieldError{Field: "part", Text: "Choose the part of the work."}
	}
	if r.PostFormValue("do") == "remove" {
		minutes = 0
	}
	s := job.Span{Key: r.PostFormValue("key"), Part: r.PostFormValue("part"), Start: start, End: start.Add(time.Duration(minutes * float64(time.Minute)))}
	if err == nil {
		err = a.change(r.Context(), r.PathValue("id"), func(j *job.Job) error { return j.Record.Work.Correct(s, time.Now()) })
	}
	if err != nil {
		a.fail(w, r, err)
		return
	}
	http.Redirect(w, r, "/jobs/"+r.PathValue("id")+"/work#times", http.StatusSeeOther)
}

// change applies a change that holds whatever others saved in between: it adds to the record or sets one field of it.
func (a *App) change(ctx context.Context, id string, f func(j *job.Job) error) error {
	for {
		j, err := a.records.Job(ctx, id)
		if err == nil {
			err = f(&j)
		}
		if err != nil {
			return err
		}
		err = a.records.SaveJob(ctx, j)
		var between *job.ErrConflict
		if !errors.As(err, &between) {
			return err
		}
	}
}

// round reads one round of a capture's plan as package tracing draws it.
func (a *App) round(r *http.Request) (tracing.Round, error) {
	var out tracing.Round
	c, err := a.records.Capture(r.Context(), r.PathValue("id"))
	if err != nil {
		return out, err
	}
	j, err := a.records.Job(r.Context(), c.JobID)
	if err != nil {
		return out, err
	}
	stored, err := inspection.Load(a.records.Folder(r.Context(), c.ID))
	if err != nil {
		return out, err
	}
	res, err := a.result(r.Context(), c)
	if err != nil {
		return out, err
	}
	i, err := strconv.Atoi(r.PathValue("round"))
	if err != nil || i < 0 || i >= len(res.Offer.Plan.Rounds) {
		return out, &job.FieldError{Field: "round", Text: "There is no such round in this plan. It may have been planned anew: go back to the work page."}
	}
	l := a.lang(r)
	p := res.Offer.Plan.Rounds[i]
	out.Panel, out.Title = j.Vehicle+", "+j.Panel, l.T(p.Title)
	for _, h := range p.Hits {
		lines := []string{l.T(h.Tool), l.Signed(h.LoadedUM) + " um " + l.T("under the tool") + ", " + l.Signed(h.ToUM) + " um " + l.T("after")}
		switch {
		case h.Sharp:
			lines[0] += ", " + l.T("held, sharpest tip")
		case h.Held:
			lines[0] += ", " + l.T("held")
		}
		out.Hits = append(out.Hits, tracing.Hit{N: h.N, XMM: h.XMM, YMM: h.YMM, Kind: h.Method, Lines: lines})
	}
	for _, k := range stored.Cards {
		out.Cards = append(out.Cards, tracing.Card{Letter: k.Letter, Symbol: k.OutlineMM})
	}
	for _, m := range stored.Marks {
		out.Marks = append(out.Marks, tracing.Outline{Name: m.ID, MM: m.OutlineMM})
	}
	return out, nil
}

// tracingPDF is a round at true size, to lay over the panel.
func (a *App) tracingPDF(w http.ResponseWriter, r *http.Request) {
	round, err := a.round(r)
	if err != nil {
		a.fail(w, r, err)
		return
	}
	pdf, err := tracing.PDF(round, r.FormValue("paper"))
	a.sendPDF(w, r, "tracing.pdf", pdf, err)
}

// tracingSVG is a round for the phone, with one hit pointed out.
func (a *App) tracingSVG(w http.ResponseWriter, r *http.Request) {
	round, err := a.round(r)
	if err != nil {
		a.fail(w, r, err)
		return
	}
	n, _ := strconv.Atoi(r.FormValue("n"))
	svg, err := tracing.SVG(round, tracing.Phone{N: n, AroundMM: number(r.FormValue("around"))})
	if err != nil {
		a.fail(w, r, &job.FieldError{Field: "n", Text: err.Error()})
		return
	}
	w.Header().Set("Content-Type", "image/svg+xml")
	// The drawing carries its own colours.
	w.Header().Set("Content-Security-Policy", "default-src 'none'; style-src 'unsafe-inline'; sandbox")
	w.Write(svg)
}

// worker serves the script that keeps the work page at hand without the network; it must lie at the root to see all pages.
func (a *App) worker(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Cache-Control", "no-cache")
	http.ServeFileFS(w, r, files, "assets/worker.js")
}
