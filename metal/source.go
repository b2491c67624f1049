package metal

import "math"

// stretchRatio is B/A, the stretched share of a hit from behind on virgin crowned metal, against F/(yield t^2): fitted to the profiles
// of finite-element runs, w = A ker(r/l) - B kei(r/l) for r > 10 mm, on R = 2 m, steels and aluminium, tips and disc alike within 0.04.
// Light hits stretch along with the bend; heavy ones bend a ring and stretch no more. On R = 0.7 m it falls more slowly (0.36 at 3).
var (
	stretchForce = []float64{0.8, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0}
	stretchRatio = []float64{0.40, 0.40, 0.36, 0.32, 0.25, 0.19, 0.12, 0.06}
)

// raiseRatio is B/A of a push that raises a dent: the metal that the dent had stretched is taken in again, so the sign turns. From what
// three pushes on a dent changed at a mark 50 mm away on R = 2 m in finite-element runs (-5.0, -5.7, -7.7 % of the set). Towards a flat
// panel it fades as the membrane's share of the stiffness, E t/R^2: our own interpolation, no run lies between.
const raiseRatio, raiseRadiusMM = -0.45, 2000.0

func raising(curvature float64) float64 {
	q := curvature * raiseRadiusMM
	return raiseRatio * min(1, q*q)
}

// Hit is the source that a push (positive) or tap of forceN leaves at a place; dented: in a dent rather than on virgin metal.
func (p Panel) Hit(xMM, yMM, forceN float64, dented bool) Source {
	a := p.Curvature(forceN)
	ratio := interp(min(math.Abs(forceN)/p.ForceUnit(), 5), stretchForce, stretchRatio)
	if dented {
		ratio = raising(p.curvature())
	}
	return Source{XMM: xMM, YMM: yMM, BendMM: a, StretchMM: ratio * a}
}

// Room puts the panel into a rectangle of its own, crowned alike both ways and clamped all round.
func (p Panel) Room(widthMM, heightMM float64) ShellSpec {
	k := p.curvature()
	return ShellSpec{Sheet: p.Sheet, WidthMM: widthMM, HeightMM: heightMM, KxPerMM: k, KyPerMM: k}
}

// curvature of the crown, 1/mm.
func (p Panel) curvature() float64 {
	if p.RadiusMM <= 0 {
		return 0
	}
	return 1 / p.RadiusMM
}
