package web_test

import (
	"bytes"
	"encoding/json"
	"io/fs"
	"maps"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"fairmetal/job"
	"fairmetal/store"
	"fairmetal/web"
	"fairmetal/workshop"
)

// kept are the results of one capture, measured once for all tests.
var kept struct {
	sync.Once
	files map[string][]byte
	c     job.Capture
}

// measuredOnce measures the door with one dent.
func measuredOnce(t *testing.T) {
	t.Helper()
	kept.Do(func() {
		st, err := store.Open(t.Context(), t.TempDir())
		if err != nil {
			t.Fatal(err)
		}
		defer st.Close()
		pictures := map[string][]byte{}
		for _, f := range photos(t) {
			if pictures[filepath.Base(f)], err = os.ReadFile(f); err != nil {
				t.Fatal(err)
			}
		}
		j, err := st.AddJob(t.Context(), door)
		if err != nil {
			t.Fatal(err)
		}
		c, err := st.AddCapture(t.Context(), j.ID, "before", pictures)
		if err != nil {
			t.Fatal(err)
		}
		if err := workshop.New(st).Measure(t.Context(), c); err != nil {
			t.Fatal(err)
		}
		if kept.c, err = st.Capture(t.Context(), c.ID); err != nil || kept.c.State != job.Measured {
			t.Fatalf("%+v, %v", kept.c, err)
		}
		if kept.c.Sizes, err = st.Sizes(t.Context(), c.ID); err != nil {
			t.Fatal(err)
		}
		kept.files = map[string][]byte{}
		folder := st.Folder(t.Context(), c.ID)
		for _, n := range results {
			if kept.files[n], err = fs.ReadFile(folder, n); err != nil {
				t.Fatal(err)
			}
		}
	})
	if kept.files == nil {
		t.Fatal("the test capture was not measured")
	}
}

var results = []string{"surface.json", "marks.json", "height.f32", "form.f32", "sigma.f32", "photo.jpg", "heat.png", "overlay.png", "plan.json", "quote.json", "verdict.json", "quote.pdf", "fair.json", "planned.f32"}

var door = job.Job{Vehicle: "Van 07", Panel: "Sliding door, left", Kind: "door", Customer: "Lindenhof Parcels", Material: "steel", SheetMM: 0.7, FilmUM: 112}

// yard is a workshop for handler tests: its store and its pages, without measuring and without a browser.
type yard struct {
	t   *testing.T
	st  *store.Store
	app http.Handler
}

func openYard(t *testing.T) yard {
	t.Helper()
	st, err := store.Open(t.Context(), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { st.Close() })
	app, err := web.New(st, workshop.New(st))
	if err != nil {
		t.Fatal(err)
	}
	return yard{t, st, app.Handler()}
}

// measured adds a job with a measured capture.
func measured(t *testing.T, st *store.Store, j job.Job, title string) (job.Job, job.Capture) {
	t.Helper()
	var err error
	if j.ID == "" {
		if j, err = st.AddJob(t.Context(), j); err != nil {
			t.Fatal(err)
		}
	}
	measuredOnce(t)
	c, err := st.AddCapture(t.Context(), j.ID, title, nil)
	if err != nil {
		t.Fatal(err)
	}
	done := kept.c
	done.ID, done.JobID, done.Title = c.ID, j.ID, title
	if err := st.Finish(t.Context(), done, kept.files); err != nil {
		t.Fatal(err)
	}
	if j, err = st.Job(t.Context(), j.ID); err != nil {
		t.Fatal(err)
	}
	return j, done
}

// finished adds a capture of the panel as the plan of the first one leaves it.
func finished(t *testing.T, st *store.Store, j job.Job) job.Capture {
	t.Helper()
	measuredOnce(t)
	c, err := st.AddCapture(t.Context(), j.ID, "finished", nil)
	if err != nil {
		t.Fatal(err)
	}
	files := maps.Clone(kept.files)
	delete(files, "fair.json")
	files["height.f32"], files["marks.json"] = files["planned.f32"], []byte(`{"marks":[]}`)
	c.State = job.Measured
	if err := st.Finish(t.Context(), c, files); err != nil {
		t.Fatal(err)
	}
	return c
}

// get asks for a page and wants it.
func (y yard) get(path string) string {
	y.t.Helper()
	w := httptest.NewRecorder()
	y.app.ServeHTTP(w, httptest.NewRequest("GET", "http://127.0.0.1"+path, nil))
	if w.Code != http.StatusOK {
		y.t.Fatalf("GET %s: %d %s", path, w.Code, w.Body)
	}
	return w.Body.String()
}

// post sends a form and tells status, address led to, and body.
func (y yard) post(path string, form url.Values) (status int, to, body string) {
	y.t.Helper()
	r := httptest.NewRequest("POST", "http://127.0.0.1"+path, strings.NewReader(form.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	w := httptest.NewRecorder()
	y.app.ServeHTTP(w, r)
	return w.Code, w.Header().Get("Location"), w.Body.String()
}

// must sends a form that has to be taken.
func (y yard) must(path string, form url.Values) {
	y.t.Helper()
	if status, _, body := y.post(path, form); status != http.StatusSeeOther {
		y.t.Fatalf("POST %s: %d %s", path, status, body)
	}
}

func (y yard) json(path string, in, out any) int {
	y.t.Helper()
	b, err := json.Marshal(in)
	if err != nil {
		y.t.Fatal(err)
	}
	w := httptest.NewRecorder()
	y.app.ServeHTTP(w, httptest.NewRequest("POST", "http://127.0.0.1"+path, bytes.NewReader(b)))
	if err := json.Unmarshal(w.Body.Bytes(), out); err != nil {
		y.t.Fatalf("POST %s: %d %s", path, w.Code, w.Body)
	}
	return w.Code
}

func (y yard) job(id string) job.Job {
	y.t.Helper()
	j, err := y.st.Job(y.t.Context(), id)
	if err != nil {
		y.t.Fatal(err)
	}
	return j
}

// has wants texts on a page.
func has(t *testing.T, page string, want ...string) {
	t.Helper()
	for _, w := range want {
		if !strings.Contains(page, w) {
			t.Errorf("%q is missing on the page", w)
		}
	}
}

// status asks for a page and tells how that went.
func (y yard) status(path string) int {
	y.t.Helper()
	w := httptest.NewRecorder()
	y.app.ServeHTTP(w, httptest.NewRequest("GET", "http://127.0.0.1"+path, nil))
	return w.Code
}
