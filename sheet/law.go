package sheet

import "math"

// Material is an elastic-plastic metal with Swift's hardening, stress = K (e0 + ep)^N with e0 such that the stress at ep = 0 is the
// yield. N = 0: no hardening.
type Material struct {
	EMPa, Nu float64
	YieldMPa float64
	K, N     float64
}

// law is a material with what follows from it worked out once.
type law struct {
	Material
	e0       float64
	sum, dif float64 // moduli of the sum and the difference of both stresses: E/(1-nu), E/(1+nu)
	elastic  [6]float64
}

func (m Material) law() law {
	l := law{Material: m, sum: m.EMPa / (1 - m.Nu), dif: m.EMPa / (1 + m.Nu)}
	if m.N > 0 && m.K > 0 {
		l.e0 = math.Pow(m.YieldMPa/m.K, 1/m.N)
	}
	l.elastic = moduli(l.sum, l.dif)
	return l
}

// moduli returns the symmetric matrix of the rows xx, yy, xy (as 11, 12, 13, 22, 23, 33) that has the given moduli for sum and
// difference; the engineering shear strain takes half of that of the difference.
func moduli(sum, dif float64) [6]float64 {
	a, b := (sum+dif)/2, (sum-dif)/2
	return [6]float64{a, b, 0, a, 0, dif / 2}
}

// flow returns the yield stress after equivalent plastic strain ep and its slope.
func (m *law) flow(ep float64) (stress, slope float64) {
	if m.e0 == 0 {
		return m.YieldMPa, 0
	}
	s := m.K * math.Pow(m.e0+ep, m.N)
	return s, m.N * s / (m.e0 + ep)
}

// point is the state of one layer at one place: plastic strains xx, yy, xy (engineering), and their accumulated equivalent.
type point struct{ ex, ey, exy, alpha float64 }

// stress is the plane-stress return mapping of [SimoTaylor1986], written in sum, difference and shear of the stresses, in which
// elasticity and flow rule are both diagonal. It returns the stresses xx, yy, xy, the consistent tangent (11, 12, 13, 22, 23, 33) and
// the new state for total strains from the state before the step.
func (m *law) stress(ex, ey, exy float64, old point) (sx, sy, sxy float64, tan [6]float64, next point) {
	px, py := ex-old.ex, ey-old.ey
	sum, dif, shear := m.sum*(px+py), m.dif*(px-py), m.dif/2*(exy-old.exy)
	wide := dif*dif + 4*shear*shear
	k := m.YieldMPa
	if old.alpha > 0 {
		k, _ = m.flow(old.alpha)
	}
	if (sum*sum+3*wide)/4 <= k*k {
		return (sum + dif) / 2, (sum - dif) / 2, shear, m.elastic, old
	}
	// With P = 1/3 (2 -1 0; -1 2 0; 0 0 6) the flow dep = g P s scales the sum by 1/(1 + g E/(3 (1-nu))), difference and shear by
	// 1/(1 + 2 mu g). The misfit is convex and falls in g: Newton's method from 0 comes from one side.
	a, b := m.sum/3, m.dif
	g, q, y, h := 0.0, 0.0, 0.0, 0.0
	var cs, cd float64
	for range 60 {
		cs, cd = 1/(1+a*g), 1/(1+b*g)
		s2, w2 := sum*sum*cs*cs, wide*cd*cd
		q = math.Sqrt((s2 + 3*w2) / 4)
		y, h = m.flow(old.alpha + 2.0/3*g*q)
		if q-y < 1e-10*y {
			break
		}
		dq := -(a*cs*s2 + 3*b*cd*w2) / (4 * q)
		g -= (q - y) / (dq - 2.0/3*h*(q+g*dq))
	}
	sum, dif, shear = sum*cs, dif*cd, shear*cd
	sx, sy, sxy = (sum+dif)/2, (sum-dif)/2, shear
	nx, ny, nxy := (2*sx-sy)/3, (2*sy-sx)/3, 2*sxy // P s
	next = point{old.ex + g*nx, old.ey + g*ny, old.exy + g*nxy, old.alpha + 2.0/3*g*q}
	// Algorithmic moduli.
	tan = moduli(m.sum*cs, m.dif*cd)
	vx, vy, vxy := tan[0]*nx+tan[1]*ny, tan[1]*nx+tan[3]*ny, tan[5]*nxy
	beta := 4.0 / 9 * y * y * h / (1 - 2.0/3*h*g)
	den := nx*vx + ny*vy + nxy*vxy + beta
	tan[0] -= vx * vx / den
	tan[1] -= vx * vy / den
	tan[2] -= vx * vxy / den
	tan[3] -= vy * vy / den
	tan[4] -= vy * vxy / den
	tan[5] -= vxy * vxy / den
	return sx, sy, sxy, tan, next
}

// pressed is stress with a pressure, MPa, through the thickness as well: it adds to both stresses in what yields.
func (m *law) pressed(ex, ey, exy, pressure float64, old point) (sx, sy, sxy float64, tan [6]float64, next point) {
	swell := pressure * (1 - 2*m.Nu) / m.EMPa
	sx, sy, sxy, tan, next = m.stress(ex+swell, ey+swell, exy, old)
	return sx - pressure, sy - pressure, sxy, tan, next
}
