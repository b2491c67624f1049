package inspection

import (
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"fairmetal/mark"
	"fairmetal/photo"
	"fairmetal/shot"
)

// doubtOdd doubts the depth of marks at odds with a single photo, and says so.
func (r *run) doubtOdd() {
	doubted := r.doubtDepths(oddShare, func(ix, iy int) bool { return r.odd[iy*r.u.W+ix] })
	if len(doubted) > 0 {
		r.note(Warning, "odd-marks", fmt.Sprintf("%s cannot be told in full: the metal folds the reflection within a stripe there, or nearly so, and the depth is the least it can be", strings.Join(doubted, ", ")), r.unfoldAdvice())
	}
}

// doubtDepths takes the depth of marks for the least it can be of which more than a share is not sure to have been read right, and returns their
// names.
func (r *run) doubtDepths(share float64, doubtful func(ix, iy int) bool) (doubted []string) {
	for i := range r.res.Marks {
		m := &r.res.Marks[i]
		doubts, all := 0, 0
		for y := m.YMM - m.LengthMM/2; y <= m.YMM+m.LengthMM/2; y += doubtStepMM {
			for x := m.XMM - m.LengthMM/2; x <= m.XMM+m.LengthMM/2; x += doubtStepMM {
				if !m.Inside(x, y, 1, 0) {
					continue
				}
				all++
				if ix, iy := r.seenAt(x, y); ix >= 0 && iy >= 0 && ix < r.u.W && iy < r.u.H && doubtful(ix, iy) {
					doubts++
				}
			}
		}
		if float64(doubts) > share*float64(all) && !m.Folded {
			m.Folded = true
			m.DepthSigmaUM = math.Round(100*max(m.DepthSigmaUM, 0.5*m.DepthUM)) / 100
			doubted = append(doubted, m.ID)
		}
	}
	return doubted
}

const (
	doubtStepMM = 0.5
	// unsureShare of a mark's area is where the order of the stripes of one pitch may be wrong; oddShare where a single photo agrees less than it
	// should with what was read: on made-up panels fourteen of fifteen marks that fold within a stripe and read a quarter to three quarters too
	// shallow have it, and five of 370 that are right.
	unsureShare = 0.03
	oddShare    = 0.1
)

// resolve adds to the uncertainty of each mark's depth what the photos may have lost of it, and says what would show the worst of them in
// full.
func (r *run) resolve() {
	step := r.step()
	var worst *mark.Mark
	var most, across, swing float64
	for i := range r.res.Marks {
		m := &r.res.Marks[i]
		if m.Folded || m.WidthMM <= 0 {
			continue
		}
		mm := r.mmPerPX(m.XMM, m.YMM)
		own := r.swing(m)
		lost := shot.Lost(m.LengthMM, m.WidthMM, mm, leftPX2+leftStepPX2*min(step/own, mostSteps))
		m.DepthSigmaUM = math.Round(100*math.Hypot(m.DepthSigmaUM, lost*m.DepthUM)) / 100
		if lost > most && lost*m.DepthUM > leastLostUM {
			worst, most, across, swing = m, lost, m.WidthMM/mm, own
		}
	}
	if most < shot.ResolvedShare {
		return
	}
	text := fmt.Sprintf("mark %s is %.0f pixels wide in the photos: its depth is good to %.0f %% only", worst.ID, across, 100*worst.DepthSigmaUM/worst.DepthUM)
	if leftStepPX2*step/swing > leftPX2 {
		r.note(Warning, "unresolved", text, fmt.Sprintf("save the photos in the best quality: their stripes swing by %.0f grey levels, of which the files keep steps of %.0f, or brighten the board", swing, step))
		return
	}
	camera := r3.Norm(r.cam.Centre)
	r.note(Warning, "unresolved", text, fmt.Sprintf("bring the camera from %.0f to about %.0f mm, or zoom in as far, and photograph it again", camera, shot.NearerMM(camera, most)))
}

const (
	// leftPX2 is the variance, px^2, that is left of the footprint of the pixels after it is taken off, and leftStepPX2 what each step of the
	// file's own rounding adds, in swings of the stripes: what sharp marks on made-up panels lose in the mean.
	leftPX2     = 0.08
	leftStepPX2 = 0.15
	mostSteps   = 3
	leastLostUM = 2 // um of depth worth a word: half of what shallow marks may be off
)

// unsmooth gives narrow marks back what a single photo's reading has smoothed away: stripes tell at their edges alone, and the plate over them passes
// a wave of wave number k by 1/(1 + (k span)^4) (package phase). Of bowls two stripe pairs wide that and the pixels take an eighth off; how much
// it was comes into the uncertainty. Length and width grow as the depth falls: the volume stays.
func (r *run) unsmooth() {
	for i := range r.res.Marks {
		m := &r.res.Marks[i]
		if m.Folded || m.WidthMM <= 0 {
			continue
		}
		pair := r.res.Quality.StripePX * r.mmPerPX(m.XMM, m.YMM)
		if m.Kind != mark.High {
			pair *= lowsStretch
		}
		left := smoothLeft(m.LengthMM/pair, m.WidthMM/pair)
		lost := m.DepthUM * (1/left - 1)
		m.DepthSigmaUM = math.Round(100*math.Hypot(m.DepthSigmaUM/left, unsmoothUnsure*lost)) / 100
		m.DepthUM = math.Round(10*(m.DepthUM+lost)) / 10
		size := math.Sqrt(left)
		m.LengthMM, m.WidthMM = math.Round(100*size*m.LengthMM)/100, math.Round(100*size*m.WidthMM)/100
		m.RadiusMM, m.StretchPct = math.Round(m.RadiusMM*left*left), math.Round(1e4*m.StretchPct/(left*left*left))/1e4
		for k, p := range m.OutlineMM {
			m.OutlineMM[k] = [2]float64{m.XMM + size*(p[0]-m.XMM), m.YMM + size*(p[1]-m.YMM)}
		}
	}
}

// smoothLeft is the share of its depth that a bowl seen so many stripe pairs long and wide has left: a power law through what the 349 marks of 70
// made-up panels show, square and sine stripes alike. The plate alone, worked out for Gaussian bowls, leaves up to six hundredths more.
func smoothLeft(length, width float64) float64 {
	at := func(pairs float64) float64 { return math.Pow(smoothPairs/max(pairs, leastPairs), 3) / 2 }
	return 1 / (1 + at(length) + at(width))
}

const (
	smoothPairs = 1.0
	// lowsStretch is how much wider the stripes stand in lows, which spread them, than in highs.
	lowsStretch    = 1.2
	leastPairs     = 1.2 // narrower ones are not seen so
	unsmoothUnsure = 0.4 // of what was given back
)

// mmPerPX is what a pixel spans of the metal at a place, mm, the mean of both directions.
func (r *run) mmPerPX(x, y float64) float64 {
	at := func(x, y float64) (px, py float64) {
		z, _, _ := r.res.Calibration.Form.Eval(x, y)
		px, py, _ = r.cam.Project(vec(x, y, z))
		return px, py
	}
	x0, y0 := at(x, y)
	x1, y1 := at(x+1, y)
	x2, y2 := at(x, y+1)
	return 1 / math.Sqrt(math.Abs((x1-x0)*(y2-y0)-(x2-x0)*(y1-y0)))
}

// swing is by how many grey levels the stripes swing to either side of their middle in the inner half of a mark, the mean of the weaker
// direction's: on sharp metal they fade.
func (r *run) swing(m *mark.Mark) float64 {
	sin, cos := math.Sincos(m.AngleDeg * math.Pi / 180)
	var level, swing, n float64
	const step = 0.1
	for a := -0.5; a <= 0.5; a += step {
		for b := -0.5; b <= 0.5; b += step {
			if a*a+b*b > 0.25 {
				continue
			}
			l, w := a*m.LengthMM/2, b*m.WidthMM/2
			i, ok := r.seenIndex(m.XMM+l*cos-w*sin, m.YMM+l*sin+w*cos)
			if !ok {
				continue
			}
			level, swing, n = level+float64(r.res.Photo.Pix[i]), swing+float64(min(r.u.Mod[i], r.v.Mod[i])), n+1
		}
	}
	if n == 0 {
		return math.Inf(1)
	}
	level, swing = level/n, min(level, swing)/n
	return 255 * (photo.SRGB(level+swing) - photo.SRGB(level-swing)) / 2
}

// step is the mean step of the files' rounding, grey levels.
func (r *run) step() (step float64) {
	for _, f := range r.frames {
		step += f.step / float64(len(r.frames))
	}
	return step
}
