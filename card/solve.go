package card

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"

	"fairmetal/internal/rows"
)

var errLost = errors.New("card: the fit lost the symbol")

// normalEquations are J'WJ and J'Wr with the weighted cost.
type normalEquations struct {
	a    [nAll][nAll]float64
	b    [nAll]float64
	cost float64
}

// nearWhite is the luminance from which a pixel may have been cut off at the sensor's white, 1: JPEG leaves clipped paper up to
// three of 255 steps below.
const nearWhite = 0.975

// residual is photo minus model. Where the sensor's white cuts the light off, the pixel only says that there was at least so
// much; then mute is true and the unknowns do not matter.
func residual(v, lum float64) (r float64, mute bool) {
	if v >= nearWhite && lum >= v {
		return 0, true
	}
	if lum >= 1 {
		return v - 1, true
	}
	return v - lum, false
}

// equationParts is in how many parts the samples are summed: the same on every machine, so that the sums are too.
const equationParts = 8

// equations gathers the normal equations of the samples at the present unknowns. Only the lower triangle is filled.
func (f *model) equations(m *mapping, s []sample, n *normalEquations) {
	var parts [equationParts]normalEquations
	rows.Do(equationParts, func(i0, i1 int) {
		g := *f // with scratch of its own
		for i := i0; i < i1; i++ {
			g.gather(m, s[len(s)*i/equationParts:len(s)*(i+1)/equationParts], &parts[i])
		}
	})
	*n = parts[0]
	for i := range parts[1:] {
		p := &parts[i+1]
		n.cost += p.cost
		for j := range n.b {
			n.b[j] += p.b[j]
			for k := range j + 1 {
				n.a[j][k] += p.a[j][k]
			}
		}
	}
}

// gather adds the samples to the normal equations.
func (f *model) gather(m *mapping, s []sample, n *normalEquations) {
	var g [nAll]float64
	for i := range s {
		p := &s[i]
		lum, edge := f.value(m, p.x, p.y, &g)
		r, mute := residual(p.v, lum)
		n.cost += p.w * r * r
		if mute {
			continue
		}
		first, last := 0, f.n
		if !edge {
			first, last = iWhite, iBend
		}
		for j := first; j < last; j++ {
			t := p.w * g[j]
			n.b[j] += t * r
			row := &n.a[j]
			for k := first; k <= j; k++ {
				row[k] += t * g[k]
			}
		}
	}
}

// tolCost is the relative fall of the cost, as the linear model foresees it, below which a fit has settled: the light and the
// blur then move by no more than their uncertainty.
const tolCost = 1e-3

// solve fits the unknowns marked free by Levenberg-Marquardt until a corner would move by less than tolPX.
func (f *model) solve(s []sample, free func(i int) bool, iterations int, tolPX float64) error {
	var n normalEquations
	count := 0.0
	for i := range s {
		count += s[i].n
	}
	lambda := 1e-3
	m, ok := f.mapping()
	if !ok {
		return errLost
	}
	f.prepare(&m)
	f.equations(&m, s, &n)
	for range iterations {
		step, ok := f.step(&n, lambda, count, free)
		if !ok {
			return errLost
		}
		old, gain := f.x, 0.0
		for i := range f.x {
			f.x[i] += step[i]
			gain += step[i] * n.b[i]
		}
		f.limit()
		if f.moved(&old) < tolPX && gain < tolCost*n.cost {
			return nil
		}
		m, ok = f.mapping()
		if ok {
			f.prepare(&m)
			var next normalEquations
			f.equations(&m, s, &next)
			if next.cost <= n.cost && !math.IsNaN(next.cost) {
				n = next
				lambda = max(lambda/10, 1e-9)
				continue
			}
		}
		f.x = old
		lambda = max(lambda*10, 1e-3)
		if lambda > 1e6 {
			break
		}
	}
	return nil
}

// step solves the damped normal equations.
func (f *model) step(n *normalEquations, lambda, count float64, free func(i int) bool) (out [nAll]float64, ok bool) {
	var idx []int
	for i := range f.n {
		if free(i) && n.a[i][i] > 0 {
			idx = append(idx, i)
		}
	}
	if len(idx) == 0 {
		return out, false
	}
	a := mat.NewSymDense(len(idx), nil)
	b := mat.NewVecDense(len(idx), nil)
	noise := n.cost / count
	prior := func(i int) float64 {
		switch {
		case i == iSpread:
			return noise / (spreadPrior * spreadPrior)
		case i >= iBend:
			return noise / (f.bendPrior * f.bendPrior)
		}
		return 0
	}
	d := make([]float64, len(idx))
	for j, i := range idx {
		d[j] = 1 / math.Sqrt(n.a[i][i]+prior(i))
	}
	for j, i := range idx {
		for k := 0; k < j; k++ {
			a.SetSym(j, k, n.a[i][idx[k]]*d[j]*d[k])
		}
		a.SetSym(j, j, 1+lambda)
		b.SetVec(j, (n.b[i]-prior(i)*f.x[i])*d[j])
	}
	var c mat.Cholesky
	if !c.Factorize(a) {
		return out, false
	}
	var x mat.VecDense
	if err := c.SolveVecTo(&x, b); err != nil {
		return out, false
	}
	for j, i := range idx {
		out[i] = x.AtVec(j) * d[j]
	}
	return out, true
}

// limit keeps the blur a possible one.
func (f *model) limit() {
	xx, xy, yy := f.x[iBlur], f.x[iBlur+1], f.x[iBlur+2]
	mean, dev := (xx+yy)/2, math.Hypot((xx-yy)/2, xy)
	lo, hi := mean-dev, mean+dev
	l, h := min(max(lo, minBlur2), maxBlur2), min(max(hi, minBlur2), maxBlur2)
	if l == lo && h == hi {
		return
	}
	k := 0.0
	if dev > 0 {
		k = (h - l) / 2 / dev
	}
	mean = (l + h) / 2
	dx := (xx - yy) / 2 * k
	f.x[iBlur], f.x[iBlur+1], f.x[iBlur+2] = mean+dx, xy*k, mean-dx
}

// moved returns how far the farthest corner has moved from the unknowns old, px.
func (f *model) moved(old *[nAll]float64) float64 {
	d := 0.0
	for _, c := range outline {
		x0, y0 := apply(old[:8], c[0], c[1])
		x1, y1 := apply(f.x[:8], c[0], c[1])
		d = max(d, math.Hypot(x1-x0, y1-y0))
	}
	if math.IsNaN(d) {
		return math.Inf(1)
	}
	return d
}

// apply maps symbol coordinates by a homography of 8 numbers.
func apply(h []float64, u, v float64) (x, y float64) {
	w := h[6]*u + h[7]*v + 1
	return (h[0]*u + h[1]*v + h[2]) / w, (h[3]*u + h[4]*v + h[5]) / w
}
