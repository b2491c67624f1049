package metal

import (
	"fmt"
	"math"
)

// FilmHit is a hit as the film feels it.
type FilmHit struct {
	XMM, YMM  float64
	StrainPct float64 // either sign
	ReachMM   float64 // standard deviation of the strained patch; 0: that of the plastic patch of a hit
}

// AccumulatedPct is the strain that the film at a place has been through, per cent: the sum over all hits of their absolute strain,
// weighted by a bell of their distance. Bending to and fro counts both ways.
func AccumulatedPct(hits []FilmHit, xMM, yMM float64) float64 {
	sum := 0.0
	for _, h := range hits {
		q := math.Hypot(xMM-h.XMM, yMM-h.YMM) / h.reach()
		sum += math.Abs(h.StrainPct) * math.Exp(-q*q/2)
	}
	return sum
}

// WorstPct is the largest accumulated strain and its place: from each hit uphill by mean shift (Fukunaga & Hostetler 1975, from memory), since
// between two close hits it is up to a seventh larger than at either.
func WorstPct(hits []FilmHit) (pct, xMM, yMM float64) {
	for _, h := range hits {
		x, y := h.XMM, h.YMM
		for range 30 {
			var sum, sx, sy float64
			for _, g := range hits {
				r := g.reach()
				q := math.Hypot(x-g.XMM, y-g.YMM) / r
				w := math.Abs(g.StrainPct) * math.Exp(-q*q/2) / (r * r)
				sum, sx, sy = sum+w, sx+w*g.XMM, sy+w*g.YMM
			}
			if sum == 0 {
				break
			}
			dx, dy := sx/sum-x, sy/sum-y
			x, y = x+dx, y+dy
			if math.Hypot(dx, dy) < 1e-3 {
				break
			}
		}
		if s := AccumulatedPct(hits, x, y); s > pct {
			pct, xMM, yMM = s, x, y
		}
	}
	return pct, xMM, yMM
}

func (h FilmHit) reach() float64 {
	if h.ReachMM <= 0 {
		return defaultCoreMM
	}
	return h.ReachMM
}

// Behind is what lies behind or beside the skin and must not get hot.
type Behind string

const (
	ClearCoat   Behind = "clear coat"
	Foam        Behind = "foam or sound pad"
	Adhesive    Behind = "structural or hem adhesive"
	Battery     Behind = "traction battery"
	HighVoltage Behind = "high-voltage cable"
	Airbag      Behind = "airbag"
	Plastic     Behind = "plastic part or seal"
	GlueTab     Behind = "glue tab in use"
)

// limits of the skin's temperature, C, with a caution. Clear coat, foam, adhesive and tabs: common practice. Traction battery and cables: makers of
// vehicles commonly allow 60 to 80 C in a paint oven for a short time; 50 C at the skin keeps clear of it (common practice, the
// vehicle's own manual goes first).
var limits = map[Behind]struct {
	maxC    float64
	caution string
}{
	ClearCoat:   {MaxSkinC, "above 80 C clear coat softens and takes marks"},
	Foam:        {75, "foam and sound pads soften and sag from about 80 C"},
	Adhesive:    {75, "adhesive in hems and on bars creeps from about 80 C"},
	Battery:     {50, "traction battery: follow the vehicle's own limit for heat, let no flame or heat gun near it"},
	HighVoltage: {50, "high-voltage cable behind: have the system switched off by someone trained before heat or tools go there"},
	Airbag:      {60, "airbag behind: no hits and no heat without the vehicle's own instructions"},
	Plastic:     {60, "plastic parts and seals warp; shield them"},
	GlueTab:     {40, "glue lets go on warm skin: pull first or take glue for warm weather"},
}

// alwaysCautions hold whenever the skin is warmed (common practice).
var alwaysCautions = []string{
	"measure the skin, not the gun: move the heat, check with a thermometer",
	"no heat where solvent, cleaner or release alcohol is still wet; let it dry off and the air clear",
	"hot glue and tabs burn: wear gloves",
}

// Warmth is a temperature to work at.
type Warmth struct {
	NeedC      float64 // the skin must be at least this warm for the film to stand the strain
	ToC        float64 // warm to this
	MaxC       float64 // never above
	Enough     bool    // the film stands it at ToC
	Cautions   []string
	StrainPct  float64
	StandsPct  float64 // at ToC
	Practice   string  // "common practice": where the numbers come from
	LimitedBy  Behind
	WarmNeeded bool
}

// filmMargin: the film shall stand this much more than it is bent, own proposal: hits land a few millimetres off.
const filmMargin = 1.25

// Warm says how warm a film must be for an accumulated strain, from the skin's temperature now and what lies behind it. Numbers are
// common practice (CapabilityPct, limits); an error where the film stands it at no temperature that is allowed.
func (f Film) Warm(strainPct, skinC float64, behind ...Behind) (Warmth, error) {
	if !within(strainPct, 0, 100) || !within(skinC, -30, 100) {
		return Warmth{}, fmt.Errorf("a strain of %g %% at %g C cannot be judged; give 0 to 100 %% and -30 to 100 C", strainPct, skinC)
	}
	w := Warmth{MaxC: MaxSkinC, LimitedBy: ClearCoat, StrainPct: strainPct, Practice: "common practice"}
	for _, b := range append([]Behind{ClearCoat}, behind...) {
		l, ok := limits[b]
		if !ok {
			return Warmth{}, fmt.Errorf("what lies behind the skin, %q, is not known; name foam, adhesive, battery or the like", b)
		}
		if l.maxC < w.MaxC {
			w.MaxC, w.LimitedBy = l.maxC, b
		}
		if b != ClearCoat {
			w.Cautions = append(w.Cautions, l.caution)
		}
	}
	most := min(WarmToC, w.MaxC)
	w.NeedC = math.Inf(1)
	for c := -30.0; c <= most; c++ {
		if f.CapabilityPct(c) >= filmMargin*strainPct {
			w.NeedC = c
			break
		}
	}
	w.Enough = w.NeedC <= most
	w.WarmNeeded = w.NeedC > skinC
	w.ToC = skinC
	if w.WarmNeeded {
		// Warmed at all, then at least hand-warm: the skin cools while it is worked.
		w.ToC = min(most, max(w.NeedC, WarmFromC))
		w.Cautions = append(w.Cautions, alwaysCautions...)
		if w.MaxC > MaxSkinC-10 {
			w.Cautions = append(w.Cautions, limits[ClearCoat].caution)
		}
	}
	w.StandsPct = f.CapabilityPct(w.ToC)
	if !w.Enough {
		return w, fmt.Errorf("the film would be bent by %.1f %% and stands %.1f %% at %.0f C, the warmest allowed (%s); work in smaller hits further apart, or leave it", strainPct, f.CapabilityPct(most), most, w.LimitedBy)
	}
	return w, nil
}
