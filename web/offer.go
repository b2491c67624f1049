package web

import (
	"net/http"

	"fairmetal/job"
)

// offerView is the page of the step.
type offerView struct {
	jobHead
	Result result
}

func (a *App) offerPage(w http.ResponseWriter, r *http.Request) {
	h, err := a.head(r, job.Offer)
	v := offerView{jobHead: h}
	if err == nil {
		v.Result, err = a.result(r.Context(), h.Shown)
	}
	if err != nil {
		a.fail(w, r, err)
		return
	}
	a.render(w, r, http.StatusOK, "offer", view{Title: h.Job.Vehicle + ", " + h.Job.Panel, Place: "bench", Data: v})
}
