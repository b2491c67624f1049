package web

import (
	"net/http"

	"fairmetal/job"
)

// workView is the page of the step.
type workView struct {
	jobHead
	Result result
}

func (a *App) workPage(w http.ResponseWriter, r *http.Request) {
	h, err := a.head(r, job.Work)
	v := workView{jobHead: h}
	if err == nil {
		v.Result, err = a.result(r.Context(), h.Shown)
	}
	if err != nil {
		a.fail(w, r, err)
		return
	}
	a.render(w, r, http.StatusOK, "work", view{Title: h.Job.Vehicle + ", " + h.Job.Panel, Place: "bench", Data: v})
}
