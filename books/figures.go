package books

import (
	"cmp"
	"slices"

	"fairmetal/job"
)

// Row is what the jobs of one kind of panel came to. Hours and money count timed jobs of the currency only.
type Row struct {
	Kind     string // "" for all
	Jobs     int
	Declined int
	Timed    int
	Forecast float64 // hours
	Worked   float64 // hours
	Inside   int     // timed jobs whose hours lay within their forecast's range
	NetMinor int64   // of timed jobs, with tax as offered
}

// DeclinedShare of all jobs, 0 to 1.
func (r Row) DeclinedShare() float64 { return ratio(float64(r.Declined), float64(r.Jobs)) }

// InsideShare of the timed jobs, 0 to 1; an honest range of P10 to P90 holds four jobs in five.
func (r Row) InsideShare() float64 { return ratio(float64(r.Inside), float64(r.Timed)) }

// Over is hours worked over hours forecast.
func (r Row) Over() float64 { return ratio(r.Worked, r.Forecast) }

// PerHourMinor is what an hour worked brought.
func (r Row) PerHourMinor() int64 { return int64(ratio(float64(r.NetMinor), r.Worked)) }

func ratio(a, b float64) float64 {
	if b == 0 {
		return 0
	}
	return a / b
}

// Figures adds sums up by kind of panel; the first row is all of them.
func Figures(sums []job.Sum, currency string) []Row {
	by := map[string]*Row{}
	all := &Row{}
	for _, s := range sums {
		r := by[s.Kind]
		if r == nil {
			r = &Row{Kind: s.Kind}
			by[s.Kind] = r
		}
		for _, r := range []*Row{all, r} {
			r.Jobs += s.Jobs
			r.Declined += s.Declined
			if s.Currency == currency {
				r.Timed += s.Timed
				r.Forecast += s.Forecast
				r.Worked += s.Worked
				r.Inside += s.Inside
				r.NetMinor += s.TotalMinor
			}
		}
	}
	out := []Row{*all}
	for _, r := range by {
		out = append(out, *r)
	}
	slices.SortFunc(out[1:], func(a, b Row) int { return cmp.Or(b.Jobs-a.Jobs, cmp.Compare(a.Kind, b.Kind)) })
	return out
}
