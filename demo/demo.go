// Package demo makes the demo workshop: our invented delivery vans at different points of a job, their captures rendered by our own
// ray tracer and measured by the real thing.
package demo

import (
	"context"
	"fmt"

	"fairmetal/house"
	"fairmetal/job"
	"fairmetal/scene"
	"fairmetal/workshop"
)

// entry is a job of the demo with its captures in order.
type entry struct {
	job      job.Job
	captures []shot
}

type shot struct{ key, title string }

// jobs of the fleet, invented.
var jobs = []entry{
	{job.Job{Vehicle: "Van 05", Panel: "Tailgate", Kind: "tailgate", Customer: "Lindenhof Parcels", Material: "aluminium", SheetMM: 1.0, FilmUM: 118, Step: job.HandOver, Notes: "Low bollard in the yard."},
		[]shot{{"tailgate-before", "before"}, {"tailgate-done", "finished"}}},
	{job.Job{Vehicle: "Van 09", Panel: "Front door, left", Kind: "door", Customer: "Lindenhof Parcels", Material: "steel", SheetMM: 0.7, FilmUM: 112, Step: job.Work},
		[]shot{{"door-before", "before"}, {"door-raised", "after raising"}}},
	{job.Job{Vehicle: "Van 21", Panel: "Front wing, right", Kind: "wing", Customer: "Brook Street Bakery", Material: "steel", SheetMM: 0.7, FilmUM: 460, Step: job.Offer, Notes: "Painted before, reads thick."},
		[]shot{{"wing-scrape", "before"}}},
	{job.Job{Vehicle: "Van 03", Panel: "Bonnet", Kind: "bonnet", Customer: "Lindenhof Parcels", Material: "steel", SheetMM: 0.7, FilmUM: 108, Step: job.Look},
		[]shot{{"bonnet-four", "before"}}},
	{job.Job{Vehicle: "Van 12", Panel: "Roof", Kind: "roof", Customer: "Lindenhof Parcels", Material: "steel", SheetMM: 0.65, FilmUM: 115, Step: job.Look, Notes: "Hail last night."},
		[]shot{{"roof-hail", "before"}}},
}

// House is the demo's workshop, invented.
func House() house.House {
	h := house.Default()
	h.Name, h.Street, h.Postcode, h.City = "Fennel Yard Dents", "Fennel Yard 4", "12345", "Musterstadt"
	h.Phone, h.Email = "0000 123456", "hello@fennelyard.example"
	return h
}

// Records is what the demo needs of the store beside the workshop's own.
type Records interface {
	AddJob(ctx context.Context, j job.Job) (job.Job, error)
	NextQueued(ctx context.Context) (job.Capture, error)
}

// Made is one capture of the demo as measured.
type Made struct {
	Job     job.Job
	Capture job.Capture
}

// Fill renders and measures the fleet into an empty workshop. progress is told what is being done and how much of the whole is done.
func Fill(ctx context.Context, w *workshop.Workshop, r Records, progress func(doing string, done float64)) ([]Made, error) {
	specs := map[string]scene.Spec{}
	for _, n := range scene.Fleet() {
		specs[n.Key] = n.Spec
	}
	total, done := 0, 0.0
	for _, e := range jobs {
		total += len(e.captures)
	}
	step := func(text string, share float64) { progress(text, (done+share)/float64(total)) }
	var out []Made
	for _, e := range jobs {
		j, err := r.AddJob(ctx, e.job)
		if err != nil {
			return nil, err
		}
		for _, s := range e.captures {
			if err := ctx.Err(); err != nil {
				return nil, err
			}
			name := e.job.Vehicle + ", " + e.job.Panel + ": " + s.title
			c, err := scene.Render(specs[s.key], func(k, n int) { step("photographing "+name, 0.6*float64(k)/float64(n)) })
			if err != nil {
				return nil, fmt.Errorf("%s: %w", s.key, err)
			}
			added, err := w.Store.AddCapture(ctx, j.ID, s.title, c.Files)
			if err != nil {
				return nil, err
			}
			step("measuring "+name, 0.65)
			if err := w.Measure(ctx, added); err != nil {
				return nil, err
			}
			got, err := w.Store.Capture(ctx, added.ID)
			if err != nil {
				return nil, err
			}
			done++
			step("measured "+name, 0)
			out = append(out, Made{j, got})
		}
	}
	return out, nil
}
