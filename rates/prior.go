package rates

import (
	"fmt"
	"maps"
	"slices"
)

// Part of the work.
type Part string

// Parts with what a unit of each is.
const (
	SetUp   Part = "set-up"  // a job
	Trim    Part = "trim"    // a minute of the trim list
	Heat    Part = "heat"    // a warming of the skin
	Raise   Part = "raise"   // a push or tap
	Level   Part = "level"   // a push or tap
	Finish  Part = "finish"  // a push or tap
	Pull    Part = "pull"    // a glued pull, of any stage
	Check   Part = "check"   // a look over the area between captures
	Capture Part = "capture" // a set of photos measured
)

// Parts lists all parts in working order.
var Parts = []Part{SetUp, Trim, Capture, Heat, Pull, Raise, Level, Finish, Check}

// Sizes says how many units of each part a job has.
type Sizes map[Part]float64

// Job is a finished one.
type Job struct {
	Name    string           `json:"name"`
	Sizes   Sizes            `json:"sizes"`
	Minutes float64          `json:"minutes"`           // in all; 0: the sum of ByPart
	ByPart  map[Part]float64 `json:"by_part,omitempty"` // where the parts were timed; then Minutes is not used
}

// Prior is what is believed before any job: minutes a unit and how far a technician may be from them. Relative figures.
type Prior struct {
	Minutes  map[Part]float64 `json:"minutes"`
	CommonSD float64          `json:"common_sd"` // of being faster or slower at everything
	OwnSD    float64          `json:"own_sd"`    // of each part besides
	JobSD    float64          `json:"job_sd"`    // of one job about its forecast
	JobDF    float64          `json:"job_df"`    // degrees of freedom that JobSD is worth
}

// DefaultPrior is from memory of the trade: minutes a hit as in package plan; technicians differ by a factor of some 0.6 to 1.8, which is
// about 1 +- 0.35, in part alike over all they do; a job by a fifth, known as well as from six jobs.
func DefaultPrior() Prior {
	return Prior{
		Minutes: map[Part]float64{SetUp: 18, Trim: 1, Capture: 3, Heat: 4, Pull: 3.5, Raise: 0.4, Level: 0.25, Finish: 0.2, Check: 5},
		// Squares add to 0.35.
		CommonSD: 0.2, OwnSD: 0.29, JobSD: 0.2, JobDF: 6,
	}
}

// Check refuses a prior that cannot be meant.
func (p Prior) Check() error {
	in := func(v, lo, hi float64) bool { return v >= lo && v <= hi }
	if !in(p.CommonSD, 0, 3) || !in(p.OwnSD, 0.01, 3) || !in(p.JobSD, 0.01, 2) || !in(p.JobDF, 1, 1000) {
		return fmt.Errorf("the spread of rates or jobs is not possible (common %g, own %g, job %g, worth %g jobs); start from the defaults", p.CommonSD, p.OwnSD, p.JobSD, p.JobDF)
	}
	for _, part := range slices.Sorted(maps.Keys(p.Minutes)) {
		if !slices.Contains(Parts, part) {
			return fmt.Errorf("the part %q is not known; take one of %v", part, Parts)
		}
	}
	for _, part := range Parts {
		if !in(p.Minutes[part], 1e-3, 1e4) {
			return fmt.Errorf("%g minutes for a unit of %q are not possible; set it between 0.001 and 10000", p.Minutes[part], part)
		}
	}
	return nil
}

// row turns sizes into standard minutes by part, the regressors.
func (p Prior) row(s Sizes) ([]float64, error) {
	x := make([]float64, len(Parts))
	var sum float64
	for part, n := range s {
		k := slices.Index(Parts, part)
		if k < 0 {
			return nil, fmt.Errorf("the part %q is not known; take one of %v", part, Parts)
		}
		if !(n >= 0 && n <= 1e6) {
			return nil, fmt.Errorf("%g units of %q are not possible", n, part)
		}
		x[k] = n * p.Minutes[part]
		sum += x[k]
	}
	if sum <= 0 {
		return nil, fmt.Errorf("there is no work in it; give at least one part")
	}
	return x, nil
}
