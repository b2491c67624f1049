package web

import (
	"net/http"

	"fairmetal/job"
	"fairmetal/store"
)

// card is a job on the bench.
type card struct {
	job.Job
	Last job.Capture
	Seen bool // has a capture
}

// column is one step on the bench.
type column struct {
	Step  job.Step
	Cards []card
	All   int // jobs at this step, shown or not
}

// benchView is the bench: jobs by where they stand, or those that were searched for.
type benchView struct {
	Columns []column
	Empty   bool
	Text    string
	Only    job.Step
}

// Cards of a step on the bench: the last changed; all of them where one step is asked for.
const (
	benchCards = 12
	stepCards  = 100
)

func (a *App) benchPage(w http.ResponseWriter, r *http.Request) {
	ctx := r.Context()
	v := benchView{Text: r.FormValue("q"), Only: job.Step(r.FormValue("step"))}
	counts, err := a.records.CountJobs(ctx, store.Query{Text: v.Text})
	if err != nil {
		a.fail(w, r, err)
		return
	}
	v.Empty = len(counts) == 0 && v.Text == ""
	var ids []string
	for _, s := range job.Steps {
		if counts[s] == 0 || v.Only != "" && v.Only != s {
			continue
		}
		q := store.Query{Text: v.Text, Step: s, Limit: benchCards}
		if v.Only == s {
			q.Limit = stepCards
		}
		jobs, err := a.records.FindJobs(ctx, q)
		if err != nil {
			a.fail(w, r, err)
			return
		}
		c := column{Step: s, All: counts[s]}
		for _, j := range jobs {
			c.Cards = append(c.Cards, card{Job: j})
			ids = append(ids, j.ID)
		}
		v.Columns = append(v.Columns, c)
	}
	last, err := a.records.LastCaptures(ctx, ids)
	if err != nil {
		a.fail(w, r, err)
		return
	}
	for _, c := range v.Columns {
		for i := range c.Cards {
			c.Cards[i].Last, c.Cards[i].Seen = last[c.Cards[i].ID], last[c.Cards[i].ID].ID != ""
		}
	}
	a.render(w, r, http.StatusOK, "bench", view{Title: "Bench", Place: "bench", Data: v})
}
