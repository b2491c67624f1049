package phase

import (
	"cmp"
	"slices"
	"sync"

	"fairmetal/photo"
)

// DemodulateCrossed reads one photo of stripes of pitchMM along both axes of a board, whose brightness is the mean of both, on a
// board of boardMM, width and height. The guides predict u and v as in Demodulate, and the paint is covered as there.
//
// Either direction is found by its own local spectral band: against its carrier the stripes that cross it turn at least once a stripe
// pair, which the windows do not pass (by 5e-5 in the acquisition). Then the loops of both directions run by turns, each on the
// photo without the stripes that the other predicts at that time.
func DemodulateCrossed(img *photo.Image, pitchMM float64, square bool, boardMM [2]float64, guides [2]Guide, covered Covered) (u, v *Single, err error) {
	var r [2]*raster
	most := mostHalvings
	for range 2 {
		for i := range r {
			if r[i] = newRaster(img, pitchMM, boardMM[i], guides[i], covered, most); r[i] == nil {
				return nil, nil, &NoStripesError{Axis: axes[i], PitchMM: pitchMM}
			}
		}
		// Both work on one size, that of the denser stripes.
		if most = min(r[0].halved, r[1].halved); r[0].halved == r[1].halved {
			break
		}
	}
	var l [2]*lock
	twice(func(i int) { l[i] = lockOn(r[i], square) })
	for i := range l {
		if l[i] == nil {
			return nil, nil, &NoStripesError{Axis: axes[i], PitchMM: pitchMM}
		}
	}
	for i := range l {
		l[i].measureSlope()
	}
	l[0].other, l[1].other = l[1], l[0]
	for n := range roundsInAll {
		l[0].round(n)
		l[1].round(n)
	}
	// What its place on the board adds to one's phase is not for the other to see.
	asFollowed := [2]lock{*l[0], *l[1]}
	for i := range l {
		f := &asFollowed[i]
		f.phi.v, f.slope, f.trust = slices.Clone(f.phi.v), slices.Clone(f.slope), slices.Clone(f.trust)
		f.levels.half = slices.Clone(f.levels.half)
		l[1-i].other = f
	}
	var s [2]*Single
	var errs [2]error
	twice(func(i int) { s[i], errs[i] = l[i].finish(axes[i], img, pitchMM, boardMM[i]) })
	if err := cmp.Or(errs[0], errs[1]); err != nil {
		return nil, nil, err
	}
	return s[0], s[1], nil
}

var axes = [2]string{"u", "v"}

// twice runs f(0) and f(1) side by side.
func twice(f func(i int)) {
	var wg sync.WaitGroup
	wg.Go(func() { f(1) })
	f(0)
	wg.Wait()
}

// takeOff takes the stripes that the lock predicts off a row of pixels of the working photo that begins at px x0 of row y. Where the
// lock does not trust itself nothing is taken off. line and t are scratch of its cells and of their pixels.
func (l *lock) takeOff(y, x0 int, row []float32, line, t []float32) {
	at := y - l.y0
	if at < 0 || at >= l.rows*l.q {
		return
	}
	l.phi.row(at, line, t)
	for i := range l.cols {
		k := at/l.q*l.cols + i
		if l.trust[k] == 0 {
			continue
		}
		half, sharp := l.levels.half[k], edgeSharpness(l.slope[k])
		from := l.x0 + i*l.q - x0
		for x := max(0, from); x < min(len(row), from+l.q); x++ {
			part, d, pole := nearestEdge(t[x+x0-l.x0])
			row[x] -= half * l.stripes(part, d, pole, sharp)
		}
	}
}
