package metal

import (
	"math"
	"testing"

	"fairmetal/sheet"
)

// TestKer against Abramowitz & Stegun, table 9.12 (from memory) and the zero at 1.71854 (mechanics of a shallow shell: a hit's trough
// begins there).
func TestKer(t *testing.T) {
	for _, c := range []struct{ x, want, tol float64 }{
		{0.5, 0.8559058721, 1e-9}, {1, 0.2867062087, 1e-9}, {2, -0.0416645140, 1e-9}, {3, -0.0670292333, 1e-9}, {1.71854, 0, 1e-5}, {7, 0.0019220, 1e-6},
	} {
		if got := Ker(c.x); math.Abs(got-c.want) > c.tol {
			t.Errorf("ker(%g) = %.10f, want %.10f", c.x, got, c.want)
		}
	}
	// Series and asymptotic form meet to the 2 % that the leading term is good for.
	if a, b := Ker(8), Ker(8.0000001); math.Abs(a-b) > 3e-5 {
		t.Errorf("at 8 the series gives %g, the asymptotic form %g", a, b)
	}
}

func steel(yield, t, radius float64) Panel {
	m, _ := Lookup("mild steel")
	m.YieldMPa = yield
	return Panel{Sheet: Sheet{Material: m, ThicknessMM: t}, RadiusMM: radius, SupportMM: 150}
}

// TestRigidity: D of 0.7 mm steel and 1.0 mm aluminium from E t^3/(12 (1 - nu^2)), worked by hand: 6596 and 6546 N mm.
func TestRigidity(t *testing.T) {
	if d := steel(160, 0.7, 0).Rigidity(); math.Abs(d-6596) > 1 {
		t.Errorf("steel %.1f N mm, want 6596", d)
	}
	al, err := Lookup("aluminium")
	if err != nil {
		t.Fatal(err)
	}
	if d := (Sheet{Material: al, ThicknessMM: 1}).Rigidity(); math.Abs(d-6546) > 1 {
		t.Errorf("aluminium %.1f N mm, want 6546", d)
	}
}

// TestSetAgainstFiniteElements: pushes from behind on virgin sheets, set in mm, as a general-purpose finite-element program gave them
// (CalculiX 2.20, axisymmetric, elastic-plastic, ball of 5 mm; docs/method/metal.md). 15 % is asked; the threshold, under 0.1 mm, is steep
// and the table coarse there: 25 %.
func TestSetAgainstFiniteElements(t *testing.T) {
	cases := []struct {
		name  string
		panel Panel
		force []float64
		set   []float64
	}{
		{"flat, 150 mm", steel(160, 0.7, 0), []float64{103.13, 158.136, 223.959}, []float64{0.106, 0.375, 0.728}},
		{"crown 2 m", steel(160, 0.7, 2000), []float64{102.209, 139.581, 196.238, 276.156}, []float64{0.048, 0.140, 0.330, 0.626}},
		{"flat, 220 MPa", steel(220, 0.7, 0), []float64{169.402, 243.898, 431.146}, []float64{0.189, 0.488, 1.167}},
		{"crown 2 m, 220 MPa", steel(220, 0.7, 2000), []float64{153.809, 221.898, 318.729}, []float64{0.074, 0.230, 0.498}},
	}
	for _, c := range cases {
		for i, f := range c.force {
			got := c.panel.SetUM(f, Tip{}) / 1000
			tol := 0.15
			if c.set[i] < 0.1 {
				tol = 0.25
			}
			if math.Abs(got/c.set[i]-1) > tol {
				t.Errorf("%s: %.0f N leaves %.3f mm, the reference %.3f", c.name, f, got, c.set[i])
			}
		}
	}
	// Next to nothing stays below 0.8 force units.
	if s := steel(160, 0.7, 0).SetUM(0.79*160*0.49, Tip{}); s > 20 {
		t.Errorf("%g um stay below the threshold", s)
	}
}

// TestTableIsTheSolvers: cells of the embedded table worked out afresh.
func TestTableIsTheSolvers(t *testing.T) {
	for _, i := range []int{2, 30, 90, 200} {
		c := responses().Case(i)
		u := responses().Units[5]
		h, err := sheet.Pushes(c.Disc(), c.SolverTip(), []float64{u * c.ForceUnit()})
		if err != nil {
			t.Fatal(err)
		}
		if want := responses().Cells[i].Set[5] * c.ThicknessMM * 1000; math.Abs(h[0].SetUM-want) > 0.02*want+1 {
			t.Errorf("cell %d: %.1f um, the table says %.1f; make it anew with internal/responses", i, h[0].SetUM, want)
		}
	}
}

// TestNeighbourSign: the sign of the influence turns with the crown. The reference runs (two dents 50 mm apart): flat +15 to +29 %,
// crown of 2 m -5 to -8 %.
func TestNeighbourSign(t *testing.T) {
	if v := steel(160, 0.7, 0).Influence(50, 0); v < 0.15 || v > 0.29 {
		t.Errorf("flat: %+.3f, want +0.15 to +0.29", v)
	}
	if v := steel(160, 0.7, 2000).Influence(50, 0); v > -0.01 || v < -0.09 {
		t.Errorf("crown 2 m: %+.3f, want about -0.05", v)
	}
}

// TestForceFor inverts SetUM, and says so when one hit cannot do it.
func TestForceFor(t *testing.T) {
	p := steel(180, 0.7, 3000)
	for _, set := range []float64{20, 90, 250, -60} {
		f, err := p.ForceFor(set, Tip{})
		if err != nil || math.Abs(p.SetUM(f, Tip{})-set) > 0.01 {
			t.Errorf("%g um: %g N, back %g, %v", set, f, p.SetUM(f, Tip{}), err)
		}
	}
	if _, err := p.ForceFor(50000, Tip{}); err == nil {
		t.Error("50 mm in one hit")
	}
}

// TestFacts of the trade, common practice, no source: warm paint stands more bending, refinish less, filler none; a soft cap is
// kinder to paint; warm glue holds less.
func TestFacts(t *testing.T) {
	f := Film{ThicknessUM: 110}
	if !(f.CapabilityPct(45) > f.CapabilityPct(20) && f.CapabilityPct(20) > f.CapabilityPct(5)) {
		t.Error("warm paint does not stand more")
	}
	if r := (Film{ThicknessUM: 250}); r.Judge() != FilmRepaint || r.CapabilityPct(20) != f.CapabilityPct(20)/2 {
		t.Errorf("refinish: %v, %g", r.Judge(), r.CapabilityPct(20))
	}
	if (Film{ThicknessUM: 900}).CapabilityPct(45) != 0 {
		t.Error("filler may be bent")
	}
	p := steel(180, 0.7, 2000)
	if p.StrainPct(200, Tip{Soft: true}) >= p.StrainPct(200, Tip{}) {
		t.Error("a soft cap strains as much as a hard tip")
	}
	tab := Tab{LengthMM: 25, WidthMM: 25}
	if tab.PullOffN(45) >= tab.PullOffN(20) || tab.PullOffN(20) < 150 || tab.PullOffN(20) > 700 {
		t.Errorf("a 25 mm tab holds %.0f N cold and %.0f N warm", tab.PullOffN(20), tab.PullOffN(45))
	}
}

func TestUnknownMaterial(t *testing.T) {
	if _, err := Lookup("unobtainium"); err == nil {
		t.Error("accepted")
	}
}
