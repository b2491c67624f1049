package store

import (
	"errors"
	"fmt"
	"testing"
	"time"
)

// TestTries: so many at once, one more after each while, and of each by itself.
func TestTries(t *testing.T) { both(t, testTries) }

func testTries(t *testing.T, s *Store) {
	ctx, now := t.Context(), time.Date(2026, 11, 3, 9, 0, 0, 0, time.UTC)
	a := Allowance{Burst: 3, Every: 10 * time.Second}
	try := func(whom string) bool {
		t.Helper()
		ok, err := s.Try(ctx, whom, a, now)
		if err != nil {
			t.Fatal(err)
		}
		return ok
	}
	got := ""
	for _, after := range []time.Duration{0, 0, 0, 0, 9 * time.Second, 2 * time.Second, 0, time.Hour, 0, 0, 0, -time.Hour} {
		now = now.Add(after)
		got += map[bool]string{true: "y", false: "n"}[try("ann")]
	}
	if got != "yyynnynyyynn" {
		t.Errorf("%s", got)
	}
	if !try("ben") {
		t.Error("somebody else has none left")
	}
	// What is long past is forgotten.
	now = now.Add(3 * time.Hour)
	try("cid")
	var n int
	if err := s.Database().QueryRowContext(ctx, "SELECT count(*) FROM tries").Scan(&n); err != nil || n != 1 {
		t.Errorf("%d are remembered, %v", n, err)
	}
}

// TestChallenges: each is given out once, until it ends.
func TestChallenges(t *testing.T) { both(t, testChallenges) }

func testChallenges(t *testing.T, s *Store) {
	ctx, now := t.Context(), time.Date(2026, 11, 3, 9, 0, 0, 0, time.UTC)
	for i := range 3 {
		if err := s.PutChallenge(ctx, fmt.Sprint(i), fmt.Sprint("body ", i), now, now.Add(time.Minute)); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.PutChallenge(ctx, "0", "newer", now, now.Add(time.Minute)); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		token, body string
		after       time.Duration
	}{{"0", "newer", 0}, {"0", "", 0}, {"1", "body 1", 59 * time.Second}, {"2", "", time.Minute}, {"none", "", 0}} {
		body, err := s.TakeChallenge(ctx, c.token, now.Add(c.after))
		if body != c.body || (err == nil) != (c.body != "") || err != nil && !errors.Is(err, ErrNotFound) {
			t.Errorf("%s after %v: %q, %v", c.token, c.after, body, err)
		}
	}
	if err := s.PutChallenge(ctx, "3", "x", now, now); err != nil {
		t.Fatal(err)
	}
	if err := s.PutChallenge(ctx, "4", "x", now.Add(time.Minute), now.Add(2*time.Minute)); err != nil {
		t.Fatal(err)
	}
	var n int
	if err := s.Database().QueryRowContext(ctx, "SELECT count(*) FROM challenges").Scan(&n); err != nil || n != 1 {
		t.Errorf("%d are kept, %v", n, err)
	}
}
