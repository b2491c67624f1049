package web_test

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"

	"fairmetal/job"
)

// finger draws a stroke on the map by touch; the points are mm on the map.
func finger(t *testing.T, ctx context.Context, mm ...[2]float64) {
	t.Helper()
	type at struct{ X, Y float64 }
	touch := func(kind input.DispatchTouchEventType, p *at) {
		params := input.DispatchTouchEventParams{Type: kind}
		if p != nil {
			params.TouchPoints = []*input.TouchPoint{{X: p.X, Y: p.Y}}
		}
		do(t, ctx, chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
			_, err := cdp.Call(ctx, target, input.DispatchTouchEvent, params)
			return err
		}))
	}
	for i, p := range mm {
		on := eval[at](t, ctx, fmt.Sprintf(`(() => { const c = document.getElementById("map"), b = c.getBoundingClientRect(), [x, y] = JSON.parse(c.dataset.frame), w = b.width, h = b.height;
			return { X: b.left + w * (%g - x[0]) / (x[1] - x[0]), Y: b.top + h * (y[1] - %g) / (y[1] - y[0]) }; })()`, p[0], p[1]))
		if i == 0 {
			touch("touchStart", &on)
		} else {
			touch("touchMove", &on)
		}
	}
	touch("touchEnd", nil)
}

// loop is a rough circle.
func loop(x, y, radius float64) (out [][2]float64) {
	for i := range 13 {
		a := float64(i) * math.Pi / 6
		out = append(out, [2]float64{x + radius*math.Cos(a), y + radius*math.Sin(a)})
	}
	return out
}

// choose takes an option of a select.
func choose(t *testing.T, ctx context.Context, selector, value string) {
	t.Helper()
	eval[bool](t, ctx, fmt.Sprintf(`(() => { const s = document.querySelector(%q); s.value = %q; s.dispatchEvent(new Event("change", { bubbles: true })); return s.value === %q || null; })()`, selector, value, value))
}

// TestDrawAndCorrect goes through what is drawn on the map with a finger on the narrowest phone, and through every correction by hand: a part
// that no bar reaches, an edge, a cut across, both halves joined again, another name, left out, taken back. What was measured stays.
func TestDrawAndCorrect(t *testing.T) {
	w := openReach(t)
	j, c := measured(t, w.st, door, "before")
	ctx := browser(t)
	do(t, ctx, chromedp.EmulateViewport(360, 780, chromedp.EmulateMobile, chromedp.EmulateTouch), chromedp.Navigate(w.srv.URL+"/jobs/"+j.ID+"/look"))
	ready := func() {
		t.Helper()
		until(t, ctx, `document.readyState === "complete" && document.querySelector("#viewer[data-ready=yes]")`)
		narrow(t, ctx)
	}
	ready()
	type spot struct {
		ID string  `json:"id"`
		X  float64 `json:"x_mm"`
		Y  float64 `json:"y_mm"`
		L  float64 `json:"length_mm"`
	}
	seen := func() []spot {
		t.Helper()
		var doc struct{ Marks []spot }
		if err := json.Unmarshal([]byte(fetched(t, w.srv.URL+"/captures/"+c.ID+"/seen.json")), &doc); err != nil {
			t.Fatal(err)
		}
		return doc.Marks
	}
	draw := func(what string, stroke ...[2]float64) {
		t.Helper()
		do(t, ctx, chromedp.Click(chromedp.CSS("[data-draw="+what+"]")))
		until(t, ctx, `document.getElementById("map-say").textContent && document.querySelector("[data-view=map][aria-selected=true]")`)
		finger(t, ctx, stroke...)
		until(t, ctx, `!document.getElementById("map-take").hidden`)
		shots(t, ctx, "phone-draw-"+what)
		do(t, ctx, chromedp.Click(chromedp.CSS("#map-take")))
	}
	dent := seen()[0]
	opened := func(box string) {
		t.Helper()
		if !eval[bool](t, ctx, `document.querySelector("`+box+`").open`) {
			do(t, ctx, chromedp.Click(chromedp.CSS(box+" > summary")))
		}
	}

	opened("#behind")
	draw("area", loop(dent.X+10, dent.Y, 40)...)
	do(t, ctx, chromedp.Click(chromedp.CSS("#behind-form [name=do]")))
	until(t, ctx, `document.querySelector("#behind .rows li")`)
	ready()
	got := w.job(t, j.ID).Record.Arrival.Behind
	if at := got.At(dent.X+10, dent.Y+30); len(got.Areas) != 1 || at.Name != "area 1" || at.Behind {
		t.Errorf("drawn: %+v", got)
	}
	if at := got.At(dent.X+10, dent.Y+55); !at.Behind {
		t.Errorf("beside what was drawn: %+v", at)
	}

	correct := func(what string, marks int) job.Eye {
		t.Helper()
		before := len(w.job(t, j.ID).Record.Eye)
		choose(t, ctx, "#eye-form [name=do]", what)
		do(t, ctx, chromedp.Click(chromedp.CSS("#eye-form > .actions button")))
		until(t, ctx, fmt.Sprintf(`document.querySelectorAll(".corrections li").length === %d`, before+1))
		ready()
		if n := eval[int](t, ctx, `document.querySelectorAll("#marks tbody tr").length`); n != marks {
			t.Errorf("after %s %d marks are listed, want %d", what, n, marks)
		}
		opened(".eye")
		eye := w.job(t, j.ID).Record.Eye
		return eye[len(eye)-1]
	}
	opened(".eye")
	draw("marks", loop(dent.X, dent.Y, 30)...)
	choose(t, ctx, "#eye-form [name=do]", "edge")
	draw("edge", [2]float64{dent.X - 60, dent.Y - 40}, [2]float64{dent.X - 60, dent.Y}, [2]float64{dent.X - 60, dent.Y + 40})
	if e := correct("edge", 1); e.Do != "edge" || math.Abs(e.MM-(60-dent.L/2)) > 6 {
		t.Errorf("an edge 60 mm beside the middle of a dent of %.0f mm: %+v", dent.L, e)
	}
	choose(t, ctx, "#eye-form [name=do]", "split")
	draw("place", [2]float64{dent.X, dent.Y})
	if e := correct("split", 2); e.Marks[0] != dent.ID || math.Abs(e.XMM-dent.X) > 2 {
		t.Errorf("cut: %+v", e)
	}
	draw("marks", loop(dent.X, dent.Y, 35)...)
	if e := correct("merge", 1); len(e.Marks) != 2 {
		t.Errorf("joined: %+v", e)
	}
	choose(t, ctx, "#eye-form [name=do]", "rename")
	do(t, ctx, chromedp.Click(chromedp.CSS("#eye-form [name=mark]")), chromedp.SendKeys(chromedp.CSS("#eye-form [name=name]"), "door"))
	shots(t, ctx, "phone-correct")
	correct("rename", 1)
	if m := seen(); m[0].ID != "door" {
		t.Errorf("renamed: %+v", m)
	}
	do(t, ctx, chromedp.Click(chromedp.CSS("#eye-form [name=mark]")))
	correct("ignore", 0)
	do(t, ctx, chromedp.EmulateViewport(1280, 900))
	shots(t, ctx, "laptop-correct")
	do(t, ctx, chromedp.Click(chromedp.CSS(`.eye form[action$="undo"] button`)))
	until(t, ctx, `document.querySelectorAll(".corrections li").length === 4`)
	if m := seen(); len(m) != 1 || m[0].ID != "door" {
		t.Errorf("left out and taken back: %+v", m)
	}
	if sizes, err := w.st.File(t.Context(), c.ID, "marks.json"); err != nil || string(sizes) != string(kept.files["marks.json"]) {
		t.Errorf("what was measured changed: %v", err)
	}
}
