package metal

import (
	"fmt"
	"math"
)

// Material is a sheet metal as it sits on the vehicle: after pressing and paint bake.
type Material struct {
	Name     string
	Family   string  // steel or aluminium
	EMPa     float64 // Young's modulus
	Nu       float64 // Poisson's ratio
	YieldMPa float64 // after pressing and paint bake
	Spread   float64 // relative standard deviation of the yield from panel to panel
	SwiftK   float64 // hardening: stress = K (e0 + ep)^N in MPa, e0 such that the stress at ep = 0 is the yield
	SwiftN   float64
	R        float64    // normal anisotropy (Lankford), 1: the same in all directions; 0: not known, taken as 1
	CoilMPa  [2]float64 // yield as delivered, lowest and highest
	GaugeMM  [2]float64 // thickness of skins in this grade
	Source   string
}

// Check tells what is wrong with a material that a technician adds.
func (m Material) Check() error {
	switch {
	case m.Name == "" || len(m.Name) > 200:
		return fmt.Errorf("the material has no name or one of over 200 letters; give it a short one")
	case m.Family != "steel" && m.Family != "aluminium":
		return fmt.Errorf("%s: family %q is not known; write steel or aluminium", m.Name, m.Family)
	case !within(m.EMPa, 20000, 400000):
		return fmt.Errorf("%s: a stiffness of %g MPa is no sheet metal's; steel has 210000, aluminium 70000", m.Name, m.EMPa)
	case !within(m.Nu, 0.1, 0.45):
		return fmt.Errorf("%s: Poisson's ratio %g is out of 0.1 to 0.45; steel has 0.30, aluminium 0.33", m.Name, m.Nu)
	case !within(m.YieldMPa, 40, 1500):
		return fmt.Errorf("%s: a yield of %g MPa is out of 40 to 1500; skins have 120 to 350", m.Name, m.YieldMPa)
	case !within(m.Spread, 0.01, 0.5):
		return fmt.Errorf("%s: a spread of %g of the yield is out of 0.01 to 0.5; 0.15 is usual", m.Name, m.Spread)
	case !within(m.SwiftK, m.YieldMPa, 5000) || !within(m.SwiftN, 0, 0.6):
		return fmt.Errorf("%s: hardening K %g MPa, n %g does not go with a yield of %g; K must not be less than the yield, n 0 to 0.6; mild steel has K 540, n 0.2", m.Name, m.SwiftK, m.SwiftN, m.YieldMPa)
	case m.R != 0 && !within(m.R, 0.3, 4):
		return fmt.Errorf("%s: normal anisotropy r %g is out of 0.3 to 4; steel has 1.2 to 2.1, aluminium 0.6", m.Name, m.R)
	case m.GaugeMM != [2]float64{} && (!within(m.GaugeMM[0], 0.3, 3) || !within(m.GaugeMM[1], m.GaugeMM[0], 3)):
		return fmt.Errorf("%s: thickness %g to %g mm is not a skin's; give 0.3 to 3 mm, the thinner first", m.Name, m.GaugeMM[0], m.GaugeMM[1])
	}
	return nil
}

func within(v, lo, hi float64) bool { return v >= lo && v <= hi }

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

// FlowMPa is the stress at which the metal flows after a plastic strain ep, MPa: Swift's K (e0 + ep)^n with the yield at ep = 0.
func (m Material) FlowMPa(ep float64) float64 {
	if m.SwiftN == 0 {
		return m.YieldMPa
	}
	e0 := math.Pow(m.YieldMPa/m.SwiftK, 1/m.SwiftN)
	return m.SwiftK * math.Pow(e0+max(ep, 0), m.SwiftN)
}

// TipYieldMPa is the yield as a round tip feels it, MPa: under it the sheet is bent in all directions at once, and a sheet of normal
// anisotropy r then yields at sqrt((1 + r)/2) times its tensile yield (Hill 1948, from memory): 22 % more at r = 2, 10 % less at r = 0.6.
// The reference runs and the compact curves are for r = 1, so a plan that takes the tensile yield is low on steel; Calibrate finds it.
func (m Material) TipYieldMPa() float64 {
	r := m.R
	if r == 0 {
		r = 1
	}
	return m.YieldMPa * math.Sqrt((1+r)/2)
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

// flat: from this crown on a panel acts flat, where three decay lengths reach beyond the support.
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
