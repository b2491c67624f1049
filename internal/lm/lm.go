// Package lm is a small Levenberg-Marquardt least-squares solver for dense problems of a few dozen unknowns: residuals in, the
// minimiser and its covariance out. Jacobians are given, or taken by forward differences, a column a goroutine.
package lm

import (
	"errors"
	"math"
	"runtime"
	"sync"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"

	"fairmetal/internal/rows"
)

// Problem is a sum of squares to be minimised.
type Problem struct {
	// Residuals fills r, already weighted, for the unknowns x. It must be safe to call from several goroutines.
	Residuals func(x, r []float64)
	// Jacobian fills cols[j], M zeros long, with the derivative of the residuals by x[j]; nil: forward differences of Residuals.
	Jacobian func(x []float64, cols [][]float64)
	M        int       // number of residuals
	Step     []float64 // step of the difference quotient for each unknown
	MaxIter  int       // 0: 30
	Tol      float64   // relative fall of the cost below which it stops; 0: 1e-9
	NoCov    bool      // leave the covariance out
}

// Result is the minimiser, its cost (half is not taken: the plain sum of squares) and the inverse normal matrix J'J, which is
// the covariance of x when the residuals are weighted to unit variance.
type Result struct {
	X    []float64
	Cost float64
	Cov  *mat.SymDense
	Iter int
}

// ErrSingular says that the data do not determine all unknowns.
var ErrSingular = errors.New("lm: the data do not determine the unknowns")

// Minimise runs Levenberg-Marquardt from x0 (Moré 1978 damping by the diagonal, fixed-factor update).
func Minimise(p Problem, x0 []float64) (Result, error) {
	n := len(x0)
	if p.MaxIter == 0 {
		p.MaxIter = 30
	}
	if p.Tol == 0 {
		p.Tol = 1e-9
	}
	x := append([]float64(nil), x0...)
	r := make([]float64, p.M)
	p.Residuals(x, r)
	cost := sumSquares(r)
	lambda := 1e-4
	cols := make([][]float64, n)
	for j := range cols {
		cols[j] = make([]float64, p.M)
	}
	rt := make([]float64, p.M)
	var jtj *mat.SymDense
	iter, rests := 0, false
	for ; iter < p.MaxIter; iter++ {
		var jtr []float64
		jtj, jtr = p.normal(x, r, cols)
		improved := false
		before := cost
		for try := 0; try < 8; try++ {
			dx, ok := damped(jtj, jtr, lambda)
			if !ok {
				lambda *= 10
				continue
			}
			xt := make([]float64, n)
			for i := range xt {
				xt[i] = x[i] - dx[i]
			}
			p.Residuals(xt, rt)
			if c := sumSquares(rt); c < cost && !math.IsNaN(c) {
				x, r, rt, cost = xt, rt, r, c
				lambda = math.Max(lambda/10, 1e-12)
				improved = true
				break
			}
			lambda *= 10
		}
		// Where it came to rest the normal matrix is that of the last step.
		if rests = !improved || before-cost <= p.Tol*before; rests {
			break
		}
	}
	if p.NoCov {
		return Result{X: x, Cost: cost, Iter: iter}, nil
	}
	if !rests {
		jtj, _ = p.normal(x, r, cols)
	}
	var chol mat.Cholesky
	if !chol.Factorize(jtj) {
		return Result{X: x, Cost: cost, Iter: iter}, ErrSingular
	}
	cov := mat.NewSymDense(n, nil)
	if err := chol.InverseTo(cov); err != nil {
		return Result{X: x, Cost: cost, Iter: iter}, ErrSingular
	}
	return Result{X: x, Cost: cost, Cov: cov, Iter: iter}, nil
}

// normal returns J'J and J'r at x; cols is scratch for the Jacobian.
func (p Problem) normal(x, r []float64, cols [][]float64) (*mat.SymDense, []float64) {
	n := len(x)
	p.columns(x, r, cols)
	jtj := mat.NewSymDense(n, nil)
	jtr := make([]float64, n)
	rows.Do(n, func(i0, i1 int) {
		for i := i0; i < i1; i++ {
			for k := i; k < n; k++ {
				jtj.SetSym(i, k, floats.Dot(cols[i], cols[k]))
			}
			jtr[i] = floats.Dot(cols[i], r)
		}
	})
	return jtj, jtr
}

// columns fills the Jacobian at x, a slice a column.
func (p Problem) columns(x, r []float64, cols [][]float64) {
	if p.Jacobian != nil {
		for j := range cols {
			clear(cols[j])
		}
		p.Jacobian(x, cols)
		return
	}
	var wg sync.WaitGroup
	sem := make(chan struct{}, runtime.GOMAXPROCS(0))
	for j, hi := range cols {
		wg.Add(1)
		sem <- struct{}{}
		go func() {
			defer wg.Done()
			defer func() { <-sem }()
			xp := append([]float64(nil), x...)
			xp[j] = x[j] + p.Step[j]
			p.Residuals(xp, hi)
			for i := range hi {
				hi[i] = (hi[i] - r[i]) / p.Step[j]
			}
		}()
	}
	wg.Wait()
}

// damped solves (J'J + lambda diag(J'J)) dx = J'r.
func damped(jtj *mat.SymDense, jtr []float64, lambda float64) ([]float64, bool) {
	n := len(jtr)
	a := mat.NewSymDense(n, nil)
	a.CopySym(jtj)
	for i := range n {
		d := a.At(i, i)
		a.SetSym(i, i, d+lambda*d+1e-300)
	}
	var chol mat.Cholesky
	if !chol.Factorize(a) {
		return nil, false
	}
	dx := mat.NewVecDense(n, nil)
	if err := chol.SolveVecTo(dx, mat.NewVecDense(n, jtr)); err != nil {
		return nil, false
	}
	return dx.RawVector().Data, true
}

func sumSquares(r []float64) float64 {
	var s float64
	for _, v := range r {
		s += v * v
	}
	return s
}
