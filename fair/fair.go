package fair

import (
	"fmt"
	"math"

	"fairmetal/surface"
)

// Answer of a check.
type Answer string

// Answers.
const (
	Yes     Answer = "fair"
	No      Answer = "not fair"
	NotSure Answer = "not sure" // the limit lies within what the measurement leaves open
)

// Verdict is the hand-over check of one area.
type Verdict struct {
	// Fair: nothing measured is over a limit, by the best estimate. Answer says besides how sure that is and is not "fair" while a
	// place inside was not measured: hand over on Answer.
	Fair    bool     `json:"fair"`
	Answer  Answer   `json:"answer"`
	Reasons []string `json:"reasons"`
	Limits  Limits   `json:"limits"`
	Worst   Sight    `json:"worst"`
	Views   []Sight  `json:"views"`
	Bands   []Band   `json:"bands"`
	Flaws   []Flaw   `json:"flaws"`
	PeelUM  float64  `json:"peel_rms_um"` // height of waves under PeelMM, not judged
	Covered float64  `json:"covered"`     // share of the area that was judged
	Gaps    []Gap    `json:"gaps"`
}

// courseShare is how much a course drawn over a finite area follows a wave: lambda/(2 pi L), 3 % for 40 mm on 200 mm. What exceeds a
// limit by less is not told.
const courseShare = 0.03

const (
	coarsestMM = PeelMM / 4  // a raster over this cannot tell orange peel from marks
	leastMM2   = 50.0 * 50.0 // a smaller area shows no smooth course
	mostCells  = 4_000_000   // bounds the memory to some 200 MB
)

// Judge checks a surface against limits.
func Judge(s *surface.Surface, l Limits) (Verdict, error) {
	if err := l.Check(); err != nil {
		return Verdict{}, err
	}
	if s == nil || s.Len() == 0 || len(s.Height) != s.Len() || len(s.Sigma) != s.Len() {
		return Verdict{}, fmt.Errorf("there is no measured surface to judge; measure a capture first")
	}
	if !(s.PitchMM > 0 && s.PitchMM <= coarsestMM) || s.Len() > mostCells {
		return Verdict{}, fmt.Errorf("a raster of %g mm and %d cells cannot be judged; measure with %g mm or finer on at most %d cells", s.PitchMM, s.Len(), coarsestMM, mostCells)
	}
	r := newRelief(s)
	area := float64(r.judged) * r.g.PitchMM * r.g.PitchMM
	if area < leastMM2 {
		return Verdict{}, fmt.Errorf("only %.0f mm2 of the metal is measured; a line's course shows on %.0f mm2 or more: capture a larger area", area, leastMM2)
	}
	sure := surely(area)
	v := Verdict{Limits: l, Answer: Yes, Reasons: []string{}, Covered: float64(r.judged) / float64(r.g.Len()), Gaps: gaps(s)}
	v.Views = r.look(l, sure)
	v.Bands = r.bands(l, sure)
	v.Flaws = r.flaws(l)
	v.PeelUM = peel(s)
	v.worst()
	v.sum()
	return v, nil
}

// surely is how many standard deviations are sure when the worst of all places is looked for: the expected extreme of as many
// independent Gaussian values as patches of PeelMM fit the area, sqrt(2 ln n), and never under 3.
func surely(areaMM2 float64) float64 {
	return max(3, math.Sqrt(2*math.Log(max(1, areaMM2/(PeelMM*PeelMM)))))
}

// over tells whether a value exceeds a limit by more than the course of the line leaves open.
func over(v, limit float64) bool { return v > limit*(1+courseShare) }

// judge: over the limit by sure standard deviations is not fair, under it by one is fair.
func judge(v, sigma, limit, sure float64) Answer {
	switch {
	case over(v-sure*sigma, limit):
		return No
	case over(v+sigma, limit):
		return NotSure
	}
	return Yes
}

// worst picks among the views: the surest exceedance, else the largest wobble.
func (v *Verdict) worst() {
	v.Worst = v.Views[0]
	for _, s := range v.Views[1:] {
		a, b := s.Answer == No, v.Worst.Answer == No
		if a && !b || a == b && (a && s.sureExceeds > v.Worst.sureExceeds || !a && s.WobbleMRad > v.Worst.WobbleMRad) {
			v.Worst = s
		}
	}
}

// sum gathers the answers and says why.
func (v *Verdict) sum() {
	v.Fair = true
	for _, s := range v.Views {
		v.Fair = v.Fair && !over(s.WobbleMRad, 2*v.Limits.SlopeMRad)
	}
	for _, b := range v.Bands {
		v.Fair = v.Fair && !over(b.Slope.Value, b.Slope.Limit) && !over(b.Curvature.Value, b.Curvature.Limit)
	}
	take := func(a Answer, format string, args ...any) {
		if a == Yes {
			return
		}
		if v.Answer != No {
			v.Answer = a
		}
		text := fmt.Sprintf(format, args...)
		if a == NotSure {
			text += ": within what the measurement leaves open"
		}
		v.Reasons = append(v.Reasons, text)
	}
	w := v.Worst
	for _, s := range v.Views {
		if w.Answer == Yes && s.Answer != Yes {
			w = s
		}
	}
	take(w.Answer, "a reflected line wobbles by %.1f mrad (%.1f mm on a board %.0f mm away) at (%.0f, %.0f) mm seen from %.0f degrees, %.0f degrees up; the limit is %.1f mrad",
		w.WobbleMRad, w.WobbleMM, v.Limits.BoardMM, w.XMM, w.YMM, w.AzimuthDeg, w.ElevationDeg, 2*v.Limits.SlopeMRad)
	for _, b := range v.Bands {
		take(b.Slope.Answer, "%s waves (%g to %g mm) tilt the metal by %.2f mrad at (%.0f, %.0f) mm; the limit is %.2f", b.Name, b.FromMM, b.ToMM, b.Slope.Value, b.Slope.XMM, b.Slope.YMM, b.Slope.Limit)
		take(b.Curvature.Answer, "%s waves (%g to %g mm) curve the metal by %.2f 1/m at (%.0f, %.0f) mm; the limit is %.2f", b.Name, b.FromMM, b.ToMM, b.Curvature.Value, b.Curvature.XMM, b.Curvature.YMM, b.Curvature.Limit)
	}
	for _, f := range v.Flaws {
		if f.Answer == No {
			take(No, "a flaw about %.0f mm wide, %.0f um, at (%.0f, %.0f) mm", f.WidthMM, f.HeightUM, f.XMM, f.YMM)
		}
	}
	for _, g := range v.Gaps {
		if g.Inside && v.Answer != No {
			v.Answer = NotSure
			v.Reasons = append(v.Reasons, fmt.Sprintf("%.0f mm2 at (%.0f, %.0f) mm were not measured and are not judged; capture them from another side", g.AreaMM2, g.XMM, g.YMM))
		}
	}
}

// peel is the rms height of waves under PeelMM, um.
func peel(s *surface.Surface) float64 {
	f := surface.Gauss(s.Grid, s.Height, gaussSD(PeelMM))
	var sum float64
	n := 0
	for i, h := range s.Height {
		if h == h {
			d := float64(h - f[i])
			sum += d * d
			n++
		}
	}
	if n == 0 {
		return 0
	}
	return 1000 * math.Sqrt(sum/float64(n))
}
