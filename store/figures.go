package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"

	"fairmetal/job"
)

// basis is the capture that a job's offer and figures rest on: its first measured one.
const basis = " FROM captures WHERE job_id = ? AND state = 'measured' ORDER BY created_at, id LIMIT 1"

// sumJob writes a job's row of the figures.
func (s *Store) sumJob(ctx context.Context, tx runner, j job.Job) error {
	w := job.Worked{Kind: j.Kind, Step: j.Step, Declined: j.Declined, Minutes: j.Record.Work.Sum()}
	err := tx.row(ctx, "SELECT hours, hours_low, hours_high, total_minor, currency, answer"+basis, j.ID).Scan(&w.Hours, &w.HoursLow, &w.HoursHigh, &w.TotalMinor, &w.Currency, &w.Answer)
	measured := err == nil
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return err
	}
	sum := w.Sum()
	parts, err := json.Marshal(j.Record.Work.Parts())
	if err != nil {
		return err
	}
	_, err = tx.exec(ctx, `INSERT INTO sums (job_id, measured, kind, currency, declined, timed, inside, forecast_h, worked_h, total_minor, parts) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)
		ON CONFLICT (job_id) DO UPDATE SET measured = excluded.measured, kind = excluded.kind, currency = excluded.currency, declined = excluded.declined, timed = excluded.timed, inside = excluded.inside,
			forecast_h = excluded.forecast_h, worked_h = excluded.worked_h, total_minor = excluded.total_minor, parts = excluded.parts`,
		j.ID, flag(measured), sum.Kind, sum.Currency, sum.Declined, sum.Timed, sum.Inside, sum.Forecast, sum.Worked, sum.TotalMinor, string(parts))
	return err
}

// sumCapture writes the row of the job that a capture belongs to.
func (s *Store) sumCapture(ctx context.Context, tx runner, captureID string) (job.Job, error) {
	j, err := scanJob(tx.row(ctx, "SELECT "+jobColumns+" FROM jobs WHERE id = (SELECT job_id FROM captures WHERE id = ?)", captureID))
	if err != nil {
		return j, err
	}
	return j, s.sumJob(ctx, tx, j)
}

// sumMarks writes the rows of the marks that a job came with.
func (s *Store) sumMarks(ctx context.Context, tx runner, jobID string) error {
	if _, err := tx.exec(ctx, "DELETE FROM mark_sums WHERE job_id = ?", jobID); err != nil {
		return err
	}
	_, err := tx.exec(ctx, `INSERT INTO mark_sums (job_id, kind, marks, length_mm, width_mm, depth_um)
		SELECT CAST(? AS text), kind, count(*), sum(length_mm), sum(width_mm), sum(depth_um) FROM marks WHERE capture_id = (SELECT id`+basis+`) GROUP BY kind`, jobID, jobID)
	return err
}

// sumMissing writes the rows of jobs that have none: all of them after the tables were new or came from a backup.
func (s *Store) sumMissing(ctx context.Context) error {
	const without = " FROM jobs WHERE NOT EXISTS (SELECT 1 FROM sums WHERE job_id = jobs.id)"
	var some bool
	if err := s.row(ctx, "SELECT EXISTS (SELECT 1"+without+")").Scan(&some); err != nil || !some {
		return err
	}
	return s.tx(ctx, func(tx runner) error {
		rows, err := tx.query(ctx, "SELECT "+jobColumns+without)
		list, err := all(rows, err, scanJob)
		if err != nil {
			return err
		}
		for _, j := range list {
			if err := s.sumJob(ctx, tx, j); err != nil {
				return err
			}
			if err := s.sumMarks(ctx, tx, j.ID); err != nil {
				return err
			}
		}
		return nil
	})
}

// Sums adds up what the jobs with a measured capture came to, by kind of panel and currency.
func (s *Store) Sums(ctx context.Context) ([]job.Sum, error) {
	rows, err := s.query(ctx, `SELECT kind, currency, count(*), CAST(sum(declined) AS bigint), CAST(sum(timed) AS bigint), CAST(sum(inside) AS bigint), sum(forecast_h), sum(worked_h), CAST(sum(total_minor) AS bigint)
		FROM sums WHERE measured = 1 GROUP BY kind, currency ORDER BY kind, currency`)
	return all(rows, err, func(r scanner) (job.Sum, error) {
		var m job.Sum
		err := r.Scan(&m.Kind, &m.Currency, &m.Jobs, &m.Declined, &m.Timed, &m.Inside, &m.Forecast, &m.Worked, &m.TotalMinor)
		return m, err
	})
}

// MarkKinds counts the marks that jobs came with, by kind.
func (s *Store) MarkKinds(ctx context.Context) ([]job.MarkKind, error) {
	rows, err := s.query(ctx, `SELECT kind, CAST(sum(marks) AS bigint), count(*), sum(length_mm) / sum(marks), sum(width_mm) / sum(marks), sum(depth_um) / sum(marks)
		FROM mark_sums GROUP BY kind ORDER BY sum(marks) DESC, kind`)
	return all(rows, err, func(r scanner) (job.MarkKind, error) {
		var k job.MarkKind
		err := r.Scan(&k.Kind, &k.Marks, &k.Jobs, &k.LengthMM, &k.WidthMM, &k.DepthUM)
		return k, err
	})
}

// Timed lists what was made in how long in the jobs of a step, the last changed first.
func (s *Store) Timed(ctx context.Context, step job.Step, limit int) ([]job.Timed, error) {
	rows, err := s.query(ctx, "SELECT j.number, j.vehicle, j.panel, s.parts FROM jobs j JOIN sums s ON s.job_id = j.id WHERE j.step = ? ORDER BY j.updated_at DESC, j.number DESC LIMIT ?", string(step), limit)
	return all(rows, err, func(r scanner) (job.Timed, error) {
		var t job.Timed
		var parts string
		if err := r.Scan(&t.Number, &t.Vehicle, &t.Panel, &parts); err != nil {
			return t, err
		}
		return t, json.Unmarshal([]byte(parts), &t.Parts)
	})
}
