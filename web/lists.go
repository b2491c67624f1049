package web

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"net/http"
	"slices"
	"strings"
	"time"

	"fairmetal/books"
	"fairmetal/job"
	"fairmetal/store"
	"fairmetal/tables"
	"fairmetal/words"
)

func sortBy(jobs []job.Job, at func(job.Job) time.Time) {
	slices.SortFunc(jobs, func(a, b job.Job) int { return cmp.Compare(at(a).Unix(), at(b).Unix()) })
}

// bookLists are the lists that leave the house.
var bookLists = []string{"people", "vehicles", "jobs", "papers"}

// rendered writes a list as CSV or as JSON lines.
func rendered[T any](columns []tables.Column[T], records []T, err error, json bool, comma byte) ([]byte, error) {
	if err != nil {
		return nil, err
	}
	if json {
		return tables.Lines(records)
	}
	return append([]byte(tables.Mark), tables.Export(columns, records).CSV(comma)...), nil
}

// exportFile sends a list: people.csv, jobs.jsonl. A German spreadsheet parts cells by semicolons.
func (a *App) exportFile(w http.ResponseWriter, r *http.Request) {
	ctx, name := r.Context(), r.PathValue("file")
	list, kind, _ := strings.Cut(name, ".")
	comma := byte(',')
	if a.lang(r) == words.German {
		comma = ';'
	}
	lines := kind == "jsonl"
	var data []byte
	var err error
	switch {
	case kind != "csv" && !lines || !slices.Contains(bookLists, list):
		http.NotFound(w, r)
		return
	case list == "people":
		all, fault := a.records.People(ctx, "", allRows)
		data, err = rendered(books.People(), all, fault, lines, comma)
	case list == "vehicles":
		all, fault := a.records.Vehicles(ctx, "", "", allRows)
		data, err = rendered(books.Vehicles(), all, fault, lines, comma)
	case list == "jobs":
		all, fault := a.records.FindJobs(ctx, store.Query{Limit: allRows})
		data, err = rendered(books.Jobs(), all, fault, lines, comma)
	default:
		all, fault := a.records.Papers(ctx, "", allRows)
		data, err = rendered(books.Papers(), all, fault, lines, comma)
	}
	if err != nil {
		a.fail(w, r, err)
		return
	}
	sendFile(w, name, map[bool]string{false: "text/csv; charset=utf-8", true: "application/jsonl"}[lines], data)
}

// importView shows what a list that is brought in would change.
type importView struct {
	Lists   []string // that can be brought in
	List    string
	Text    string
	Notes   []string
	Rows    []importRow
	Problem string
	Looked  bool
	Done    int
}

type importRow struct {
	Row    int
	Add    bool
	Title  string
	Fields string
}

// importable are the lists that come back; papers never change.
var importable = []string{"people", "vehicles", "jobs"}

// maxListBytes bounds a list that is brought in.
const maxListBytes = 8 << 20

func (a *App) importPage(w http.ResponseWriter, r *http.Request) {
	a.render(w, r, http.StatusOK, "import", view{Title: "Bring a list in", Place: "books", Data: importView{Lists: importable, List: "people"}})
}

// bringIn looks at a list and, when that was confirmed, takes it in.
func (a *App) bringIn(w http.ResponseWriter, r *http.Request) {
	r.Body = http.MaxBytesReader(w, r.Body, maxListBytes)
	v := importView{Lists: importable}
	if err := r.ParseMultipartForm(maxListBytes); err != nil {
		a.fail(w, r, err)
		return
	}
	v.List, v.Text = r.PostFormValue("list"), r.PostFormValue("text")
	if f, _, err := r.FormFile("file"); err == nil {
		data, err := io.ReadAll(f)
		f.Close()
		if err != nil {
			a.fail(w, r, err)
			return
		}
		v.Text = string(data)
	}
	sure := r.PostFormValue("do") == "take"
	ctx := r.Context()
	status := http.StatusOK
	err := error(&job.FieldError{Field: "list", Text: "Choose which list it is: people, vehicles or jobs."})
	switch v.List {
	case "people":
		now, fault := a.records.People(ctx, "", allRows)
		err = look(&v, books.People(), now, fault, func(p *job.Person) *string { return &p.ID }, (*job.Person).Check, job.Person.Title, sure, func(list []job.Person) error { return a.records.SavePeople(ctx, list) })
	case "vehicles":
		now, fault := a.records.Vehicles(ctx, "", "", allRows)
		err = look(&v, books.Vehicles(), now, fault, func(c *job.Vehicle) *string { return &c.ID }, (*job.Vehicle).Check, func(c job.Vehicle) string { return c.Name }, sure, func(list []job.Vehicle) error { return a.records.SaveVehicles(ctx, list) })
	case "jobs":
		now, fault := a.records.FindJobs(ctx, store.Query{Limit: allRows})
		err = look(&v, books.Jobs(), now, fault, func(j *job.Job) *string { return &j.ID }, (*job.Job).Check, func(j job.Job) string { return j.Vehicle + ", " + j.Panel }, sure, func(list []job.Job) error { return a.records.SaveJobs(ctx, list) })
	}
	if err != nil {
		v.Problem, status = err.Error(), http.StatusUnprocessableEntity
	}
	a.render(w, r, status, "import", view{Title: "Bring a list in", Place: "books", Data: v})
}

// look compares a list with the records there are and, when sure, saves all of it or nothing.
func look[T any](v *importView, columns []tables.Column[T], now []T, err error, id func(*T) *string, check func(*T) error, title func(T) string, sure bool, save func([]T) error) error {
	if err != nil {
		return err
	}
	var t tables.Table
	if strings.HasPrefix(strings.TrimSpace(v.Text), "{") {
		in, err := tables.ReadLines[T]([]byte(v.Text))
		if err != nil {
			return err
		}
		t = tables.Export(writable(columns), in)
	} else if t, err = tables.ReadCSV([]byte(v.Text)); err != nil {
		return err
	}
	changes, notes, err := books.Changes(columns, t, now, id)
	if err != nil {
		return err
	}
	v.Notes, v.Looked = notes, true
	for i := range changes {
		c := &changes[i]
		if err := check(&c.Record); err != nil {
			return fmt.Errorf("row %d: %w", c.Row, err)
		}
		v.Rows = append(v.Rows, importRow{c.Row, c.Add, title(c.Record), strings.Join(c.Fields, ", ")})
	}
	if !sure {
		return nil
	}
	list := make([]T, 0, len(changes))
	for _, c := range changes {
		list = append(list, c.Record)
	}
	if err := save(list); err != nil {
		var at *store.ErrAt
		if errors.As(err, &at) {
			err = fmt.Errorf("row %d: %w", changes[at.At].Row, at.Err)
		}
		return err
	}
	v.Done = len(changes)
	return nil
}

// writable are the columns that an import may set.
func writable[T any](columns []tables.Column[T]) []tables.Column[T] {
	return slices.DeleteFunc(slices.Clone(columns), func(c tables.Column[T]) bool { return c.Set == nil })
}
