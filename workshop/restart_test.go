package workshop

import (
	"testing"

	"fairmetal/internal/pgtest"
	"fairmetal/job"
	"fairmetal/store"
)

// TestServerEndsWhileMeasuring: PostgreSQL is ended hard while a capture is measured, twice, and comes back. The measurement is finished once,
// with all that belongs to it, and pages that failed meanwhile answer when they are asked again.
func TestServerEndsWhileMeasuring(t *testing.T) {
	server := pgtest.New(t)
	st, err := store.OpenShared(t.Context(), server.Schema(t), store.Blobs(t.TempDir()))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { st.Close() })
	w := begin(t, st)
	w.until(t, "the claim", func(e Event) bool { return e.State == job.Measuring })
	for _, far := range []float64{0, 0.3} {
		w.until(t, "the middle", func(e Event) bool { return e.State == job.Measuring && e.Progress >= far })
		server.Crash()
		if _, err := st.Jobs(t.Context(), 10); err == nil {
			t.Error("a page of a server that is gone")
		}
		if err := server.Start(); err != nil {
			t.Fatal(err)
		}
		// The first reads may meet connections that died with the server.
		var again error
		for range 20 {
			if _, again = st.Job(t.Context(), w.c.JobID); again == nil {
				break
			}
		}
		if again != nil {
			t.Errorf("asked 20 times: %v", again)
		}
		if _, err := st.AddJob(t.Context(), job.Job{Vehicle: "Van 13", Panel: "Door"}); err != nil {
			t.Errorf("a change after the restart: %v", err)
		}
	}
	w.until(t, "the end", func(e Event) bool { return e.State == job.Measured })
	w.whole(t)
	entries, err := st.Entries(t.Context(), w.c.JobID, 100)
	if err != nil {
		t.Fatal(err)
	}
	moved := 0
	for _, e := range entries {
		if e.What == "job changed" {
			moved++
		}
	}
	if moved != 1 {
		t.Errorf("the job was moved on %d times: %+v", moved, entries)
	}
}
