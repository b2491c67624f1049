package store

import (
	"context"

	"fairmetal/job"
)

// firstMeasured numbers the measured captures of each job: the offer rests on the one with n = 1.
const firstMeasured = "(SELECT id, job_id, row_number() OVER (PARTITION BY job_id ORDER BY created_at, id) AS n FROM captures WHERE state = 'measured')"

// Worked lists what every job with a measured capture was forecast at and what it took, the newest first.
func (s *Store) Worked(ctx context.Context, limit int) ([]job.Worked, error) {
	rows, err := s.query(ctx, `SELECT j.id, j.number, j.kind, j.step, j.declined, j.worked_min, c.hours, c.hours_low, c.hours_high, c.total_minor, c.currency, c.answer, c.marks
		FROM `+firstMeasured+` f JOIN captures c ON c.id = f.id JOIN jobs j ON j.id = f.job_id WHERE f.n = 1 ORDER BY j.number DESC LIMIT ?`, limit)
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
	rows, err := s.query(ctx, `SELECT m.kind, count(*), count(DISTINCT f.job_id), avg(m.length_mm), avg(m.width_mm), avg(m.depth_um)
		FROM `+firstMeasured+` f JOIN marks m ON m.capture_id = f.id WHERE f.n = 1 GROUP BY m.kind ORDER BY count(*) DESC, m.kind`)
	return all(rows, err, func(r scanner) (job.MarkKind, error) {
		var k job.MarkKind
		err := r.Scan(&k.Kind, &k.Marks, &k.Jobs, &k.LengthMM, &k.WidthMM, &k.DepthUM)
		return k, err
	})
}
