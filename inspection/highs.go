package inspection

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"fairmetal/mark"
	"fairmetal/surface"
)

// crownOfFold tells whether a high is the crown of a low that folds the reflection: inside its outline metal goes down as far as a mark
// must, and on from there into a place that folds. Where it goes up there mark.Find has it folded itself.
func crownOfFold(s *surface.Surface, m *mark.Mark, spreadUM float64, folded func(x, y float64) bool) bool {
	found := false
	m.Cells(s.Grid, 1, 0, func(i int) {
		if found || !(1000*float64(s.Height[i]) < -lowSpreads*spreadUM) {
			return
		}
		x, y := s.XY(i%s.Cols, i/s.Cols)
		for _, d := range [4][2]float64{{1, 0}, {-1, 0}, {0, 1}, {0, -1}} {
			fx, fy := x+foldRimMM*d[0], y+foldRimMM*d[1]
			found = found || folded(fx, fy) && s.At(fx, fy) != s.At(fx, fy)
		}
	})
	return found
}

// lows has highs whose top could not be read be lows of unknown depth where a cap as low over as much metal does not fold the reflection: what is hidden is
// sharper, and the high its crown. Seen from c and mirroring what is b away, a cap h high and w wide folds it where 16 h b c/(b + c) exceeds w^2.
func (r *run) lows() {
	b, c := r3.Norm(r.res.Calibration.Board.Centre), r3.Norm(r.cam.Centre)
	for i := range r.res.Marks {
		m := &r.res.Marks[i]
		if m.Kind != mark.High || !m.Folded {
			continue
		}
		if low, across := mark.Hidden(r.res.Surface, m); across > tooWide*math.Sqrt(16*m.DepthUM/1000*b*c/(b+c)) {
			low.ID, low.DepthUM, low.CrownUM, low.DepthSigmaUM = m.ID, m.DepthUM, m.DepthUM, m.DepthUM
			low.VolumeMM3, low.RadiusMM, low.StretchPct = m.VolumeMM3, m.RadiusMM, m.StretchPct
			*m = low
		}
	}
}

// tooWide is how many times as wide as a cap that folds the reflection is not one.
const tooWide = 1.5

// ownTop tells whether a high whose top could not be read is a high all the same, and not the crown of a low that folds the reflection: it
// is compact and clearly wider than what is hidden, and stands higher over the breadth of that than any crown does, or goes up into it from nearly all sides.
// A crown is past its crest there.
func ownTop(s *surface.Surface, m *mark.Mark) bool {
	hidden, up, sides := 0.0, 0, 0
	step := max(1, int(math.Round(flankMM/s.PitchMM)))
	m.Cells(s.Grid, 1, 0, func(i int) {
		if h := s.Height[i]; h == h {
			return
		}
		hidden += s.PitchMM * s.PitchMM
		c, r := i%s.Cols, i/s.Cols
		for _, d := range [4][2]int{{1, 0}, {-1, 0}, {0, 1}, {0, -1}} {
			nc, nr := c+(step+1)*d[0], r+(step+1)*d[1]
			if nc < 0 || nr < 0 || nc >= s.Cols || nr >= s.Rows {
				continue
			}
			rim, foot := s.Height[i+d[0]+d[1]*s.Cols], s.Height[nr*s.Cols+nc]
			if rim != rim || foot != foot {
				continue
			}
			sides++
			if rim > foot {
				up++
			}
		}
	})
	across := 2 * math.Sqrt(hidden/math.Pi)
	if m.LengthMM > compact*m.WidthMM {
		return false
	}
	return across < topShare*m.WidthMM && !mark.AsCrown(m.DepthUM, across) ||
		across > leastTop*m.WidthMM && across < min(mostTop*m.WidthMM, wideTopMM) && m.DepthUM > leastRiseUM*across && float64(up) > upShare*float64(sides)
}

const (
	compact  = 1.6  // times as long as wide: a ring about a low breaks up into longer pieces
	topShare = 0.8  // of a high's width that its hidden top may be where only its height tells
	leastTop = 0.25 // of it, below which what hides is not the top
	mostTop  = 0.85 // of it, above which too little is left to tell
	// Stripes crowd on a cap that bends them by a share of their breadth, so that a wide one is high: rings about several dents are wider and lower.
	wideTopMM   = 20.0
	leastRiseUM = 0.5 // um per mm of what is hidden
	upShare     = 0.7 // of the sides of what is hidden: over the rendered scenes crowns go up on at most 0.64
	flankMM     = 1.5 // over which a flank is seen to go up
	foldRimMM   = 2.0 // how far beside the last metal with a value the reflection folds

	lowSpreads = 7.0 // as far as mark.Find asks a mark to stand out
)
