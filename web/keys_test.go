package web_test

import (
	"context"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"fairmetal/job"
)

// mostStops is more than any page has; who has not come to a control after so many is in a trap.
const mostStops = 200

// focused tells what has the focus, and what of it cannot be seen: no outline, out of sight, or under something else.
const focused = `(() => {
	const e = document.activeElement, s = getComputedStyle(e), b = e.getBoundingClientRect();
	if (e === document.body) return "";
	const says = e.tagName + " " + (e.name || e.id || e.textContent.trim().slice(0, 30));
	const marked = s.outlineStyle !== "none" && parseFloat(s.outlineWidth) >= 2 || e instanceof SVGElement && parseFloat(s.strokeWidth) >= 6;
	if (!marked) return says + ": the focus is not marked";
	if (b.right <= 0 || b.left >= innerWidth || b.bottom <= 0 || b.top >= innerHeight) return says + ": the focus is out of sight";
	if (e instanceof SVGElement || e.type === "file") return "";
	const spots = [0.1, 0.5, 0.9].map((f) => document.elementFromPoint(Math.min(innerWidth - 1, Math.max(0, b.left + b.width / 2)), Math.min(innerHeight - 1, Math.max(0, b.top + f * b.height))));
	return spots.some((p) => p && (e.contains(p) || p.contains(e))) ? "" : says + ": something lies over the focus";
})()`

// tabTo goes on with the tab key until the focus is on what the selector names; each stop on the way must be seen.
func tabTo(t *testing.T, ctx context.Context, selector string) {
	t.Helper()
	until(t, ctx, `document.readyState === "complete" && document.querySelector(`+"`"+selector+"`"+`)`)
	for range mostStops {
		do(t, ctx, chromedp.KeyEvent(kb.Tab))
		if wrong := eval[string](t, ctx, focused); wrong != "" {
			t.Errorf("%s: %s", eval[string](t, ctx, "location.pathname"), wrong)
		}
		if eval[bool](t, ctx, "document.activeElement.matches(`"+selector+"`)") {
			return
		}
	}
	t.Fatalf("%s is not reached with the tab key", selector)
}

// TestKeyboardAlone goes from the empty workshop to the quote as PDF with keys alone, at phone size, where what sticks to the rim may lie over
// the focus. Measuring is done by hand: it needs no keys.
func TestKeyboardAlone(t *testing.T) {
	w := openReach(t)
	ctx := browser(t)
	types := func(text string) { t.Helper(); do(t, ctx, chromedp.KeyEvent(text)) }
	enter := func() { t.Helper(); types(kb.Enter) }
	do(t, ctx, chromedp.EmulateViewport(390, 844), chromedp.Navigate(w.srv.URL+"/"))
	tabTo(t, ctx, ".button.main")
	enter()
	tabTo(t, ctx, "input[name=customer]")
	types("Lindenhof Parcels")
	tabTo(t, ctx, "input[name=vehicle]")
	types("Van 07")
	tabTo(t, ctx, "[data-place=slide-left]")
	types(" ")
	until(t, ctx, `document.querySelector(".picked").textContent.includes("left")`)
	tabTo(t, ctx, "#job-form button.main")
	enter()
	tabTo(t, ctx, "input[name=um_2_1]")
	types("118")
	tabTo(t, ctx, "input[name=access]")
	types(" ")
	tabTo(t, ctx, ".stick button.main")
	enter()
	tabTo(t, ctx, "#photos")
	do(t, ctx, chromedp.SetUploadFiles(chromedp.CSS("#photos"), photos(t)))
	tabTo(t, ctx, "input[name=distance]")
	types("450")
	tabTo(t, ctx, "#send")
	enter()
	until(t, ctx, `location.pathname.endsWith("/look") && document.querySelector("[data-live=capture]")`)
	c, err := w.st.NextQueued(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	measuredOnce(t)
	done := kept.c
	done.ID, done.JobID, done.Title = c.ID, c.JobID, c.Title
	if err := w.st.Finish(t.Context(), done, kept.files); err != nil {
		t.Fatal(err)
	}
	do(t, ctx, chromedp.Reload())
	until(t, ctx, `document.querySelector("#viewer[data-ready=yes]")`)
	tabTo(t, ctx, "[data-view=map]")
	types(" ")
	tabTo(t, ctx, "#map")
	was := eval[string](t, ctx, `document.getElementById("readout").textContent`)
	for range 8 {
		types(kb.ArrowUp)
	}
	until(t, ctx, `document.getElementById("readout").textContent !== "`+was+`"`)
	tabTo(t, ctx, "#to-offer")
	enter()
	tabTo(t, ctx, "#make-quote")
	enter()
	tabTo(t, ctx, "#pdf")
	if pdf := fetched(t, eval[string](t, ctx, `document.activeElement.href`)); len(pdf) < 4 || pdf[:4] != "%PDF" {
		t.Errorf("the quote is no PDF: %d bytes", len(pdf))
	}
	got := w.job(t, c.JobID)
	if got.Record.Arrival.Place != "slide-left" || len(got.Record.Arrival.Readings) != 1 || len(got.Record.Arrival.Access) != 1 || got.Step == job.Arrive {
		t.Errorf("%+v", got)
	}
}
