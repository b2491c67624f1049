package tracing

import (
	"bytes"
	"encoding/xml"
	"errors"
	"flag"
	"fmt"
	"image"
	"io"
	"math"
	"os"
	"os/exec"
	"regexp"
	"strings"
	"testing"

	"fairmetal/internal/poppler"
)

var update = flag.Bool("update", false, "rewrite the golden text")

func square(x, y, side float64) [4][2]float64 {
	h := side / 2
	return [4][2]float64{{x - h, y - h}, {x + h, y - h}, {x + h, y + h}, {x - h, y + h}}
}

func round() Round {
	return Round{Panel: "Van 12, roof", Title: "Round 1: raise", Cards: []Card{
		{Letter: "A", Symbol: square(-70, 0, 40), Outline: [][2]float64{{-98, -30}, {-42, -30}, {-42, 30}, {-98, 30}}},
		{Letter: "B", Symbol: square(70, 0, 40)},
	}, Marks: []Outline{{Name: "m01", MM: [][2]float64{{-10, -8}, {10, -8}, {10, 8}, {-10, 8}}}}, Hits: []Hit{
		{N: 1, XMM: -6, YMM: 4, Kind: "push", Lines: []string{"tip 12 mm", "up to +180 um, left at -60 um"}},
		{N: 2, XMM: 6, YMM: 4, Kind: "pull", Lines: []string{"tab 18 x 18 mm"}},
		{N: 3, XMM: 0, YMM: -12.5, Kind: "tap", Lines: []string{"knock-down, 25 um"}},
	}}
}

func draw(t *testing.T, r Round, paper string) []byte {
	t.Helper()
	pdf, err := PDF(r, paper)
	if err != nil {
		t.Fatal(err)
	}
	return pdf
}

const pxPerMM = 300 / 25.4

// run is the longest dark run along a row or column of the picture, in mm, its start and end.
func run(m image.Image, at int, along bool) (mm float64, from, to int) {
	n := m.Bounds().Dx()
	if !along {
		n = m.Bounds().Dy()
	}
	start, best := -1, 0
	for i := range n + 1 {
		on := i < n && (along && poppler.Dark(m, i, at) || !along && poppler.Dark(m, at, i))
		if on && start < 0 {
			start = i
		}
		if !on && start >= 0 {
			if i-start > best {
				best, from, to = i-start, start, i
			}
			start = -1
		}
	}
	return float64(best) / pxPerMM, from, to
}

// TestTrueSize measures the rasterised page: the bar is 100 mm, a card's symbol of 100 mm is 100 mm both ways, within the width of their
// lines.
func TestTrueSize(t *testing.T) {
	r := round()
	r.Cards = []Card{{Letter: "A", Symbol: square(0, 60, 100)}}
	m := poppler.Page(t, draw(t, r, ""), "300")
	w, h := m.Bounds().Dx(), m.Bounds().Dy()
	bar := 0.0
	for y := h * 9 / 10; y < h; y++ {
		l, _, _ := run(m, y, true)
		bar = max(bar, l)
	}
	if math.Abs(bar-100) > 0.25 {
		t.Errorf("the bar is %.2f mm long", bar)
	}
	across, up := 0.0, 0.0
	for y := range h * 8 / 10 {
		l, _, _ := run(m, y, true)
		across = max(across, l)
	}
	for x := range w {
		l, _, _ := run(m, x, false)
		up = max(up, l)
	}
	// Lines of 0.3 mm end half their width outside.
	if math.Abs(across-100.3) > 0.25 || math.Abs(up-100.3) > 0.25 {
		t.Errorf("a symbol of 100 mm is drawn %.2f x %.2f mm", across, up)
	}
}

// TestPlaceAndUp: a hit 40 mm along +x and 30 mm along +y of the middle of a card lies 40 mm right of it and 30 mm above it on paper.
func TestPlaceAndUp(t *testing.T) {
	r := Round{Panel: "p", Title: "t", Cards: []Card{{Letter: "A", Symbol: square(0, 0, 20)}}, Hits: []Hit{{N: 1, XMM: 40, YMM: 30, Kind: "pull"}}}
	m := poppler.Page(t, draw(t, r, ""), "300")
	// The symbol: a run of 20.3 mm; the pull's frame: a run of 2.25 mm in a column and a row away from all else.
	var left, right, top, bottom int
	for y := range m.Bounds().Dy() * 8 / 10 {
		if l, a, b := run(m, y, true); math.Abs(l-20.3) < 0.3 {
			if top == 0 {
				top = y
			}
			left, right, bottom = a, b, y
		}
	}
	cx, cy := float64(left+right)/2, float64(top+bottom)/2
	px, py := int(math.Round(cx+40*pxPerMM)), int(math.Round(cy-30*pxPerMM))
	if !poppler.Dark(m, px, py) && !poppler.Dark(m, px-1, py) && !poppler.Dark(m, px, py-1) {
		t.Errorf("no cross at (%d, %d) px", px, py)
	}
	for _, d := range [][2]int{{1, 0}, {-1, 0}, {0, 1}, {0, -1}} {
		// The frame stands 1 mm from the middle.
		found := false
		for k := -2; k <= 2; k++ {
			q := 12 + k // 1 mm
			found = found || poppler.Dark(m, px+d[0]*q+d[1]*5, py+d[1]*q+d[0]*5)
		}
		if !found {
			t.Errorf("no frame of the pull towards %v", d)
		}
	}
}

// TestPages: how many sheets a round takes. A4 upright draws 194 x 261 mm, joined with 10 mm of overlap; the list adds one page for up to
// 65 hits. Counted by hand.
func TestPages(t *testing.T) {
	count := regexp.MustCompile(`/Type /Page\b`)
	for _, c := range []struct {
		w, h  float64
		paper string
		want  int
	}{
		{100, 100, "", 2},         // one tile and the list
		{194, 261, "A4", 2},       // just one
		{195, 261, "A4", 3},       // lying it would take 281 x 174: two by two; upright two
		{270, 170, "A4", 2},       // lying: one
		{378, 261, "A4", 3},       // 2 x 184 + 10
		{379, 261, "A4", 4},       // upright three by one, lying two by two
		{379, 261, "A3", 2},       // lying 404 x 261: one
		{900, 700, "A4", 5*3 + 1}, // upright 5 x 3, lying 4 x 5
		{2800, 2500, "A4", -1},    // over 60 sheets
		{100, 100, "no such", -1},
		{7000, 100, "A3", -1}, // off the panel
	} {
		r := Round{Panel: "p", Title: "t", Hits: []Hit{
			{N: 1, XMM: -c.w/2 + aroundMM, YMM: -c.h/2 + aroundMM, Kind: "push"}, {N: 2, XMM: c.w/2 - aroundMM, YMM: c.h/2 - aroundMM, Kind: "tap"}}}
		pdf, err := PDF(r, c.paper)
		if c.want < 0 {
			if err == nil {
				t.Errorf("%g x %g on %q was drawn", c.w, c.h, c.paper)
			}
			continue
		}
		if err != nil {
			t.Errorf("%g x %g on %q: %v", c.w, c.h, c.paper, err)
			continue
		}
		if n := len(count.FindAll(pdf, -1)); n != c.want {
			t.Errorf("%g x %g on %q: %d pages, want %d", c.w, c.h, c.paper, n, c.want)
		}
	}
}

// TestText: all words of the tracing against the golden file, white space aside.
func TestText(t *testing.T) {
	out, err := exec.Command(poppler.Tool(t, "pdftotext"), "-raw", poppler.Save(t, draw(t, round(), "A4")), "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	var lines []string
	for _, l := range strings.Split(strings.ReplaceAll(string(out), "\f", "\n"), "\n") {
		if l = strings.Join(strings.Fields(l), " "); l != "" {
			lines = append(lines, l)
		}
	}
	got := strings.Join(lines, "\n") + "\n"
	const golden = "testdata/round.txt"
	if *update {
		if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

func TestSameBytes(t *testing.T) {
	if !bytes.Equal(draw(t, round(), ""), draw(t, round(), "")) {
		t.Error("two runs differ")
	}
}

// TestLabelsKeepApart: numbers of 40 hits on a raster of 6 mm find room, none over another or over a hit.
func TestLabelsKeepApart(t *testing.T) {
	var hits []Hit
	var sizes [][2]float64
	for i := range 40 {
		hits = append(hits, Hit{N: i + 1, XMM: float64(i%8) * 6, YMM: float64(i/8) * 6, Kind: "push"})
		sizes = append(sizes, [2]float64{3.6, 3.2})
	}
	ls := labels(hits, sizes)
	for i, l := range ls {
		if !l.ok {
			t.Errorf("no room for number %d", i+1)
		}
		for j, o := range ls {
			if i != j && l.meets(o.box) {
				t.Errorf("numbers %d and %d lie over each other", i+1, j+1)
			}
			if h := hits[j]; h.XMM > l.x0 && h.XMM < l.x1 && h.YMM > l.y0 && h.YMM < l.y1 {
				t.Errorf("number %d lies over hit %d", i+1, j+1)
			}
		}
	}
}

func TestRefusals(t *testing.T) {
	for name, change := range map[string]func(*Round){
		"no hits":      func(r *Round) { r.Hits = nil },
		"strange kind": func(r *Round) { r.Hits[0].Kind = "kick" },
		"not a number": func(r *Round) { r.Hits[0].XMM = math.NaN() },
		"far card":     func(r *Round) { r.Cards[0].Symbol[2][1] = math.Inf(1) },
	} {
		r := round()
		change(&r)
		if _, err := PDF(r, ""); err == nil {
			t.Errorf("%s: drawn on paper", name)
		}
		if _, err := SVG(r, Phone{}); err == nil {
			t.Errorf("%s: drawn for the phone", name)
		}
	}
	if _, err := SVG(round(), Phone{N: 9}); err == nil {
		t.Error("hit 9 of 3 was pointed out")
	}
}

// parse reads an SVG as XML and lists its elements with their attributes, and all text.
func parse(t *testing.T, svg []byte) (elements []map[string]string, text string) {
	t.Helper()
	d := xml.NewDecoder(bytes.NewReader(svg))
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			return elements, text
		}
		if err != nil {
			t.Fatalf("%v in %s", err, svg)
		}
		switch v := tok.(type) {
		case xml.StartElement:
			m := map[string]string{"": v.Name.Local}
			for _, a := range v.Attr {
				m[a.Name.Local] = a.Value
			}
			elements = append(elements, m)
		case xml.CharData:
			text += string(v) + "\n"
		}
	}
}

// TestPhone: hit 2 pointed out, the one before hollow, the one after faint, +y up, distances from both cards by Pythagoras.
func TestPhone(t *testing.T) {
	svg, err := SVG(round(), Phone{N: 2, AroundMM: 100})
	if err != nil {
		t.Fatal(err)
	}
	el, text := parse(t, svg)
	if el[0]["viewBox"] != "-94 -104 200 200" {
		t.Errorf("view %q", el[0]["viewBox"])
	}
	if !strings.Contains(el[0]["aria-label"], "hit 2, pull at 6.0, 4.0 mm, tab 18 x 18 mm") {
		t.Errorf("label %q", el[0]["aria-label"])
	}
	seen := map[string]int{}
	for _, e := range el {
		seen[e["class"]]++
		if e["class"] == "hit pull now" && e[""] == "circle" && (e["cx"] != "6" || e["cy"] != "-4") {
			t.Errorf("ring at %s, %s", e["cx"], e["cy"])
		}
	}
	if seen["hit push done"] != 1 || seen["hit tap later"] != 1 || seen["hit pull now"] != 2 || seen["card"] != 2 || seen["mark"] != 1 {
		t.Errorf("%v", seen)
	}
	for _, x := range []float64{-70, 70} {
		if want := fmt.Sprintf("%.0f mm from", math.Hypot(6-x, 4)); !strings.Contains(text, want) {
			t.Errorf("no %q in %q", want, text)
		}
	}
}

// FuzzSVG: whatever the words, the picture is well-formed and holds them.
func FuzzSVG(f *testing.F) {
	f.Add("Van <12> & \"roof\"", "tip 'x' ]]>", 3.0)
	f.Add("\x00\xff", "\n", -1e300)
	f.Fuzz(func(t *testing.T, panel, line string, x float64) {
		r := round()
		r.Panel, r.Hits[0].Lines, r.Hits[0].XMM = panel, []string{line}, x
		svg, err := SVG(r, Phone{N: 1})
		if err != nil {
			return
		}
		el, _ := parse(t, svg)
		if len(el) < 10 {
			t.Fatalf("%d elements", len(el))
		}
	})
}
