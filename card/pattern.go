package card

import "math"

// pattern is a symbol with light modules around it, ready to be looked at through a blur. Coordinates are modules from the
// symbol's top left corner, x right, y down.
type pattern [Modules + 2][Modules + 2]float64

func newPattern(m *modules) *pattern {
	var p pattern
	for y := range Modules {
		copy(p[y+1][1:], m[y][:])
	}
	return &p
}

// look is the blurred pattern at a point: darkness d (0 light, 1 dark) with its first and second derivatives, and the blurred
// outline e with its first derivatives. The outline is how fast d grows, per module, when every dark module grows outwards.
type look struct {
	d, dx, dy, dxx, dxy, dyy float64
	e, ex, ey                float64
}

// reach is where a Gaussian is cut off, in standard deviations: 2e-4 of its weight lies beyond on either side.
const reach = 3.5

// axis holds the weights of the modules along one axis under a Gaussian blur, with their derivatives, and the Gaussian at
// the lines between them.
type axis struct {
	first int // index into pattern of the first module
	n     int // number of modules; n-1 lines lie between them
	w     [Modules + 2]float64
	dw    [Modules + 2]float64
	ddw   [Modules + 2]float64
	g     [Modules + 1]float64
	dg    [Modules + 1]float64
}

// set computes the weights at x for a Gaussian of standard deviation s, both in modules.
func (a *axis) set(x, s float64) {
	lo := max(int(math.Ceil(x-reach*s)), 0)
	hi := min(int(math.Floor(x+reach*s)), Modules)
	if lo > hi {
		a.first = cell(x)
		a.n, a.w[0], a.dw[0], a.ddw[0] = 1, 1, 0, 0
		return
	}
	a.first, a.n = lo, hi-lo+2
	var cum, g, dg float64
	inv := 1 / s
	for k := lo; k <= hi; k++ {
		t := (float64(k) - x) * inv
		c, f := normal(t)
		gk, dgk := f*inv, t*f*inv*inv
		j := k - lo
		a.w[j], a.dw[j], a.ddw[j] = c-cum, g-gk, dg-dgk
		a.g[j], a.dg[j] = gk, dgk
		cum, g, dg = c, gk, dgk
	}
	j := hi - lo + 1
	a.w[j], a.dw[j], a.ddw[j] = 1-cum, g, dg
}

// add adds weight times what is seen at the two axes' point to l.
func (p *pattern) add(l *look, ax, ay *axis, weight float64) {
	if ax.n == 1 && ay.n == 1 {
		l.d += weight * p[ay.first][ax.first]
		return
	}
	var s look
	for j := range ay.n {
		row := p[ay.first+j][ax.first : ax.first+ax.n]
		var a, b, c, ea, eb float64
		for i, d := range row {
			if d != 0 {
				a += d * ax.w[i]
				b += d * ax.dw[i]
				c += d * ax.ddw[i]
			}
			if i > 0 {
				if t := math.Abs(d - row[i-1]); t != 0 {
					ea += t * ax.g[i-1]
					eb += t * ax.dg[i-1]
				}
			}
		}
		w, dw := ay.w[j], ay.dw[j]
		s.d += w * a
		s.dx += w * b
		s.dxx += w * c
		s.dy += dw * a
		s.dxy += dw * b
		s.dyy += ay.ddw[j] * a
		s.e += w * ea
		s.ex += w * eb
		s.ey += dw * ea
		if j > 0 {
			above := p[ay.first+j-1][ax.first : ax.first+ax.n]
			var e, ex float64
			for i, d := range row {
				if t := math.Abs(d - above[i]); t != 0 {
					e += t * ax.w[i]
					ex += t * ax.dw[i]
				}
			}
			s.e += ay.g[j-1] * e
			s.ex += ay.g[j-1] * ex
			s.ey += ay.dg[j-1] * e
		}
	}
	l.d += weight * s.d
	l.dx += weight * s.dx
	l.dy += weight * s.dy
	l.dxx += weight * s.dxx
	l.dxy += weight * s.dxy
	l.dyy += weight * s.dyy
	l.e += weight * s.e
	l.ex += weight * s.ex
	l.ey += weight * s.ey
}

// rule is a Gauss-Hermite rule for the standard normal distribution: Abramowitz & Stegun, table 25.10, scaled (from memory; the
// test checks the moments).
type rule struct{ t, w []float64 }

var rules = []rule{
	{[]float64{0}, []float64{1}},
	{[]float64{-1, 1}, []float64{0.5, 0.5}},
	{[]float64{-1.7320508075688772, 0, 1.7320508075688772}, []float64{1. / 6, 2. / 3, 1. / 6}},
	{
		[]float64{-2.856970013872806, -1.355626179974266, 0, 1.355626179974266, 2.856970013872806},
		[]float64{0.01125741132772069, 0.2220759220056126, 0.5333333333333333, 0.2220759220056126, 0.01125741132772069},
	},
	{
		[]float64{-3.750439717725742, -2.366759410734541, -1.154405394739968, 0, 1.154405394739968, 2.366759410734541, 3.750439717725742},
		[]float64{5.4826885597221e-4, 0.03075712396758651, 0.2401231786050127, 0.4571428571428571, 0.2401231786050127, 0.03075712396758651, 5.4826885597221e-4},
	},
}

// ruleFor returns the rule that keeps the error of look below about 1e-3 of the contrast for a blur with correlation rho
// between the symbol's axes.
func ruleFor(rho float64) rule {
	switch r := math.Abs(rho); {
	case r < 0.004:
		return rules[0]
	case r < 0.08:
		return rules[1]
	case r < 0.25:
		return rules[2]
	case r < 0.5:
		return rules[3]
	}
	return rules[4]
}

// at looks at (x, y) through a Gaussian with covariance (cxx, cxy, cyy) in modules squared.
//
// The blur is split in two: one with independent axes, under which the squares of the symbol have closed forms, and one along
// a line, which carries the whole correlation and is summed by the rule r:
//
// ax and ay are scratch.
//
//	C = diag(cxx, cyy) (1 - |rho|) + r r',  r = sqrt|rho| (sqrt cxx, +-sqrt cyy),  rho = cxy / sqrt(cxx cyy)
func (p *pattern) at(x, y, cxx, cxy, cyy float64, r rule, ax, ay *axis) look {
	var l look
	sx, sy := math.Sqrt(cxx), math.Sqrt(cyy)
	if len(r.t) == 1 {
		ax.set(x, sx)
		ay.set(y, sy)
		p.add(&l, ax, ay, 1)
		return l
	}
	rho := cxy / (sx * sy)
	m := min(math.Abs(rho), 0.98)
	k := math.Sqrt(m)
	rx, ry := k*sx, math.Copysign(k*sy, rho)
	k = math.Sqrt(1 - m)
	sx, sy = sx*k, sy*k
	for i, t := range r.t {
		ax.set(x+t*rx, sx)
		ay.set(y+t*ry, sy)
		p.add(&l, ax, ay, r.w[i])
	}
	return l
}

// Table of the normal distribution: its steps of 1/512 keep linear interpolation below h^2/8 max|phi'| = 1.2e-7.
const tableStep = 512

var normalTable = func() (t [int(2*reach)*tableStep + 2][2]float64) {
	for i := range t {
		x := float64(i)/tableStep - reach
		t[i][0] = 0.5 * math.Erfc(-x/math.Sqrt2)
		t[i][1] = math.Exp(-x*x/2) / math.Sqrt(2*math.Pi)
	}
	return t
}()

// normal returns the cumulative distribution and the density of the standard normal distribution.
func normal(t float64) (cum, density float64) {
	if !(t > -reach) {
		return 0, 0
	}
	if t >= reach {
		return 1, 0
	}
	f := (t + reach) * tableStep
	i := int(f)
	f -= float64(i)
	a, b := &normalTable[i], &normalTable[i+1]
	return a[0] + f*(b[0]-a[0]), a[1] + f*(b[1]-a[1])
}
