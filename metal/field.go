package metal

import "math"

// coreMM is the radius inside which the concentrated source stops holding: the plastic patch is some millimetres wide.
const coreMM = 3.5

// Field is the shape that a hit leaves at distance r mm, 1 at the hit: a logarithm on a flat panel clamped at the support, ker and
// kei of Kelvin on a crown (docs/method/metal.md), rounded off in the core.
func (p Panel) Field(r float64) float64 {
	return p.raw(math.Hypot(r, coreMM)) / p.raw(coreMM)
}

func (p Panel) raw(r float64) float64 {
	if p.flat() {
		a := p.support()
		if r >= a {
			return 0
		}
		return math.Log(a/r) - (1-r*r/(a*a))/2
	}
	q := r / p.DecayMM()
	if q > 12 {
		return 0
	}
	return Ker(q)
}

// Influence is the change at a place dx, dy mm from a hit for each unit of set at the hit.
func (p Panel) Influence(dxMM, dyMM float64) float64 { return p.Field(math.Hypot(dxMM, dyMM)) }

// Ker is Kelvin's function ker(x), x > 0.
func Ker(x float64) float64 { k, _ := kelvin(x); return k }

// Kei is Kelvin's function kei(x), x >= 0.
func Kei(x float64) float64 {
	if x == 0 {
		return -math.Pi / 4
	}
	_, k := kelvin(x)
	return k
}

// kelvin is ker and kei by the power series 9.9.12 of [AbramowitzStegun1964] below 8, and above by the leading term of 9.10,
// good to 2 % of a value below 1e-3:
//
//	ker x = -ln(x/2) ber x + (pi/4) bei x + sum (-1)^k psi(2k+1) (x/2)^(4k) / ((2k)!)^2
//	kei x = -ln(x/2) bei x - (pi/4) ber x + sum (-1)^k psi(2k+2) (x/2)^(4k+2) / ((2k+1)!)^2
func kelvin(x float64) (ker, kei float64) {
	if x > 8 {
		amp := math.Sqrt(math.Pi/(2*x)) * math.Exp(-x/math.Sqrt2)
		return amp * math.Cos(x/math.Sqrt2+math.Pi/8), -amp * math.Sin(x/math.Sqrt2+math.Pi/8)
	}
	h := x / 2
	ber, bei, even, odd := 0.0, 0.0, 0.0, 0.0
	psi := -0.57721566490153286 // psi(m+1), from Euler's constant on
	term := 1.0                 // h^(2m) / (m!)^2
	for m := 0; m < 60 && term > 1e-18; m++ {
		if m > 0 {
			term *= h * h / (float64(m) * float64(m))
			psi += 1 / float64(m)
		}
		switch m % 4 {
		case 0:
			ber, even = ber+term, even+psi*term
		case 1:
			bei, odd = bei+term, odd+psi*term
		case 2:
			ber, even = ber-term, even-psi*term
		case 3:
			bei, odd = bei-term, odd-psi*term
		}
	}
	l := math.Log(h)
	return -l*ber + math.Pi/4*bei + even, -l*bei - math.Pi/4*ber + odd
}
