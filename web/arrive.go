package web

import (
	"net/http"

	"fairmetal/job"
)

// arriveView is the page of the step.
type arriveView struct {
	jobHead
	Result result
}

func (a *App) arrivePage(w http.ResponseWriter, r *http.Request) {
	h, err := a.head(r, job.Arrive)
	v := arriveView{jobHead: h}
	if err == nil {
		v.Result, err = a.result(r.Context(), h.Shown)
	}
	if err != nil {
		a.fail(w, r, err)
		return
	}
	a.render(w, r, http.StatusOK, "arrive", view{Title: h.Job.Vehicle + ", " + h.Job.Panel, Place: "bench", Data: v})
}
