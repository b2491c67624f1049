package queue_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"sync"
	"testing"
	"time"

	"fairmetal/internal/pgtest"
	"fairmetal/job"
	"fairmetal/queue"
	"fairmetal/store"
)

// childStore names the shared workshop in which a process of this test measures until it is killed.
const childStore, childBlobs = "FAIRMETAL_WORKER_STORE", "FAIRMETAL_WORKER_BLOBS"

func TestMain(m *testing.M) {
	if address := os.Getenv(childStore); address != "" {
		child(address, os.Getenv(childBlobs))
	}
	code := m.Run()
	pgtest.Stop()
	os.Exit(code)
}

// child takes a capture and never ends measuring it.
func child(address, blobs string) {
	s, err := store.OpenShared(context.Background(), address, store.Blobs(blobs))
	if err == nil {
		q := queue.Runner{Records: s, Workers: 1, Stale: time.Second, Do: func(ctx context.Context, c job.Capture) error {
			fmt.Println("took", c.ID)
			select {}
		}}
		err = q.Run(context.Background())
	}
	fmt.Println("failed", err)
	os.Exit(1)
}

// both runs a test on either engine.
func both(t *testing.T, test func(t *testing.T, s *store.Store)) {
	t.Run("folder", func(t *testing.T) {
		s, err := store.Open(t.Context(), t.TempDir())
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { s.Close() })
		test(t, s)
	})
	t.Run("shared", func(t *testing.T) {
		s, _, _ := shared(t)
		test(t, s)
	})
}

func shared(t *testing.T) (s *store.Store, address, dir string) {
	address, dir = pgtest.Schema(t), t.TempDir()
	s, err := store.OpenShared(t.Context(), address, store.Blobs(dir))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s, address, dir
}

func addJob(t *testing.T, s *store.Store) job.Job {
	t.Helper()
	j, err := s.AddJob(t.Context(), job.Job{Vehicle: "Van 12", Panel: "Roof"})
	if err != nil {
		t.Fatal(err)
	}
	return j
}

func add(t *testing.T, s *store.Store, j job.Job, n int) job.Capture {
	t.Helper()
	c, err := s.AddCapture(t.Context(), j.ID, "c", map[string][]byte{"u.jpg": fmt.Appendf(nil, "photo %d", n)})
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// begin runs a queue in the background until the test ends.
func begin(t *testing.T, q *queue.Runner) (stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- q.Run(ctx) }()
	stop = sync.OnceFunc(func() {
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
	t.Cleanup(stop)
	return stop
}

// finisher measures by saying so, and counts.
type finisher struct {
	mu   sync.Mutex
	s    *store.Store
	done map[string]int
}

func (f *finisher) do(ctx context.Context, c job.Capture) error {
	if err := f.s.SetProgress(ctx, c.ID, "reading", 0.5); err != nil {
		return err
	}
	c.State, c.Marks = job.Measured, 1
	if err := f.s.Finish(ctx, c, map[string][]byte{"surface.json": []byte("{}")}); err != nil {
		return err
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	f.done[c.ID]++
	return nil
}

func (f *finisher) wait(t *testing.T, n int) {
	t.Helper()
	for range 1200 {
		f.mu.Lock()
		got := len(f.done)
		f.mu.Unlock()
		if got >= n {
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
	t.Fatalf("%d of %d were measured in a minute", len(f.done), n)
}

// TestEachOnce: captures that waited before the start and those that come later are measured once each, by two runners.
func TestEachOnce(t *testing.T) { both(t, testEachOnce) }

func testEachOnce(t *testing.T, s *store.Store) {
	j := addJob(t, s)
	for n := range 3 {
		add(t, s, j, n)
	}
	f := &finisher{s: s, done: map[string]int{}}
	begin(t, &queue.Runner{Records: s, Workers: 2, Stale: 3 * time.Second, Do: f.do})
	f.wait(t, 3)
	for n := range 5 {
		add(t, s, j, 10+n)
	}
	f.wait(t, 8)
	for id, n := range f.done {
		if c, err := s.Capture(t.Context(), id); n != 1 || err != nil || c.State != job.Measured {
			t.Errorf("measured %d times, now %s, %v", n, c.State, err)
		}
	}
}

// TestTriedAgain: what cannot be tried is put back and tried again; it is not the photos' fault.
func TestTriedAgain(t *testing.T) { both(t, testTriedAgain) }

func testTriedAgain(t *testing.T, s *store.Store) {
	j := addJob(t, s)
	f := &finisher{s: s, done: map[string]int{}}
	began := make(chan struct{})
	stop := begin(t, &queue.Runner{Records: s, Workers: 1, Stale: 3 * time.Second, Do: func(ctx context.Context, c job.Capture) error {
		close(began)
		<-ctx.Done()
		return ctx.Err()
	}})
	c := add(t, s, j, 1)
	<-began
	stop() // the program ends in the middle of measuring
	if got, err := s.Capture(t.Context(), c.ID); err != nil || got.State != job.Queued {
		t.Errorf("after an orderly end: %s, %v", got.State, err)
	}
	begin(t, &queue.Runner{Records: s, Workers: 1, Stale: 3 * time.Second, Do: f.do})
	f.wait(t, 1)
}

// TestDeadWorker: a worker is killed in the middle of measuring; another finishes it once. A worker that was only slow and comes back
// finds itself refused.
func TestDeadWorker(t *testing.T) {
	s, address, dir := shared(t)
	j := addJob(t, s)
	begin(t, &queue.Runner{Records: s, Stale: time.Second}) // puts captures into the queue, measures none
	c := add(t, s, j, 1)
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), childStore+"="+address, childBlobs+"="+dir)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	line := make([]byte, 200)
	n, err := out.Read(line)
	if err != nil || string(line[:n]) != "took "+c.ID+"\n" {
		t.Fatalf("the child says %q, %v", line[:n], err)
	}
	if got, err := s.Capture(t.Context(), c.ID); err != nil || got.State != job.Measuring {
		t.Errorf("under way: %s, %v", got.State, err)
	}
	if _, err := s.Claim(t.Context(), c.ID, "greedy", time.Minute); !errors.Is(err, store.ErrTaken) {
		t.Errorf("taken from a living worker: %v", err)
	}
	if err := cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	cmd.Wait() // killed
	f := &finisher{s: s, done: map[string]int{}}
	begin(t, &queue.Runner{Records: s, Workers: 1, Stale: time.Second, Do: f.do})
	f.wait(t, 1)
	time.Sleep(2 * time.Second) // time for a second one, were there one
	if got, err := s.Capture(t.Context(), c.ID); err != nil || got.State != job.Measured || f.done[c.ID] != 1 {
		t.Errorf("measured %d times, now %s, %v", f.done[c.ID], got.State, err)
	}
}

// TestFence: once another has taken over, nothing of the first is kept.
func TestFence(t *testing.T) { both(t, testFence) }

func testFence(t *testing.T, s *store.Store) {
	ctx := t.Context()
	j := addJob(t, s)
	c := add(t, s, j, 1)
	slow, err := s.Claim(ctx, c.ID, "slow", time.Minute)
	if err != nil {
		t.Fatal(err)
	}
	time.Sleep(20 * time.Millisecond)
	if n, err := s.Rescue(ctx, time.Millisecond); n != 1 || err != nil {
		t.Fatalf("rescued %d, %v", n, err)
	}
	fast, err := s.Claim(ctx, c.ID, "fast", time.Minute)
	if err != nil {
		t.Fatal(err)
	}
	late := store.Holding(ctx, "slow")
	slow.State, slow.Marks = job.Measured, 99
	for what, err := range map[string]error{"progress": s.SetProgress(late, c.ID, "x", 0.9), "beat": s.Beat(ctx, c.ID, "slow"), "finish": s.Finish(late, slow, map[string][]byte{"surface.json": []byte("late")})} {
		if !errors.Is(err, store.ErrTaken) {
			t.Errorf("%s of a holder that was taken for dead: %v", what, err)
		}
	}
	// However often a slow one is taken for dead, it lived: the photos end no program.
	for range 5 {
		if _, err := s.Release(ctx, c.ID, "slow", ""); err != nil {
			t.Error(err)
		}
	}
	fast.State, fast.Marks = job.Measured, 3
	if err := s.Finish(store.Holding(ctx, "fast"), fast, map[string][]byte{"surface.json": []byte("right")}); err != nil {
		t.Fatal(err)
	}
	if got, err := s.File(ctx, c.ID, "surface.json"); err != nil || string(got) != "right" {
		t.Errorf("%q, %v", got, err)
	}
	if _, err := s.Claim(ctx, c.ID, "again", 0); !errors.Is(err, store.ErrDone) {
		t.Errorf("claimed though it is measured: %v", err)
	}
}

// TestPoison: photos that end the program three times are refused, so that the rest can be measured.
func TestPoison(t *testing.T) { both(t, testPoison) }

func testPoison(t *testing.T, s *store.Store) {
	ctx := t.Context()
	c := add(t, s, addJob(t, s), 1)
	for n := range 3 {
		if _, err := s.Claim(ctx, c.ID, fmt.Sprint("holder ", n), time.Minute); err != nil {
			t.Fatal(err)
		}
		if _, err := s.Rescue(ctx, 0); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := s.Claim(ctx, c.ID, "fourth", time.Minute); !errors.Is(err, store.ErrDone) {
		t.Errorf("the fourth time: %v", err)
	}
	if got, err := s.Capture(ctx, c.ID); err != nil || got.State != job.Refused || got.Message == "" {
		t.Errorf("%s %q, %v", got.State, got.Message, err)
	}
}
