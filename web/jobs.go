package web

import (
	"net/http"
	"net/url"

	"fairmetal/job"
)

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
	to := url.URL{Path: "/jobs/" + j.ID + "/" + string(j.Step.Page()), RawQuery: r.URL.RawQuery}
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
	http.Redirect(w, r, "/jobs/"+j.ID+"/"+string(j.Step.Page()), http.StatusSeeOther)
}
