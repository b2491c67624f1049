package workshop

import (
	"context"
	"errors"
	"time"

	"fairmetal/job"
	"fairmetal/store"
)

// MakeLink makes the code by which a customer sees and accepts the job's quote; an earlier code ends with it.
func (w *Workshop) MakeLink(ctx context.Context, jobID string) (code string, until time.Time, err error) {
	j, err := w.Store.Job(ctx, jobID)
	if err != nil {
		return "", until, err
	}
	if j.Record.Deal.Paper == "" {
		return "", until, &job.FieldError{Field: "quote", Text: "Make the quote first."}
	}
	set, err := w.Settings(ctx)
	if err != nil {
		return "", until, err
	}
	paper, err := w.Store.Paper(ctx, j.Record.Deal.Paper)
	if err != nil {
		return "", until, err
	}
	until = paper.Created.AddDate(0, 0, set.House.QuoteDays)
	code, link := job.NewLink(j.Number, until)
	return code, until, w.alter(ctx, j.ID, func(j *job.Job) bool {
		j.Record.Deal.Link = link
		return true
	})
}

// ErrNoLink says that a code opens nothing, or no more.
var ErrNoLink = errors.New("this link is not valid or has ended; ask the workshop for a new one")

// ByLink finds the job and the quote that a code opens.
func (w *Workshop) ByLink(ctx context.Context, code string, now time.Time) (job.Job, job.Paper, error) {
	n := job.LinkNumber(code)
	if n == 0 {
		return job.Job{}, job.Paper{}, ErrNoLink
	}
	j, err := w.Store.JobNumbered(ctx, n)
	if errors.Is(err, store.ErrNotFound) || err == nil && (!j.Record.Deal.Link.Opens(code) || now.After(j.Record.Deal.Link.Until)) {
		return job.Job{}, job.Paper{}, ErrNoLink
	}
	if err != nil {
		return j, job.Paper{}, err
	}
	p, err := w.Store.Paper(ctx, j.Record.Deal.Paper)
	return j, p, err
}

// Accept notes the customer's yes to the job's quote, for all jobs that the quote is about.
func (w *Workshop) Accept(ctx context.Context, jobID string, s job.Signature, how string) error {
	j, err := w.Store.Job(ctx, jobID)
	if err != nil {
		return err
	}
	paper := j.Record.Deal.Paper
	if paper == "" {
		return &job.FieldError{Field: "quote", Text: "Make the quote first."}
	}
	about := []string{j.ID}
	if j.PersonID != "" {
		others, err := w.Store.FindJobs(ctx, store.Query{PersonID: j.PersonID, Limit: 10000})
		if err != nil {
			return err
		}
		for _, o := range others {
			if o.ID != j.ID && o.Record.Deal.Paper == paper {
				about = append(about, o.ID)
			}
		}
	}
	for _, id := range about {
		err := w.alter(ctx, id, func(j *job.Job) bool {
			if j.Record.Deal.Paper != paper || j.Record.Deal.Accepted.Given() {
				return false
			}
			j.Record.Deal.Accepted, j.Record.Deal.How = s, how
			if j.Step == job.Arrive || j.Step == job.Look || j.Step == job.Offer {
				j.Step = job.Work
			}
			return true
		})
		if err != nil {
			return err
		}
	}
	return w.Store.SetPaperState(ctx, paper, "accepted")
}
