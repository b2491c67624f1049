// Package shot says which photo measures which flaw: set kind, board distance and stripe pitch, from the geometry of the reflection.
//
// In: the flaw's size and depth, the panel's crown, where camera and board stand. Out: whether the reflection folds there, the board
// distance that would unfold it, the pitch that keeps stripes wide enough to be read, and the words for it. Lengths in mm, depth in um.
package shot

import (
	"fmt"
	"math"
)

// Flaw is what is to be measured: breadth of its outline at a tenth of its depth.
type Flaw struct {
	WidthMM, DepthUM float64
}

// Place is the set-up.
type Place struct {
	BoardMM   float64 // panel to board along the reflected ray
	CameraMM  float64 // camera to panel
	TiltDeg   float64 // of the line of sight from the panel's normal
	CrownMM   float64 // radius of the crown, positive bulges; 0: flat
	MMPerPX   float64 // of panel a pixel spans
	PitchMM   float64 // stripes at hand; 0: free to choose
	WidePitch float64 // widest stripes at hand; 0: free
}

// Answer is what to do.
type Answer struct {
	Folds         bool    `json:"folds"`           // the reflection turns over inside the flaw
	FoldDepthUM   float64 `json:"fold_depth_um"`   // depth from which a flaw of this size folds here
	UnfoldBoardMM float64 `json:"unfold_board_mm"` // board distance up to which it does not; 0: none
	StripePX      float64 `json:"stripe_px"`       // narrowest stripe beside the flaw, px, at the given pitch
	LeastPitchMM  float64 `json:"least_pitch_mm"`  // finest pitch that stays readable there
	PitchMM       float64 `json:"pitch_mm"`        // to use
	Kind          string  `json:"kind"`            // single, or shifted (a sweep serves as well)
	SeenUM        float64 `json:"seen_um"`         // least depth of a flaw of this size that stands out with it
	Words         string  `json:"words"`
}

const (
	// leastStripePX: demodulators failed at 3.3 px a stripe on real photos, five are safe; shifted sets read four.
	leastStripePX = 5.0
	// tenth is the outline at a tenth of a Gaussian dent's depth, in its standard deviations: 2 sqrt(2 ln 10).
	tenth = 4.292
	// ring is how much more convex than the crown the metal beside a Gaussian dent gets, in depth/s^2: 2 exp(-3/2).
	ring = 0.446
	// readRad is how finely a stripe's phase is read, rad, by a shifted set on paint with orange peel.
	readRad = 0.05
)

// Ask answers for a Gaussian flaw. Its middle is hollow by d/s^2; the picture turns over where that, less the crown, passes
// cos(a)/2 (1/B + 1/C) in the plane of incidence (Coddington's equations, [BornWolf] 4.6). Beside it stripes run denser by
// 2 B 0.446 d/s^2.
func Ask(f Flaw, p Place) Answer {
	s := f.WidthMM / tenth
	d := f.DepthUM / 1000
	cos := math.Cos(p.TiltDeg * math.Pi / 180)
	crown := 0.0
	if p.CrownMM != 0 {
		crown = 1 / p.CrownMM
	}
	var a Answer
	a.FoldDepthUM = max(0, 1000*s*s*(cos/2*(1/p.BoardMM+1/p.CameraMM)+crown))
	a.Folds = f.DepthUM > a.FoldDepthUM
	if need := 2/cos*(d/(s*s)-crown) - 1/p.CameraMM; need > 0 {
		a.UnfoldBoardMM = 1 / need
	} else {
		a.UnfoldBoardMM = p.BoardMM // no fold at any distance worth the name
	}
	// Board per panel where it is densest, across the plane of incidence or in it, whichever is more.
	dense := max(1+p.BoardMM/p.CameraMM+2*p.BoardMM*cos*(crown+ring*d/(s*s)), cos*(1+p.BoardMM/p.CameraMM)+2*p.BoardMM*(crown+ring*d/(s*s)))
	a.LeastPitchMM = leastStripePX * p.MMPerPX * dense
	a.PitchMM = p.PitchMM
	if a.PitchMM == 0 {
		a.PitchMM = max(8, 2*math.Ceil(a.LeastPitchMM*1.2/2))
	}
	a.StripePX = a.PitchMM / (p.MMPerPX * dense)
	a.Kind = "single"
	if a.Folds {
		a.Kind = "shifted"
	}
	// A slope of p/(4 pi B) readRad carried over a quarter of the flaw's width; averaging over its pixels helps by their root, to a tenth
	// at most.
	a.SeenUM = 1000 * a.PitchMM / (4 * math.Pi * p.BoardMM) * readRad * f.WidthMM / 4 * max(0.1, p.MMPerPX/f.WidthMM*2)
	a.Words = a.words(f, p)
	return a
}

func (a Answer) words(f Flaw, p Place) string {
	size := fmt.Sprintf("A flaw of %.0f mm and %.0f um", f.WidthMM, f.DepthUM)
	pitch := fmt.Sprintf("stripes of %.0f mm", a.PitchMM)
	var w string
	switch {
	case !a.Folds:
		w = fmt.Sprintf("%s can be measured from one photo of each direction: %s, the board %.0f mm away.", size, pitch, p.BoardMM)
	case a.UnfoldBoardMM >= 150:
		w = fmt.Sprintf("%s folds the reflection at %.0f mm: take a shifted set or a sweep with %s, or bring the board to %.0f mm for single photos.", size, p.BoardMM, pitch, math.Floor(a.UnfoldBoardMM/10)*10)
	default:
		w = fmt.Sprintf("%s folds the reflection wherever the board stands: take a shifted set or a sweep with %s.", size, pitch)
	}
	if a.StripePX < leastStripePX {
		w += fmt.Sprintf(" Beside it those stripes shrink to %.1f pixels: use %.0f mm or wider, or step nearer with the camera.", a.StripePX, math.Ceil(a.LeastPitchMM))
	}
	if a.SeenUM > f.DepthUM {
		w += " It is too shallow to stand out: move the board farther away."
	}
	return w
}

// ResolvedShare is the part of its depth up to which a mark may be too shallow and still count as resolved.
const ResolvedShare = 0.04

// Lost is the part of the depth of a Gaussian mark of this breadth, mm at a tenth of it, that a blur of leftPX2 px^2 takes: half the
// blur's variance over the mark's, in both directions.
func Lost(lengthMM, widthMM, mmPerPX, leftPX2 float64) float64 {
	l, w := lengthMM/tenth/mmPerPX, widthMM/tenth/mmPerPX
	return leftPX2 / 2 * (1/(l*l) + 1/(w*w))
}

// NearerMM is the distance from which a camera loses no more than ResolvedShare of what it loses a part of from cameraMM, rounded down to
// 10 mm: a pixel spans less in proportion.
func NearerMM(cameraMM, lost float64) float64 {
	return 10 * math.Floor(cameraMM*math.Sqrt(min(1, ResolvedShare/lost))/10)
}
