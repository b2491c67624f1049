package web

import (
	"net/http"

	"fairmetal/job"
)

// handOverView is the page of the step.
type handOverView struct {
	jobHead
	Result result
}

func (a *App) handOverPage(w http.ResponseWriter, r *http.Request) {
	h, err := a.head(r, job.HandOver)
	v := handOverView{jobHead: h}
	if err == nil {
		v.Result, err = a.result(r.Context(), h.Shown)
	}
	if err != nil {
		a.fail(w, r, err)
		return
	}
	a.render(w, r, http.StatusOK, "handover", view{Title: h.Job.Vehicle + ", " + h.Job.Panel, Place: "bench", Data: v})
}
