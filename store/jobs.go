package store

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"

	"fairmetal/job"
)

// change takes the next revision of a record inside a change; rev must be the one that was read, else it is a conflict.
func change(ctx context.Context, tx runner, table, id string, rev int64, what string) error {
	var now int64
	if err := tx.row(ctx, "SELECT rev FROM "+table+" WHERE id = ?", id).Scan(&now); err != nil {
		return missing(err)
	}
	if now != rev {
		return &job.ErrConflict{What: what}
	}
	_, err := tx.exec(ctx, "UPDATE "+table+" SET rev = rev + 1 WHERE id = ?", id)
	return err
}

// ErrAt says which of several records could not be saved, counted from 0; none of them was.
type ErrAt struct {
	At  int
	Err error
}

func (e *ErrAt) Error() string { return e.Err.Error() }
func (e *ErrAt) Unwrap() error { return e.Err }

// saveAll saves several records, all or nothing.
func saveAll[T any](ctx context.Context, s *Store, list []T, save func(tx runner, v *T) error) error {
	return s.tx(ctx, func(tx runner) error {
		for i := range list {
			v := list[i]
			if err := save(tx, &v); err != nil {
				return &ErrAt{i, err}
			}
		}
		return nil
	})
}

// SaveJobs adds the jobs without an ID and saves the others, all or nothing; what fails is an *ErrAt.
func (s *Store) SaveJobs(ctx context.Context, list []job.Job) error {
	return saveAll(ctx, s, list, func(tx runner, j *job.Job) error {
		if j.ID == "" {
			return s.addJob(ctx, tx, j)
		}
		return s.saveJob(ctx, tx, *j)
	})
}

// AddJob checks and stores a new job and returns it with its number.
func (s *Store) AddJob(ctx context.Context, j job.Job) (job.Job, error) {
	err := s.tx(ctx, func(tx runner) error { return s.addJob(ctx, tx, &j) })
	return j, err
}

func (s *Store) addJob(ctx context.Context, tx runner, j *job.Job) error {
	if err := j.Check(); err != nil {
		return err
	}
	record, err := json.Marshal(j.Record)
	if err != nil {
		return err
	}
	j.ID, j.Rev = newID(), 1
	if err := tx.row(ctx, "SELECT coalesce(max(number), 0) + 1 FROM jobs").Scan(&j.Number); err != nil {
		return err
	}
	now := s.stamp()
	j.Created, j.Updated = parseTime(now), parseTime(now)
	if _, err := tx.exec(ctx, `INSERT INTO jobs (id, number, rev, person_id, vehicle_id, customer, vehicle, panel, kind, material, sheet_mm, film_um, no_reach, notes, step, declined, record, created_at, updated_at)
		VALUES (?, ?, 1, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
		j.ID, j.Number, j.PersonID, j.VehicleID, j.Customer, j.Vehicle, j.Panel, j.Kind, j.Material, j.SheetMM, j.FilmUM, flag(j.NoReach), j.Notes, string(j.Step), flag(j.Declined), string(record), now, now); err != nil {
		return err
	}
	if err := s.sumJob(ctx, tx, *j); err != nil {
		return err
	}
	return s.note(ctx, tx, "job added", j.ID, j.Vehicle+", "+j.Panel)
}

// SaveJob checks and stores a changed job; j.Rev must be the revision that was read.
func (s *Store) SaveJob(ctx context.Context, j job.Job) error {
	return s.tx(ctx, func(tx runner) error { return s.saveJob(ctx, tx, j) })
}

func (s *Store) saveJob(ctx context.Context, tx runner, j job.Job) error {
	if err := j.Check(); err != nil {
		return err
	}
	record, err := json.Marshal(j.Record)
	if err != nil {
		return err
	}
	if err := change(ctx, tx, "jobs", j.ID, j.Rev, "job"); err != nil {
		return err
	}
	if _, err := tx.exec(ctx, `UPDATE jobs SET person_id = ?, vehicle_id = ?, customer = ?, vehicle = ?, panel = ?, kind = ?, material = ?, sheet_mm = ?, film_um = ?, no_reach = ?, notes = ?, step = ?, declined = ?, record = ?, updated_at = ? WHERE id = ?`,
		j.PersonID, j.VehicleID, j.Customer, j.Vehicle, j.Panel, j.Kind, j.Material, j.SheetMM, j.FilmUM, flag(j.NoReach), j.Notes, string(j.Step), flag(j.Declined), string(record), s.stamp(), j.ID); err != nil {
		return err
	}
	if err := s.sumJob(ctx, tx, j); err != nil {
		return err
	}
	return s.note(ctx, tx, "job changed", j.ID, string(j.Step))
}

const jobColumns = "id, number, rev, person_id, vehicle_id, customer, vehicle, panel, kind, material, sheet_mm, film_um, no_reach, notes, step, declined, record, created_at, updated_at"

func scanJob(r scanner) (job.Job, error) {
	var j job.Job
	var step, record, created, updated string
	if err := r.Scan(&j.ID, &j.Number, &j.Rev, &j.PersonID, &j.VehicleID, &j.Customer, &j.Vehicle, &j.Panel, &j.Kind, &j.Material, &j.SheetMM, &j.FilmUM, &j.NoReach, &j.Notes, &step, &j.Declined, &record, &created, &updated); err != nil {
		return j, missing(err)
	}
	j.Step, j.Created, j.Updated = job.Step(step), parseTime(created), parseTime(updated)
	if err := json.Unmarshal([]byte(record), &j.Record); err != nil {
		return j, fmt.Errorf("the notes of job %d cannot be read (%w); restore them from a backup", j.Number, err)
	}
	return j, nil
}

// Job reads one job.
func (s *Store) Job(ctx context.Context, id string) (job.Job, error) {
	return scanJob(s.row(ctx, "SELECT "+jobColumns+" FROM jobs WHERE id = ?", id))
}

// JobNumbered reads the job of a number.
func (s *Store) JobNumbered(ctx context.Context, number int64) (job.Job, error) {
	return scanJob(s.row(ctx, "SELECT "+jobColumns+" FROM jobs WHERE number = ?", number))
}

// Query says which jobs are wanted.
type Query struct {
	Text      string // found in customer, vehicle, panel or notes; a whole number finds the job of that number too
	Step      job.Step
	PersonID  string
	VehicleID string
	Limit     int
	Offset    int
}

// FindJobs lists jobs, the last changed first.
func (s *Store) FindJobs(ctx context.Context, q Query) ([]job.Job, error) {
	where, args := q.where()
	rows, err := s.query(ctx, "SELECT "+jobColumns+" FROM jobs"+where+" ORDER BY updated_at DESC, number DESC LIMIT ? OFFSET ?", append(args, q.Limit, q.Offset)...)
	return all(rows, err, scanJob)
}

// CountJobs counts jobs by their step.
func (s *Store) CountJobs(ctx context.Context, q Query) (map[job.Step]int, error) {
	where, args := q.where()
	rows, err := s.query(ctx, "SELECT step, count(*) FROM jobs"+where+" GROUP BY step", args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	out := map[job.Step]int{}
	for rows.Next() {
		var step string
		var n int
		if err := rows.Scan(&step, &n); err != nil {
			return nil, err
		}
		out[job.Step(step)] = n
	}
	return out, rows.Err()
}

func (q Query) where() (string, []any) {
	var parts []string
	var args []any
	for _, word := range strings.Fields(q.Text) {
		p := like(word)
		parts = append(parts, `(lower(customer) LIKE ? ESCAPE '\' OR lower(vehicle) LIKE ? ESCAPE '\' OR lower(panel) LIKE ? ESCAPE '\' OR lower(notes) LIKE ? ESCAPE '\' OR CAST(number AS text) = ?)`)
		args = append(args, p, p, p, p, strings.TrimLeft(word, "#0"))
	}
	for _, e := range []struct{ column, value string }{{"step", string(q.Step)}, {"person_id", q.PersonID}, {"vehicle_id", q.VehicleID}} {
		if e.value != "" {
			parts, args = append(parts, e.column+" = ?"), append(args, e.value)
		}
	}
	if len(parts) == 0 {
		return "", nil
	}
	return " WHERE " + strings.Join(parts, " AND "), args
}

// Jobs lists jobs, the last changed first.
func (s *Store) Jobs(ctx context.Context, limit int) ([]job.Job, error) {
	return s.FindJobs(ctx, Query{Limit: limit})
}

// RemoveJob removes a job with its captures. One with papers that left the house stays: the law wants them kept.
func (s *Store) RemoveJob(ctx context.Context, id string) error {
	return s.tx(ctx, func(tx runner) error {
		var papers int
		if err := tx.row(ctx, "SELECT count(*) FROM papers WHERE job_id = ? AND kind IN ('invoice', 'credit')", id).Scan(&papers); err != nil {
			return err
		}
		if papers > 0 {
			return &job.FieldError{Field: "job", Text: "This job has an invoice, which must be kept: it cannot be removed."}
		}
		if _, err := tx.exec(ctx, "DELETE FROM papers WHERE job_id = ?", id); err != nil {
			return err
		}
		r, err := tx.exec(ctx, "DELETE FROM jobs WHERE id = ?", id)
		if err := found(r, err); err != nil {
			return err
		}
		return s.note(ctx, tx, "job removed", id, "")
	})
}
