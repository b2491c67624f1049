package workshop

import (
	"context"
	"errors"
	"io/fs"
	"log/slog"

	"fairmetal/compare"
	"fairmetal/inspection"
	"fairmetal/job"
	"fairmetal/metal"
	"fairmetal/offer"
	"fairmetal/plan"
	"fairmetal/register"
	"fairmetal/store"
)

// Story is what the rounds that were worked before a capture have told; one without hits where none were noted between two captures.
func (w *Workshop) Story(ctx context.Context, jobID, captureID string) (compare.Story, error) {
	j, err := w.Store.Job(ctx, jobID)
	if err != nil {
		return compare.Story{}, err
	}
	stored, err := inspection.Load(w.Store.Folder(ctx, captureID))
	if err != nil {
		return compare.Story{}, err
	}
	return w.story(ctx, j, captureID, stored)
}

// story takes the hits that were noted on the plan of each measured capture as the round before the next. Where the cards were moved the later
// surface is laid onto the earlier one, and what was told before, in the old frame, is left out.
func (w *Workshop) story(ctx context.Context, j job.Job, captureID string, last *inspection.Stored) (compare.Story, error) {
	var none compare.Story
	set, err := w.Settings(ctx)
	if err != nil {
		return none, err
	}
	captures, err := w.Store.Captures(ctx, j.ID)
	if err != nil {
		return none, err
	}
	f := facts(j)
	work := compare.Work{Film: metal.Film{ThicknessUM: f.FilmUM, Refinish: f.Refinish}, Rack: set.Rack}
	said := j.Record.Work.Said()
	var before *inspection.Stored
	var made plan.Plan
	var id string
	for _, c := range captures {
		if c.State != job.Measured && c.ID != captureID {
			continue
		}
		after := last
		if c.ID != captureID {
			if after, err = inspection.Load(w.Store.Folder(ctx, c.ID)); err != nil {
				return none, err
			}
		}
		var round plan.Round
		for _, r := range made.Rounds {
			for _, h := range r.Hits {
				if said[job.HitPlace{Capture: id, N: h.N}].Did == job.Made {
					round.Stage = r.Stage
					round.Hits = append(round.Hits, h)
				}
			}
		}
		if len(round.Hits) > 0 {
			d := compare.Done{Round: round, Before: before.Surface, After: after.Surface}
			if r := register.Between(before.Side(), after.Side()); r.Sure && r.Moved {
				d.After = register.Onto(after.Surface, r.Move, register.Around(after.Surface.Grid, r.Move))
				work.Done = nil
			}
			if work.Panel.ThicknessMM == 0 {
				if work.Panel, err = f.Panel(before); err != nil {
					return none, err
				}
				work.Crown, work.Access = f.Crown(before), f.Access
				work.Forecast, work.TempC = made.Forecast, made.TempC
			}
			work.Done = append(work.Done, d)
		}
		if c.ID == captureID {
			break
		}
		o, err := w.offered(ctx, j.ID, c.ID)
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return none, err
		}
		before, made, id = after, o.Plan, c.ID
	}
	if len(work.Done) == 0 {
		return none, nil
	}
	work.Marks = last.Marks
	return compare.Tell(work)
}

// offered is the offer on a capture as it stands.
func (w *Workshop) offered(ctx context.Context, jobID, captureID string) (offer.Offer, error) {
	body, err := w.Store.Attachment(ctx, jobID, StandingName(captureID))
	if errors.Is(err, store.ErrNotFound) {
		return Offer(w.Store.Folder(ctx, captureID))
	}
	if err != nil {
		return offer.Offer{}, err
	}
	st, err := ReadStanding(body)
	return st.Offer, err
}

// knowing are the facts with what the rounds before a capture have told of the metal. Rounds that cannot be read leave the facts as they are: a capture
// is measured and planned for all the same.
func (w *Workshop) knowing(ctx context.Context, j job.Job, captureID string, stored *inspection.Stored) offer.Facts {
	f := facts(j)
	if len(j.Record.Work.Hits) == 0 {
		return f
	}
	s, err := w.story(ctx, j, captureID, stored)
	if err != nil {
		slog.Warn("what the metal told", "capture", captureID, "error", err)
		return f
	}
	if s.Hits > 0 {
		f.YieldMPa, f.Shape = s.YieldMPa, s.Shape
	}
	return f
}
