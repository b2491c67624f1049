package workshop_test

import (
	"context"
	"os"
	"testing"
	"time"

	"fairmetal/internal/pgtest"
	"fairmetal/job"
	"fairmetal/store"
	"fairmetal/workshop"
)

func TestMain(m *testing.M) {
	code := m.Run()
	pgtest.Stop()
	os.Exit(code)
}

// TestHearsOfWorkersElsewhere: who watches a page of a shared shop hears what a worker in another process does.
func TestHearsOfWorkersElsewhere(t *testing.T) {
	address, blobs := pgtest.Schema(t), store.Blobs(t.TempDir())
	open := func() *store.Store {
		s, err := store.OpenShared(t.Context(), address, blobs)
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { s.Close() })
		return s
	}
	here, there := open(), open()
	w := workshop.New(here)
	w.Workers = 0
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- w.Run(ctx) }()
	defer func() {
		stop()
		if err := <-done; err != nil {
			t.Error(err)
		}
	}()
	events, deaf := w.Listen()
	defer deaf()
	j, err := here.AddJob(ctx, job.Job{Vehicle: "Van 12", Panel: "Roof"})
	if err != nil {
		t.Fatal(err)
	}
	c, err := w.AddCapture(ctx, j.ID, "before", map[string][]byte{"u.jpg": []byte("photo")})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := there.Claim(ctx, c.ID, "far", time.Minute); err != nil {
		t.Fatal(err)
	}
	far := store.Holding(ctx, "far")
	finished := false
	for deadline := time.After(time.Minute); ; {
		select {
		case e := <-events:
			if e.CaptureID != c.ID {
				t.Fatalf("%+v", e)
			}
			if e.State == job.Measured {
				return
			}
			if e.State == job.Measuring && !finished {
				finished = true
				c.State = job.Measured
				if err := there.Finish(far, c, nil); err != nil {
					t.Fatal(err)
				}
			}
		case <-time.After(100 * time.Millisecond):
			if !finished {
				if err := there.SetProgress(far, c.ID, "reading the stripes", 0.5); err != nil {
					t.Fatal(err)
				}
			}
		case <-deadline:
			t.Fatal("nothing was heard for a minute")
		}
	}
}
