package rates

import (
	"fmt"
	"math"
	"slices"
)

// OddJob is one whose minutes do not go with the others.
type OddJob struct {
	Name   string  `json:"name"`
	Ratio  float64 `json:"ratio"` // actual over forecast
	Weight float64 `json:"weight"`
	Text   string  `json:"text"`
}

// Weights of jobs: Tukey's biweight [BeatonTukey1974] on log(actual/forecast) over its spread. 4.685 keeps 95 % efficiency on
// Gaussian residuals; a job under oddWeight is named.
const (
	biweight  = 4.685
	oddWeight = 0.2
	// gentle is E[w u2]/E[w] of that weight for a standard normal u, by the series of w: the weighted squares fall short by it.
	gentle = (1 - 6/(biweight*biweight) + 15/(biweight*biweight*biweight*biweight)) /
		(1 - 2/(biweight*biweight) + 3/(biweight*biweight*biweight*biweight))
	sweeps = 30
)

// start is the median of actual over standard minutes.
func start(rows []obs) float64 {
	q := make([]float64, len(rows))
	for i, o := range rows {
		q[i] = o.y / sum(o.x)
	}
	return median(q)
}

func median(v []float64) float64 {
	v = slices.Clone(v)
	slices.Sort(v)
	n := len(v)
	return (v[(n-1)/2] + v[n/2]) / 2
}

// ratios is the log of actual over forecast of each job.
func ratios(rows []obs, fit []float64, jobs int) []float64 {
	out, of := make([]float64, jobs), make([]float64, jobs)
	for i, o := range rows {
		out[o.job] += o.y
		of[o.job] += fit[i]
	}
	for i := range out {
		out[i] = math.Log(out[i] / of[i])
	}
	return out
}

// weigh sets the jobs' weights. Their spread is the median magnitude, mixed with the prior's while they are few.
func (r *Rates) weigh(rows []obs, fit []float64, jobs int) {
	q := ratios(rows, fit, jobs)
	abs := make([]float64, len(q))
	for i, v := range q {
		abs[i] = math.Abs(v)
	}
	n := float64(jobs)
	spread := median(abs) / 0.6745
	sd := math.Sqrt((n*spread*spread + r.prior.JobDF*r.prior.JobSD*r.prior.JobSD) / (n + r.prior.JobDF))
	if jobs < 3 {
		// One job in two cannot say which is odd: judge by how far rates may lie from the prior.
		sd = math.Hypot(sd, r.prior.CommonSD+r.prior.OwnSD)
	}
	for i, v := range q {
		u := v / (biweight * sd)
		r.w[i] = max(0, 1-u*u)
		r.w[i] *= r.w[i]
	}
}

// slip is how far from ten, as a logarithm, a ratio may lie for a slipped decimal to be asked about: a factor of 2.4, a slow rate of 1.8
// that no other job has shown on a day 1.3 times as slow.
const slip = 0.9

// name lists the odd jobs with words.
func (r *Rates) name(jobs []Job, rows []obs, fit []float64) {
	for i, q := range ratios(rows, fit, len(jobs)) {
		if r.w[i] >= oddWeight {
			continue
		}
		o := OddJob{Name: jobs[i].Name, Ratio: math.Exp(q), Weight: r.w[i]}
		o.Text = fmt.Sprintf("%s took %.1f times its forecast and is put aside; check its hours", o.Name, o.Ratio)
		if l := math.Abs(math.Abs(q) - math.Ln10); l < slip {
			o.Text = fmt.Sprintf("%s took %.1f times its forecast and is put aside; is the decimal point in the right place?", o.Name, o.Ratio)
		}
		r.Odd = append(r.Odd, o)
	}
}
