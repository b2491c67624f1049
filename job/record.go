package job

import (
	"fmt"
	"strings"
	"time"
	"unicode"

	"fairmetal/rack"
)

// Person is somebody the workshop deals with.
type Person struct {
	ID       string
	Rev      int64
	Name     string
	Company  string
	Street   string
	Postcode string
	City     string
	Country  string // ISO 3166-1 alpha-2
	Phone    string
	Email    string
	TaxID    string // a company's VAT identifier
	Lang     string // of the papers: en, de
	Notes    string
	Erased   bool // personal data was deleted on request; papers that the law keeps still name the person
	Updated  time.Time
}

// Title is how lists name the person.
func (p Person) Title() string {
	switch {
	case p.Company != "" && p.Name != "":
		return p.Company + ", " + p.Name
	case p.Company != "":
		return p.Company
	}
	return p.Name
}

// Lines is the person's address as it stands on a letter.
func (p Person) Lines() []string {
	var out []string
	for _, l := range []string{p.Company, p.Name, p.Street, strings.TrimSpace(p.Postcode + " " + p.City)} {
		if l != "" {
			out = append(out, l)
		}
	}
	return out
}

// Check tidies the person's texts and says what is missing or impossible.
func (p *Person) Check() error {
	if err := tidy([]limit{{"name", &p.Name, 200, false}, {"company", &p.Company, 200, false}, {"street", &p.Street, 200, false}, {"postcode", &p.Postcode, 20, false}, {"city", &p.City, 100, false},
		{"country", &p.Country, 2, false}, {"phone", &p.Phone, 40, false}, {"email", &p.Email, 200, false}, {"tax id", &p.TaxID, 30, false}, {"notes", &p.Notes, 5000, false}}); err != nil {
		return err
	}
	p.Country = strings.ToUpper(p.Country)
	switch {
	case p.Name == "" && p.Company == "" && !p.Erased:
		return &FieldError{"name", "Fill in a name or a company."}
	case p.Country != "" && len(p.Country) != 2:
		return &FieldError{"country", "The country is two letters, such as DE or GB."}
	case p.Email != "" && (strings.Count(p.Email, "@") != 1 || strings.ContainsAny(p.Email, " ,;<>")):
		return &FieldError{"email", "This is no e-mail address."}
	case p.Lang != "" && p.Lang != "en" && p.Lang != "de":
		return &FieldError{"lang", "Papers are written in English (en) or German (de)."}
	}
	return nil
}

// Vehicle is what stands in the yard.
type Vehicle struct {
	ID       string
	Rev      int64
	PersonID string
	Name     string // as the workshop calls it
	Plate    string
	VIN      string
	Year     int
	Colour   string
	Notes    string
	Updated  time.Time
}

// Check tidies the vehicle's texts and says what is missing or impossible. The VIN is package vin's to read: a strange one is no error.
func (v *Vehicle) Check() error {
	if err := tidy([]limit{{"vehicle", &v.Name, 120, true}, {"plate", &v.Plate, 20, false}, {"vin", &v.VIN, 30, false}, {"colour", &v.Colour, 60, false}, {"notes", &v.Notes, 5000, false}}); err != nil {
		return err
	}
	if v.Year != 0 && (v.Year < 1900 || v.Year > 2100) {
		return &FieldError{"year", "The year has four digits; leave it empty if you do not know."}
	}
	return nil
}

// Record is what the steps of a job note beside its head: one document for each job.
type Record struct {
	Arrival   Arrival   `json:"arrival"`
	Eye       []Eye     `json:"eye,omitempty"`
	Deal      Deal      `json:"deal"`
	Work      Worklog   `json:"work"`
	Departure Departure `json:"departure"`
}

// Arrival is what was found and agreed when the vehicle came.
type Arrival struct {
	Side     string      `json:"side,omitempty"`  // left, right, middle
	Place    string      `json:"place,omitempty"` // key of Places, where the panel was picked on the drawing
	Says     string      `json:"says,omitempty"`  // the customer's own words
	Flaws    []Flaw      `json:"flaws,omitempty"`
	Readings []Reading   `json:"readings,omitempty"`
	Access   []string    `json:"access,omitempty"`    // what stands in the way behind the panel: keys of Hindrances
	Behind   rack.Access `json:"behind,omitzero"`     // how areas of the panel are reached from behind; none: everywhere
	When     []string    `json:"trim_when,omitempty"` // conditions under which further trim comes off (trim.Part.When)
	Consent  Signature   `json:"consent"`
	Due      time.Time   `json:"due,omitzero"` // when the vehicle comes, where that was agreed
}

// Flaw is existing damage outside the job.
type Flaw struct {
	Text  string `json:"text"`
	Photo string `json:"photo,omitempty"` // name of the attachment
}

// Reading is a paint thickness at a place of the panel's grid, columns from the left, rows from the top, both from 0.
type Reading struct {
	Col int     `json:"col"`
	Row int     `json:"row"`
	UM  float64 `json:"um"`
}

// Hindrances are what may stand behind a panel.
var Hindrances = []string{"beam", "double skin", "glass", "wiring", "airbag", "high voltage", "sound damping", "glued lining"}

// Signature is a drawn signature under a text.
type Signature struct {
	Text    string     `json:"text,omitempty"` // what was signed, in full
	Name    string     `json:"name,omitempty"`
	At      time.Time  `json:"at,omitzero"`
	Strokes [][]Stroke `json:"strokes,omitempty"`
}

// Stroke is a point of a signature in hundredths of the pad's width.
type Stroke [2]float64

// Given tells whether somebody signed.
func (s Signature) Given() bool { return !s.At.IsZero() }

// Eye is a correction by hand of what was measured, kept apart from it.
type Eye struct {
	Capture string   `json:"capture"`
	Do      string   `json:"do"` // ignore, rename, merge, split, edge
	Marks   []string `json:"marks"`
	Name    string   `json:"name,omitempty"`
	Kind    string   `json:"kind,omitempty"`
	XMM     float64  `json:"x_mm,omitempty"` // where a mark is split
	YMM     float64  `json:"y_mm,omitempty"`
	MM      float64  `json:"mm,omitempty"` // from the mark to the edge
	Why     string   `json:"why,omitempty"`
}

// Deal is what was offered and agreed.
type Deal struct {
	Capture  string    `json:"capture,omitempty"` // the capture the offer rests on
	Choice   string    `json:"choice,omitempty"`  // all, some, decline
	Marks    []string  `json:"marks,omitempty"`   // of "some"
	Why      string    `json:"why,omitempty"`     // of "decline"
	Accepted Signature `json:"accepted"`
	How      string    `json:"how,omitempty"` // signature, code
	Paper    string    `json:"paper,omitempty"`
	Link     Link      `json:"link,omitzero"`
}

// Link lets whoever knows a code see one quote and accept it. The code itself is not kept.
type Link struct {
	Hash  string    `json:"hash,omitempty"`
	Until time.Time `json:"until,omitzero"`
}

// Worklog is what was done at the panel.
type Worklog struct {
	Hits  []HitDone `json:"hits,omitempty"`
	Spans []Span    `json:"spans,omitempty"`
}

// HitDone is how a planned hit went.
type HitDone struct {
	Key     string    `json:"key"` // made by the device, so that a repeated message is the same hit
	Capture string    `json:"capture"`
	Round   int       `json:"round"`
	N       int       `json:"n"`
	Did     string    `json:"did"`            // done, skipped, open: taken back
	Felt    string    `json:"felt"`           // "", hard
	Part    string    `json:"part,omitempty"` // of package rates: what it counts as when the pace is learnt
	At      time.Time `json:"at"`
}

// Span is time spent on a part of the work.
type Span struct {
	Key    string    `json:"key"`
	Part   string    `json:"part"` // a part of package rates
	Start  time.Time `json:"start"`
	End    time.Time `json:"end,omitzero"`
	ByHand bool      `json:"by_hand,omitempty"` // put right by a person: devices do not change it any more
}

// Departure is what goes with the vehicle.
type Departure struct {
	Refitted  map[string]bool `json:"refitted,omitempty"` // trim parts and fixings ticked off
	Left      string          `json:"left,omitempty"`     // what is left, and why
	Received  Signature       `json:"received"`
	Paid      bool            `json:"paid,omitempty"`
	PaidHow   string          `json:"paid_how,omitempty"`
	ReportID  string          `json:"report,omitempty"`
	InvoiceID string          `json:"invoice,omitempty"`
}

// Paper is a document that left the house: it never changes.
type Paper struct {
	ID         string
	JobID      string
	Kind       string // quote, report, invoice, credit
	Number     string
	Version    int
	Lang       string
	Currency   string
	TotalMinor int64
	State      string // draft, sent, accepted, paid, taken back
	Created    time.Time
}

// Entry is one line of the trail of who changed what.
type Entry struct {
	At    time.Time
	User  string
	What  string // "job changed", "paper made"
	JobID string
	Note  string
}

// ErrConflict says that somebody else saved the same record in between.
type ErrConflict struct{ What string }

func (e *ErrConflict) Error() string {
	return fmt.Sprintf("somebody else changed this %s while you had it open; what you typed is still here: look at the new state and save again", e.What)
}

type limit struct {
	name string
	v    *string
	most int
	need bool
}

// tidy trims texts, takes control characters out and checks their lengths.
func tidy(fields []limit) error {
	for _, f := range fields {
		*f.v = strings.TrimSpace(strings.Map(func(r rune) rune {
			if unicode.IsControl(r) && r != '\n' {
				return -1
			}
			return r
		}, *f.v))
		if f.need && *f.v == "" {
			return &FieldError{f.name, fmt.Sprintf("Fill in the %s.", f.name)}
		}
		if len(*f.v) > f.most {
			return &FieldError{f.name, fmt.Sprintf("The %s is longer than %d letters: shorten it.", f.name, f.most)}
		}
	}
	return nil
}
