package sheet

import "math"

// Material is an elastic-plastic metal with Swift's hardening, stress = K (e0 + ep)^N with e0 such that the stress at ep = 0 is the
// yield. N = 0: no hardening.
type Material struct {
	EMPa, Nu float64
	YieldMPa float64
	K, N     float64
}

// flow returns the yield stress after equivalent plastic strain ep and its slope.
func (m *Material) flow(ep float64) (stress, slope float64) {
	if m.N <= 0 || m.K <= 0 {
		return m.YieldMPa, 0
	}
	e0 := math.Pow(m.YieldMPa/m.K, 1/m.N)
	s := m.K * math.Pow(e0+ep, m.N)
	return s, m.N * s / (e0 + ep)
}

// point is the state of one layer at one place: plastic strain along r and round the circle, and their accumulated equivalent.
type point struct{ er, et, alpha float64 }

// stress is the plane-stress return mapping of [SimoTaylor1986], written in the sum and difference of the two principal stresses, in
// which elasticity and flow rule are both diagonal. It returns the stresses, the consistent tangent (rr, rt, tt) and the new state for
// total strains er, et from the state before the step.
func (m *Material) stress(er, et float64, old point) (sr, st float64, tan [3]float64, next point) {
	e, nu := m.EMPa, m.Nu
	c := e / (1 - nu*nu)
	sum := e / (1 - nu) * (er - old.er + et - old.et) // sr + st
	dif := e / (1 + nu) * (er - old.er - et + old.et) // sr - st
	mises := func(s, d float64) float64 { return math.Sqrt((s*s + 3*d*d) / 4) }
	k, _ := m.flow(old.alpha)
	if mises(sum, dif) <= k {
		return (sum + dif) / 2, (sum - dif) / 2, [3]float64{c, nu * c, c}, old
	}
	// With P = 1/3 (2 -1; -1 2) the flow dep = g P s scales the sum by 1/(1 + g E/(3 (1-nu))) and the difference by 1/(1 + 2 mu g).
	a, b := e/(3*(1-nu)), e/(1+nu)
	misfit := func(g float64) (f, s, d, q float64) {
		s, d = sum/(1+a*g), dif/(1+b*g)
		q = mises(s, d)
		y, _ := m.flow(old.alpha + 2.0/3*g*q)
		return q - y, s, d, q
	}
	// The misfit falls monotonically in g: bracket, then secant kept inside the bracket (Illinois).
	lo, hi := 0.0, 1/b
	flo, _, _, _ := misfit(lo)
	fhi, _, _, _ := misfit(hi)
	for fhi > 0 {
		lo, flo = hi, fhi
		hi *= 4
		fhi, _, _, _ = misfit(hi)
	}
	var g float64
	side := 0
	for range 60 {
		g = (lo*fhi - hi*flo) / (fhi - flo)
		f, _, _, _ := misfit(g)
		if math.Abs(f) < 1e-9*k {
			break
		}
		if f > 0 {
			lo, flo = g, f
			if side == 1 {
				fhi /= 2
			}
			side = 1
		} else {
			hi, fhi = g, f
			if side == -1 {
				flo /= 2
			}
			side = -1
		}
	}
	_, s, d, q := misfit(g)
	sr, st = (s+d)/2, (s-d)/2
	nr, nt := (2*sr-st)/3, (2*st-sr)/3 // P s
	next = point{old.er + g*nr, old.et + g*nt, old.alpha + 2.0/3*g*q}
	y, h := m.flow(next.alpha)
	// Algorithmic moduli: sum and difference again.
	xs, xd := e/(1-nu)/(1+a*g), e/(1+nu)/(1+b*g)
	rr, rt := (xs+xd)/2, (xs-xd)/2
	vr, vt := rr*nr+rt*nt, rt*nr+rr*nt // Xi P s
	beta := 4.0 / 9 * y * y * h / (1 - 2.0/3*h*g)
	den := nr*vr + nt*vt + beta
	return sr, st, [3]float64{rr - vr*vr/den, rt - vr*vt/den, rr - vt*vt/den}, next
}
