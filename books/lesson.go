package books

import (
	"fmt"
	"math"

	"fairmetal/job"
	"fairmetal/rates"
)

// Lesson is what finished jobs taught.
type Lesson struct {
	Jobs  int         // that it rests on
	Data  []rates.Job // the jobs themselves, for the forecasts of offers
	Table []rates.Rate
	Odd   []rates.OddJob
	Pace  float64 // own minutes at the metal over the standard ones
	Sigma float64 // relative spread of a job about its forecast
}

// leastJobs before a pace is offered. Common practice, no source: with fewer the prior says more than they.
const leastJobs = 3

// Enough tells whether the lesson is worth taking over.
func (l Lesson) Enough() bool { return l.Jobs >= leastJobs && l.Pace > 0 }

// Learn fits the technician's own rates to jobs that were timed and whose hits were noted.
func Learn(jobs []job.Timed) (Lesson, error) {
	var in []rates.Job
	all := rates.Sizes{}
	for _, j := range jobs {
		r, ok := timed(j)
		if !ok {
			continue
		}
		in = append(in, r)
		for p, n := range r.Sizes {
			all[p] += n
		}
	}
	prior := rates.DefaultPrior()
	fit, err := rates.Fit(in, prior)
	if err != nil {
		return Lesson{}, err
	}
	l := Lesson{Jobs: fit.Jobs, Data: in, Table: fit.Table(), Odd: fit.Odd, Sigma: math.Round(100*fit.JobSD()) / 100}
	own, usual := 0.0, 0.0
	for _, r := range l.Table {
		switch r.Part {
		case rates.Raise, rates.Level, rates.Finish, rates.Pull:
			own += all[r.Part] * r.Minutes
			usual += all[r.Part] * prior.Minutes[r.Part]
		}
	}
	l.Pace = math.Round(100*ratio(own, usual)) / 100
	return l, nil
}

// timed is a job as package rates learns from it: only parts that have both a size and minutes say anything.
func timed(j job.Timed) (rates.Job, bool) {
	r := rates.Job{Name: fmt.Sprintf("%d %s, %s", j.Number, j.Vehicle, j.Panel), Sizes: rates.Sizes{}, ByPart: map[rates.Part]float64{}}
	worked := false
	for p, d := range j.Parts {
		part := rates.Part(p)
		if part == rates.SetUp {
			d.Made++ // once a job
		}
		if d.Made == 0 || d.Minutes == 0 {
			continue
		}
		r.Sizes[part], r.ByPart[part] = float64(d.Made), d.Minutes
		worked = worked || part != rates.SetUp
	}
	return r, worked
}
