package rates

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// Rates are a technician's own, as a belief: factor f on the standard minutes of each part and relative variance t2 of a job,
//
//	f | t2 ~ N(mean, t2 V)    t2 ~ inverse gamma(a, b)
type Rates struct {
	prior Prior
	mean  *mat.VecDense
	prec  mat.Cholesky // of V^-1
	a, b  float64
	Jobs  int       `json:"jobs"` // that the rates rest on
	Odd   []OddJob  `json:"odd"`  // put aside or counted little
	w     []float64 // weight of each job
}

// partsAlike is how much of a job's noise its parts share when they are timed apart: a bad day slows them all. Common practice, no
// source.
const partsAlike = 0.5

// obs is one timed row: a whole job or a part of one.
type obs struct {
	job int
	x   []float64
	y   float64
}

// Fit learns from finished jobs. None gives the prior.
func Fit(jobs []Job, p Prior) (*Rates, error) {
	if err := p.Check(); err != nil {
		return nil, err
	}
	var rows []obs
	for i, j := range jobs {
		r, err := p.rows(i, j)
		if err != nil {
			return nil, fmt.Errorf("job %q: %w", j.Name, err)
		}
		rows = append(rows, r...)
	}
	r := &Rates{prior: p, Jobs: len(jobs), Odd: []OddJob{}, w: make([]float64, len(jobs))}
	for i := range r.w {
		r.w[i] = 1
	}
	if len(rows) == 0 {
		return r, r.solve(nil, nil)
	}
	// Start from the prior times the median ratio, which one slipped decimal cannot move.
	scale := start(rows)
	fit := make([]float64, len(rows))
	for i, o := range rows {
		fit[i] = scale * sum(o.x)
	}
	for range sweeps {
		r.weigh(rows, fit, len(jobs))
		if err := r.solve(rows, fit); err != nil {
			return nil, err
		}
		moved := 0.0
		for i, o := range rows {
			// A forecast can no more be negative than a job.
			next := max(mat.Dot(mat.NewVecDense(len(o.x), o.x), r.mean), 0.05*sum(o.x))
			moved = max(moved, math.Abs(next/fit[i]-1))
			fit[i] = next
		}
		if moved < 1e-9 {
			break
		}
	}
	r.name(jobs, rows, fit)
	return r, nil
}

// rows checks a job and turns it into rows.
func (p Prior) rows(i int, j Job) ([]obs, error) {
	x, err := p.row(j.Sizes)
	if err != nil {
		return nil, err
	}
	if len(j.ByPart) == 0 {
		if !(j.Minutes > 0 && j.Minutes < 1e6) {
			return nil, fmt.Errorf("%g minutes are not possible; enter the hours worked", j.Minutes)
		}
		return []obs{{i, x, j.Minutes}}, nil
	}
	var out []obs
	for k, part := range Parts {
		y, timed := j.ByPart[part]
		if !timed {
			continue
		}
		if !(y > 0 && y < 1e6) || x[k] == 0 {
			return nil, fmt.Errorf("%g minutes of %q with %g units of it are not possible; correct one of them", y, part, j.Sizes[part])
		}
		only := make([]float64, len(x))
		only[k] = x[k]
		out = append(out, obs{i, only, y})
	}
	if len(out) != len(j.ByPart) {
		return nil, fmt.Errorf("a timed part is not known; take some of %v", Parts)
	}
	return out, nil
}

func sum(v []float64) (s float64) {
	for _, x := range v {
		s += x
	}
	return s
}

// solve is the conjugate update with rows scaled by their forecast (so that noise is relative) and weighted. With prior precision P0 =
// V0^-1 and mean m0 = 1:
//
//	P = P0 + X'X    P m = P0 m0 + X'y    a = a0 + n/2    b = b0 + (y'y + m0'P0 m0 - m'P m)/2
//
// the last sum over gentle, for what the weights take
func (r *Rates) solve(rows []obs, fit []float64) error {
	k := len(Parts)
	p := r.prior
	v0 := mat.NewSymDense(k, nil)
	for i := range k {
		for j := i; j < k; j++ {
			v := p.CommonSD * p.CommonSD
			if i == j {
				v += p.OwnSD * p.OwnSD
			}
			v0.SetSym(i, j, v/(p.JobSD*p.JobSD))
		}
	}
	var c mat.Cholesky
	if !c.Factorize(v0) {
		return fmt.Errorf("the prior of the rates is degenerate; start from the defaults")
	}
	prec := mat.NewSymDense(k, nil)
	if err := c.InverseTo(prec); err != nil {
		return fmt.Errorf("the prior of the rates is degenerate (%w); start from the defaults", err)
	}
	m0 := mat.NewVecDense(k, nil)
	for i := range k {
		m0.SetVec(i, 1)
	}
	right := mat.NewVecDense(k, nil)
	right.MulVec(prec, m0)
	squares := mat.Dot(m0, right)
	n := 0.0
	for i := 0; i < len(rows); {
		j := i
		for j < len(rows) && rows[j].job == rows[i].job {
			j++
		}
		w := r.w[rows[i].job]
		for _, row := range whitened(rows[i:j], fit[i:j]) {
			x := mat.NewVecDense(k, row.x)
			prec.SymRankOne(prec, w, x)
			right.AddScaledVec(right, w*row.y, x)
			squares += w * row.y * row.y
		}
		n += w * float64(j-i)
		i = j
	}
	if !r.prec.Factorize(prec) {
		return fmt.Errorf("the rates cannot be told apart; check the jobs' figures")
	}
	r.mean = mat.NewVecDense(k, nil)
	if err := r.prec.SolveVecTo(r.mean, right); err != nil {
		return fmt.Errorf("the rates cannot be told apart (%w); check the jobs' figures", err)
	}
	r.a = p.JobDF/2 + n/2
	r.b = p.JobDF/2*p.JobSD*p.JobSD + max(0, squares-mat.Dot(r.mean, right))/2/gentle
	return nil
}

// whitened divides the rows of one job by their forecasts and takes out the noise that they share: with e_i = c + d_i, the correlation
// rho among n rows, z - s mean(z) with s = 1 - sqrt((1-rho)/(1+(n-1)rho)), over sqrt(1-rho), is white.
func whitened(rows []obs, fit []float64) []obs {
	out := make([]obs, len(rows))
	n := float64(len(rows))
	for i, o := range rows {
		out[i] = obs{o.job, make([]float64, len(o.x)), o.y / fit[i]}
		for k := range o.x {
			out[i].x[k] = o.x[k] / fit[i]
		}
	}
	if len(rows) == 1 {
		return out
	}
	s := 1 - math.Sqrt((1-partsAlike)/(1+(n-1)*partsAlike))
	g := 1 / math.Sqrt(1-partsAlike)
	for k := -1; k < len(out[0].x); k++ {
		at := func(i int) *float64 {
			if k < 0 {
				return &out[i].y
			}
			return &out[i].x[k]
		}
		var mean float64
		for i := range out {
			mean += *at(i) / n
		}
		for i := range out {
			*at(i) = g * (*at(i) - s*mean)
		}
	}
	return out
}
