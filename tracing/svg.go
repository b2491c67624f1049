package tracing

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"math"
)

// Phone says what the picture for the phone shows.
type Phone struct {
	N        int     // the hit pointed out; 0: none
	AroundMM float64 // how much of the panel round it, to each side; 0: the whole round
}

// SVG draws the round for the phone, the panel frame with +y up, units mm, ready to stand in a page: hits done before are hollow, the
// one to do is ringed with its distances from the cards, later ones are faint. Colours are classes with plain defaults, so that a
// page can set its own.
func SVG(r Round, p Phone) ([]byte, error) {
	b, err := r.bounds()
	if err != nil {
		return nil, err
	}
	var now *Hit
	for i := range r.Hits {
		if r.Hits[i].N == p.N {
			now = &r.Hits[i]
		}
	}
	if p.N != 0 && now == nil {
		return nil, fmt.Errorf("hit %d is not in this round", p.N)
	}
	if !(p.AroundMM >= 0 && p.AroundMM <= mostMM) {
		return nil, fmt.Errorf("a picture of %g mm round a hit cannot be drawn; choose 20 to 300", p.AroundMM)
	}
	if now != nil && p.AroundMM > 0 {
		b = box{now.XMM - p.AroundMM, now.YMM - p.AroundMM, now.XMM + p.AroundMM, now.YMM + p.AroundMM}
	}
	d := &drawingSVG{unit: max(b.w(), b.h()) / 100}
	fmt.Fprintf(d, `<svg xmlns="http://www.w3.org/2000/svg" class="tracing" viewBox="%s %s %s %s" role="img" aria-label="%s">`, mm(b.x0), mm(-b.y1), mm(b.w()), mm(b.h()), esc(r.label(now)))
	fmt.Fprintf(d, `<style>.tracing{font-family:sans-serif}.tracing .mark,.tracing .card{fill:none;stroke:#888}.tracing .push{stroke:#b02814}.tracing .pull{stroke:#145aa0}.tracing .tap{stroke:#147838}.tracing .hit{fill:none}.tracing .later{opacity:.45}.tracing .reach{stroke:#666}</style>`)
	for _, m := range r.Marks {
		d.polygon("mark", m.MM)
	}
	for _, c := range r.Cards {
		d.polygon("card", c.Symbol[:])
		x, y := c.middle()
		d.words(x, y, 4, "middle", c.Letter)
	}
	for _, h := range r.Hits {
		class := "later"
		if now == nil || h.N < now.N {
			class = "done"
		}
		if now != nil && h.N == now.N {
			continue
		}
		d.hit(h, class)
	}
	if now != nil {
		for _, c := range r.Cards {
			x, y := c.middle()
			fmt.Fprintf(d, `<line class="reach" x1="%s" y1="%s" x2="%s" y2="%s" stroke-width="%s" stroke-dasharray="%s"/>`, mm(x), mm(-y), mm(now.XMM), mm(-now.YMM), mm(0.2*d.unit), mm(d.unit))
			d.words((x+now.XMM)/2, (y+now.YMM)/2, 2.6, "middle", fmt.Sprintf("%.0f mm from %s", math.Hypot(now.XMM-x, now.YMM-y), c.Letter))
		}
		d.hit(*now, "now")
		fmt.Fprintf(d, `<circle class="hit %s now" cx="%s" cy="%s" r="%s" stroke-width="%s"/>`, now.Kind, mm(now.XMM), mm(-now.YMM), mm(3*d.unit), mm(0.7*d.unit))
		d.words(now.XMM+4*d.unit, now.YMM-d.unit, 4, "start", fmt.Sprint(now.N))
	}
	d.WriteString(`</svg>`)
	return d.Bytes(), nil
}

// label tells the picture in words, for those who hear it.
func (r Round) label(now *Hit) string {
	if now == nil {
		return fmt.Sprintf("%s, %s: %d hits", r.Panel, r.Title, len(r.Hits))
	}
	s := fmt.Sprintf("%s, %s: hit %d, %s at %.1f, %.1f mm", r.Panel, r.Title, now.N, now.Kind, now.XMM, now.YMM)
	for _, l := range now.Lines {
		s += ", " + l
	}
	return s
}

// drawingSVG is the text under way; unit is a hundredth of the picture, mm.
type drawingSVG struct {
	bytes.Buffer
	unit float64
}

func (d *drawingSVG) polygon(class string, p [][2]float64) {
	if len(p) < 2 {
		return
	}
	fmt.Fprintf(d, `<polygon class="%s" stroke-width="%s" points="`, class, mm(0.4*d.unit))
	for i, q := range p {
		if i > 0 {
			d.WriteByte(' ')
		}
		fmt.Fprintf(d, "%s,%s", mm(q[0]), mm(-q[1]))
	}
	d.WriteString(`"/>`)
}

func (d *drawingSVG) words(x, y, size float64, anchor, text string) {
	fmt.Fprintf(d, `<text x="%s" y="%s" font-size="%s" text-anchor="%s">%s</text>`, mm(x), mm(-y), mm(size*d.unit), anchor, esc(text))
}

func (d *drawingSVG) hit(h Hit, class string) {
	x, y, s := h.XMM, -h.YMM, 1.1*d.unit
	common := fmt.Sprintf(`class="hit %s %s" stroke-width="%s"`, h.Kind, class, mm(0.4*d.unit))
	switch h.Kind {
	case "push":
		fmt.Fprintf(d, `<circle %s cx="%s" cy="%s" r="%s">`, common, mm(x), mm(y), mm(s))
		d.title(h, "circle")
	case "pull":
		fmt.Fprintf(d, `<rect %s x="%s" y="%s" width="%s" height="%s">`, common, mm(x-s), mm(y-s), mm(2*s), mm(2*s))
		d.title(h, "rect")
	case "tap":
		fmt.Fprintf(d, `<polygon %s points="%s,%s %s,%s %s,%s">`, common, mm(x-s), mm(y-s), mm(x+s), mm(y-s), mm(x), mm(y+s))
		d.title(h, "polygon")
	}
}

func (d *drawingSVG) title(h Hit, tag string) {
	fmt.Fprintf(d, `<title>%d %s`, h.N, h.Kind)
	for _, l := range h.Lines {
		d.WriteString(", " + esc(l))
	}
	fmt.Fprintf(d, `</title></%s>`, tag)
}

// mm prints a length to a hundredth without trailing noise, never as -0.
func mm(v float64) string {
	v = math.Round(100*v) / 100
	if v == 0 {
		return "0"
	}
	return fmt.Sprintf("%g", v)
}

// esc makes text safe inside elements and attributes.
func esc(s string) string {
	var b bytes.Buffer
	if err := xml.EscapeText(&b, []byte(s)); err != nil {
		return ""
	}
	return b.String()
}
