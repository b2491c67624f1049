package web

import (
	"errors"
	"math"
	"net/http"
	"strconv"
	"strings"

	"fairmetal/house"
	"fairmetal/job"
	"fairmetal/words"
)

// field is one input of a form that edits a record: it knows where its value belongs.
type field struct {
	Name    string
	Label   string
	Kind    string // text, number, area, choice, check
	Hint    string
	Options []string
	Value   string
	Wrong   bool
	set     func(string) error
}

// section is a form of fields with the revision of what it edits.
type section struct {
	ID      string // of the section and address of its form
	Title   string
	Hint    string
	Rev     int64
	Fields  []field
	Problem string
}

func textField(name, label string, v *string) field {
	return field{Name: name, Label: label, Kind: "text", Value: *v, set: func(s string) error { *v = strings.TrimSpace(s); return nil }}
}

// said shows a text of ours in the reader's language. Sent back as it was shown it stays the text that it was, so that it speaks every
// language; what a person writes stands as written.
func (f field) said(l words.Lang) field {
	was, shown, set := f.Value, l.T(f.Value), f.set
	f.Value = shown
	f.set = func(s string) error {
		if strings.TrimSpace(s) == shown {
			return set(was)
		}
		return set(s)
	}
	return f
}

func areaField(name, label string, v *string) field {
	f := textField(name, label, v)
	f.Kind = "area"
	return f
}

func choiceField(name, label string, v *string, options ...string) field {
	f := textField(name, label, v)
	f.Kind, f.Options = "choice", options
	return f
}

func checkField(name, label string, v *bool) field {
	f := field{Name: name, Label: label, Kind: "check", set: func(s string) error { *v = s != ""; return nil }}
	if *v {
		f.Value = "yes"
	}
	return f
}

// errFigure is told beside a field that wants a figure.
var errFigure = &job.FieldError{Text: "Write a plain figure, such as 12.5; leave it empty for none."}

// shownDigits of a figure in a field.
const shownDigits = 6

func numberField(name, label string, v *float64) field {
	shown := ""
	if *v != 0 {
		shown = strconv.FormatFloat(*v, 'g', shownDigits, 64)
	}
	return field{Name: name, Label: label, Kind: "number", Value: shown, set: func(s string) error {
		s = strings.ReplaceAll(strings.TrimSpace(s), ",", ".")
		if s == shown {
			return nil // what was not touched keeps the digits that are not shown
		}
		if s == "" {
			*v = 0
			return nil
		}
		x, err := strconv.ParseFloat(s, 64)
		if err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
			return errFigure
		}
		*v = x
		return nil
	}}
}

func wholeField(name, label string, v *int) field {
	x := float64(*v)
	f := numberField(name, label, &x)
	set := f.set
	f.set = func(s string) error {
		if err := set(s); err != nil || x != math.Trunc(x) || math.Abs(x) > 1e6 {
			return errFigure
		}
		*v = int(x)
		return nil
	}
	return f
}

func moneyField(name, label string, v *int64, currency string) field {
	return field{Name: name, Label: label, Kind: "number", Value: decimal(*v, currency), set: func(s string) (err error) {
		*v, err = amount(s, currency)
		return err
	}}
}

// read takes the values that were sent into the record. Each field keeps what was typed; the first that cannot be is told.
func (s *section) read(r *http.Request) error {
	var first error
	s.Rev, _ = strconv.ParseInt(r.PostFormValue("rev"), 10, 64)
	for i := range s.Fields {
		f := &s.Fields[i]
		f.Value = r.PostFormValue(f.Name)
		if err := f.set(f.Value); err != nil {
			f.Wrong = true
			if first == nil {
				first = &job.FieldError{Field: f.Name, Text: err.Error()}
			}
		}
	}
	return first
}

// refuse tells what is wrong and marks the field; rev is the state that the next save replaces where somebody else saved in between.
func (s *section) refuse(err error, rev int64) (status int) {
	name := ""
	var field *job.FieldError
	var own *house.FieldError
	var between *job.ErrConflict
	status = http.StatusUnprocessableEntity
	switch {
	case errors.As(err, &field):
		name = field.Field
	case errors.As(err, &own):
		name = own.Field
	case errors.As(err, &between):
		status, s.Rev = http.StatusConflict, rev
	}
	s.Problem = err.Error()
	for i := range s.Fields {
		s.Fields[i].Wrong = s.Fields[i].Wrong || s.Fields[i].Name == name
	}
	return status
}

// percentField edits hundredths of a per cent.
func percentField(name, label string, bp *int64) field {
	x := float64(*bp) / 100
	f := numberField(name, label, &x)
	set := f.set
	f.set = func(s string) error {
		if err := set(s); err != nil || x < 0 || x > 100 {
			return &job.FieldError{Field: name, Text: "Write the rate in per cent, 0 to 100."}
		}
		*bp = int64(math.Round(100 * x))
		return nil
	}
	return f
}
