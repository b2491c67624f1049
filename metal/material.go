package metal

import (
	"fmt"
	"math"
	"sort"
)

// Material is a sheet metal after pressing and paint bake.
type Material struct {
	Name     string
	Family   string  // steel or aluminium
	EMPa     float64 // Young's modulus
	Nu       float64 // Poisson's ratio
	YieldMPa float64 // after the paint bake
	Spread   float64 // relative standard deviation of the yield from panel to panel
	SwiftK   float64 // hardening: stress = K (e0 + ep)^N
	SwiftN   float64
	Source   string
}

// materials: yield values to plan with until the first hits tell better. E, nu: EN 1993-1-1 and EN 1999-1-1 (from memory). The
// ranges behind the yields: EN 10130, EN 10346, EN 10268 and makers' data (from memory); hardening after Swift chosen in that range.
var materials = map[string]Material{
	"mild steel":           {"mild steel", "steel", 210000, 0.30, 180, 0.15, 530, 0.22, "EN 10130 DC04 to DC06 after pressing, from memory"},
	"bake-hardening steel": {"bake-hardening steel", "steel", 210000, 0.30, 250, 0.12, 560, 0.17, "EN 10346 HX180BD to HX220BD, +30 to 70 MPa by strain and bake, from memory"},
	"aluminium 6xxx":       {"aluminium 6xxx", "aluminium", 70000, 0.33, 190, 0.12, 400, 0.17, "6016 after 2 % strain and bake 170 to 220 MPa, makers' data, from memory"},
	"aluminium 5xxx":       {"aluminium 5xxx", "aluminium", 70000, 0.33, 135, 0.12, 420, 0.30, "5182-O 120 to 140 MPa, softens a little in the bake, from memory"},
}

// Lookup finds a material by its name; "steel" and "aluminium" give the usual skin.
func Lookup(name string) (Material, error) {
	switch name {
	case "steel", "":
		name = "mild steel"
	case "aluminium":
		name = "aluminium 6xxx"
	}
	m, ok := materials[name]
	if !ok {
		return Material{}, fmt.Errorf("material %q is not known; choose one of %v", name, Names())
	}
	return m, nil
}

// Names lists the known materials.
func Names() []string {
	var n []string
	for k := range materials {
		n = append(n, k)
	}
	sort.Strings(n)
	return n
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
