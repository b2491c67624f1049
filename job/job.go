// Package job is the record of one repair and its rules: who, which vehicle and panel, where the work stands, and its captures.
package job

import (
	"fmt"
	"slices"
	"time"
)

// Step is where a job stands.
type Step string

// Steps in order.
const (
	Arrive   Step = "arrive"
	Look     Step = "look"
	Offer    Step = "offer"
	Work     Step = "work"
	Prove    Step = "prove"
	HandOver Step = "handover"
	// Done jobs have left the bench: handed over or declined. The step has no page of its own.
	Done Step = "done"
)

// Steps lists all steps with a page, in order.
var Steps = []Step{Arrive, Look, Offer, Work, Prove, HandOver}

// Valid tells whether s is a step.
func (s Step) Valid() bool { return s == Done || slices.Contains(Steps, s) }

// Page is the step whose page shows a job that stands here.
func (s Step) Page() Step {
	if s == Done {
		return HandOver
	}
	return s
}

// Job is one repair of one panel.
type Job struct {
	ID        string
	Number    int64
	Rev       int64 // counts the changes: a save with an old one is a conflict
	PersonID  string
	VehicleID string
	Customer  string // as lists and papers name the person
	Vehicle   string // as lists and papers name the vehicle
	Panel     string
	Kind      string // roof, door, bonnet, wing, tailgate, quarter
	Material  string // steel, aluminium
	SheetMM   float64
	FilmUM    float64 // measured paint thickness; 0: not measured
	NoReach   bool    // the back cannot be reached
	Notes     string
	Step      Step
	Declined  bool
	Record    Record
	Created   time.Time
	Updated   time.Time
}

// State of a capture.
type State string

// States of a capture.
const (
	Queued    State = "queued"
	Measuring State = "measuring"
	Measured  State = "measured"
	Refused   State = "refused"
)

// Capture is one measurement of a job's panel.
type Capture struct {
	ID       string
	JobID    string
	Title    string // "before", "after raising"
	State    State
	Doing    string  // the step at hand
	Progress float64 // 0 to 1
	Message  string  // why it was refused and what to do
	Marks    int
	DeepUM   float64
	// What the offer on this capture says, for lists.
	TotalMinor int64
	Currency   string
	Hours      float64
	HoursLow   float64 // nine jobs in ten take more
	HoursHigh  float64 // and nine in ten take less
	Answer     string  // of the verdict: yes, risk, no
	Sizes      []Size  // of the marks: written with the results, read by themselves
	Created    time.Time
}

// Size is a mark as lists and figures know it.
type Size struct {
	ID       string
	Kind     string
	LengthMM float64
	WidthMM  float64
	DepthUM  float64
}

// Worked is what a job was forecast at and what it took.
type Worked struct {
	Kind       string
	Step       Step
	Declined   bool
	Minutes    float64 // 0: not timed
	Hours      float64
	HoursLow   float64
	HoursHigh  float64
	TotalMinor int64
	Currency   string
	Answer     string
}

// Sum is what jobs of a kind of panel came to. Hours and money count the timed jobs.
type Sum struct {
	Kind       string
	Currency   string
	Jobs       int
	Declined   int
	Timed      int
	Inside     int     // timed jobs whose hours lay within their forecast's range
	Forecast   float64 // hours
	Worked     float64 // hours
	TotalMinor int64   // with tax as offered
}

// Sum of one job. It is timed when it was handed over and times were noted.
func (w Worked) Sum() Sum {
	s := Sum{Kind: w.Kind, Currency: w.Currency, Jobs: 1}
	if w.Declined || w.Answer == "no" {
		s.Declined = 1
	}
	if w.Minutes > 0 && (w.Step == HandOver || w.Step == Done) {
		s.Timed, s.Forecast, s.Worked, s.TotalMinor = 1, w.Hours, w.Minutes/60, w.TotalMinor
		if s.Worked >= w.HoursLow && s.Worked <= w.HoursHigh {
			s.Inside = 1
		}
	}
	return s
}

// Timed is what was made in how long in one job, by part of the work.
type Timed struct {
	Number  int64
	Vehicle string
	Panel   string
	Parts   map[string]PartDone
}

// MarkKind says how many marks of a kind there were, and their mean size.
type MarkKind struct {
	Kind     string
	Marks    int
	Jobs     int
	LengthMM float64
	WidthMM  float64
	DepthUM  float64
}

// Kinds of panel that we know cautions and trim times for.
var Kinds = []string{"roof", "door", "bonnet", "wing", "tailgate", "quarter"}

// FieldError names the field that has to be corrected.
type FieldError struct {
	Field string
	Text  string
}

func (e *FieldError) Error() string { return e.Text }

// Check tidies the job's texts and says what is missing or impossible.
func (j *Job) Check() error {
	if err := tidy([]limit{{"vehicle", &j.Vehicle, 120, true}, {"panel", &j.Panel, 120, true}, {"customer", &j.Customer, 200, false}, {"notes", &j.Notes, 5000, false}}); err != nil {
		return err
	}
	if j.Step == "" {
		j.Step = Arrive
	}
	switch {
	case !j.Step.Valid():
		return &FieldError{"step", fmt.Sprintf("%q is no step of a job.", j.Step)}
	case j.Material != "" && j.Material != "steel" && j.Material != "aluminium":
		return &FieldError{"material", "The sheet is steel or aluminium."}
	case j.SheetMM != 0 && !(j.SheetMM >= 0.3 && j.SheetMM <= 3):
		return &FieldError{"sheet", "The sheet is 0.3 to 3 mm thick; leave it empty if you do not know."}
	case !(j.FilmUM >= 0 && j.FilmUM <= 5000):
		return &FieldError{"film", "Paint reads 0 to 5000 um; leave it empty if you did not measure it."}
	}
	return nil
}

// Role says what somebody may do.
type Role string

// Roles from the least to the most.
const (
	Anybody    Role = ""           // without signing in
	Viewer     Role = "viewer"     // looks
	Technician Role = "technician" // works on jobs
	Owner      Role = "owner"      // sets the house up, sees the money, lets people in
)

// May tells whether a role reaches to another. Nobody reaches to one that does not exist.
func (r Role) May(least Role) bool {
	rank := map[Role]int{Anybody: 0, Viewer: 1, Technician: 2, Owner: 3}
	need, known := rank[least]
	return known && rank[r] >= need
}
