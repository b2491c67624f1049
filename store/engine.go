package store

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"time"

	"github.com/jackc/pgx/v5/pgconn"
	_ "github.com/jackc/pgx/v5/stdlib" // the driver
	"github.com/pressly/goose/v3"
	"github.com/pressly/goose/v3/lock"
	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"

	"fairmetal/blob"
	"fairmetal/internal/memfs"
)

// engine is what differs between the databases. Statements are common to both.
type engine interface {
	bind(query string) string // puts the engine's own marks in the place of ?
	begin(ctx context.Context, db *sql.DB) (*sql.Tx, error)
	provider(db *sql.DB) (*goose.Provider, error)
	shared() bool
	clock(ctx context.Context, on runner, here string) (string, error) // the time of the records; here is this computer's
	tables(ctx context.Context, tx *sql.Tx) ([]Table, error)
	order(c Column) string // sorts a column by its bytes
	faults(ctx context.Context, tx *sql.Tx) ([]string, error)
	deferKeys(ctx context.Context, tx *sql.Tx) error
}

// lite is SQLite in a folder.
type lite struct{}

// openLite opens the database of a folder with the settings that every connection needs.
func openLite(dir string) (*sql.DB, error) {
	db, err := sql.Open("sqlite", "file:"+filepath.ToSlash(filepath.Join(dir, "workshop.db"))+"?_pragma=busy_timeout(5000)&_pragma=foreign_keys(1)&_pragma=journal_mode(WAL)&_pragma=synchronous(FULL)&_txlock=immediate")
	if err == nil {
		// One connection: SQLite has one writer, and our reads are short.
		db.SetMaxOpenConns(1)
	}
	return db, err
}

func (lite) bind(query string) string { return query }

func (lite) begin(ctx context.Context, db *sql.DB) (*sql.Tx, error) { return db.BeginTx(ctx, nil) }

func (lite) provider(db *sql.DB) (*goose.Provider, error) {
	sub, err := fs.Sub(migrations, "migrations")
	if err != nil {
		return nil, err
	}
	return goose.NewProvider(goose.DialectSQLite3, db, sub)
}

func (lite) shared() bool { return false }

func (lite) clock(_ context.Context, _ runner, here string) (string, error) { return here, nil }

func (lite) order(c Column) string { return quoted(c.Name) }

func (lite) deferKeys(ctx context.Context, tx *sql.Tx) error {
	_, err := tx.ExecContext(ctx, "PRAGMA defer_foreign_keys = 1")
	return err
}

func (lite) faults(ctx context.Context, tx *sql.Tx) (out []string, err error) {
	err = each(ctx, tx, "PRAGMA integrity_check(20)", func(r *sql.Rows) error {
		var text string
		if err := r.Scan(&text); err != nil {
			return err
		}
		if text != "ok" {
			out = append(out, text)
		}
		return nil
	})
	if err != nil {
		return out, err
	}
	err = each(ctx, tx, "PRAGMA foreign_key_check", func(r *sql.Rows) error {
		var table, parent string
		var row, key any
		err := r.Scan(&table, &row, &parent, &key)
		out = append(out, fmt.Sprintf("a record of %s belongs to a record of %s that is not there", table, parent))
		return err
	})
	return out, err
}

func (lite) tables(ctx context.Context, tx *sql.Tx) ([]Table, error) {
	return listTables(ctx, tx, "SELECT m.name, c.name, lower(c.type), c.pk > 0 FROM sqlite_schema m JOIN pragma_table_info(m.name) c WHERE m.type = 'table' ORDER BY m.name, c.cid",
		`SELECT m.name, f."table" FROM sqlite_schema m JOIN pragma_foreign_key_list(m.name) f WHERE m.type = 'table'`)
}

// postgres is PostgreSQL on a server.
type postgres struct{}

// Keys of the server's locks: one makes changes come one after another, one the starts of processes.
const (
	writers  = 7411
	starters = 7412
)

// patience is how long a change waits for a server that restarts.
const patience = 20 * time.Second

// OpenShared opens a workshop whose records lie in PostgreSQL, at an address of the form postgres://USER@HOST/DATABASE, and brings its
// tables up to date. Any number of processes may have it open.
func OpenShared(ctx context.Context, address string, blobs blob.Store) (*Store, error) {
	db, err := openPostgres(ctx, address)
	if err != nil {
		return nil, err
	}
	s := &Store{engine: postgres{}, blobs: blobs, now: time.Now}
	if err := s.use(ctx, db); err != nil {
		s.Close()
		return nil, err
	}
	return s, nil
}

func openPostgres(ctx context.Context, address string) (*sql.DB, error) {
	u, err := url.Parse(address)
	if err != nil || u.Scheme != "postgres" && u.Scheme != "postgresql" {
		return nil, errors.New("this is no address of a shared workshop; write it as postgres://USER@HOST/DATABASE, with the passphrase in PGPASSWORD or ~/.pgpass")
	}
	db, err := sql.Open("pgx", address)
	if err != nil {
		return nil, fmt.Errorf("the address %s cannot be used (%w)", u.Redacted(), err)
	}
	db.SetMaxOpenConns(10)
	db.SetConnMaxIdleTime(5 * time.Minute)
	if err := db.PingContext(ctx); err != nil {
		db.Close()
		return nil, fmt.Errorf("the shared workshop at %s cannot be reached (%w); check that the server runs and lets you in", u.Redacted(), err)
	}
	return db, nil
}

// bind numbers the arguments.
func (postgres) bind(query string) string {
	parts := strings.Split(query, "?")
	var b strings.Builder
	for i, p := range parts {
		if i > 0 {
			b.WriteString("$" + strconv.Itoa(i))
		}
		b.WriteString(p)
	}
	return b.String()
}

// begin waits its turn, and for a server that restarts: nothing was done yet, so that trying again is safe.
func (postgres) begin(ctx context.Context, db *sql.DB) (*sql.Tx, error) {
	until := time.Now().Add(patience)
	for {
		tx, err := db.BeginTx(ctx, nil)
		if err == nil {
			if _, err = tx.ExecContext(ctx, "SELECT pg_advisory_xact_lock($1)", writers); err == nil {
				return tx, nil
			}
			tx.Rollback()
		}
		if ctx.Err() != nil || time.Now().After(until) {
			return nil, err
		}
		select {
		case <-ctx.Done():
		case <-time.After(200 * time.Millisecond):
		}
	}
}

func (postgres) provider(db *sql.DB) (*goose.Provider, error) {
	sub, err := fs.Sub(migrations, "migrations")
	if err != nil {
		return nil, err
	}
	one, err := lock.NewPostgresSessionLocker()
	if err != nil {
		return nil, err
	}
	return goose.NewProvider(goose.DialectPostgres, db, inPostgres{sub}, goose.WithSessionLocker(one))
}

func (postgres) shared() bool { return true }

// clock asks the server: the computers' own clocks may differ.
func (postgres) clock(ctx context.Context, on runner, _ string) (now string, err error) {
	return now, on.row(ctx, `SELECT to_char(clock_timestamp() AT TIME ZONE 'UTC', 'YYYY-MM-DD"T"HH24:MI:SS.MS"Z"')`).Scan(&now)
}

// order sorts as SQLite does, whatever the server's language.
func (postgres) order(c Column) string {
	if c.Type == "text" {
		return quoted(c.Name) + ` COLLATE "C"`
	}
	return quoted(c.Name)
}

// deferKeys has nothing to do: tables are filled in the order of their keys.
func (postgres) deferKeys(context.Context, *sql.Tx) error { return nil }

// faults are the server's own business: it checks what it reads.
func (postgres) faults(context.Context, *sql.Tx) ([]string, error) { return nil, nil }

func (postgres) tables(ctx context.Context, tx *sql.Tx) ([]Table, error) {
	return listTables(ctx, tx, `SELECT c.table_name, c.column_name,
			CASE c.data_type WHEN 'bigint' THEN 'integer' WHEN 'double precision' THEN 'real' WHEN 'bytea' THEN 'blob' ELSE c.data_type END,
			EXISTS (SELECT 1 FROM information_schema.table_constraints t JOIN information_schema.key_column_usage k USING (constraint_schema, constraint_name)
				WHERE t.constraint_type = 'PRIMARY KEY' AND t.table_schema = c.table_schema AND t.table_name = c.table_name AND k.column_name = c.column_name)
		FROM information_schema.columns c WHERE c.table_schema = current_schema() ORDER BY c.table_name COLLATE "C", c.ordinal_position`,
		`SELECT f.conrelid::regclass::text, f.confrelid::regclass::text FROM pg_constraint f WHERE f.contype = 'f' AND f.connamespace = current_schema()::regnamespace`)
}

// inPostgres reads migrations, which are written for SQLite, in the words of PostgreSQL.
type inPostgres struct{ fs.FS }

var inPostgresWords = []struct {
	from *regexp.Regexp
	to   string
}{{regexp.MustCompile(`\) STRICT;`), ");"}, {regexp.MustCompile(`\binteger\b`), "bigint"}, {regexp.MustCompile(`\breal\b`), "double precision"}, {regexp.MustCompile(`\bblob\b`), "bytea"}}

// Open implements fs.FS.
func (f inPostgres) Open(name string) (fs.File, error) {
	if !strings.HasSuffix(name, ".sql") {
		return f.FS.Open(name)
	}
	text, err := fs.ReadFile(f.FS, name)
	if err != nil {
		return nil, err
	}
	lines := bytes.Split(text, []byte("\n"))
	for i, l := range lines {
		if bytes.HasPrefix(l, []byte("--")) {
			continue
		}
		for _, w := range inPostgresWords {
			lines[i] = w.from.ReplaceAll(lines[i], []byte(w.to))
		}
	}
	return memfs.File(name, bytes.Join(lines, []byte("\n"))), nil
}

// inWords says what a person can do about an error of the disk or the server.
func inWords(err error) error {
	var lite *sqlite.Error
	if errors.As(err, &lite) {
		switch lite.Code() & 0xff { // the low byte is the kind
		case sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR:
			return fmt.Errorf("the disk does not take it (%w); free some space and try again, nothing was lost", err)
		case sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN:
			return fmt.Errorf("the workshop's folder cannot be written (%w); check its rights and the disk, nothing was lost", err)
		}
	}
	var server *pgconn.PgError
	if errors.As(err, &server) {
		switch {
		case server.Code == "53100":
			return fmt.Errorf("the server's disk is full (%w); free some space and try again, nothing was lost", err)
		case strings.HasPrefix(server.Code, "57P"), strings.HasPrefix(server.Code, "08"):
			return fmt.Errorf("the server went away (%w); look whether the change is there, and try again if not", err)
		}
	}
	return err
}
