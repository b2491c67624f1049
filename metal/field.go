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

// Ker is Kelvin's function ker(x), x > 0: the power series of Abramowitz & Stegun 9.9.12 below 8, their asymptotic form 9.10 above.
func Ker(x float64) float64 {
	if x > 8 {
		// Leading term: sqrt(pi/2x) exp(-x/sqrt2) cos(x/sqrt2 + pi/8), good to 2 % of a value below 1e-3.
		return math.Sqrt(math.Pi/(2*x)) * math.Exp(-x/math.Sqrt2) * math.Cos(x/math.Sqrt2+math.Pi/8)
	}
	// ker x = -ln(x/2) ber x + (pi/4) bei x + sum (-1)^k psi(2k+1) (x/2)^(4k) / ((2k)!)^2.
	h := x / 2
	h2 := h * h
	ber, bei, sum := 0.0, 0.0, 0.0
	psi := -0.57721566490153286 // psi(1)
	n := 1                      // psi(n)
	term := 1.0                 // h^(2m) / (m!)^2
	for m := 0; m < 60; m++ {
		if m > 0 {
			term *= h2 / (float64(m) * float64(m))
		}
		switch m % 4 {
		case 0:
			ber += term
		case 1:
			bei += term
		case 2:
			ber -= term
		case 3:
			bei -= term
		}
		if m%2 == 0 {
			for n < m+1 {
				psi += 1 / float64(n)
				n++
			}
			if m%4 == 0 {
				sum += psi * term
			} else {
				sum -= psi * term
			}
		}
		if term < 1e-18 {
			break
		}
	}
	return -math.Log(h)*ber + math.Pi/4*bei + sum
}
