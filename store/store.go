// Package store keeps the workshop: on the technician's own disk with records in SQLite and photos and results as files named by
// their hash, where one folder holds everything, can be copied, and is held by one process at a time; or shared by several computers,
// with records in PostgreSQL and blobs where all of them reach.
package store

import (
	"context"
	"crypto/rand"
	"database/sql"
	"embed"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"time"

	"fairmetal/blob"
)

//go:embed migrations/*.sql
var migrations embed.FS

// ErrNotFound says that there is no such record.
var ErrNotFound = errors.New("there is no such record in the workshop")

// ErrHeld says that another process has the workshop open.
var ErrHeld = errors.New("this workshop is open in another Fairmetal window or program; close it there first")

// Store is an open workshop.
type Store struct {
	engine engine
	blobs  blob.Store
	db     *sql.DB
	runner
	lock *sql.DB
	held *sql.Conn
	now  func() time.Time

	statements atomic.Int64

	onQueue atomic.Pointer[func(ctx context.Context, tx *sql.Tx, captureID string, try int) error]
}

// Open opens the workshop in a folder, making it if need be, and brings its tables up to date.
func Open(ctx context.Context, dir string) (*Store, error) {
	if err := os.MkdirAll(filepath.Join(dir, "blobs"), 0o700); err != nil {
		return nil, fmt.Errorf("the folder %s cannot be used (%w); choose another", dir, err)
	}
	if err := writable(dir); err != nil {
		return nil, fmt.Errorf("the folder %s cannot be written (%w); check its rights, and whether the disk is full or read-only", dir, err)
	}
	s := &Store{engine: lite{}, blobs: Blobs(dir), now: time.Now}
	if err := s.hold(ctx, dir); err != nil {
		return nil, err
	}
	db, err := openLite(dir)
	if err == nil {
		err = s.use(ctx, db)
	}
	if err != nil {
		s.Close()
		return nil, err
	}
	return s, nil
}

// use takes a database and brings its tables up to date.
func (s *Store) use(ctx context.Context, db *sql.DB) error {
	s.db = db
	s.runner = runner{db, func(query string) string {
		s.statements.Add(1)
		return s.engine.bind(query)
	}}
	p, err := s.engine.provider(db)
	if err == nil {
		_, err = p.Up(ctx)
	}
	if err == nil {
		err = s.sumMissing(ctx)
	}
	if err != nil {
		return fmt.Errorf("the workshop's tables cannot be brought up to date (%w); restore the last backup or use the program version that wrote them", err)
	}
	return nil
}

// Shared tells whether other processes work on the same records.
func (s *Store) Shared() bool { return s.engine.shared() }

// writable tries to write into a folder.
func writable(dir string) error {
	f, err := os.CreateTemp(dir, "new-*")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name())
	_, err = f.WriteString("can this be written?")
	return errors.Join(err, f.Close())
}

// hold takes the workshop for this process by an open exclusive transaction on a file of its own: it ends with the process, even
// when that is killed.
func (s *Store) hold(ctx context.Context, dir string) error {
	db, err := sql.Open("sqlite", "file:"+filepath.ToSlash(filepath.Join(dir, "held.db"))+"?_pragma=busy_timeout(0)")
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

// Statements tells how many statements were run since the workshop was opened.
func (s *Store) Statements() int64 { return s.statements.Load() }

// runner runs statements: the database itself, or a transaction on it. Statements are written with ? for their arguments.
type runner struct {
	on interface {
		ExecContext(ctx context.Context, query string, args ...any) (sql.Result, error)
		QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
		QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
	}
	bind func(query string) string
}

func (r runner) exec(ctx context.Context, query string, args ...any) (sql.Result, error) {
	res, err := r.on.ExecContext(ctx, r.bind(query), args...)
	return res, inWords(err)
}

func (r runner) query(ctx context.Context, query string, args ...any) (*sql.Rows, error) {
	return r.on.QueryContext(ctx, r.bind(query), args...)
}

func (r runner) row(ctx context.Context, query string, args ...any) *sql.Row {
	return r.on.QueryRowContext(ctx, r.bind(query), args...)
}

// tx runs f in one transaction: all of it or nothing. Changes come one after another on either engine, so that what f reads holds
// until it ends.
func (s *Store) tx(ctx context.Context, f func(tx runner) error) error {
	tx, err := s.engine.begin(ctx, s.db)
	if err != nil {
		return inWords(err)
	}
	if err := f(runner{tx, s.bind}); err != nil {
		tx.Rollback()
		return err
	}
	return inWords(tx.Commit())
}

// all scans every row of a query.
func all[T any](rows *sql.Rows, err error, scan func(r scanner) (T, error)) ([]T, error) {
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []T
	for rows.Next() {
		v, err := scan(rows)
		if err != nil {
			return nil, err
		}
		out = append(out, v)
	}
	return out, rows.Err()
}

type scanner interface{ Scan(dest ...any) error }

func found(r sql.Result, err error) error {
	if err != nil {
		return err
	}
	if n, err := r.RowsAffected(); err == nil && n == 0 {
		return ErrNotFound
	}
	return nil
}

func missing(err error) error {
	if errors.Is(err, sql.ErrNoRows) {
		return ErrNotFound
	}
	return err
}

// flag is how a yes or no is kept.
func flag(yes bool) int {
	if yes {
		return 1
	}
	return 0
}

// like makes a pattern that finds a text anywhere, whatever signs it holds.
func like(text string) string {
	return "%" + strings.NewReplacer("\\", "\\\\", "%", "\\%", "_", "\\_").Replace(strings.ToLower(strings.TrimSpace(text))) + "%"
}
