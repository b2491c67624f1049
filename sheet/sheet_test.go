package sheet

import (
	"math"
	"testing"
)

var (
	elastic  = Material{EMPa: 210000, Nu: 0.3, YieldMPa: 1e9}
	steel160 = Material{EMPa: 210000, Nu: 0.3, YieldMPa: 160, K: 530, N: 0.22}
	steel220 = Material{EMPa: 210000, Nu: 0.3, YieldMPa: 220, K: 560, N: 0.17}
	al180    = Material{EMPa: 70000, Nu: 0.33, YieldMPa: 180, K: 400, N: 0.17}
)

func near(t *testing.T, what string, got, want, share float64) {
	t.Helper()
	if !(math.Abs(got/want-1) <= share) {
		t.Errorf("%s: %.5g, want %.5g within %.0f %% (%+.1f %%)", what, got, want, 100*share, 100*(got/want-1))
	}
}

// TestCircularPlates against [Timoshenko1959]: eq. 62 (clamped, even load), 67 (hinged, even), 92 (clamped, point), 89 (hinged, point).
func TestCircularPlates(t *testing.T) {
	const a, h = 150.0, 0.7
	d := 210000 * h * h * h / (12 * (1 - 0.09))
	for _, c := range []struct {
		name string
		edge Edge
		p, q float64
		want float64
	}{
		{"clamped, even", Clamped, 0, 1e-8, 1e-8 * math.Pow(a, 4) / (64 * d)},
		{"hinged, even", Hinged, 0, 1e-8, 5.3 * 1e-8 * math.Pow(a, 4) / (64 * 1.3 * d)},
		{"clamped, point", Clamped, 1e-3, 0, 1e-3 * a * a / (16 * math.Pi * d)},
		{"hinged, point", Hinged, 1e-3, 0, 3.3 * 1e-3 * a * a / (16 * math.Pi * 1.3 * d)},
	} {
		s := New(Disc{Material: elastic, ThicknessMM: h, SupportMM: a, Edge: c.edge}, 0.3)
		var err error
		if c.p > 0 {
			err = s.Load(Tip{DiscMM: 0.5}, c.p)
		} else {
			err = s.Press(c.q, 1)
		}
		if err != nil {
			t.Fatal(c.name, err)
		}
		near(t, c.name, s.HeightMM(), c.want, 0.005)
	}
}

// TestLargeDeflection: clamped circle under even pressure, exact values of von Karman's equations (collocation of the ordinary
// differential equation by scipy's solve_bvp, tolerance 1e-6).
func TestLargeDeflection(t *testing.T) {
	const a, h = 150.0, 0.7
	s := New(Disc{Material: elastic, ThicknessMM: h, SupportMM: a}, 1)
	for _, c := range [][2]float64{{2.0081, 0.3240}, {5.0202, 0.6815}, {10.040, 1.0543}, {20.081, 1.4966}, {40.162, 2.0148}, {80.324, 2.6336}, {160.65, 3.3893}} {
		if err := s.Press(c[0]*210000*math.Pow(h, 4)/math.Pow(a, 4), 4); err != nil {
			t.Fatal(err)
		}
		near(t, "large deflection", s.HeightMM()/h, c[1], 0.01)
	}
}

// TestShallowSphere: clamped cap, load on a disc of 0.5 mm, exact values of the shallow-shell equations (same source).
func TestShallowSphere(t *testing.T) {
	for _, c := range []struct {
		radius, sign float64
		table        [][2]float64
	}{
		{2000, -1, [][2]float64{{1, 0.00772}, {20, 0.1758}, {40, 0.4253}, {60, 0.8673}, {80, 1.7556}, {100, 2.7040}, {140, 4.2013}}},
		{2000, 1, [][2]float64{{1, 0.00763}, {50, 0.3056}, {100, 0.5244}, {200, 0.8508}, {400, 1.3139}}},
		{700, -1, [][2]float64{{1, 0.002776}, {40, 0.12100}, {80, 0.26995}, {120, 0.46764}, {160, 0.76585}, {200, 1.28969}}},
	} {
		s := New(Disc{Material: elastic, ThicknessMM: 0.7, RadiusMM: c.radius, SupportMM: 150}, 0.25)
		s.tip = Tip{DiscMM: 0.5}
		at := 0.0
		for _, row := range c.table {
			if err := s.ramp(at, c.sign*row[0], 8); err != nil {
				t.Fatal(err)
			}
			at = c.sign * row[0]
			near(t, "cap", c.sign*s.HeightMM(), row[1], 0.03)
		}
	}
}

// TestReturnMapping: equibiaxial and shear strains of a metal without hardening by hand; any strains end on the yield surface, plastic
// volume is kept by the thickness, and the consistent tangent is the difference quotient.
func TestReturnMapping(t *testing.T) {
	perfect := Material{EMPa: 210000, Nu: 0.3, YieldMPa: 160}
	l := perfect.law()
	// Equibiaxial: both stresses are the yield, plastic strain = total - (1-nu) sy/E each way.
	sx, sy, _, _, next := l.stress(0.004, 0.004, 0, point{})
	near(t, "equibiaxial stress", sx, 160, 1e-6)
	near(t, "equibiaxial stress", sy, 160, 1e-6)
	near(t, "equibiaxial plastic strain", next.ex, 0.004-0.7*160/210000, 1e-6)
	// Pure shear, by its principal strains and by the shear strain: stresses +-sy/sqrt 3.
	sx, sy, _, _, _ = l.stress(0.003, -0.003, 0, point{})
	near(t, "shear", sx, 160/math.Sqrt(3), 1e-6)
	near(t, "shear", -sy, 160/math.Sqrt(3), 1e-6)
	_, _, sxy, _, next := l.stress(0, 0, 0.006, point{})
	near(t, "shear", sxy, 160/math.Sqrt(3), 1e-6)
	near(t, "plastic shear", next.exy, 0.006-160/math.Sqrt(3)*2.6/210000, 1e-6)
	for _, m := range []Material{perfect, steel160, al180} {
		l := m.law()
		for _, e := range [][3]float64{{0.003, 0.001, 0}, {0.01, -0.004, 0.002}, {-0.006, 0.002, -0.007}, {0.002, 0.002, 0.004}} {
			old := point{0.0004, -0.0001, 0.0002, 0.0005}
			sx, sy, sxy, tan, next := l.stress(e[0], e[1], e[2], old)
			y, _ := l.flow(next.alpha)
			near(t, "yield surface", math.Sqrt(sx*sx-sx*sy+sy*sy+3*sxy*sxy), y, 1e-6)
			full := [3][3]float64{{tan[0], tan[1], tan[2]}, {tan[1], tan[3], tan[4]}, {tan[2], tan[4], tan[5]}}
			const h = 1e-7
			for j := range 3 {
				up, down := e, e
				up[j], down[j] = e[j]+h, e[j]-h
				var a, b [3]float64
				a[0], a[1], a[2], _, _ = l.stress(up[0], up[1], up[2], old)
				b[0], b[1], b[2], _, _ = l.stress(down[0], down[1], down[2], old)
				for i := range 3 {
					if d := math.Abs((a[i]-b[i])/(2*h) - full[i][j]); d > 1e-4*m.EMPa {
						t.Errorf("tangent %d%d off by %g MPa", i, j, d)
					}
				}
			}
		}
	}
}

// TestSpringbackOfStrip: a wide strip bent past yield and let go, k_r/k = 1 - 1.5 k_e/k + 0.5 (k_e/k)^3 with k_e = 2 S/(E' t),
// S = 2 sy/sqrt 3, E' = E/(1-nu^2) (plane strain, no hardening; Marciniak, Duncan and Hu, Mechanics of Sheet Metal Forming).
func TestSpringbackOfStrip(t *testing.T) {
	// The closed form takes the strip as incompressible from the start.
	m := Material{EMPa: 210000, Nu: 0.4999, YieldMPa: 160}
	const h = 0.7
	s := New(Disc{Material: m, ThicknessMM: h, SupportMM: 10}, 1)
	e := 210000 / (1 - m.Nu*m.Nu)
	stiff := e * h * h * h / 12
	ke := 2 * (2 * 160 / math.Sqrt(3)) / (e * h)
	for _, c := range [][2]float64{{1.5, 0.1481}, {2, 0.3125}, {4, 0.6328}, {10, 0.8505}} {
		moment := 0.0
		var state [layers]point
		const steps = 40
		for i := 1; i <= steps; i++ {
			moment = 0
			for l, z := range s.zs {
				sr, _, _, _, next := s.law.stress(z*c[0]*ke*float64(i)/steps, 0, 0, state[l])
				state[l] = next
				moment += s.zw[l] * z * sr
			}
		}
		near(t, "springback", 1-moment/stiff/(c[0]*ke), c[1], 0.02)
	}
}
