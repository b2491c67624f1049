package fair

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Paint is how well the paint mirrors.
type Paint string

// Paints by darkness: the darker, the plainer the mirror image against the paint's own colour.
const (
	Black Paint = "black"
	Dark  Paint = "dark"
	Mid   Paint = "mid"
	Pale  Paint = "pale" // white, silver
)

// Limits are what the house hands over. All are settable; DefaultLimits gives a start.
type Limits struct {
	Paint Paint `json:"paint"`
	// SlopeMRad is the residual slope of the metal, orange peel and smooth course taken off, mrad. The wobble of a line may
	// reach twice as much.
	SlopeMRad float64 `json:"slope_mrad"`
	// ShortPerM and LongPerM are the residual curvatures of waves from PeelMM to MiddleMM and from there to CourseMM, 1/m.
	ShortPerM float64 `json:"short_curvature_per_m"`
	LongPerM  float64 `json:"long_curvature_per_m"`
	// FlawUM is the least depth of a flaw that is listed.
	FlawUM float64 `json:"flaw_um"`
	// BoardMM is the distance of the board at which wobble is told in mm.
	BoardMM float64 `json:"board_mm"`
	// NoiseMM is over how much metal errors of the measured height hang together (standard deviation of the Gaussian that would
	// make such noise of white noise).
	NoiseMM float64 `json:"noise_mm"`
}

// Bands of wavelength, mm. Orange peel lies under 10 mm, dents over it (ISO 16610-21 as filter). What the eye takes for a line's
// smooth course and for the panel's own form: common practice, no source; 150 mm is twice the widest low that a press shop reworks
// (50 to 100 mm, common practice). 30 mm parts marks from waves.
const (
	PeelMM   = 10.0
	MiddleMM = 30.0
	CourseMM = 150.0
)

// slopes are the defaults, mrad: with eye and board 1 to 2 m away, acuity of one minute of arc puts a slope of 0.15 to 0.3 mrad at
// the limit of sight; 0.5 to 1 mrad is plain on black, 2 to 3 mrad on anything. Black takes the upper end of what is just plain on
// it, pale the lower end of what is plain on anything, even steps between. [Westheimer1975], from memory, and own geometry.
var slopes = map[Paint]float64{Black: 1.0, Dark: 1.3, Mid: 1.6, Pale: 2.0}

// meetMM is De Db/(De + Db) for eye and board both 1.5 m away: seen in metal of curvature k stripes lie 1 + 2 k meetMM apart as
// compared with the flat mirror; at 2 k meetMM = 1 the picture folds and the line closes on itself.
const meetMM = 750.0

// closer is the change of the stripes' spacing that black paint may show over the long band: a quarter. Common practice, no source.
const closer = 0.25

// noiseMM is the default reach of the noise: the patch of paint that a pixel or two see. It makes 0.094 mrad of slope of 1 um; on the
// rendered undamaged panel of sigma 0.6 um slopes scatter by 0.034 mrad a direction, 0.056 a um, orange peel included.
const noiseMM = 0.5

// DefaultLimits are our starting limits for a paint; an unknown paint counts as black, the strictest.
func DefaultLimits(p Paint) Limits {
	s, ok := slopes[p]
	if !ok {
		p, s = Black, slopes[Black]
	}
	share := s / slopes[Black]
	return Limits{
		Paint:     p,
		SlopeMRad: s,
		ShortPerM: share * 1e3 / (2 * meetMM),          // no line folds
		LongPerM:  share * 1e3 * closer / (2 * meetMM), // no stripe a quarter closer than its neighbour
		FlawUM:    5,                                   // what a trained eye finds; orange peel of 1 um rms peaks under it
		BoardMM:   1000,
		NoiseMM:   noiseMM,
	}
}

// Check refuses limits that cannot be meant.
func (l Limits) Check() error {
	for _, v := range []struct {
		name     string
		v, lo, h float64
	}{
		{"slope in mrad", l.SlopeMRad, 0.05, 50}, {"curvature of the short band in 1/m", l.ShortPerM, 0.01, 100},
		{"curvature of the long band in 1/m", l.LongPerM, 0.01, 100}, {"least depth of a flaw in um", l.FlawUM, 0.5, 1000},
		{"distance of the board in mm", l.BoardMM, 100, 10000}, {"reach of the noise in mm", l.NoiseMM, 0, 5},
	} {
		if !(v.v >= v.lo && v.v <= v.h) {
			return fmt.Errorf("the hand-over limit %q is %g; set it between %g and %g, or start from the defaults", v.name, v.v, v.lo, v.h)
		}
	}
	return nil
}

// noise returns the standard deviations that a unit of height error leaves in slope (1/mm) and curvature (1/mm2) under a Gaussian
// of standard deviation s mm: white noise smoothed by c, then by s, has spectrum exp(-k2 S2) with S2 = s2 + c2, and
//
//	slope: c / (sqrt 2 S2)        curvature: sqrt(3)/2 c / S3
//
// (variances 1/(8 pi S4) and 3/(16 pi S6) per unit of white noise, whose own after c is 1/(4 pi c2)). White noise on a raster is c =
// pitch/(2 sqrt pi).
func (l Limits) noise(s, pitch float64) (slope, curvature float64) {
	c := math.Max(l.NoiseMM, pitch/(2*math.Sqrt(math.Pi)))
	q := s*s + c*c
	return c / (math.Sqrt2 * q), math.Sqrt(3) / 2 * c / math.Pow(q, 1.5)
}

// PaintOf reads the darkness from the name of a colour in English as captures give it ("dark blue", "silver metallic"); what it does not know
// counts as black, the strictest.
func PaintOf(colour string) Paint {
	has := func(words ...string) bool {
		return slices.ContainsFunc(words, func(w string) bool { return strings.Contains(strings.ToLower(colour), w) })
	}
	switch {
	case has("black"):
		return Black
	case has("dark", "navy", "blue", "brown", "green"):
		return Dark
	case has("white", "silver", "pearl", "ivory", "cream", "yellow", "beige"):
		return Pale
	case has("grey", "gray", "red", "orange", "bronze", "gold", "light"):
		return Mid
	}
	return Black
}
