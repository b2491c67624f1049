package store

import (
	"context"

	"fairmetal/job"
)

// firstMeasured is the capture of a job that its offer rests on.
const firstMeasured = "(SELECT f.id FROM captures f WHERE f.job_id = j.id AND f.state = 'measured' ORDER BY f.created_at, f.id LIMIT 1)"

// Worked lists what every job with a measured capture was forecast at and what it took, the newest first.
func (s *Store) Worked(ctx context.Context, limit int) ([]job.Worked, error) {
	rows, err := s.query(ctx, `SELECT j.id, j.number, j.kind, j.step, j.declined, j.worked_min, c.hours, c.hours_low, c.hours_high, c.total_minor, c.currency, c.answer, c.marks
		FROM jobs j JOIN captures c ON c.id = `+firstMeasured+` ORDER BY j.number DESC LIMIT ?`, limit)
	return all(rows, err, func(r scanner) (job.Worked, error) {
		var w job.Worked
		var step string
		err := r.Scan(&w.ID, &w.Number, &w.Kind, &step, &w.Declined, &w.Minutes, &w.Hours, &w.HoursLow, &w.HoursHigh, &w.TotalMinor, &w.Currency, &w.Answer, &w.Marks)
		w.Step = job.Step(step)
		return w, err
	})
}

// MarkKinds counts the marks that jobs came with, by kind.
func (s *Store) MarkKinds(ctx context.Context) ([]job.MarkKind, error) {
	rows, err := s.query(ctx, `SELECT m.kind, count(*), count(DISTINCT j.id), avg(m.length_mm), avg(m.width_mm), avg(m.depth_um)
		FROM jobs j JOIN marks m ON m.capture_id = `+firstMeasured+` GROUP BY m.kind ORDER BY count(*) DESC, m.kind`)
	return all(rows, err, func(r scanner) (job.MarkKind, error) {
		var k job.MarkKind
		err := r.Scan(&k.Kind, &k.Marks, &k.Jobs, &k.LengthMM, &k.WidthMM, &k.DepthUM)
		return k, err
	})
}
