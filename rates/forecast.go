package rates

import (
	"fmt"
	"math"
	"sort"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Range is a forecast in minutes: the middle, and the range that holds a stated share of jobs like this.
type Range struct {
	Minutes float64          `json:"minutes"`
	Low     float64          `json:"low"`
	High    float64          `json:"high"`
	Share   float64          `json:"share"`
	ByPart  map[Part]float64 `json:"by_part"`
	spread  distuv.StudentsT // of log minutes
}

// Forecast tells what a job will take and the range that holds the share (0.8: four jobs in five), from the uncertainty of the rates
// and the job's own: relative variance t2 (1 + x'V x / y2), Student t with 2a degrees of freedom, carried to log minutes so that the
// range stays over zero.
func (r *Rates) Forecast(s Sizes, share float64) (Range, error) {
	if !(share > 0 && share < 1) {
		return Range{}, fmt.Errorf("a range that holds a share of %g of the jobs is not possible; choose 0.8, for example", share)
	}
	x, err := r.prior.row(s)
	if err != nil {
		return Range{}, err
	}
	v := mat.NewVecDense(len(x), x)
	y := max(mat.Dot(v, r.mean), 0.05*sum(x))
	rel2 := r.b / r.a * (1 + r.variance(v)/(y*y))
	f := Range{Minutes: y, Share: share, ByPart: map[Part]float64{}}
	f.spread = distuv.StudentsT{Mu: math.Log(y) - math.Log1p(rel2)/2, Sigma: math.Sqrt(math.Log1p(rel2)), Nu: 2 * r.a}
	f.Low, f.High = math.Exp(f.spread.Quantile((1-share)/2)), math.Exp(f.spread.Quantile((1+share)/2))
	for k, part := range Parts {
		if x[k] > 0 {
			f.ByPart[part] = x[k] * r.mean.AtVec(k)
		}
	}
	return f, nil
}

// variance is x'V x.
func (r *Rates) variance(x *mat.VecDense) float64 {
	var s mat.VecDense
	if err := r.prec.SolveVecTo(&s, x); err != nil {
		return math.Inf(1)
	}
	return mat.Dot(x, &s)
}

// Quantile is where minutes stand in the forecast, 0 to 1.
func (f Range) Quantile(minutes float64) float64 { return f.spread.CDF(math.Log(minutes)) }

// Rate is what a part takes this technician.
type Rate struct {
	Part    Part    `json:"part"`
	Minutes float64 `json:"minutes"` // a unit
	Low     float64 `json:"low"`     // 80 % range
	High    float64 `json:"high"`
	Factor  float64 `json:"factor"` // on the prior's
}

// Table lists the rates in working order.
func (r *Rates) Table() []Rate {
	q := distuv.StudentsT{Sigma: 1, Nu: 2 * r.a}.Quantile(0.9)
	var out []Rate
	for k, part := range Parts {
		e := mat.NewVecDense(len(Parts), nil)
		e.SetVec(k, 1)
		sd := math.Sqrt(r.b / r.a * r.variance(e))
		f, m := r.mean.AtVec(k), r.prior.Minutes[part]
		out = append(out, Rate{part, m * f, m * max(0, f-q*sd), m * (f + q*sd), f})
	}
	return out
}

// JobSD is the relative spread of a job about its forecast.
func (r *Rates) JobSD() float64 { return math.Sqrt(r.b / r.a) }

// Record says how past forecasts held.
type Record struct {
	Jobs        int     `json:"jobs"`
	Share       float64 `json:"share"`  // that the ranges promise
	Inside      float64 `json:"inside"` // that they held
	MedianError float64 `json:"median_error"`
	// Deciles counts in which tenth of its forecast each job ended; honest forecasts fill all alike.
	Deciles [10]int `json:"deciles"`
	// Odd counts jobs that the fit of all later put aside; they are left in.
	Odd int `json:"odd"`
}

// Honesty forecasts every job from those before it, as it was done, and compares. skip jobs at the start are only learnt from.
func Honesty(jobs []Job, p Prior, share float64, skip int) (Record, error) {
	rec := Record{Share: share}
	var errs []float64
	for i := max(0, skip); i < len(jobs); i++ {
		r, err := Fit(jobs[:i], p)
		if err != nil {
			return rec, err
		}
		f, err := r.Forecast(jobs[i].Sizes, share)
		if err != nil {
			return rec, fmt.Errorf("job %q: %w", jobs[i].Name, err)
		}
		rec.add(f, jobs[i].total(), &errs)
	}
	if rec.Jobs == 0 {
		return rec, nil
	}
	all, err := Fit(jobs, p)
	if err != nil {
		return rec, err
	}
	rec.Odd = len(all.Odd)
	rec.Inside /= float64(rec.Jobs)
	sort.Float64s(errs)
	rec.MedianError = median(errs)
	return rec, nil
}

func (rec *Record) add(f Range, actual float64, errs *[]float64) {
	rec.Jobs++
	if actual >= f.Low && actual <= f.High {
		rec.Inside++
	}
	rec.Deciles[min(9, int(10*f.Quantile(actual)))]++
	*errs = append(*errs, math.Abs(f.Minutes/actual-1))
}

// total is the minutes of a job.
func (j Job) total() float64 {
	if len(j.ByPart) == 0 {
		return j.Minutes
	}
	var s float64
	for _, v := range j.ByPart {
		s += v
	}
	return s
}
