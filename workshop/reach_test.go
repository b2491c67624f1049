package workshop

import (
	"context"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/johannesboyne/gofakes3"
	"github.com/johannesboyne/gofakes3/backend/s3mem"

	"fairmetal/blob"
	"fairmetal/internal/pgtest"
	"fairmetal/job"
	"fairmetal/queue"
	"fairmetal/store"
)

// photos are those of a set with one dent, which can be measured.
func photos(t *testing.T) map[string][]byte {
	t.Helper()
	const dir = "../inspection/testdata/one-ding"
	list, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	out := map[string][]byte{}
	for _, e := range list {
		if out[e.Name()], err = os.ReadFile(filepath.Join(dir, e.Name())); err != nil {
			t.Fatal(err)
		}
	}
	return out
}

// watching is a workshop at work, what it tells of one capture, and how often it measured.
type watching struct {
	*Workshop
	st       *store.Store
	c        job.Capture
	events   <-chan Event
	measured map[job.State]int
	stop     func()
}

func begin(t *testing.T, st *store.Store) *watching {
	t.Helper()
	w := &watching{Workshop: New(st), st: st, measured: map[job.State]int{}}
	w.again = 500 * time.Millisecond
	w.Observe = func(s job.State, _ time.Duration) { w.measured[s]++ }
	j, err := st.AddJob(t.Context(), job.Job{Vehicle: "Van 12", Panel: "Door", Kind: "door", Material: "steel", SheetMM: 0.7, FilmUM: 110})
	if err != nil {
		t.Fatal(err)
	}
	var deaf func()
	w.events, deaf = w.Listen()
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- w.Run(ctx) }()
	w.stop = sync.OnceFunc(func() {
		cancel()
		deaf()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
	t.Cleanup(w.stop)
	if w.c, err = w.AddCapture(t.Context(), j.ID, "before", photos(t)); err != nil {
		t.Fatal(err)
	}
	return w
}

// until waits for an event of the capture.
func (w *watching) until(t *testing.T, what string, is func(e Event) bool) {
	t.Helper()
	late := time.After(8 * time.Minute)
	for {
		select {
		case e := <-w.events:
			if e.State == job.Refused {
				t.Fatalf("refused: %s", e.Message)
			}
			if e.CaptureID == w.c.ID && is(e) {
				return
			}
		case <-late:
			t.Fatalf("never came: %s", what)
		}
	}
}

// whole looks at what has come of the capture: measured once, with all its results, and the job stands at the offer.
func (w *watching) whole(t *testing.T) {
	t.Helper()
	w.stop()
	c, err := w.st.Capture(t.Context(), w.c.ID)
	if err != nil || c.State != job.Measured || c.Doing != "" || c.Marks == 0 || c.TotalMinor == 0 {
		t.Errorf("%+v, %v", c, err)
	}
	if w.measured[job.Measured] != 1 || w.measured[job.Refused] != 0 {
		t.Errorf("measured %v", w.measured)
	}
	for _, n := range []string{"surface.json", "height.f32", "marks.json", "quote.pdf", "fair.json", "overlay.png", SmallName} {
		if _, err := w.st.File(t.Context(), c.ID, n); err != nil {
			t.Errorf("%s: %v", n, err)
		}
	}
	if j, err := w.st.Job(t.Context(), c.JobID); err != nil || j.Step != job.Offer {
		t.Errorf("the job stands at %s, %v", j.Step, err)
	}
	sizes, err := w.st.Sizes(t.Context(), c.ID)
	if err != nil || len(sizes) != c.Marks {
		t.Errorf("%d sizes of %d marks, %v", len(sizes), c.Marks, err)
	}
}

// TestDiskOfPhotosGone: the folder of photos cannot be read while its photos are measured. They wait, the page says so, and with the disk
// back they are measured.
func TestDiskOfPhotosGone(t *testing.T) {
	dir := t.TempDir()
	st, err := store.Open(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { st.Close() })
	w := begin(t, st)
	away, here := filepath.Join(dir, "away"), filepath.Join(dir, "blobs")
	w.until(t, "the start", func(e Event) bool { return e.State == job.Measuring })
	if err := os.Rename(here, away); err != nil {
		t.Fatal(err)
	}
	w.until(t, "the wait", func(e Event) bool { return e.State == job.Queued && e.Doing == queue.Unreached })
	w.until(t, "the second wait", func(e Event) bool { return e.State == job.Queued && e.Doing == queue.Unreached })
	// What the page of the capture shows meanwhile.
	for {
		c, err := st.Capture(t.Context(), w.c.ID)
		if err != nil {
			t.Fatal(err)
		}
		if c.State == job.Queued {
			if c.Doing != queue.Unreached {
				t.Errorf("%+v", c)
			}
			break
		}
	}
	if err := os.Rename(away, here); err != nil {
		t.Fatal(err)
	}
	w.until(t, "the end", func(e Event) bool { return e.State == job.Measured })
	w.whole(t)
}

// TestBucketGone: the same with a bucket that does not answer.
func TestBucketGone(t *testing.T) {
	bucket := httptest.NewServer(gofakes3.New(s3mem.New()).Server())
	defer bucket.Close()
	t.Setenv("FAIRMETAL_S3_KEY", "key")
	t.Setenv("FAIRMETAL_S3_SECRET", "secret")
	var gone atomic.Bool
	inner := bucket.Config.Handler
	bucket.Config.Handler = http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if gone.Load() {
			w.WriteHeader(http.StatusServiceUnavailable)
			return
		}
		inner.ServeHTTP(w, r)
	})
	blobs, err := blob.OpenS3(t.Context(), "s3://"+strings.TrimPrefix(bucket.URL, "http://")+"/photos?plain=1")
	if err != nil {
		t.Fatal(err)
	}
	st, err := store.OpenShared(t.Context(), pgtest.Schema(t), blobs)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { st.Close() })
	w := begin(t, st)
	w.until(t, "the start", func(e Event) bool { return e.State == job.Measuring })
	gone.Store(true)
	w.until(t, "the wait", func(e Event) bool { return e.State == job.Queued && e.Doing == queue.Unreached })
	if _, err := w.AddCapture(t.Context(), w.c.JobID, "more", map[string][]byte{"u.jpg": []byte("photo")}); err == nil || !strings.Contains(err.Error(), "try again in a minute") {
		t.Errorf("an upload meanwhile: %v", err)
	}
	gone.Store(false)
	w.until(t, "the end", func(e Event) bool { return e.State == job.Measured })
	w.whole(t)
}

// TestLostPhoto: a photo that is gone for good is no reason to wait.
func TestLostPhoto(t *testing.T) {
	dir := t.TempDir()
	st, err := store.Open(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	j, err := st.AddJob(t.Context(), job.Job{Vehicle: "Van 12", Panel: "Door"})
	if err != nil {
		t.Fatal(err)
	}
	all := photos(t)
	c, err := st.AddCapture(t.Context(), j.ID, "before", all)
	if err != nil {
		t.Fatal(err)
	}
	lost := ""
	for n := range all {
		if filepath.Ext(n) == ".jpg" {
			lost = n
		}
	}
	if err := os.Remove(store.Blobs(dir).Path(blob.Hash(all[lost]))); err != nil {
		t.Fatal(err)
	}
	if err := New(st).Measure(t.Context(), c); err != nil {
		t.Fatal(err)
	}
	if c, err = st.Capture(t.Context(), c.ID); err != nil || c.State != job.Refused || !strings.Contains(c.Message, "restore it from a backup") {
		t.Errorf("%+v, %v", c, err)
	}
}
