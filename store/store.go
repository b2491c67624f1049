// Package store keeps the workshop on the technician's own disk: records in SQLite, photos and results as files named by their
// hash. One folder holds everything and can be copied; one process holds it at a time.
package store

import (
	"context"
	"crypto/rand"
	"database/sql"
	"embed"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"github.com/pressly/goose/v3"
	_ "modernc.org/sqlite" // the driver

	"fairmetal/job"
)

//go:embed migrations/*.sql
var migrations embed.FS

// ErrNotFound says that there is no such record.
var ErrNotFound = errors.New("there is no such record in the workshop")

// ErrHeld says that another process has the workshop open.
var ErrHeld = errors.New("this workshop is open in another Fairmetal window or program; close it there first")

// Store is an open workshop folder.
type Store struct {
	dir  string
	db   *sql.DB
	lock *sql.DB
	held *sql.Conn
	now  func() time.Time
}

// dsn opens a database file with the settings that every connection needs.
func dsn(path string) string {
	return "file:" + filepath.ToSlash(path) + "?_pragma=busy_timeout(5000)&_pragma=foreign_keys(1)&_pragma=journal_mode(WAL)&_pragma=synchronous(FULL)&_txlock=immediate"
}

// Open opens the workshop in a folder, making it if need be, and brings its tables up to date.
func Open(ctx context.Context, dir string) (*Store, error) {
	if err := os.MkdirAll(filepath.Join(dir, "blobs"), 0o700); err != nil {
		return nil, fmt.Errorf("the folder %s cannot be used (%w); choose another", dir, err)
	}
	s := &Store{dir: dir, now: time.Now}
	if err := s.hold(ctx); err != nil {
		return nil, err
	}
	db, err := sql.Open("sqlite", dsn(filepath.Join(dir, "workshop.db")))
	if err != nil {
		s.Close()
		return nil, err
	}
	// One connection: SQLite has one writer, and our reads are short.
	db.SetMaxOpenConns(1)
	s.db = db
	sub, err := fs.Sub(migrations, "migrations")
	if err != nil {
		s.Close()
		return nil, err
	}
	p, err := goose.NewProvider(goose.DialectSQLite3, db, sub)
	if err == nil {
		_, err = p.Up(ctx)
	}
	if err != nil {
		s.Close()
		return nil, fmt.Errorf("the workshop's tables cannot be brought up to date (%w); restore the last backup or use the program version that wrote them", err)
	}
	return s, nil
}

// hold takes the workshop for this process by an open exclusive transaction on a file of its own: it ends with the process, even
// when that is killed.
func (s *Store) hold(ctx context.Context) error {
	db, err := sql.Open("sqlite", "file:"+filepath.ToSlash(filepath.Join(s.dir, "held.db"))+"?_pragma=busy_timeout(0)")
	if err != nil {
		return err
	}
	s.lock = db
	if s.held, err = db.Conn(ctx); err == nil {
		_, err = s.held.ExecContext(ctx, "BEGIN EXCLUSIVE")
	}
	if err != nil {
		db.Close()
		s.lock, s.held = nil, nil
		return ErrHeld
	}
	return nil
}

// Close lets the workshop go.
func (s *Store) Close() error {
	var err error
	if s.db != nil {
		err = s.db.Close()
	}
	if s.held != nil {
		s.held.Close()
	}
	if s.lock != nil {
		s.lock.Close()
	}
	return err
}

// newID is 80 random bits in hex.
func newID() string {
	b := make([]byte, 10)
	if _, err := rand.Read(b); err != nil {
		panic(err) // the system's randomness never fails on supported systems
	}
	return hex.EncodeToString(b)
}

const timeLayout = "2006-01-02T15:04:05.000Z"

func (s *Store) stamp() string { return s.now().UTC().Format(timeLayout) }

func parseTime(v string) time.Time {
	t, _ := time.Parse(timeLayout, v)
	return t
}

func (s *Store) tx(ctx context.Context, f func(tx *sql.Tx) error) error {
	tx, err := s.db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	if err := f(tx); err != nil {
		tx.Rollback()
		return err
	}
	return tx.Commit()
}

// AddJob checks and stores a new job and returns it with its number.
func (s *Store) AddJob(ctx context.Context, j job.Job) (job.Job, error) {
	if err := j.Check(); err != nil {
		return j, err
	}
	j.ID = newID()
	err := s.tx(ctx, func(tx *sql.Tx) error {
		if err := tx.QueryRowContext(ctx, "SELECT coalesce(max(number), 0) + 1 FROM jobs").Scan(&j.Number); err != nil {
			return err
		}
		now := s.stamp()
		j.Created, j.Updated = parseTime(now), parseTime(now)
		_, err := tx.ExecContext(ctx, `INSERT INTO jobs (id, number, customer, vehicle, panel, kind, material, sheet_mm, film_um, no_reach, notes, step, declined, created_at, updated_at)
			VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
			j.ID, j.Number, j.Customer, j.Vehicle, j.Panel, j.Kind, j.Material, j.SheetMM, j.FilmUM, j.NoReach, j.Notes, string(j.Step), j.Declined, now, now)
		return err
	})
	return j, err
}

// SaveJob checks and stores a changed job.
func (s *Store) SaveJob(ctx context.Context, j job.Job) error {
	if err := j.Check(); err != nil {
		return err
	}
	r, err := s.db.ExecContext(ctx, `UPDATE jobs SET customer = ?, vehicle = ?, panel = ?, kind = ?, material = ?, sheet_mm = ?, film_um = ?, no_reach = ?, notes = ?, step = ?, declined = ?, updated_at = ? WHERE id = ?`,
		j.Customer, j.Vehicle, j.Panel, j.Kind, j.Material, j.SheetMM, j.FilmUM, j.NoReach, j.Notes, string(j.Step), j.Declined, s.stamp(), j.ID)
	return found(r, err)
}

func found(r sql.Result, err error) error {
	if err != nil {
		return err
	}
	if n, err := r.RowsAffected(); err == nil && n == 0 {
		return ErrNotFound
	}
	return nil
}

const jobColumns = "id, number, customer, vehicle, panel, kind, material, sheet_mm, film_um, no_reach, notes, step, declined, created_at, updated_at"

type scanner interface{ Scan(dest ...any) error }

func scanJob(r scanner) (job.Job, error) {
	var j job.Job
	var step, created, updated string
	err := r.Scan(&j.ID, &j.Number, &j.Customer, &j.Vehicle, &j.Panel, &j.Kind, &j.Material, &j.SheetMM, &j.FilmUM, &j.NoReach, &j.Notes, &step, &j.Declined, &created, &updated)
	if errors.Is(err, sql.ErrNoRows) {
		err = ErrNotFound
	}
	j.Step, j.Created, j.Updated = job.Step(step), parseTime(created), parseTime(updated)
	return j, err
}

// Job reads one job.
func (s *Store) Job(ctx context.Context, id string) (job.Job, error) {
	return scanJob(s.db.QueryRowContext(ctx, "SELECT "+jobColumns+" FROM jobs WHERE id = ?", id))
}

// Jobs lists jobs, the last changed first.
func (s *Store) Jobs(ctx context.Context, limit int) ([]job.Job, error) {
	rows, err := s.db.QueryContext(ctx, "SELECT "+jobColumns+" FROM jobs ORDER BY updated_at DESC, number DESC LIMIT ?", limit)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []job.Job
	for rows.Next() {
		j, err := scanJob(rows)
		if err != nil {
			return nil, err
		}
		out = append(out, j)
	}
	return out, rows.Err()
}

const captureColumns = "id, job_id, title, state, doing, progress, message, marks, deep_um, created_at"

func scanCapture(r scanner) (job.Capture, error) {
	var c job.Capture
	var state, created string
	err := r.Scan(&c.ID, &c.JobID, &c.Title, &state, &c.Doing, &c.Progress, &c.Message, &c.Marks, &c.DeepUM, &created)
	if errors.Is(err, sql.ErrNoRows) {
		err = ErrNotFound
	}
	c.State, c.Created = job.State(state), parseTime(created)
	return c, err
}

// AddCapture stores a new capture, queued for measuring, together with its photos: all of it or nothing.
func (s *Store) AddCapture(ctx context.Context, jobID, title string, files map[string][]byte) (job.Capture, error) {
	c := job.Capture{ID: newID(), JobID: jobID, Title: title, State: job.Queued}
	kept, err := s.keep(files)
	if err != nil {
		return c, err
	}
	err = s.tx(ctx, func(tx *sql.Tx) error {
		var id string
		if err := tx.QueryRowContext(ctx, "SELECT id FROM jobs WHERE id = ?", jobID).Scan(&id); err != nil {
			if errors.Is(err, sql.ErrNoRows) {
				return ErrNotFound
			}
			return err
		}
		now := s.stamp()
		c.Created = parseTime(now)
		if _, err := tx.ExecContext(ctx, "INSERT INTO captures ("+captureColumns+") VALUES (?, ?, ?, ?, '', 0, '', 0, 0, ?)", c.ID, jobID, title, string(c.State), now); err != nil {
			return err
		}
		if _, err := tx.ExecContext(ctx, "UPDATE jobs SET updated_at = ? WHERE id = ?", now, jobID); err != nil {
			return err
		}
		return list(ctx, tx, c.ID, kept, false)
	})
	return c, err
}

// list books files of a capture; made tells results from photos.
func list(ctx context.Context, tx *sql.Tx, captureID string, kept []blob, made bool) error {
	for _, b := range kept {
		if _, err := tx.ExecContext(ctx, `INSERT INTO files (capture_id, name, made, sha256, size) VALUES (?, ?, ?, ?, ?)
			ON CONFLICT (capture_id, name) DO UPDATE SET made = excluded.made, sha256 = excluded.sha256, size = excluded.size`, captureID, b.name, made, b.hash, b.size); err != nil {
			return err
		}
	}
	return nil
}

// Finish stores what measuring made of a capture: its results and its final state, all or nothing.
func (s *Store) Finish(ctx context.Context, c job.Capture, results map[string][]byte) error {
	kept, err := s.keep(results)
	if err != nil {
		return err
	}
	return s.tx(ctx, func(tx *sql.Tx) error {
		r, err := tx.ExecContext(ctx, "UPDATE captures SET state = ?, doing = '', progress = 1, message = ?, marks = ?, deep_um = ? WHERE id = ?", string(c.State), c.Message, c.Marks, c.DeepUM, c.ID)
		if err := found(r, err); err != nil {
			return err
		}
		return list(ctx, tx, c.ID, kept, true)
	})
}

// SetProgress notes how far measuring has come.
func (s *Store) SetProgress(ctx context.Context, id string, doing string, progress float64) error {
	r, err := s.db.ExecContext(ctx, "UPDATE captures SET state = ?, doing = ?, progress = ? WHERE id = ?", string(job.Measuring), doing, progress, id)
	return found(r, err)
}

// Requeue puts captures back in the queue whose measuring was cut off by the end of the last process.
func (s *Store) Requeue(ctx context.Context) error {
	_, err := s.db.ExecContext(ctx, "UPDATE captures SET state = ?, doing = '', progress = 0 WHERE state = ?", string(job.Queued), string(job.Measuring))
	return err
}

// NextQueued returns the capture that waits longest; ErrNotFound when none does.
func (s *Store) NextQueued(ctx context.Context) (job.Capture, error) {
	return scanCapture(s.db.QueryRowContext(ctx, "SELECT "+captureColumns+" FROM captures WHERE state = ? ORDER BY created_at, id LIMIT 1", string(job.Queued)))
}

// Capture reads one capture.
func (s *Store) Capture(ctx context.Context, id string) (job.Capture, error) {
	return scanCapture(s.db.QueryRowContext(ctx, "SELECT "+captureColumns+" FROM captures WHERE id = ?", id))
}

// Captures lists the captures of a job, oldest first.
func (s *Store) Captures(ctx context.Context, jobID string) ([]job.Capture, error) {
	rows, err := s.db.QueryContext(ctx, "SELECT "+captureColumns+" FROM captures WHERE job_id = ? ORDER BY created_at, id", jobID)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []job.Capture
	for rows.Next() {
		c, err := scanCapture(rows)
		if err != nil {
			return nil, err
		}
		out = append(out, c)
	}
	return out, rows.Err()
}

// LastCaptures returns the newest capture of each job, by job.
func (s *Store) LastCaptures(ctx context.Context) (map[string]job.Capture, error) {
	rows, err := s.db.QueryContext(ctx, "SELECT "+captureColumns+" FROM captures ORDER BY created_at, id")
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	out := map[string]job.Capture{}
	for rows.Next() {
		c, err := scanCapture(rows)
		if err != nil {
			return nil, err
		}
		out[c.JobID] = c
	}
	return out, rows.Err()
}
