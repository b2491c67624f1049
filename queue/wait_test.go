package queue_test

import (
	"context"
	"errors"
	"fmt"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"fairmetal/job"
	"fairmetal/queue"
	"fairmetal/store"
)

// TestWaitsInWords: what could not be tried waits with words for who looks at it, longer each time, and no number of times makes it the
// photos' fault.
func TestWaitsInWords(t *testing.T) { both(t, testWaitsInWords) }

func testWaitsInWords(t *testing.T, s *store.Store) {
	j := addJob(t, s)
	f := &finisher{s: s, done: map[string]int{}}
	var n atomic.Int32
	told := make(chan string, 100)
	begin(t, &queue.Runner{Records: s, Workers: 1, Stale: 3 * time.Second, Again: time.Millisecond,
		Waits: func(c job.Capture, why string) { told <- why },
		Do: func(ctx context.Context, c job.Capture) error {
			switch n.Add(1) {
			case 1, 2, 3, 4:
				return errors.New("the bucket does not answer")
			case 5:
				return fmt.Errorf("surface.json: %w", syscall.ENOSPC)
			}
			return f.do(ctx, c)
		}})
	c := add(t, s, j, 1)
	for i := range 5 {
		want := queue.Unreached
		if i == 4 {
			want = queue.Full
		}
		if got := <-told; got != want {
			t.Errorf("wait %d: %q", i, got)
		}
	}
	f.wait(t, 1)
	if got, err := s.Capture(t.Context(), c.ID); err != nil || got.State != job.Measured || got.Doing != "" {
		t.Errorf("%+v, %v", got, err)
	}
}

// TestShownMeanwhile: the page of a capture that waits says why, until it is tried again.
func TestShownMeanwhile(t *testing.T) { both(t, testShownMeanwhile) }

func testShownMeanwhile(t *testing.T, s *store.Store) {
	ctx := t.Context()
	c := add(t, s, addJob(t, s), 1)
	for n := 1; n <= 5; n++ {
		holder := fmt.Sprint("holder ", n)
		if _, err := s.Claim(ctx, c.ID, holder, time.Minute); err != nil {
			t.Fatal(err)
		}
		if waits, err := s.Release(ctx, c.ID, holder, queue.Unreached); err != nil || waits != n {
			t.Fatalf("%d waits, %v", waits, err)
		}
		if got, err := s.Capture(ctx, c.ID); err != nil || got.State != job.Queued || got.Doing != queue.Unreached {
			t.Fatalf("%+v, %v", got, err)
		}
	}
	// A start looks for what was left behind; the words stay.
	if _, err := s.Rescue(ctx, 0); err != nil {
		t.Fatal(err)
	}
	if got, err := s.Capture(ctx, c.ID); err != nil || got.Doing != queue.Unreached {
		t.Errorf("%+v, %v", got, err)
	}
	// An orderly end is no reason.
	if _, err := s.Claim(ctx, c.ID, "last", time.Minute); err != nil {
		t.Fatal(err)
	}
	if got, err := s.Capture(ctx, c.ID); err != nil || got.Doing != "" {
		t.Errorf("under way: %+v, %v", got, err)
	}
	if waits, err := s.Release(ctx, c.ID, "last", ""); err != nil || waits != 5 {
		t.Errorf("%d waits, %v", waits, err)
	}
}

// TestSlowIsNotDead: a worker that is taken for dead and comes back gives its try back, so that a slow server never makes photos look as if
// they ended the program.
func TestSlowIsNotDead(t *testing.T) { both(t, testSlowIsNotDead) }

func testSlowIsNotDead(t *testing.T, s *store.Store) {
	ctx := t.Context()
	c := add(t, s, addJob(t, s), 1)
	for n := range 8 {
		holder := fmt.Sprint("slow ", n)
		if _, err := s.Claim(ctx, c.ID, holder, time.Minute); err != nil {
			t.Fatalf("time %d: %v", n, err)
		}
		if _, err := s.Rescue(ctx, 0); err != nil {
			t.Fatal(err)
		}
		if _, err := s.Release(ctx, c.ID, holder, queue.Unreached); err != nil {
			t.Fatal(err)
		}
	}
	if got, err := s.Capture(ctx, c.ID); err != nil || got.State != job.Queued {
		t.Errorf("%+v, %v", got, err)
	}
}
