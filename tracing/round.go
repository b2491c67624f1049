package tracing

import (
	"fmt"
	"math"
)

// Hit is one push, pull or tap.
type Hit struct {
	N        int // in working order, as numbered on paper
	XMM, YMM float64
	Kind     string   // push, pull or tap
	Lines    []string // tool, amounts: short
}

// Card is a scale card as it lay.
type Card struct {
	Letter  string
	Symbol  [4][2]float64 // corners of the symbol, in order round it
	Outline [][2]float64  // edge of the paper; may be empty
}

// Outline is a mark's.
type Outline struct {
	Name string
	MM   [][2]float64 // closed polygon
}

// Round is what is drawn.
type Round struct {
	Panel string // which panel of which vehicle
	Title string // which round
	Hits  []Hit
	Cards []Card
	Marks []Outline
}

const (
	aroundMM = 15.0   // white left round the outermost hit, for its number
	mostMM   = 3000.0 // no panel reaches farther
	mostHits = 2000
)

// box is a rectangle in mm.
type box struct{ x0, y0, x1, y1 float64 }

func (b box) w() float64 { return b.x1 - b.x0 }
func (b box) h() float64 { return b.y1 - b.y0 }

func (b box) meets(o box) bool { return b.x0 < o.x1 && o.x0 < b.x1 && b.y0 < o.y1 && o.y0 < b.y1 }

// bounds checks the round and returns what it spans.
func (r Round) bounds() (box, error) {
	b := box{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
	bad := ""
	take := func(what string, x, y, around float64) {
		if !(math.Abs(x) <= mostMM && math.Abs(y) <= mostMM) {
			bad = fmt.Sprintf("%s lies at (%g, %g) mm, off any panel; measure again", what, x, y)
		}
		b.x0, b.y0, b.x1, b.y1 = min(b.x0, x-around), min(b.y0, y-around), max(b.x1, x+around), max(b.y1, y+around)
	}
	if len(r.Hits) == 0 {
		return b, fmt.Errorf("there are no hits to draw; plan a round first")
	}
	if len(r.Hits) > mostHits {
		return b, fmt.Errorf("%d hits are too many for one tracing; draw one round at a time", len(r.Hits))
	}
	for _, h := range r.Hits {
		if h.Kind != "push" && h.Kind != "pull" && h.Kind != "tap" {
			return b, fmt.Errorf("hit %d is a %q; a hit is a push, pull or tap", h.N, h.Kind)
		}
		take(fmt.Sprintf("hit %d", h.N), h.XMM, h.YMM, aroundMM)
	}
	for _, c := range r.Cards {
		for _, p := range c.Symbol {
			take("card "+c.Letter, p[0], p[1], 2)
		}
		for _, p := range c.Outline {
			take("card "+c.Letter, p[0], p[1], 2)
		}
	}
	for _, m := range r.Marks {
		for _, p := range m.MM {
			take("mark "+m.Name, p[0], p[1], 2)
		}
	}
	if bad != "" {
		return b, fmt.Errorf("%s", bad)
	}
	return b, nil
}

// middle is the centre of a card's symbol.
func (c Card) middle() (x, y float64) {
	for _, p := range c.Symbol {
		x, y = x+p[0]/4, y+p[1]/4
	}
	return x, y
}
