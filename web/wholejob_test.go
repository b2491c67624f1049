package web_test

import (
	"context"
	"net/http"
	"net/http/httptest"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"fairmetal/job"
	"fairmetal/store"
	"fairmetal/web"
	"fairmetal/workshop"
)

// reach is a workshop on the network that can be taken out of reach.
type reach struct {
	st  *store.Store
	srv *httptest.Server
	cut atomic.Bool
}

func openReach(t *testing.T) *reach {
	t.Helper()
	st, err := store.Open(t.Context(), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	app, err := web.New(st, workshop.New(st))
	if err != nil {
		t.Fatal(err)
	}
	r := &reach{st: st}
	h := app.Handler()
	r.srv = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, q *http.Request) {
		if r.cut.Load() {
			if c, _, err := http.NewResponseController(w).Hijack(); err == nil {
				c.Close()
			}
			return
		}
		h.ServeHTTP(w, q)
	}))
	t.Cleanup(func() {
		r.srv.CloseClientConnections()
		r.srv.Close()
		st.Close()
	})
	return r
}

// key presses a key as a foot switch does.
func key(t *testing.T, ctx context.Context, k string) {
	t.Helper()
	eval[bool](t, ctx, `document.body.dispatchEvent(new KeyboardEvent("keydown", { key: "`+k+`", bubbles: true, cancelable: true })) || true`)
}

// press clicks what a selector finds, once it is there.
func press(t *testing.T, ctx context.Context, selector string) {
	t.Helper()
	until(t, ctx, `document.readyState === "complete" && document.querySelector("`+selector+`")`)
	eval[bool](t, ctx, `document.querySelector("`+selector+`").click() || true`)
}

// TestWholeJob goes from a measured capture to the paid invoice on a phone: hits noted by touch and key, two of them out of reach, one felt
// hard; a second capture; the proof; report and invoice.
func TestWholeJob(t *testing.T) {
	w := openReach(t)
	j, _ := measured(t, w.st, door, "before")
	ctx := browser(t)
	base := w.srv.URL + "/jobs/" + j.ID
	do(t, ctx, chromedp.EmulateViewport(390, 844), chromedp.Navigate(base+"/work"))
	until(t, ctx, `document.querySelector("#atpanel[data-ready=yes][data-kept=yes]")`)
	shots(t, ctx, "phone-work")
	narrow(t, ctx)
	do(t, ctx, chromedp.Click(chromedp.CSS("#ap-form .apdone")))
	w.hits(t, j.ID, 1)

	w.cut.Store(true)
	key(t, ctx, " ")
	until(t, ctx, `document.getElementById("atpanel").dataset.n === "3"`)
	do(t, ctx, chromedp.Click(chromedp.CSS("#ap-form [value=hard]")))
	until(t, ctx, `document.getElementById("atpanel").dataset.n === "4" && Number(document.getElementById("ap-net").dataset.left) >= 3`)
	do(t, ctx, chromedp.Reload())
	until(t, ctx, `document.getElementById("atpanel")?.dataset.n === "4" && Number(document.getElementById("ap-net").dataset.left) >= 3`)
	shots(t, ctx, "phone-work-offline")
	w.cut.Store(false)
	eval[bool](t, ctx, `dispatchEvent(new Event("online"))`)
	w.hits(t, j.ID, 3)
	key(t, ctx, "ArrowDown")
	w.hits(t, j.ID, 4)
	got := w.job(t, j.ID)
	hits := got.Record.Work.Hits
	if len(hits) != 4 || hits[2].Felt != job.Hard || hits[3].Did != job.Skipped || hits[0].N != 1 || hits[1].N != 2 {
		t.Fatalf("the workshop has %+v", hits)
	}
	if s := got.Record.Work.Spans; len(s) == 0 || s[0].Part == "" || s[0].End.Sub(s[0].Start) > time.Hour {
		t.Errorf("times %+v", s)
	}

	finished(t, w.st, got)
	do(t, ctx, chromedp.Navigate(base+"/prove"))
	until(t, ctx, `document.getElementById("lights").dataset.ready`)
	shots(t, ctx, "phone-prove")
	narrow(t, ctx)
	if n := eval[int](t, ctx, `document.querySelectorAll("#lights figure[data-ready]").length`); n != 3 {
		t.Errorf("%d lights, want before, now and planned", n)
	}
	// One turn moves the stripes in all of them, and the dent bends them before the work only.
	look := func() string {
		return eval[string](t, ctx, `[...document.querySelectorAll("#lights canvas")].map((c) => c.toDataURL().slice(-3000)).join()`)
	}
	was := look()
	eval[bool](t, ctx, `document.querySelector("#lights canvas").dispatchEvent(new KeyboardEvent("keydown", { key: "ArrowRight" }))`)
	if look() == was {
		t.Error("the light does not turn")
	}
	do(t, ctx, chromedp.SendKeys(chromedp.CSS("textarea[name=left]"), "A trace under the handle."), chromedp.Click(chromedp.CSS("#left button")))
	until(t, ctx, `location.hash === "#left"`)
	if left := w.job(t, j.ID).Record.Departure.Left; left != "A trace under the handle." {
		t.Errorf("left %q", left)
	}
	do(t, ctx, chromedp.EmulateViewport(1300, 900))
	until(t, ctx, `document.getElementById("lights").dataset.ready`)
	shots(t, ctx, "laptop-prove")
	do(t, ctx, chromedp.EmulateViewport(390, 844))

	settled(t, w.st, w.job(t, j.ID))
	do(t, ctx, chromedp.Navigate(base+"/handover"))
	press(t, ctx, "#report form button")
	until(t, ctx, `document.querySelector("#report a[href$='report.pdf']")`)
	press(t, ctx, "#invoice form .main")
	until(t, ctx, `document.querySelector("#invoice a[href$='invoice.pdf']")`)
	press(t, ctx, "#paid [value=card]")
	press(t, ctx, "#paid button")
	until(t, ctx, `location.hash === "#paid" && document.readyState === "complete" && document.querySelector(".pad:not([hidden])")`)
	eval[bool](t, ctx, `(() => { const p = document.querySelector(".pad"), b = p.getBoundingClientRect();
		p.setPointerCapture = () => {};
		for (const [kind, x] of [["pointerdown", 0.2], ["pointermove", 0.5], ["pointermove", 0.8], ["pointerup", 0.8]]) p.dispatchEvent(new PointerEvent(kind, { clientX: b.left + x * b.width, clientY: b.top + x * 40 }));
		return true; })()`)
	shots(t, ctx, "phone-handover")
	narrow(t, ctx)
	press(t, ctx, "#sign .main")
	until(t, ctx, `document.querySelector("#sign .signed polyline")`)
	papers, err := w.st.Papers(t.Context(), j.ID, 10)
	if err != nil || len(papers) != 2 || papers[0].Kind != "invoice" || papers[0].State != "paid" || papers[0].TotalMinor != kept.c.TotalMinor {
		t.Errorf("%+v, %v", papers, err)
	}
	if d := w.job(t, j.ID).Record.Departure; !d.Paid || d.PaidHow != "card" || !d.Received.Given() || len(d.Received.Strokes) == 0 {
		t.Errorf("%+v", d)
	}
	do(t, ctx, chromedp.EmulateViewport(1300, 900))
	shots(t, ctx, "laptop-handover")
}

func (r *reach) job(t *testing.T, id string) job.Job {
	t.Helper()
	j, err := r.st.Job(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	return j
}

// hits waits until the workshop has so many.
func (r *reach) hits(t *testing.T, id string, want int) {
	t.Helper()
	for range 900 {
		if len(r.job(t, id).Record.Work.Hits) == want {
			return
		}
		time.Sleep(100 * time.Millisecond)
	}
	t.Fatalf("the workshop never had %d hits: %+v", want, r.job(t, id).Record.Work.Hits)
}
