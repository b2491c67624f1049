package card

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"fairmetal/internal/order"
)

// huber is where the robust loss turns from squares to absolute values, in standard deviations: 95 % efficiency on normal
// noise (Huber, Robust Statistics, 1981; from memory).
const huber = 1.345

// weigh gives every pixel a weight: the inverse of its noise, and less for those that do not fit at all (a scratch, a
// reflection, a thumb).
//
// Three levels of noise are estimated from the residuals' median absolute value: on the paper, on the ink, and what comes on
// top along the edges, where all that the model leaves out shows (ragged print, the true shape of the blur). With darkness d,
//
//	v = vp + d (vi - vp) + 4 d (1 - d) ve
func (f *model) weigh(s []sample) {
	m, ok := f.mapping()
	if !ok {
		return
	}
	type seen struct{ r, dark float64 }
	all := make([]seen, len(s))
	var paper, ink, edge []float64
	for i := range s {
		lum, _ := f.value(&m, s[i].x, s[i].y, nil)
		white, contrast := f.light(s[i].x, s[i].y)
		r, cut := residual(s[i].v, lum)
		d := min(max((white-lum)/contrast, 0), 1)
		all[i] = seen{r, d}
		switch {
		case cut:
		case d < flat:
			paper = append(paper, math.Abs(r))
		case d > 1-flat:
			ink = append(ink, math.Abs(r))
		case d > 0.5-steep && d < 0.5+steep:
			edge = append(edge, math.Abs(r))
		}
	}
	vi := variance(ink)
	vp := vi // where the paper is cut at the sensor's white, its noise cannot be seen
	if len(paper) > 0 {
		vp = variance(paper)
	}
	ve := 0.0
	if len(edge) > 0 {
		ve = max(variance(edge)-(vp+vi)/2, 0)
	}
	for i := range s {
		d := all[i].dark
		v := vp + d*(vi-vp) + 4*d*(1-d)*ve
		sd := math.Sqrt(v)
		w := 1 / v
		if r := math.Abs(all[i].r); r > huber*sd {
			w *= huber * sd / r
		}
		s[i].w = w * s[i].n
	}
}

// flat bounds the darkness of plain paper, and of plain ink from the other end; steep, on either side of a half, that of an
// edge.
const (
	flat  = 0.1
	steep = 0.3
)

// variance returns the variance of residuals from the median of their absolute values, which it sorts. 8-bit photos resolve no
// less than a quarter of a step at the dark end of the sRGB curve, 1/(255 12.92 4).
func variance(r []float64) float64 {
	sd := 1 / (255 * 12.92 * 4)
	if len(r) > 0 {
		sd = max(1.4826*order.Median(r), sd)
	}
	return sd * sd
}

// uncertainty returns the standard uncertainty of a corner in one coordinate, rms over the four, px of the fitted picture.
//
// It is the least-squares covariance J'WJ^-1 with the weighted residual variance, times the area over which neighbouring
// residuals are alike: (1+a)/(1-a) for the correlation a of neighbours along rows (a first-order autoregression), squared for
// the columns.
func (f *model) uncertainty(s []sample) (float64, bool) {
	m, ok := f.mapping()
	if !ok {
		return 0, false
	}
	var n normalEquations
	f.equations(&m, s, &n)
	n.a[iSpread][iSpread] += 1 / (spreadPrior * spreadPrior)
	for i := iBend; i < f.n; i++ {
		n.a[i][i] += 1 / (f.bendPrior * f.bendPrior)
	}
	var idx []int
	d := make([]float64, nAll)
	for i := range f.n {
		if n.a[i][i] > 0 {
			idx = append(idx, i)
			d[i] = 1 / math.Sqrt(n.a[i][i])
		}
	}
	a := mat.NewSymDense(len(idx), nil)
	for j, i := range idx {
		for k := 0; k <= j; k++ {
			a.SetSym(j, k, n.a[i][idx[k]]*d[i]*d[idx[k]])
		}
	}
	var c mat.Cholesky
	if !c.Factorize(a) {
		return 0, false
	}
	var inv mat.SymDense
	if err := c.InverseTo(&inv); err != nil {
		return 0, false
	}
	if len(idx) < iBlur || idx[iBlur-1] != iBlur-1 {
		return 0, false
	}
	// Weighted residual variance and the correlation of neighbours in a row.
	var ss, near, here float64
	count := 0.0
	prev := math.NaN()
	px, py := math.NaN(), math.NaN()
	for i := range s {
		lum, _ := f.value(&m, s[i].x, s[i].y, nil)
		r, cut := residual(s[i].v, lum)
		ss += s[i].w * r * r
		r *= math.Sqrt(s[i].w / s[i].n)
		if !cut {
			count += s[i].n
		}
		if s[i].y == py && s[i].x == px+1 && s[i].n == 1 {
			near += r * prev
			here += (r*r + prev*prev) / 2
		}
		prev, px, py = r, s[i].x, s[i].y
	}
	if count <= float64(len(idx)) {
		return 0, false
	}
	corr := 0.0
	if here > 0 {
		corr = min(max(near/here, 0), 0.9)
	}
	k := (1 + corr) / (1 - corr)
	variance := ss / (count - float64(len(idx))) * k * k
	total := 0.0
	for _, q := range outline {
		x, y := apply(f.x[:8], q[0], q[1])
		w := f.x[6]*q[0] + f.x[7]*q[1] + 1
		gx := [8]float64{q[0] / w, q[1] / w, 1 / w, 0, 0, 0, -x * q[0] / w, -x * q[1] / w}
		gy := [8]float64{0, 0, 0, q[0] / w, q[1] / w, 1 / w, -y * q[0] / w, -y * q[1] / w}
		for i := range 8 {
			for j := range 8 {
				cov := inv.At(i, j) * d[i] * d[j]
				total += cov * (gx[i]*gx[j] + gy[i]*gy[j])
			}
		}
	}
	return math.Sqrt(variance * total / 8), true
}
