package metal

import (
	"math"
	"strings"
	"testing"
)

func TestGrades(t *testing.T) {
	for _, m := range grades {
		if err := m.Check(); err != nil {
			t.Error(err)
		}
		if m.YieldMPa < m.CoilMPa[0] || m.Source == "" {
			t.Errorf("%s: yield %g after the bake, coil %v, source %q", m.Name, m.YieldMPa, m.CoilMPa, m.Source)
		}
		// The flow stress starts at the yield and rises.
		if math.Abs(m.FlowMPa(0)-m.YieldMPa) > 1e-9 || m.FlowMPa(0.05) <= m.FlowMPa(0.01) {
			t.Errorf("%s: flows at %g, %g, %g MPa", m.Name, m.FlowMPa(0), m.FlowMPa(0.01), m.FlowMPa(0.05))
		}
	}
	for alias, full := range aliases {
		if alias != key(alias) {
			t.Errorf("alias %q is never found", alias)
		}
		if m, err := Lookup(alias); err != nil || key(m.Name) != full {
			t.Errorf("%q gives %q, %v", alias, m.Name, err)
		}
	}
	if m, err := Lookup("  Bake_Hardening  STEEL"); err != nil || m.Name != "bake-hardening steel" {
		t.Errorf("%q, %v", m.Name, err)
	}
	// The published line of hardening: 160 MPa K 530 n 0.22, 220 MPa K 560 n 0.17 (our reference runs).
	m, _ := Lookup("DC04")
	for _, c := range [][3]float64{{160, 530, 0.22}, {220, 560, 0.17}} {
		if s := m.WithYield(c[0]); math.Abs(s.SwiftK-c[1]) > 1e-9 || math.Abs(s.SwiftN-c[2]) > 1e-9 {
			t.Errorf("%g MPa: K %g n %g", c[0], s.SwiftK, s.SwiftN)
		}
	}
}

// TestTipYield: sqrt((1 + r)/2): 22 % at r = 2 (Hill 1948, from memory).
func TestTipYield(t *testing.T) {
	for _, c := range [][2]float64{{2, 1.2247}, {1, 1}, {0, 1}, {0.6, 0.8944}} {
		if got := (Material{YieldMPa: 100, R: c[0]}).TipYieldMPa() / 100; math.Abs(got-c[1]) > 1e-4 {
			t.Errorf("r %g: %g, want %g", c[0], got, c[1])
		}
	}
}

func TestParseLibrary(t *testing.T) {
	l, err := ParseLibrary([]byte(`{"format": 1, "materials": [
		{"name": "old door", "like": "mild steel", "yield_mpa": 150, "thickness_mm": [0.8, 0.9]},
		{"name": "soft bonnet", "like": "old door", "r": 1.2, "swift_n": 0.25, "source": "hits on the red van"},
		{"name": "steel", "family": "steel", "yield_mpa": 200}]}`))
	if err != nil {
		t.Fatal(err)
	}
	if m, err := l.Lookup("Soft-Bonnet"); err != nil || m.YieldMPa != 150 || m.R != 1.2 || m.SwiftN != 0.25 || m.GaugeMM != [2]float64{0.8, 0.9} {
		t.Errorf("%+v, %v", m, err)
	}
	// Own names stand before built-in ones and their aliases.
	if m, _ := l.Lookup("steel"); m.YieldMPa != 200 {
		t.Errorf("own steel: %+v", m)
	}
	if m, err := l.Lookup("5182"); err != nil || m.YieldMPa != 135 || l.Names()[0] != "old door" {
		t.Errorf("built-in through a library: %+v, %v", m, err)
	}
	for in, says := range map[string]string{
		`{`:                           "cannot be read",
		`{"format": 1} {}`:            "after its end",
		`{"format": 2}`:               "format 2",
		`{"format": 1, "metals": []}`: "unknown field",
		`{"format": 1, "materials": [{"name": "x"}]}`:                                              "neither",
		`{"format": 1, "materials": [{"name": "x", "like": "cheese"}]}`:                            "not known",
		`{"format": 1, "materials": [{"family": "steel"}]}`:                                        "no name",
		`{"format": 1, "materials": [{"name": "x", "family": "steel", "yield_mpa": 4}]}`:           "yield of 4",
		`{"format": 1, "materials": [{"name": "x", "family": "steel", "swift_k_mpa": 90}]}`:        "hardening",
		`{"format": 1, "materials": [{"name": "x", "family": "steel", "nu": 0.5}]}`:                "Poisson",
		`{"format": 1, "materials": [{"name": "x", "family": "steel", "e_mpa": 210}]}`:             "stiffness",
		`{"format": 1, "materials": [{"name": "x", "family": "steel", "spread": 2}]}`:              "spread",
		`{"format": 1, "materials": [{"name": "x", "family": "steel", "r": 9}]}`:                   "anisotropy",
		`{"format": 1, "materials": [{"name": "x", "like": "steel", "family": "brass"}]}`:          "family",
		`{"format": 1, "materials": [{"name": "x", "family": "steel", "thickness_mm": [2, 1]}]}`:   "thickness",
		`{"format": 1, "materials": [{"name": "x", "like": "steel"}, {"name": "X", "like": "x"}]}`: "two materials",
	} {
		if _, err := ParseLibrary([]byte(in)); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%s: %v, want %q", in, err, says)
		}
	}
}

func FuzzParseLibrary(f *testing.F) {
	f.Add([]byte(`{"format": 1, "materials": [{"name": "old door", "like": "mild steel", "yield_mpa": 150, "thickness_mm": [0.8, 0.9]}]}`))
	f.Add([]byte(`{"format": 1, "materials": [{"name": "x", "family": "aluminium", "r": 1e300}]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		l, err := ParseLibrary(data)
		if err != nil {
			return
		}
		for _, m := range l {
			if err := m.Check(); err != nil {
				t.Errorf("%q was let in: %v", m.Name, err)
			}
			if s := m.FlowMPa(0.02); math.IsNaN(s) || s < m.YieldMPa*(1-1e-9) {
				t.Errorf("%q flows at %g MPa", m.Name, s)
			}
		}
	})
}
