package store

import (
	"context"
	"errors"
	"strings"

	"fairmetal/job"
)

const captureColumns = "id, job_id, title, state, doing, progress, message, marks, deep_um, total_minor, currency, hours, hours_low, hours_high, answer, created_at"

func scanCapture(r scanner) (job.Capture, error) {
	var c job.Capture
	var state, created string
	err := r.Scan(&c.ID, &c.JobID, &c.Title, &state, &c.Doing, &c.Progress, &c.Message, &c.Marks, &c.DeepUM, &c.TotalMinor, &c.Currency, &c.Hours, &c.HoursLow, &c.HoursHigh, &c.Answer, &created)
	c.State, c.Created = job.State(state), parseTime(created)
	return c, missing(err)
}

// AddCapture stores a new capture, queued for measuring, together with its photos: all of it or nothing.
func (s *Store) AddCapture(ctx context.Context, jobID, title string, files map[string][]byte) (job.Capture, error) {
	c := job.Capture{ID: newID(), JobID: jobID, Title: title, State: job.Queued}
	kept, err := s.keep(ctx, files)
	if err != nil {
		return c, err
	}
	err = s.tx(ctx, func(tx runner) error {
		var id string
		if err := tx.row(ctx, "SELECT id FROM jobs WHERE id = ?", jobID).Scan(&id); err != nil {
			return missing(err)
		}
		now := s.stamp()
		c.Created = parseTime(now)
		if _, err := tx.exec(ctx, "INSERT INTO captures ("+captureColumns+") VALUES (?, ?, ?, ?, '', 0, '', 0, 0, 0, '', 0, 0, 0, '', ?)", c.ID, jobID, title, string(c.State), now); err != nil {
			return err
		}
		if _, err := tx.exec(ctx, "UPDATE jobs SET updated_at = ? WHERE id = ?", now, jobID); err != nil {
			return err
		}
		if err := list(ctx, tx, c.ID, kept, false); err != nil {
			return err
		}
		return s.queued(ctx, tx, c.ID, 0)
	})
	return c, err
}

// list books files of a capture; made tells results from photos.
func list(ctx context.Context, tx runner, captureID string, files []kept, made bool) error {
	for _, b := range files {
		if _, err := tx.exec(ctx, `INSERT INTO files (capture_id, name, made, sha256, size) VALUES (?, ?, ?, ?, ?)
			ON CONFLICT (capture_id, name) DO UPDATE SET made = excluded.made, sha256 = excluded.sha256, size = excluded.size`, captureID, b.name, flag(made), b.hash, b.size); err != nil {
			return err
		}
	}
	return nil
}

// Finish stores what measuring made of a capture: its results and its final state, and moves a job that waited for them on to the offer,
// all or nothing.
func (s *Store) Finish(ctx context.Context, c job.Capture, results map[string][]byte) error {
	kept, err := s.keep(ctx, results)
	if err != nil {
		return err
	}
	return s.tx(ctx, func(tx runner) error {
		now, err := s.heldStill(ctx, tx, c.ID)
		if err != nil {
			return err
		}
		r, err := tx.exec(ctx, "UPDATE captures SET state = ?, doing = '', progress = 1, message = ?, marks = ?, deep_um = ?, total_minor = ?, currency = ?, hours = ?, hours_low = ?, hours_high = ?, answer = ? WHERE id = ?",
			string(c.State), c.Message, c.Marks, c.DeepUM, c.TotalMinor, c.Currency, c.Hours, c.HoursLow, c.HoursHigh, c.Answer, c.ID)
		if err := found(r, err); err != nil {
			return err
		}
		if err := writeRun(ctx, tx, c.ID, run{"", 0, now, 0}); err != nil {
			return err
		}
		if _, err := tx.exec(ctx, "DELETE FROM marks WHERE capture_id = ?", c.ID); err != nil {
			return err
		}
		for _, m := range c.Sizes {
			if _, err := tx.exec(ctx, "INSERT INTO marks (capture_id, id, kind, length_mm, width_mm, depth_um) VALUES (?, ?, ?, ?, ?, ?)", c.ID, m.ID, m.Kind, m.LengthMM, m.WidthMM, m.DepthUM); err != nil {
				return err
			}
		}
		if c.State == job.Measured {
			if err := s.forward(ctx, tx, c.JobID); err != nil {
				return err
			}
		}
		j, err := s.sumCapture(ctx, tx, c.ID)
		if err != nil {
			return err
		}
		if err := s.sumMarks(ctx, tx, j.ID); err != nil {
			return err
		}
		return list(ctx, tx, c.ID, kept, true)
	})
}

// forward moves a job that waited for its measurement on to the offer.
func (s *Store) forward(ctx context.Context, tx runner, jobID string) error {
	r, err := tx.exec(ctx, "UPDATE jobs SET step = ?, rev = rev + 1, updated_at = ? WHERE id = ? AND step IN (?, ?)", string(job.Offer), s.stamp(), jobID, string(job.Arrive), string(job.Look))
	if errors.Is(found(r, err), ErrNotFound) {
		return nil // it stands elsewhere
	}
	if err != nil {
		return err
	}
	return s.note(ctx, tx, "job changed", jobID, string(job.Offer))
}

// SetOffer notes what the offer on a capture says now, for lists.
func (s *Store) SetOffer(ctx context.Context, c job.Capture) error {
	return s.tx(ctx, func(tx runner) error {
		r, err := tx.exec(ctx, "UPDATE captures SET total_minor = ?, currency = ?, hours = ?, hours_low = ?, hours_high = ?, answer = ? WHERE id = ?", c.TotalMinor, c.Currency, c.Hours, c.HoursLow, c.HoursHigh, c.Answer, c.ID)
		if err := found(r, err); err != nil {
			return err
		}
		_, err = s.sumCapture(ctx, tx, c.ID)
		return err
	})
}

// SetProgress notes how far measuring has come.
func (s *Store) SetProgress(ctx context.Context, id string, doing string, progress float64) error {
	return s.tx(ctx, func(tx runner) error {
		if _, err := s.heldStill(ctx, tx, id); err != nil {
			return err
		}
		r, err := tx.exec(ctx, "UPDATE captures SET state = ?, doing = ?, progress = ? WHERE id = ?", string(job.Measuring), doing, progress, id)
		return found(r, err)
	})
}

// NextQueued returns the capture that waits longest; ErrNotFound when none does.
func (s *Store) NextQueued(ctx context.Context) (job.Capture, error) {
	return scanCapture(s.row(ctx, "SELECT "+captureColumns+" FROM captures WHERE state = ? ORDER BY created_at, id LIMIT 1", string(job.Queued)))
}

// Capture reads one capture.
func (s *Store) Capture(ctx context.Context, id string) (job.Capture, error) {
	return scanCapture(s.row(ctx, "SELECT "+captureColumns+" FROM captures WHERE id = ?", id))
}

// Captures lists the captures of a job, oldest first.
func (s *Store) Captures(ctx context.Context, jobID string) ([]job.Capture, error) {
	rows, err := s.query(ctx, "SELECT "+captureColumns+" FROM captures WHERE job_id = ? ORDER BY created_at, id", jobID)
	return all(rows, err, scanCapture)
}

// LastCaptures returns the newest capture of each of the jobs, by job.
func (s *Store) LastCaptures(ctx context.Context, jobIDs []string) (map[string]job.Capture, error) {
	out := map[string]job.Capture{}
	if len(jobIDs) == 0 {
		return out, nil
	}
	in, args := oneOf(jobIDs)
	rows, err := s.query(ctx, "SELECT "+captureColumns+" FROM captures WHERE job_id"+in+" ORDER BY created_at, id", args...)
	list, err := all(rows, err, scanCapture)
	for _, c := range list {
		out[c.JobID] = c
	}
	return out, err
}

// Sizes lists the marks of a capture with their sizes.
func (s *Store) Sizes(ctx context.Context, captureID string) ([]job.Size, error) {
	sizes, err := s.SizesOf(ctx, []string{captureID})
	return sizes[captureID], err
}

// SizesOf lists the marks of several captures with their sizes, by capture.
func (s *Store) SizesOf(ctx context.Context, captureIDs []string) (map[string][]job.Size, error) {
	out := map[string][]job.Size{}
	if len(captureIDs) == 0 {
		return out, nil
	}
	in, args := oneOf(captureIDs)
	rows, err := s.query(ctx, "SELECT capture_id, id, kind, length_mm, width_mm, depth_um FROM marks WHERE capture_id"+in+" ORDER BY capture_id, id", args...)
	_, err = all(rows, err, func(r scanner) (job.Size, error) {
		var of string
		var z job.Size
		err := r.Scan(&of, &z.ID, &z.Kind, &z.LengthMM, &z.WidthMM, &z.DepthUM)
		out[of] = append(out[of], z)
		return z, err
	})
	return out, err
}

// oneOf asks for one of the values, of which there is at least one.
func oneOf(values []string) (in string, args []any) {
	for _, v := range values {
		args = append(args, v)
	}
	return " IN (?" + strings.Repeat(", ?", len(values)-1) + ")", args
}
