package metal

import (
	"fmt"
	"math"
)

// Relief is a measured height grid over the undamaged form: ZUM row by row, x fastest, not a number where nothing was seen.
type Relief struct {
	NX, NY      int
	PitchMM     float64
	ZUM         []float64
	CrownPerMM  float64 // Kx + Ky of the form, 1/mm, positive standing out
	SlopeSigma  float64 // error of a measured slope, rad, from node to node
	FormSigmaUM float64 // error of the form as a whole
	MarkUM      float64 // heights beyond this belong to the mark; 0: a tenth of the largest
}

// Return says what of a mark returns by bending.
type Return string

// Bounds on the mean areal strain, own proposal: under 0.1 % it returns by pushing, to 0.5 % it leaves a drumming feel and needs work at
// the rim, above it is stretched.
const (
	ReturnsByPushing Return = "returns by pushing"
	ReturnsAtRim     Return = "returns with work at the rim"
	Stretched        Return = "stretched"

	pushStrain = 0.001
	rimStrain  = 0.005
)

// Excess is the metal too much in a mark.
type Excess struct {
	AreaMM2   float64 // excess area over the form; negative: too little, a mark that is folded in
	SigmaMM2  float64
	SlopeMM2  float64 // part of the slopes, half the integral of |grad w|^2
	FormMM2   float64 // part of the form's crown, the integral of (Kx + Ky) w
	MarkMM2   float64 // ground area of the mark
	Strain    float64 // AreaMM2/MarkMM2
	Sigma     float64
	Seen      float64 // share of the grid that was measured
	Verdict   Return
	Confident bool // the verdict stands at two sigma
}

// Excess measures the area of a surface against its form. For a height w over a form of crown Kx, Ky (z = -(Kx x^2 + Ky y^2)/2), to
// second order in slopes and with w = 0 around the mark,
//
//	dA = Int 0.5 |grad w|^2 + (Kx + Ky) w  dA:
//
// a low in a crown has room to fold in: a mirrored cap (Pogorelov) has dA = 0. The noise of the slopes, which adds its own square, is taken
// off. Sigma: slopes as given, the form's error times the crown, and the grid's own error from what was not seen.
func (g Relief) Excess() (Excess, error) {
	if g.NX < 3 || g.NY < 3 || len(g.ZUM) != g.NX*g.NY || !within(g.PitchMM, 0.05, 20) || !within(math.Abs(g.CrownPerMM), 0, 0.05) || !within(g.SlopeSigma, 0, 0.1) || !within(g.FormSigmaUM, 0, 1e4) {
		return Excess{}, fmt.Errorf("a height grid of %d x %d with %d heights at %g mm cannot be measured; give at least 3 x 3 heights at 0.05 to 20 mm", g.NX, g.NY, len(g.ZUM), g.PitchMM)
	}
	bound := g.MarkUM
	if bound <= 0 {
		for _, z := range g.ZUM {
			if !math.IsNaN(z) {
				bound = max(bound, 0.1*math.Abs(z))
			}
		}
	}
	cell := g.PitchMM * g.PitchMM
	var e Excess
	var seen, variance float64
	for j := range g.NY {
		for i := range g.NX {
			z := g.ZUM[j*g.NX+i]
			gx, okx := g.slope(i, j, 1, 0)
			gy, oky := g.slope(i, j, 0, 1)
			if math.IsNaN(z) || !okx || !oky {
				continue
			}
			seen++
			if math.Abs(z) >= bound && bound > 0 {
				e.MarkMM2 += cell
			}
			s2 := g.SlopeSigma * g.SlopeSigma
			e.SlopeMM2 += cell * (0.5*(gx*gx+gy*gy) - s2)
			e.FormMM2 += cell * g.CrownPerMM * z / 1000
			variance += cell * cell * ((gx*gx+gy*gy)*s2 + s2*s2)
		}
	}
	if seen == 0 || e.MarkMM2 == 0 {
		return Excess{}, fmt.Errorf("no mark was seen in the height grid; measure it again with the mark in full view")
	}
	e.Seen = seen / float64(g.NX*g.NY)
	e.AreaMM2 = e.SlopeMM2 + e.FormMM2
	form := g.CrownPerMM * g.FormSigmaUM / 1000 * seen * cell
	unseen := (1 - e.Seen) * e.SlopeMM2
	e.SigmaMM2 = math.Sqrt(variance + form*form + unseen*unseen)
	e.Strain, e.Sigma = e.AreaMM2/e.MarkMM2, e.SigmaMM2/e.MarkMM2
	e.Verdict = returns(e.Strain)
	e.Confident = returns(e.Strain-2*e.Sigma) == e.Verdict && returns(e.Strain+2*e.Sigma) == e.Verdict
	return e, nil
}

func returns(strain float64) Return {
	switch {
	case strain < pushStrain:
		return ReturnsByPushing
	case strain < rimStrain:
		return ReturnsAtRim
	}
	return Stretched
}

// slope by central differences, one-sided beside what was not seen, mm/mm.
func (g Relief) slope(i, j, di, dj int) (float64, bool) {
	at := func(k int) float64 {
		x, y := i+k*di, j+k*dj
		if x < 0 || y < 0 || x >= g.NX || y >= g.NY {
			return math.NaN()
		}
		return g.ZUM[y*g.NX+x] / 1000
	}
	before, here, after := at(-1), at(0), at(1)
	switch {
	case !math.IsNaN(before) && !math.IsNaN(after):
		return (after - before) / (2 * g.PitchMM), true
	case !math.IsNaN(after) && !math.IsNaN(here):
		return (after - here) / g.PitchMM, true
	case !math.IsNaN(before) && !math.IsNaN(here):
		return (here - before) / g.PitchMM, true
	}
	return 0, false
}
