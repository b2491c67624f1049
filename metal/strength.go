package metal

import "math"

// The curve A/t against F/(yield t^2), A the strength of the plastic curvature that a hit leaves (docs/method/metal.md): flat
// sheets, and a crown of 2 m. Scatter between steels and aluminium 8 %.
var (
	curveForce = []float64{0.80, 0.9, 1.0, 1.1, 1.25, 1.5, 1.75, 2.0, 2.2, 2.45, 3.0, 4.0}
	curveFlat  = []float64{0, 0.006, 0.010, 0.014, 0.027, 0.050, 0.085, 0.125, 0.157, 0.206, 0.28, 0.375}
	curve2m    = []float64{0, 0.0015, 0.004, 0.007, 0.014, 0.030, 0.052, 0.080, 0.108, 0.142, 0.21, 0.34}
)

// crownShare is 0 for a flat panel and 1 for a crown of 2 m and tighter: by the stiffness that curvature adds, (l_2m/l)^2.
func (p Panel) crownShare() float64 {
	if p.RadiusMM <= 0 {
		return 0
	}
	return min(1, 2000/p.RadiusMM)
}

// Curvature returns A, mm, for a hit of forceN.
func (p Panel) Curvature(forceN float64) float64 {
	x := math.Abs(forceN) / p.ForceUnit()
	k := p.crownShare()
	return math.Copysign(p.ThicknessMM*((1-k)*interp(x, curveForce, curveFlat)+k*interp(x, curveForce, curve2m)), forceN)
}
