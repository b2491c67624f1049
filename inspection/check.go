package inspection

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"fairmetal/card"
	"fairmetal/internal/order"
	"fairmetal/photo"
)

// PhotoCheck is what one photo shows by itself, before it is measured together with the others of its capture.
type PhotoCheck struct {
	Notices  []Notice // what to change; none: usable as far as one photo tells
	Cards    []string // letters of the cards that were found
	BlurPX   float64  // of the sharpest edges, standard deviation
	StripePX float64  // period of the stripes between the cards; 0: none seen
	Contrast float64  // swing of the stripes, linear light
	Clipped  float64  // share of pure white pixels
}

// Limits of one photo.
const (
	// maxBlurModules: cards are lost where they are blurred by more than 0.6 of a module (package card); a third leaves room.
	maxBlurModules = 0.35
	// maxBlurStripes: a Gaussian blur of s takes exp(-2 (pi s/p)^2) of a stripe's swing of period p: at a fifth half of it is left.
	maxBlurStripes = 0.2
	// lostBlurPX is a blur at which cards of the least advised size, 4 px a module, are lost.
	lostBlurPX = maxBlurModules * 4
	// leastSeenStripePX: demodulators failed at 3.3 px a stripe on real photos; shifted sets read four.
	leastSeenStripePX = 4.0
	// leastSwing is the least swing that stands out of a phone's noise, linear light. Common practice, no source.
	leastSwing = 0.02
)

// CheckPhoto judges one upload. What stops it from being read at all is its only notice.
func CheckPhoto(data []byte) PhotoCheck {
	var c PhotoCheck
	add := func(code, text, advice string) {
		c.Notices = append(c.Notices, Notice{Code: code, Severity: Warning, Text: text, Advice: advice})
	}
	p, err := photo.Decode(data, photo.Limits{})
	if err != nil {
		var e *photo.Error
		if errors.As(err, &e) {
			add(e.Code, "it "+e.Text, e.Advice)
		} else {
			add("photo", "it cannot be read", "take it again")
		}
		return c
	}
	img := p.Image
	for img.W*img.H > workingPX {
		img = photo.Halve(img)
	}
	c.Clipped = p.ClippedFraction
	if c.Clipped > maxClipped {
		add("clipped", fmt.Sprintf("too bright, %.0f %% of it is pure white", 100*c.Clipped), "lower the exposure until bright stripes are grey")
	}
	cards, err := card.Find(img)
	if err != nil {
		cards = nil
	}
	byLetter := map[string]card.Card{}
	for _, k := range cards {
		byLetter[k.Letter] = k
		c.Cards = append(c.Cards, k.Letter)
	}
	c.BlurPX = photo.Sharpness(img)
	a, okA := byLetter["A"]
	b, okB := byLetter["B"]
	switch {
	case !okA && !okB && c.BlurPX > lostBlurPX && !math.IsInf(c.BlurPX, 0):
		add("blurred", "blurred, no scale card can be read", "rest the camera on something, focus on the cards, and take it again")
		return c
	case !okA && !okB:
		add("no-cards", "no scale card found", "keep both cards flat, lit and whole in the picture, and hold the camera still")
		return c
	case !okA:
		add("no-card-a", "card A not found", "move so that the left card is whole in the picture and not in glare")
		return c
	case !okB:
		add("no-card-b", "card B not found", "move so that the right card is whole in the picture and not in glare")
		return c
	}
	c.stripes(img, a, b)
	module := min(a.ModulePX, b.ModulePX)
	switch {
	case c.BlurPX > maxBlurModules*module || c.StripePX > 0 && c.BlurPX > maxBlurStripes*c.StripePX:
		add("blurred", "blurred", "rest the camera on something, focus on the cards, and take it again")
	case c.StripePX == 0:
		add("no-stripes", "no stripes seen between the cards", "move the board or yourself until its mirror image lies between the cards")
	case c.StripePX < leastSeenStripePX:
		add("dense-stripes", fmt.Sprintf("stripes too narrow, %.1f pixels each", c.StripePX), "step nearer, bring the board nearer, or use wider stripes")
	}
	return c
}

// stripes looks for stripes in the area between the cards: their period along the direction that crosses most of them, and their swing.
func (c *PhotoCheck) stripes(img *photo.Image, a, b card.Card) {
	ax, ay := a.Project(0, 0)
	bx, by := b.Project(0, 0)
	// From the inner edge of one card to that of the other, and as far to both sides of that line.
	l := math.Hypot(bx-ax, by-ay)
	inset := 0.75 * card.Modules * max(a.ModulePX, b.ModulePX) / l
	if inset > 0.4 {
		return
	}
	ux, uy := (bx-ax)/l, (by-ay)/l
	const lines = 9
	for _, across := range []bool{false, true} {
		var periods, swings []float64
		for i := range lines {
			off := (float64(i)/(lines-1) - 0.5) * l * (0.5 - inset)
			var line []float64
			for t := inset * l; t <= (1-inset)*l; t++ {
				x, y := ax+ux*t-uy*off, ay+uy*t+ux*off
				if across {
					s := (t - l/2) * 0.6
					m := l/2 + 1.4*off
					x, y = ax+ux*m-uy*s, ay+uy*m+ux*s
				}
				if int(x) < 0 || int(y) < 0 || int(x) >= img.W || int(y) >= img.H {
					continue
				}
				line = append(line, float64(img.At(int(x), int(y))))
			}
			step := 1.0
			if across {
				step = 0.6
			}
			if p, s := period(line); p > 0 {
				periods, swings = append(periods, p*step), append(swings, s)
			}
		}
		if len(periods) < lines/2 {
			continue
		}
		p, s := order.Median(periods), order.Median(swings)
		if s >= leastSwing && (c.StripePX == 0 || p < c.StripePX) {
			c.StripePX, c.Contrast = p, s
		}
	}
}

// period counts how often a line of brightness passes from its bright to its dark parts and back: the mean period in samples and half the
// swing between the tenth brightest and darkest; 0 where there are no two such passes.
func period(v []float64) (samples, swing float64) {
	if len(v) < 16 {
		return 0, 0
	}
	sorted := slices.Clone(v)
	slices.Sort(sorted)
	lo, hi := sorted[len(v)/10], sorted[len(v)-1-len(v)/10]
	swing = (hi - lo) / 2
	mid := (hi + lo) / 2
	state, passes, first, last := 0, 0, 0, 0
	for i, x := range v {
		s := state
		// A quarter of the swing either side of the middle is no side yet: noise does not count as stripes.
		if x > mid+swing/4 {
			s = 1
		} else if x < mid-swing/4 {
			s = -1
		}
		if s != state && state != 0 {
			if passes == 0 {
				first = i
			}
			passes++
			last = i
		}
		state = s
	}
	if passes < 2 || swing <= 0 {
		return 0, 0
	}
	return 2 * float64(last-first) / float64(passes-1), swing
}
