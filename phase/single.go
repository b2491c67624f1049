package phase

import (
	"fmt"
	"math"

	"fairmetal/photo"
)

// Guide predicts where the stripes run on undamaged paint: the board coordinate in mm that a pixel should show, from a rough
// model of the set-up; ok is false where it says nothing. Its gradient may be off by a factor of two, its constant is free.
type Guide func(px, py float64) (x float64, ok bool)

// Covered tells where something lies on the paint and hides it, a scale card: stripes are not sought there, and what is seen there does not pass for
// the brightness of stripes. Nil: nothing does.
type Covered func(px, py float64) bool

// Single is a board coordinate read from one photo of stripes whose shift is unknown: a constant of Field.X is free.
type Single struct {
	Field
	// Folded marks pixels, enclosed by readable ones, whose reflection folds over or whose stripes cannot be followed.
	Folded []bool
	// Odd marks pixels where the photo agrees with what is given by plainly less than it does elsewhere: some orange peel, and damage that folds
	// within the breadth of a stripe.
	Odd []bool
	// Seam marks pixels beside and on a feature line that hides stripes; nil where there is none. What lies beyond it may be whole stripes
	// off.
	Seam []bool
	// Doubt reads the photo as if a feature line hid stripes where one shows but faintly: for a whole that fits no panel. Nil where none shows
	// at all; it may be called once.
	Doubt func() *Single
}

// NoStripesError says that one photo shows no stripes that could be followed.
type NoStripesError struct {
	Axis    string
	PitchMM float64
}

func (e *NoStripesError) Error() string {
	return fmt.Sprintf("no %s stripes of %g mm can be followed in the single photo; check the pitch and which photo shows which stripes, and that the stripes are sharp where the damage is",
		e.Axis, e.PitchMM)
}

// Demodulate reads one photo of stripes of pitchMM along one board axis ("u" or "v"), square or sine in profile, on a board
// boardMM wide along this axis, in paint that is covered in places.
//
// The stripes are compared with a carrier that follows the guide (scale and bend of the carrier are found from the photo), the
// difference is smoothed as a complex number [Takeda1982] and made continuous; then a phase-locked loop moves the predicted
// stripe edges onto the real ones, round by round with a narrower window, until what the window had smoothed away is back.
// Where prediction and photo keep disagreeing, or the stripes stand still or run backwards, the reflection folds: nothing is
// given there.
func Demodulate(axis string, img *photo.Image, pitchMM float64, square bool, boardMM float64, guide Guide, covered Covered) (*Single, error) {
	l := lockOn(newRaster(img, pitchMM, boardMM, guide, covered, mostHalvings), square)
	if l == nil {
		return nil, &NoStripesError{Axis: axis, PitchMM: pitchMM}
	}
	for n := range roundsInAll {
		l.round(n)
	}
	return l.finish(axis, img, pitchMM, boardMM)
}

// lockOn finds the stripes in a raster; nil where there are none to follow.
func lockOn(r *raster, square bool) *lock {
	if r == nil {
		return nil
	}
	c := r.findCarrier()
	if c == nil {
		return nil
	}
	l := newLock(r, c, square)
	if l == nil || !l.acquire() {
		return nil
	}
	return l
}

// finish judges what the loop has followed, and places it on the board.
func (l *lock) finish(axis string, img *photo.Image, pitchMM, boardMM float64) (*Single, error) {
	l.look(closely, l.bare)
	l.purify(l.bare)
	l.judge()
	l.place(boardMM / pitchMM)
	s := l.field(img.W, img.H, pitchMM)
	if math.IsNaN(s.SigmaMM) {
		return nil, &NoStripesError{Axis: axis, PitchMM: pitchMM}
	}
	if l.seam == nil && l.faint != nil {
		s.Doubt = func() *Single { return l.doubt(img.W, img.H, pitchMM) }
	}
	return s, nil
}
