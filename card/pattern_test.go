package card

import (
	"math"
	"math/rand/v2"
	"testing"
)

func testPattern(t *testing.T) (*pattern, *modules) {
	t.Helper()
	m, err := encode("FM1 A 40", levels["H"], -1)
	if err != nil {
		t.Fatal(err)
	}
	return newPattern(m), m
}

// An n-point Gauss rule for the normal distribution has its moments (k-1)(k-3)...1 right up to order 2n - 1.
func TestRules(t *testing.T) {
	for _, r := range rules {
		want := 1.0
		for k := 0; k < 2*len(r.t); k += 2 {
			got := 0.0
			for i, x := range r.t {
				got += r.w[i] * math.Pow(x, float64(k))
			}
			if math.Abs(got-want) > 1e-9*want {
				t.Errorf("%d points: moment %d is %.12g, want %g", len(r.t), k, got, want)
			}
			want *= float64(k + 1)
		}
	}
}

// sum sees a pattern through a Gaussian by adding up 40 000 points of it, evenly spread (the plastic-number sequence,
// made normal by Box and Muller's formula).
func sum(m *modules, x, y, cxx, cxy, cyy float64) float64 {
	const n = 40_000
	a := math.Sqrt(cxx)
	b := cxy / a
	c := math.Sqrt(cyy - b*b)
	total := 0.0
	for i := range n {
		_, p := math.Modf(0.5 + 0.7548776662466927*float64(i))
		_, q := math.Modf(0.5 + 0.5698402909980532*float64(i))
		r := math.Sqrt(-2 * math.Log(1-p))
		s, t := r*math.Cos(2*math.Pi*q), r*math.Sin(2*math.Pi*q)
		u, v := int(math.Floor(x+a*s)), int(math.Floor(y+b*s+c*t))
		if u >= 0 && v >= 0 && u < Modules && v < Modules {
			total += m[v][u]
		}
	}
	return total / n
}

// The closed form with its quadrature against plain summation, which is itself good to 1e-3.
func TestPatternAgainstSum(t *testing.T) {
	p, m := testPattern(t)
	rng := rand.New(rand.NewPCG(1, 2))
	var ax, ay axis
	worst := [2]float64{}
	for range 150 {
		x, y := rng.Float64()*25-2, rng.Float64()*25-2
		sx, sy := 0.05+0.6*rng.Float64(), 0.05+0.6*rng.Float64()
		rho := 1.4*rng.Float64() - 0.7 // 0.6 for a symbol turned by 45 degrees and tilted by 60
		l := p.at(x, y, sx*sx, rho*sx*sy, sy*sy, ruleFor(rho), &ax, &ay)
		d := math.Abs(l.d - sum(m, x, y, sx*sx, rho*sx*sy, sy*sy))
		k, limit := 0, 2.5e-3
		if math.Abs(rho) > 0.5 {
			k, limit = 1, 8e-3
		}
		worst[k] = max(worst[k], d)
		if d > limit {
			t.Errorf("at %.2f, %.2f blur %.2f %.2f rho %.2f: off by %.4f", x, y, sx, sy, rho, d)
		}
	}
	t.Logf("largest difference %.5f, beyond a correlation of 0.5 %.5f", worst[0], worst[1])
}

// Every derivative of look against central differences, rms over many places: lines that come into reach within a step make
// single differences useless.
func TestPatternDerivatives(t *testing.T) {
	p, _ := testPattern(t)
	rng := rand.New(rand.NewPCG(3, 4))
	var ax, ay axis
	const h = 1e-3
	names := [7]string{"dx", "dy", "dxx", "dxy", "dyy", "ex", "ey"}
	var diff, size [7]float64
	for range 2000 {
		x, y := rng.Float64()*23-1, rng.Float64()*23-1
		sx, sy := 0.15+0.4*rng.Float64(), 0.15+0.4*rng.Float64()
		rho := 1.2*rng.Float64() - 0.6
		at := func(x, y float64) look {
			return p.at(x, y, sx*sx, rho*sx*sy, sy*sy, ruleFor(rho), &ax, &ay)
		}
		l, xp, xm, yp, ym := at(x, y), at(x+h, y), at(x-h, y), at(x, y+h), at(x, y-h)
		for i, c := range [7][3]float64{
			{l.dx, xp.d, xm.d}, {l.dy, yp.d, ym.d}, {l.dxx, xp.dx, xm.dx}, {l.dxy, yp.dx, ym.dx}, {l.dyy, yp.dy, ym.dy},
			{l.ex, xp.e, xm.e}, {l.ey, yp.e, ym.e},
		} {
			want := (c[1] - c[2]) / 2 / h
			diff[i] += square(c[0] - want)
			size[i] += square(want)
		}
	}
	for i, name := range names {
		if r := math.Sqrt(diff[i] / size[i]); !(r < 0.05) {
			t.Errorf("%s: differs from the differences by %.4f of its rms", name, r)
		}
	}
}

// The outline is how the darkness grows with the dark modules: over a straight edge a step that moves by a little.
func TestPatternOutline(t *testing.T) {
	var m modules
	for y := range Modules {
		for x := 8; x < 13; x++ {
			m[y][x] = 1
		}
	}
	p := newPattern(&m)
	var ax, ay axis
	const s, grow = 0.3, 0.01
	for _, x := range []float64{7.2, 7.9, 8, 8.3, 10.5, 12.9, 13.4} {
		l := p.at(x, 10.5, s*s, 0, s*s, ruleFor(0), &ax, &ay)
		cdf := func(e float64) float64 { return 0.5 * math.Erfc(-e/s/math.Sqrt2) }
		want := cdf(x-8+grow) - cdf(x-13-grow)
		if got := l.d + grow*l.e; math.Abs(got-want) > 1e-3 {
			t.Errorf("at %v: %.5f, want %.5f", x, got, want)
		}
	}
}
