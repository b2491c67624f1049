package queue

import (
	"testing"
	"time"
)

// TestRest doubles up to its bound, which is well before a capture counts as forgotten (20 times as long as a holder may be silent).
func TestRest(t *testing.T) {
	for waits, want := range []time.Duration{again, again, 2 * again, 4 * again, 8 * again, 16 * again, atLongest} {
		if got := rest(again, waits); got != want {
			t.Errorf("%d: %v, want %v", waits, got, want)
		}
	}
	if got := rest(again, 1<<40); got != atLongest || atLongest > 15*DefaultStale {
		t.Errorf("%v", got)
	}
}
