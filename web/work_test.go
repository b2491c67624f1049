package web_test

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"fairmetal/internal/poppler"
	"fairmetal/job"
	"fairmetal/workshop"
)

// TestOneHitAtATime works by plain forms: a hit done, one felt hard, one skipped; sending a form twice is one hit.
func TestOneHitAtATime(t *testing.T) {
	y := openYard(t)
	j, c := measured(t, y.st, door, "before")
	path := "/jobs/" + j.ID + "/work"
	has(t, y.get(path), `name="n" value="1"`, "0 hits")
	form := url.Values{"key": {"k1"}, "capture": {c.ID}, "round": {"0"}, "n": {"1"}, "did": {"done"}}
	y.must(path+"/hit", form)
	y.must(path+"/hit", form)
	has(t, y.get(path), `name="n" value="2"`, "1 hit ")
	for i, did := range []string{"hard", "skipped"} {
		y.must(path+"/hit", url.Values{"key": {did}, "capture": {c.ID}, "round": {"0"}, "n": {string(rune('2' + i))}, "did": {did}})
	}
	got := y.job(j.ID)
	if h := got.Record.Work.Hits; len(h) != 3 || h[1].Felt != "hard" || h[1].Did != "done" || h[2].Did != "skipped" || got.Step != job.Work {
		t.Errorf("%s: %+v", got.Step, h)
	}
	if status, _, body := y.post(path+"/hit", url.Values{"key": {"x"}, "capture": {"0000"}, "round": {"0"}, "n": {"4"}, "did": {"done"}}); status != http.StatusUnprocessableEntity || !strings.Contains(body, "plan of this hit") {
		t.Errorf("a hit of a strange capture: %d", status)
	}
}

// TestCatchingUp sends what a device noted out of reach: twice, with a slip in it, while somebody else changed the job.
func TestCatchingUp(t *testing.T) {
	y := openYard(t)
	j, c := measured(t, y.st, door, "before")
	now := time.Now().UTC()
	hit := func(key string, n int) job.HitDone {
		return job.HitDone{Key: key, Capture: c.ID, N: n, Did: job.Made, At: now.Add(time.Duration(n) * time.Second)}
	}
	span := job.Span{Key: "s1", Part: "raise", Start: now, End: now.Add(3 * time.Minute)}
	in := map[string]any{"hits": []job.HitDone{hit("a", 1), hit("b", 2), hit("c", 0)}, "spans": []job.Span{span}}
	var out struct {
		Hits    []job.HitDone
		Spans   []job.Span
		Refused map[string]string
	}
	for range 2 {
		if status := y.json("/jobs/"+j.ID+"/work/log", in, &out); status != http.StatusOK || len(out.Hits) != 2 || len(out.Spans) != 1 || len(out.Refused) != 1 || out.Refused["c"] == "" {
			t.Fatalf("%d: %+v", status, out)
		}
		other := y.job(j.ID)
		other.Notes += "."
		if err := y.st.SaveJob(t.Context(), other); err != nil {
			t.Fatal(err)
		}
	}
	if got := y.job(j.ID); len(got.Record.Work.Hits) != 2 || got.Record.Work.Minutes()["raise"] != 3 || got.Notes != ".." {
		t.Errorf("%+v", got.Record.Work)
	}
	if status := y.json("/jobs/0000/work/log", in, &out); status != http.StatusNotFound {
		t.Errorf("a job that is gone: %d", status)
	}
}

func TestTimesByHand(t *testing.T) {
	y := openYard(t)
	j, _ := measured(t, y.st, door, "before")
	path := "/jobs/" + j.ID + "/work/span"
	y.must(path, url.Values{"key": {"t1"}, "part": {"trim"}, "start": {"2026-11-03T09:00"}, "minutes": {"34,5"}, "do": {"save"}})
	has(t, y.get("/jobs/"+j.ID+"/work"), `value="34.5"`)
	for _, wrong := range []url.Values{{"key": {"t2"}, "part": {"tea"}, "start": {"2026-11-03T09:00"}, "minutes": {"5"}}, {"key": {"t2"}, "part": {"trim"}, "start": {"soon"}, "minutes": {"5"}}, {"key": {"t2"}, "part": {"trim"}, "start": {"2026-11-03T09:00"}, "minutes": {"2000"}}} {
		if status, _, _ := y.post(path, wrong); status != http.StatusUnprocessableEntity {
			t.Errorf("%v: %d", wrong, status)
		}
	}
	y.must(path, url.Values{"key": {"t1"}, "part": {"trim"}, "start": {"2026-11-03T09:00"}, "minutes": {"34"}, "do": {"remove"}})
	if m := y.job(j.ID).Record.Work.Minutes(); len(m) != 0 {
		t.Errorf("still %v", m)
	}
}

// TestTracings: a round as PDF at true size and as a drawing that no policy of the page stops.
func TestTracings(t *testing.T) {
	y := openYard(t)
	_, c := measured(t, y.st, door, "before")
	pdf := y.get("/captures/" + c.ID + "/rounds/0/tracing.pdf")
	poppler.Page(t, []byte(pdf), "40")
	svg := y.get("/captures/" + c.ID + "/rounds/0/tracing.svg?n=1&around=40")
	has(t, svg, "<svg", "from A", "from B")
	w := httptest.NewRecorder()
	y.app.ServeHTTP(w, httptest.NewRequest("GET", "http://127.0.0.1/captures/"+c.ID+"/rounds/0/tracing.svg", nil))
	if p := w.Header().Get("Content-Security-Policy"); !strings.Contains(p, "style-src 'unsafe-inline'") || strings.Contains(p, "script-src") {
		t.Errorf("policy of the drawing: %q", p)
	}
}

// TestWhatTheMetalTold: with hits noted between two captures the pages say what they have told; rounds that leave what they found are warned of, and
// the next plan is made for the metal as heard.
func TestWhatTheMetalTold(t *testing.T) {
	y := openYard(t)
	j, c := measured(t, y.st, door, "before")
	note := func(captureID string) {
		now := y.job(j.ID)
		for n := range 20 {
			now.Record.Work.Hits = append(now.Record.Work.Hits, job.HitDone{Key: captureID + string(rune('a'+n)), Capture: captureID, N: n + 1, Did: job.Made, Part: "raise", At: time.Now()})
		}
		if err := y.st.SaveJob(t.Context(), now); err != nil {
			t.Fatal(err)
		}
	}
	if strings.Contains(y.get("/jobs/"+j.ID+"/look"), "What the metal told") {
		t.Error("a story without a round")
	}
	note(c.ID)
	_, second := measured(t, y.st, j, "after one round")
	for _, page := range []string{"look", "work", "prove"} {
		has(t, y.get("/jobs/"+j.ID+"/"+page), "What the metal told", "20 hits made", "than its name says")
	}
	note(second.ID)
	_, third := measured(t, y.st, j, "after two rounds")
	has(t, y.get("/jobs/"+j.ID+"/work"), "40 hits made", "stop paying")
	w := workshop.New(y.st)
	told, err := w.Story(t.Context(), j.ID, third.ID)
	if err != nil || !(told.Harder > 1.1) {
		t.Errorf("metal that does not move is heard as %+v, %v", told, err)
	}
	before, err := w.Reprice(t.Context(), j.ID, c.ID)
	if err != nil {
		t.Fatal(err)
	}
	after, err := w.Reprice(t.Context(), j.ID, third.ID)
	if err != nil {
		t.Fatal(err)
	}
	if a, b := after.Plan.Rounds[0].Hits[0], before.Plan.Rounds[0].Hits[0]; a.LoadedUM-a.FromUM <= b.LoadedUM-b.FromUM {
		t.Errorf("on harder metal the first push is told to %g um, before to %g", a.LoadedUM-a.FromUM, b.LoadedUM-b.FromUM)
	}
}
