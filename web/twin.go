package web

import (
	"context"
	"net/http"

	"fairmetal/job"
)

// twin is a measured capture of the vehicle's other side.
type twin struct {
	Job     job.Job
	Capture job.Capture
}

// twins are the newest measured photos of the other jobs that may be the job's panel on the other side.
func (a *App) twins(ctx context.Context, j job.Job) ([]twin, error) {
	if j.VehicleID == "" {
		return nil, nil
	}
	jobs, err := a.otherPanels(ctx, j)
	if err != nil {
		return nil, err
	}
	var ids []string
	for _, o := range jobs {
		if job.Twins(j, o) {
			ids = append(ids, o.ID)
		}
	}
	last, err := a.records.LastCaptures(ctx, ids)
	var out []twin
	for _, o := range jobs {
		if c := last[o.ID]; c.State == job.Measured {
			out = append(out, twin{o, c})
		}
	}
	return out, err
}

// measureOver queues the shown photos once more, over the other side.
func (a *App) measureOver(w http.ResponseWriter, r *http.Request) {
	if !a.form(w, r) {
		return
	}
	j, err := a.records.Job(r.Context(), r.PathValue("id"))
	shown := r.PostFormValue("capture")
	if err == nil {
		var c job.Capture
		if c, err = a.bench.MeasureOver(r.Context(), j.ID, shown, r.PostFormValue("twin")); err == nil {
			shown = c.ID
		}
	}
	a.seen(w, r, j, shown, "main", err)
}
