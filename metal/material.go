package metal

import (
	"fmt"
	"math"
	"strings"
)

// Material is a sheet metal after pressing and paint bake.
type Material struct {
	Name     string
	Family   string  // steel or aluminium
	EMPa     float64 // Young's modulus
	Nu       float64 // Poisson's ratio
	YieldMPa float64 // after the paint bake
	Spread   float64 // relative standard deviation of the yield from panel to panel
	SwiftK   float64 // hardening: stress = K (e0 + ep)^N, e0 such that the stress at ep = 0 is the yield
	SwiftN   float64
	Source   string
}

// E and nu, EN 1993-1-1 and EN 1999-1-1 (from memory).
const (
	steelE, steelNu         = 210000, 0.30
	aluminiumE, aluminiumNu = 70000, 0.33
)

// materials to plan with until the first hits tell better: yields after pressing (some 2 % of strain) and paint bake. Ranges of the
// coil: EN 10130, EN 10346, EN 10268 and makers' data, from memory where not said otherwise. Hardening is our own choice in that range.
var materials = []Material{
	{"mild steel", "steel", steelE, steelNu, 180, 0.15, 540, 0.203, "EN 10130 DC04 to DC06 after pressing, from memory"},
	{"bake-hardening steel", "steel", steelE, steelNu, 250, 0.12, 575, 0.145, "EN 10346 HX180BD to HX220BD, +30 to 70 MPa by strain and bake, from memory"},
	{"aluminium 6xxx", "aluminium", aluminiumE, aluminiumNu, 190, 0.12, 400, 0.17, "6016 after 2 % strain and bake: 170 to 210 MPa, a maker's data sheet"},
	{"aluminium 5xxx", "aluminium", aluminiumE, aluminiumNu, 135, 0.12, 420, 0.30, "5182-O 120 to 140 MPa, softens a little in the bake, from memory"},
	{"DC01", "steel", steelE, steelNu, 210, 0.15, 555, 0.178, "EN 10130: at most 280 MPa; inner and plain parts, from memory"},
	{"DC03", "steel", steelE, steelNu, 195, 0.15, 548, 0.191, "EN 10130: at most 240 MPa, from memory"},
	{"DC04", "steel", steelE, steelNu, 180, 0.15, 540, 0.203, "EN 10130: 140 to 210 MPa, from memory"},
	{"DC05", "steel", steelE, steelNu, 165, 0.12, 532, 0.216, "EN 10130: 140 to 180 MPa, from memory"},
	{"DC06", "steel", steelE, steelNu, 160, 0.12, 530, 0.220, "EN 10130: 120 to 170 MPa, a maker's data sheet"},
	{"DX54D", "steel", steelE, steelNu, 175, 0.15, 538, 0.207, "EN 10346: 120 to 220 MPa, from memory"},
	{"DX56D", "steel", steelE, steelNu, 165, 0.12, 532, 0.216, "EN 10346: 120 to 180 MPa, from memory"},
	{"HX180BD", "steel", steelE, steelNu, 240, 0.12, 570, 0.153, "EN 10346: coil 180 to 240 MPa, bake hardening at least 35 MPa, from memory"},
	{"HX220BD", "steel", steelE, steelNu, 280, 0.10, 590, 0.14, "EN 10346: coil 220 to 280 MPa, bake hardening at least 35 MPa, from memory"},
	{"HX260BD", "steel", steelE, steelNu, 320, 0.10, 610, 0.13, "EN 10346: coil 260 to 320 MPa, a maker's data sheet; bake from memory"},
	{"6016", "aluminium", aluminiumE, aluminiumNu, 190, 0.12, 400, 0.17, "6016 after 2 % strain and bake: 170 to 210 MPa, a maker's data sheet"},
	{"5182", "aluminium", aluminiumE, aluminiumNu, 135, 0.12, 420, 0.30, "5182-O: 120 to 140 MPa, from memory"},
}

// aliases: names people type.
var aliases = map[string]string{
	"": "mild steel", "steel": "mild steel", "low-carbon steel": "mild steel", "carbon steel": "mild steel", "steel160": "DC06", "steel 160": "DC06",
	"steel220": "HX180BD", "bh": "bake-hardening steel", "bh steel": "bake-hardening steel", "bake hardening steel": "bake-hardening steel", "bake hardening": "bake-hardening steel",
	"aluminium": "aluminium 6xxx", "aluminum": "aluminium 6xxx", "al": "aluminium 6xxx", "al180": "aluminium 6xxx", "6xxx": "aluminium 6xxx", "5xxx": "aluminium 5xxx",
	"al 6xxx": "aluminium 6xxx", "al 5xxx": "aluminium 5xxx", "aluminum 6xxx": "aluminium 6xxx", "aluminum 5xxx": "aluminium 5xxx",
	"aa6016": "6016", "en aw 6016": "6016", "aluminium 6016": "6016", "aa5182": "5182", "en aw 5182": "5182", "aluminium 5182": "5182",
}

// Lookup finds a material by its name, upper or lower case, hyphens as spaces; "steel" and "aluminium" give the usual skin.
func Lookup(name string) (Material, error) {
	key := func(s string) string {
		return strings.NewReplacer("-", " ", "_", " ").Replace(strings.ToLower(strings.TrimSpace(s)))
	}
	want := key(name)
	for a, full := range aliases {
		if key(a) == want {
			want = key(full)
			break
		}
	}
	for _, m := range materials {
		if key(m.Name) == want {
			return m, nil
		}
	}
	return Material{}, fmt.Errorf("material %q is not known; choose one of %s", name, strings.Join(Names(), ", "))
}

// Names lists the known materials, the four usual skins first.
func Names() []string {
	var n []string
	for _, m := range materials {
		n = append(n, m.Name)
	}
	return n
}

// Check tells what is wrong with a material that a technician adds.
func (m Material) Check() error {
	switch {
	case m.Name == "":
		return fmt.Errorf("the material has no name; give it one")
	case m.EMPa < 20000 || m.EMPa > 400000:
		return fmt.Errorf("%s: a stiffness of %g MPa is no sheet metal's; steel has 210000, aluminium 70000", m.Name, m.EMPa)
	case m.Nu < 0.1 || m.Nu > 0.45:
		return fmt.Errorf("%s: Poisson's ratio %g is out of 0.1 to 0.45; steel has 0.30, aluminium 0.33", m.Name, m.Nu)
	case m.YieldMPa < 40 || m.YieldMPa > 1500:
		return fmt.Errorf("%s: a yield of %g MPa is out of 40 to 1500; skins have 120 to 350", m.Name, m.YieldMPa)
	case m.SwiftK < m.YieldMPa || m.SwiftN < 0 || m.SwiftN > 0.6:
		return fmt.Errorf("%s: hardening K %g MPa, n %g does not go with a yield of %g; mild steel has K 540, n 0.2", m.Name, m.SwiftK, m.SwiftN, m.YieldMPa)
	}
	return nil
}

// WithYield returns the material with another yield, hardening along with it: stronger steels harden less. K and n follow the line
// through 160 MPa (K 530, n 0.22) and 220 MPa (K 560, n 0.17), our own choice in the range of the standards' n90; aluminium keeps its own.
func (m Material) WithYield(mpa float64) Material {
	m.YieldMPa = mpa
	if m.Family == "steel" {
		m.SwiftK = 530 + 0.5*(mpa-160)
		m.SwiftN = min(0.26, max(0.08, 0.22-0.05/60*(mpa-160)))
	}
	m.SwiftK = max(m.SwiftK, 1.05*mpa)
	return m
}

// Sheet is a material of a thickness.
type Sheet struct {
	Material
	ThicknessMM float64
}

// Rigidity is the bending stiffness D = E t^3/(12 (1 - nu^2)), N mm ([Timoshenko1959], ch. 1).
func (s Sheet) Rigidity() float64 {
	t := s.ThicknessMM
	return s.EMPa * t * t * t / (12 * (1 - s.Nu*s.Nu))
}

// ForceUnit is yield t^2, N: the natural unit of force. Nothing stays below 0.8 of it.
func (s Sheet) ForceUnit() float64 { return s.YieldMPa * s.ThicknessMM * s.ThicknessMM }

// Panel is a sheet as it is built in: crown and free span.
type Panel struct {
	Sheet
	RadiusMM  float64 // mean crown; 0 or very large: flat
	SupportMM float64 // from the hit to where the sheet is held; 0: 150
}

func (p Panel) support() float64 {
	if p.SupportMM <= 0 {
		return 150
	}
	return p.SupportMM
}

// flatRadius is the crown from which a panel acts flat: there the decay length reaches half the usual span.
func (p Panel) flat() bool {
	return p.RadiusMM <= 0 || 3*p.DecayMM() > p.support()
}

// DecayMM is the length l = sqrt(R t)/(12 (1 - nu^2))^(1/4) over which a shallow shell forgets a hit ([Reissner1946]).
func (p Panel) DecayMM() float64 {
	if p.RadiusMM <= 0 {
		return math.Inf(1)
	}
	return math.Sqrt(p.RadiusMM*p.ThicknessMM) / math.Pow(12*(1-p.Nu*p.Nu), 0.25)
}
