package tables

import (
	"fmt"
	"strconv"

	"fairmetal/money"
)

// Column ties a name in the heading to a field of a record. Without Set it is written only.
type Column[T any] struct {
	Name string
	Get  func(T) string
	Set  func(*T, string) error
}

// Text is a column of words.
func Text[T any](name string, at func(*T) *string) Column[T] {
	return Column[T]{name, func(r T) string { return *at(&r) }, func(r *T, s string) error { *at(r) = s; return nil }}
}

// Fixed is a column of figures kept in units of 10^-decimals: cents with 2, whole numbers with 0. An empty cell is 0.
func Fixed[T any](name string, decimals int, at func(*T) *int64) Column[T] {
	return Column[T]{name, func(r T) string { return money.FormatFixed(*at(&r), decimals) }, func(r *T, s string) error {
		if s == "" {
			*at(r) = 0
			return nil
		}
		v, err := money.ParseFixed(s, decimals)
		*at(r) = v
		return err
	}}
}

// Bool is a column of true and false. An empty cell is false.
func Bool[T any](name string, at func(*T) *bool) Column[T] {
	return Column[T]{name, func(r T) string { return strconv.FormatBool(*at(&r)) }, func(r *T, s string) error {
		switch s {
		case "true":
			*at(r) = true
		case "false", "":
			*at(r) = false
		default:
			return fmt.Errorf("%q is neither true nor false", clip(s))
		}
		return nil
	}}
}

// Export makes the table of records.
func Export[T any](columns []Column[T], records []T) Table {
	t := Table{Rows: make([][]string, len(records))}
	for _, c := range columns {
		t.Columns = append(t.Columns, c.Name)
	}
	for i, r := range records {
		for _, c := range columns {
			t.Rows[i] = append(t.Rows[i], c.Get(r))
		}
	}
	return t
}

// Import reads records from a table by the names of its columns. Columns that are missing leave their field empty, columns that are
// not known are left out; notes tell both. A cell that cannot be read is an error, so that no list is read by halves.
func Import[T any](columns []Column[T], t Table) (records []T, notes []string, err error) {
	at := make([]*Column[T], len(t.Columns))
	found := 0
	for i := range columns {
		c := &columns[i]
		if c.Set == nil {
			continue
		}
		missing := true
		for k, name := range t.Columns {
			if name == c.Name {
				at[k], missing = c, false
				found++
			}
		}
		if missing {
			notes = append(notes, fmt.Sprintf("the column %q is missing; it stays empty", c.Name))
		}
	}
	if found == 0 {
		return nil, nil, fmt.Errorf("the table has none of the columns that are read here, %q among them; is it the right file?", firstName(columns))
	}
	for k, name := range t.Columns {
		if at[k] == nil {
			notes = append(notes, fmt.Sprintf("the column %q is not read here; it was left out", clip(name)))
		}
	}
	records = make([]T, len(t.Rows))
	for i, row := range t.Rows {
		if len(row) != len(t.Columns) {
			return nil, nil, fmt.Errorf("row %d has %d cells, the heading has %d; mend the row", i+2, len(row), len(t.Columns))
		}
		for k, cell := range row {
			if at[k] == nil {
				continue
			}
			if err := at[k].Set(&records[i], cell); err != nil {
				return nil, nil, fmt.Errorf("row %d, column %q: %w", i+2, t.Columns[k], err)
			}
		}
	}
	return records, notes, nil
}

func firstName[T any](columns []Column[T]) string {
	for _, c := range columns {
		if c.Set != nil {
			return c.Name
		}
	}
	return ""
}
