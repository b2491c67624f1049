package web

import (
	"errors"
	"net/http"
	"net/url"

	"fairmetal/job"
	"fairmetal/offer"
)

// jobForm is the form for a job with what was typed and what is wrong.
type jobForm struct {
	Job     job.Job
	Field   string
	Problem string
	Kinds   []string
}

func (a *App) newJobPage(w http.ResponseWriter, r *http.Request) {
	a.render(w, r, http.StatusOK, "newjob", view{Title: "New job", Place: "bench", Data: jobForm{Job: job.Job{Material: "steel"}, Kinds: job.Kinds}})
}

func (a *App) addJob(w http.ResponseWriter, r *http.Request) {
	if !a.form(w, r) {
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
		a.render(w, r, http.StatusUnprocessableEntity, "newjob", view{Title: "New job", Place: "bench", Data: jobForm{j, field.Field, field.Text, job.Kinds}})
		return
	}
	if err != nil {
		a.fail(w, r, err)
		return
	}
	http.Redirect(w, r, "/jobs/"+saved.ID+"/capture", http.StatusSeeOther)
}

// jobHead is what every page of a job shows on top: the job, its steps, its captures and which of them is shown.
type jobHead struct {
	Job      job.Job
	Here     job.Step // the page
	Steps    []stepView
	Captures []job.Capture
	Papers   []job.Paper
	Shown    job.Capture
	Has      bool // a capture is shown
}

// stepView is a step in the row of steps.
type stepView struct {
	Step  job.Step
	Here  bool
	Stand bool // the job stands here
	Needs []string
}

// Needs is what the page's own step still lacks.
func (h jobHead) Needs() []string {
	for _, s := range h.Steps {
		if s.Here {
			return s.Needs
		}
	}
	return nil
}

// Next is the step after the page's.
func (h jobHead) Next() job.Step {
	for i, s := range job.Steps[:len(job.Steps)-1] {
		if s == h.Here {
			return job.Steps[i+1]
		}
	}
	return ""
}

// head reads a job for one of its pages; ?c= picks the capture, the last one is the usual.
func (a *App) head(r *http.Request, here job.Step) (jobHead, error) {
	ctx := r.Context()
	h := jobHead{Here: here}
	var err error
	if h.Job, err = a.records.Job(ctx, r.PathValue("id")); err != nil {
		return h, err
	}
	if h.Captures, err = a.records.Captures(ctx, h.Job.ID); err != nil {
		return h, err
	}
	if h.Papers, err = a.records.Papers(ctx, h.Job.ID, 200); err != nil {
		return h, err
	}
	needs := h.Job.Needs(h.Captures, h.Papers)
	for _, s := range job.Steps {
		h.Steps = append(h.Steps, stepView{s, s == here, s == h.Job.Step, needs[s]})
	}
	want := r.URL.Query().Get("c")
	for _, c := range h.Captures {
		if c.ID == want || want == "" {
			h.Shown, h.Has = c, true
		}
	}
	return h, nil
}

// jobPage leads to the step where the job stands.
func (a *App) jobPage(w http.ResponseWriter, r *http.Request) {
	j, err := a.records.Job(r.Context(), r.PathValue("id"))
	if err != nil {
		a.fail(w, r, err)
		return
	}
	to := url.URL{Path: "/jobs/" + j.ID + "/" + string(j.Step), RawQuery: r.URL.RawQuery}
	http.Redirect(w, r, to.String(), http.StatusSeeOther)
}

// setStep moves a job to a step and shows it.
func (a *App) setStep(w http.ResponseWriter, r *http.Request) {
	if !a.form(w, r) {
		return
	}
	j, err := a.records.Job(r.Context(), r.PathValue("id"))
	if err == nil {
		j.Step = job.Step(r.PostFormValue("step"))
		err = a.records.SaveJob(r.Context(), j)
	}
	if err != nil {
		a.fail(w, r, err)
		return
	}
	http.Redirect(w, r, "/jobs/"+j.ID+"/"+string(j.Step), http.StatusSeeOther)
}
