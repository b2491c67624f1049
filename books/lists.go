package books

import (
	"fmt"
	"reflect"
	"strconv"
	"strings"

	"fairmetal/job"
	"fairmetal/tables"
)

// People are the columns of the list of people.
func People() []tables.Column[job.Person] {
	type p = job.Person
	text := tables.Text[p]
	return []tables.Column[p]{text("id", func(p *p) *string { return &p.ID }), text("name", func(p *p) *string { return &p.Name }), text("company", func(p *p) *string { return &p.Company }), text("street", func(p *p) *string { return &p.Street }),
		text("postcode", func(p *p) *string { return &p.Postcode }), text("city", func(p *p) *string { return &p.City }), text("country", func(p *p) *string { return &p.Country }), text("phone", func(p *p) *string { return &p.Phone }),
		text("email", func(p *p) *string { return &p.Email }), text("vat_number", func(p *p) *string { return &p.TaxID }), text("language", func(p *p) *string { return &p.Lang }), text("notes", func(p *p) *string { return &p.Notes })}
}

// Vehicles are the columns of the list of vehicles.
func Vehicles() []tables.Column[job.Vehicle] {
	type v = job.Vehicle
	text := tables.Text[v]
	return []tables.Column[v]{text("id", func(v *v) *string { return &v.ID }), text("person_id", func(v *v) *string { return &v.PersonID }), text("vehicle", func(v *v) *string { return &v.Name }), text("plate", func(v *v) *string { return &v.Plate }), text("vin", func(v *v) *string { return &v.VIN }),
		{Name: "year", Get: func(v v) string { return whole(v.Year) }, Set: func(v *v, s string) error { return number(&v.Year, s) }}, text("colour", func(v *v) *string { return &v.Colour }), text("notes", func(v *v) *string { return &v.Notes })}
}

// Jobs are the columns of the list of jobs. What was measured, signed and made into papers stays where it is.
func Jobs() []tables.Column[job.Job] {
	type j = job.Job
	text := tables.Text[j]
	decimal := func(name string, at func(*j) *float64) tables.Column[j] {
		return tables.Column[j]{Name: name, Get: func(r j) string {
			if v := *at(&r); v != 0 {
				return strconv.FormatFloat(v, 'f', -1, 64)
			}
			return ""
		}, Set: func(r *j, s string) error {
			if s == "" {
				*at(r) = 0
				return nil
			}
			v, err := strconv.ParseFloat(strings.ReplaceAll(s, ",", "."), 64)
			if err != nil {
				return fmt.Errorf("%q is no figure", s)
			}
			*at(r) = v
			return nil
		}}
	}
	return []tables.Column[j]{text("id", func(j *j) *string { return &j.ID }), {Name: "number", Get: func(j j) string { return strconv.FormatInt(j.Number, 10) }}, text("person_id", func(j *j) *string { return &j.PersonID }), text("vehicle_id", func(j *j) *string { return &j.VehicleID }),
		text("customer", func(j *j) *string { return &j.Customer }), text("vehicle", func(j *j) *string { return &j.Vehicle }), text("panel", func(j *j) *string { return &j.Panel }), text("kind", func(j *j) *string { return &j.Kind }), text("material", func(j *j) *string { return &j.Material }),
		decimal("sheet_mm", func(j *j) *float64 { return &j.SheetMM }), decimal("film_um", func(j *j) *float64 { return &j.FilmUM }), tables.Bool("no_reach", func(j *j) *bool { return &j.NoReach }), text("notes", func(j *j) *string { return &j.Notes }),
		{Name: "step", Get: func(j j) string { return string(j.Step) }}, {Name: "declined", Get: func(j j) string { return strconv.FormatBool(j.Declined) }}, {Name: "minutes", Get: func(j j) string { return strconv.FormatFloat(j.Record.Work.Sum(), 'f', 0, 64) }}, {Name: "updated", Get: func(j j) string { return j.Updated.Format("2006-01-02 15:04") }}}
}

// Papers are the columns of the list of papers, written only.
func Papers() []tables.Column[job.Paper] {
	type p = job.Paper
	return []tables.Column[p]{{Name: "kind", Get: func(p p) string { return p.Kind }}, {Name: "number", Get: func(p p) string { return p.Number }}, {Name: "version", Get: func(p p) string { return whole(p.Version) }}, {Name: "currency", Get: func(p p) string { return p.Currency }},
		{Name: "total_minor", Get: func(p p) string { return strconv.FormatInt(p.TotalMinor, 10) }}, {Name: "state", Get: func(p p) string { return p.State }}, {Name: "made", Get: func(p p) string { return p.Created.Format("2006-01-02") }}, {Name: "job_id", Get: func(p p) string { return p.JobID }}}
}

func whole(v int) string {
	if v == 0 {
		return ""
	}
	return strconv.Itoa(v)
}

func number(v *int, s string) (err error) {
	if s == "" {
		*v = 0
		return nil
	}
	if *v, err = strconv.Atoi(s); err != nil {
		return fmt.Errorf("%q is no whole number", s)
	}
	return nil
}

// Change is one row of a list that is brought in.
type Change[T any] struct {
	Row    int      // of the file, the heading is 1
	Add    bool     // a new record; else the record of that id is changed
	Fields []string // columns that change
	Record T
}

// Changes compares a table that is brought in with the records there are: rows whose id is known change that record, others are added. Only
// columns that the table has are looked at; id gives and takes a record's identity. Rows that change nothing are left out.
func Changes[T any](columns []tables.Column[T], t tables.Table, now []T, id func(*T) *string) ([]Change[T], []string, error) {
	in, notes, err := tables.Import(columns, t)
	if err != nil {
		return nil, nil, err
	}
	has := map[string]bool{}
	for _, c := range t.Columns {
		has[strings.ToLower(strings.TrimSpace(c))] = true
	}
	by := map[string]T{}
	for _, r := range now {
		by[*id(&r)] = r
	}
	var out []Change[T]
	for i, r := range in {
		old, known := by[*id(&r)]
		if !known {
			*id(&r) = ""
			out = append(out, Change[T]{Row: i + 2, Add: true, Record: r})
			continue
		}
		c := Change[T]{Row: i + 2, Record: old}
		for _, k := range columns {
			if k.Set == nil || k.Name == "id" || !has[k.Name] || k.Get(r) == k.Get(old) {
				continue
			}
			if err := k.Set(&c.Record, k.Get(r)); err != nil {
				return nil, nil, fmt.Errorf("row %d, column %s: %w", i+2, k.Name, err)
			}
			c.Fields = append(c.Fields, k.Name)
		}
		if !reflect.DeepEqual(c.Record, old) {
			out = append(out, c)
		}
	}
	return out, notes, nil
}
