package web

import (
	"net/http"

	"fairmetal/job"
)

// proveView is the page of the step.
type proveView struct {
	jobHead
	Result result
}

func (a *App) provePage(w http.ResponseWriter, r *http.Request) {
	h, err := a.head(r, job.Prove)
	v := proveView{jobHead: h}
	if err == nil {
		v.Result, err = a.result(r.Context(), h.Shown)
	}
	if err != nil {
		a.fail(w, r, err)
		return
	}
	a.render(w, r, http.StatusOK, "prove", view{Title: h.Job.Vehicle + ", " + h.Job.Panel, Place: "bench", Data: v})
}
