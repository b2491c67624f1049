package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// Column of a table; Type is text, integer, real or blob.
type Column struct {
	Name string `json:"name"`
	Type string `json:"type"`
	Key  bool   `json:"key,omitempty"`
}

// Table is a table of records. Tables come in an order in which each refers only to those before it.
type Table struct {
	Name    string   `json:"name"`
	Columns []Column `json:"columns"`
}

// At is the place of a column; -1 where the table has none of that name.
func (t Table) At(column string) int {
	for i, c := range t.Columns {
		if c.Name == column {
			return i
		}
	}
	return -1
}

// Snapshot shows all records as they were at one moment, whatever is written meanwhile.
type Snapshot struct {
	Version int64 // of the tables
	Tables  []Table

	engine engine
	db     *sql.DB
	tx     *sql.Tx
}

// Look opens the records of a workshop's folder for reading, also while another process works on it.
func Look(ctx context.Context, dir string) (*Snapshot, error) {
	path := filepath.Join(dir, "workshop.db")
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("there is no workshop in %s (no workshop.db); name the folder that holds it", dir)
	}
	db, err := sql.Open("sqlite", "file:"+filepath.ToSlash(path)+"?_pragma=busy_timeout(5000)&_pragma=query_only(1)")
	if err != nil {
		return nil, err
	}
	n := &Snapshot{engine: lite{}, db: db}
	if err := n.begin(ctx, sql.LevelDefault); err != nil {
		n.Close()
		return nil, fmt.Errorf("the records in %s cannot be read (%w); run fairmetal doctor on it, or restore the last backup", dir, err)
	}
	return n, nil
}

// LookShared opens the records of a shared workshop for reading.
func LookShared(ctx context.Context, address string) (*Snapshot, error) {
	db, err := openPostgres(ctx, address)
	if err != nil {
		return nil, err
	}
	n := &Snapshot{engine: postgres{}, db: db}
	if err := n.begin(ctx, sql.LevelRepeatableRead); err != nil {
		n.Close()
		return nil, fmt.Errorf("the records of the shared workshop cannot be read (%w); open it once with fairmetal serve", err)
	}
	return n, nil
}

func (n *Snapshot) begin(ctx context.Context, level sql.IsolationLevel) (err error) {
	if n.tx, err = n.db.BeginTx(ctx, &sql.TxOptions{ReadOnly: true, Isolation: level}); err != nil {
		return err
	}
	// The first read fixes the moment.
	if err = n.tx.QueryRowContext(ctx, "SELECT coalesce(max(version_id), 0) FROM goose_db_version").Scan(&n.Version); err != nil {
		return err
	}
	n.Tables, err = n.engine.tables(ctx, n.tx)
	return err
}

// Close ends the look.
func (n *Snapshot) Close() error {
	if n.tx != nil {
		n.tx.Rollback()
	}
	return n.db.Close()
}

// transient tables hold what a start makes anew: the migrations' own, those of the queue, who is signed in or tries to, who measures, and sums
// of other tables.
func transient(table string) bool {
	return slices.Contains([]string{"sessions", "challenges", "tries", "runs", "sums", "mark_sums"}, table) || strings.HasPrefix(table, "sqlite_") || strings.HasPrefix(table, "goose_") || strings.HasPrefix(table, "river_")
}

// listTables asks for table, column, type and whether it is of the key; and for the table that each refers to.
func listTables(ctx context.Context, tx *sql.Tx, columns, keys string) ([]Table, error) {
	var out []Table
	err := each(ctx, tx, columns, func(r *sql.Rows) error {
		var table string
		var c Column
		if err := r.Scan(&table, &c.Name, &c.Type, &c.Key); err != nil || transient(table) {
			return err
		}
		if len(out) == 0 || out[len(out)-1].Name != table {
			out = append(out, Table{Name: table})
		}
		t := &out[len(out)-1]
		t.Columns = append(t.Columns, c)
		return nil
	})
	if err != nil {
		return nil, err
	}
	needs := map[string][]string{}
	err = each(ctx, tx, keys, func(r *sql.Rows) error {
		var from, to string
		err := r.Scan(&from, &to)
		needs[from] = append(needs[from], to)
		return err
	})
	return inOrder(out, needs), err
}

// inOrder puts tables behind those that they refer to.
func inOrder(in []Table, needs map[string][]string) []Table {
	by := map[string]Table{}
	for _, t := range in {
		by[t.Name] = t
	}
	var out []Table
	seen := map[string]bool{}
	var visit func(name string)
	visit = func(name string) {
		t, ok := by[name]
		if !ok || seen[name] {
			return
		}
		seen[name] = true
		for _, n := range needs[name] {
			visit(n)
		}
		out = append(out, t)
	}
	for _, t := range in {
		visit(t.Name)
	}
	return out
}

func each(ctx context.Context, tx *sql.Tx, query string, f func(*sql.Rows) error, args ...any) error {
	rows, err := tx.QueryContext(ctx, query, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := f(rows); err != nil {
			return err
		}
	}
	return rows.Err()
}

// Rows tells the rows of a table in the order of its key: each value is a string, int64, float64, []byte or nil.
func (n *Snapshot) Rows(ctx context.Context, t Table, f func(row []any) error) error {
	var names, keys []string
	for _, c := range t.Columns {
		names = append(names, quoted(c.Name))
		if c.Key {
			keys = append(keys, n.engine.order(c))
		}
	}
	return each(ctx, n.tx, "SELECT "+strings.Join(names, ", ")+" FROM "+quoted(t.Name)+" ORDER BY "+strings.Join(keys, ", "), func(r *sql.Rows) error {
		row := make([]any, len(t.Columns))
		to := make([]any, len(row))
		for i := range row {
			to[i] = &row[i]
		}
		if err := r.Scan(to...); err != nil {
			return err
		}
		return f(row)
	})
}

func quoted(name string) string { return `"` + strings.ReplaceAll(name, `"`, `""`) + `"` }

// Use is a place in the records that names a blob.
type Use struct {
	Table, Owner, Name, Hash string
	Size                     int64 // -1 where it is not known
}

// Uses tells every place that names a blob: the tables with a column sha256, whose first column tells the owner.
func (n *Snapshot) Uses(ctx context.Context, f func(Use) error) error {
	for _, t := range n.Tables {
		hash, name, size := t.At("sha256"), t.At("name"), t.At("size")
		if hash < 0 {
			continue
		}
		err := n.Rows(ctx, t, func(row []any) error {
			u := Use{Table: t.Name, Size: -1}
			u.Hash, _ = row[hash].(string)
			u.Owner, _ = row[0].(string)
			if name >= 0 {
				u.Name, _ = row[name].(string)
			}
			if size >= 0 {
				if v, ok := row[size].(int64); ok {
					u.Size = v
				}
			}
			if u.Hash == "" {
				return nil // a record whose file is not made yet
			}
			return f(u)
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// Faults lists what the database finds wrong with itself.
func (n *Snapshot) Faults(ctx context.Context) ([]string, error) { return n.engine.faults(ctx, n.tx) }

// Fill makes a workshop's records in an empty folder from rows: tables of the version, then up to date. rows tells the rows of a
// table.
func Fill(ctx context.Context, dir string, version int64, order []Table, rows func(t Table, f func(row []any) error) error) error {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	if _, err := os.Stat(filepath.Join(dir, "workshop.db")); err == nil {
		return fmt.Errorf("there is a workshop in %s already; restore into an empty folder", dir)
	}
	db, err := openLite(dir)
	if err != nil {
		return err
	}
	defer db.Close()
	return fill(ctx, lite{}, db, version, order, rows)
}

// FillShared makes a workshop's records in an empty database, as Fill does in a folder.
func FillShared(ctx context.Context, address string, version int64, order []Table, rows func(t Table, f func(row []any) error) error) error {
	db, err := openPostgres(ctx, address)
	if err != nil {
		return err
	}
	defer db.Close()
	var n int
	if err := db.QueryRowContext(ctx, "SELECT count(*) FROM information_schema.tables WHERE table_schema = current_schema()").Scan(&n); err != nil {
		return err
	}
	if n > 0 {
		return errors.New("the database is not empty; restore into a new one, so that nothing is overwritten")
	}
	return fill(ctx, postgres{}, db, version, order, rows)
}

func fill(ctx context.Context, e engine, db *sql.DB, version int64, order []Table, rows func(t Table, f func(row []any) error) error) error {
	p, err := e.provider(db)
	if err != nil {
		return err
	}
	if last := p.ListSources(); len(last) == 0 || last[len(last)-1].Version < version {
		return fmt.Errorf("the backup was made by a newer program (tables of version %d); restore it with that", version)
	}
	if _, err := p.UpTo(ctx, version); err != nil {
		return err
	}
	if err := fillTables(ctx, e, db, order, rows); err != nil {
		return err
	}
	_, err = p.Up(ctx)
	return err
}

func fillTables(ctx context.Context, e engine, db *sql.DB, order []Table, rows func(t Table, f func(row []any) error) error) error {
	tx, err := e.begin(ctx, db)
	if err != nil {
		return err
	}
	defer tx.Rollback()
	known, err := e.tables(ctx, tx)
	if err != nil {
		return err
	}
	// Migrations may have written rows of their own: the backup has them too.
	for i := range known {
		if _, err := tx.ExecContext(ctx, "DELETE FROM "+quoted(known[len(known)-1-i].Name)); err != nil {
			return err
		}
	}
	if err := e.deferKeys(ctx, tx); err != nil {
		return err
	}
	for _, t := range inOrderOf(known, order) {
		if err := fillTable(ctx, e, tx, known, t, func(f func(row []any) error) error { return rows(t, f) }); err != nil {
			return err
		}
	}
	return tx.Commit()
}

// inOrderOf sorts tables as they stand in another list; what is not there comes last.
func inOrderOf(known, tables []Table) []Table {
	at := func(t Table) int {
		i := slices.IndexFunc(known, func(k Table) bool { return k.Name == t.Name })
		if i < 0 {
			return len(known)
		}
		return i
	}
	out := slices.Clone(tables)
	slices.SortStableFunc(out, func(a, b Table) int { return at(a) - at(b) })
	return out
}

// fillTable writes rows into a table that must look as the backup says.
func fillTable(ctx context.Context, e engine, tx *sql.Tx, known []Table, t Table, rows func(f func(row []any) error) error) error {
	fits := false
	for _, k := range known {
		fits = fits || k.Name == t.Name && fmt.Sprint(k.Columns) == fmt.Sprint(t.Columns)
	}
	if !fits {
		return fmt.Errorf("the backup's table %q does not look as tables of its version do; it was made by another program version or altered", t.Name)
	}
	var names, marks []string
	for _, c := range t.Columns {
		names, marks = append(names, quoted(c.Name)), append(marks, "?")
	}
	insert, err := tx.PrepareContext(ctx, e.bind("INSERT INTO "+quoted(t.Name)+" ("+strings.Join(names, ", ")+") VALUES ("+strings.Join(marks, ", ")+")"))
	if err != nil {
		return err
	}
	defer insert.Close()
	return rows(func(row []any) error {
		_, err := insert.ExecContext(ctx, row...)
		return err
	})
}
