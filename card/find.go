package card

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"

	"fairmetal/photo"
)

const (
	// searchPX is the largest picture that is searched first: 12 MP at a quarter of their size, where a card that is to be
	// measured well has 2 px a module or more. What is missing there is looked for at larger sizes.
	searchPX = 900_000
	// smallestPX is the shortest side of a picture that is still searched: one symbol of 2 px a module with its quiet zone.
	smallestPX = 58
	// lookPX is about the number of pixels of the first look at full size.
	lookPX = 4000
	// maxTrials bounds the fits per size, against pictures full of things that look like finders.
	maxTrials = 150
	// maxFinders likewise bounds the triples that are looked at.
	maxFinders = 400
	// fitPX bounds the area of a symbol that is fitted in full; larger ones are fitted at half size, where the edges of so large
	// modules are still sharp.
	fitPX = 400_000
	// bendRadiusMM is how tightly a panel is expected to curve under a card, mm: doors, wings and roofs run from 1 m to flat.
	// Common practice, no source.
	bendRadiusMM = 1000
)

// windows are the radii of the surroundings that decide between dark and light, px. The wide one suits modules of 4 to 10 px;
// the narrow one those of 1.5 to 5 px, whose one-module runs it still tells apart when they are blurred by half a module.
var windows = [2]int{11, 5}

// slacks widen what still looks like a finder: the second look is for small turned cards, whose runs of two pixels come out a fifth more
// uneven than the first look allows.
var slacks = [2]float64{1, 1.25}

// Find returns the scale cards in a photo, the best fitted one for each letter, sorted by letter. A photo without cards gives
// none, and no error: only the caller knows which letters must be there.
func Find(img *photo.Image) ([]Card, error) {
	if img == nil || img.W < 1 || img.H < 1 || len(img.Pix) != img.W*img.H {
		return nil, fmt.Errorf("the photo holds no picture; photograph again")
	}
	p := pyramid{img}
	start := 0
	for start < 6 && p.pixels(start) > searchPX {
		start++
	}
	var order []int
	for l := start; l >= 0; l-- {
		order = append(order, l)
	}
	order = append(order, start+1, start+2)
	var cards []Card
	for _, slack := range slacks {
		for _, level := range order {
			if complete(cards) {
				break
			}
			if min(img.W, img.H)>>level < smallestPX {
				continue
			}
			for _, c := range searchAt(&p, level, slack, cards) {
				cards = keepBest(cards, c)
			}
		}
	}
	slices.SortFunc(cards, func(a, b Card) int { return strings.Compare(a.Letter, b.Letter) })
	return cards, nil
}

// complete says whether both cards of a capture are there, so that the search may end.
func complete(cards []Card) bool {
	has := func(l string) bool { return slices.ContainsFunc(cards, func(c Card) bool { return c.Letter == l }) }
	return has("A") && has("B")
}

func keepBest(cards []Card, c Card) []Card {
	for i := range cards {
		if cards[i].Letter == c.Letter {
			if c.SigmaPX < cards[i].SigmaPX {
				cards[i] = c
			}
			return cards
		}
	}
	return append(cards, c)
}

// pyramid holds a picture and its halves, made when asked for. A point (x, y) of level n lies at (x 2^n, y 2^n) of the photo.
type pyramid []*photo.Image

func (p pyramid) pixels(level int) int { return (p[0].W >> level) * (p[0].H >> level) }

func (p *pyramid) level(n int) *photo.Image {
	for len(*p) <= n {
		*p = append(*p, photo.Halve((*p)[len(*p)-1]))
	}
	return (*p)[n]
}

// searchAt finds the cards at one size of the picture and fits them at the full size. Places of cards found before are left out.
func searchAt(p *pyramid, level int, slack float64, before []Card) []Card {
	img := p.level(level)
	scale := float64(int(1) << level)
	stride := 2
	if img.W*img.H <= searchPX {
		stride = 1
	}
	var found []finder
	for _, radius := range windows {
		found = newRelief(img, radius, slack).finders(stride, found)
	}
	found = slices.DeleteFunc(found, func(f finder) bool {
		return slices.ContainsFunc(before, func(c Card) bool { return c.covers(f.x*scale, f.y*scale) })
	})
	if len(found) > maxFinders {
		slices.SortFunc(found, func(a, b finder) int { return b.hits - a.hits })
		found = found[:maxFinders]
	}
	s := search{p: p, level: level, found: found, failed: map[[2]int]bool{}}
	for s.round() {
	}
	return s.cards
}

// search goes through what looks like three finders of one symbol. A card that can be read is fitted in full while others are looked for;
// where that fails the finders are free again for the next round.
type search struct {
	p      *pyramid
	level  int
	found  []finder
	failed map[[2]int]bool // triples, and which of their two homographies, that were read and could not be fitted
	trials int
	cards  []Card
}

// round tells whether another is due.
func (s *search) round() bool {
	img, scale := s.p.level(s.level), float64(int(1)<<s.level)
	used := make([]bool, len(s.found))
	cover := func(c Card) {
		for i := range s.found {
			used[i] = used[i] || c.covers(s.found[i].x*scale, s.found[i].y*scale)
		}
	}
	for _, c := range s.cards {
		cover(c)
	}
	type fit struct {
		of   [2]int
		card Card
		ok   bool
	}
	var fits []*fit
	var wg sync.WaitGroup
	for n, t := range triples(s.found) {
		if used[t.tl] || used[t.tr] || used[t.bl] {
			continue
		}
		for k, h := range [2][9]float64{t.h, t.perspective(s.found)} {
			if s.failed[[2]int{n, k}] {
				continue
			}
			f, fitted := newTrial(img, h)
			if fitted {
				s.trials++
			}
			if f == nil {
				continue
			}
			letter, side, ok := f.decode(img)
			if !ok {
				continue
			}
			cover(f.result(scale, letter, side, 0))
			c := &fit{of: [2]int{n, k}}
			fits = append(fits, c)
			wg.Go(func() { c.card, c.ok = f.card(s.p, s.level, letter, side) })
			break
		}
		if s.trials > maxTrials {
			break
		}
	}
	wg.Wait()
	again := false
	for _, c := range fits {
		if c.ok {
			s.cards = append(s.cards, c.card)
			continue
		}
		s.failed[c.of], again = true, true
	}
	return again && s.trials <= maxTrials
}

// covers says whether a point of the photo lies on the symbol.
func (c Card) covers(x, y float64) bool {
	inv, ok := invert(&c.H)
	if !ok {
		return false
	}
	m := mapping{inv: inv}
	u, v := m.symbol(x, y)
	return math.Abs(u) <= c.SideMM/2 && math.Abs(v) <= c.SideMM/2
}
