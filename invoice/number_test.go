package invoice

import (
	"slices"
	"testing"
)

func TestSeries(t *testing.T) {
	s := Series{"R-", 4}
	x, err := s.Number(2026, 7)
	if err != nil || x != "R-2026-0007" {
		t.Errorf("%q, %v", x, err)
	}
	if y, n, ok := s.Parse(x); !ok || y != 2026 || n != 7 {
		t.Errorf("%d, %d, %v", y, n, ok)
	}
	for _, bad := range []string{"", "2026-0007", "R-2026-7", "R-2026-00070", "R-2026-0000", "R-26-0007", "R-2026--007", "R-+026-0007"} {
		if y, n, ok := s.Parse(bad); ok {
			t.Errorf("%q parsed as %d of %d", bad, n, y)
		}
	}
	for _, bad := range []struct {
		s       Series
		year, n int
	}{{s, 2026, 0}, {s, 2026, 10000}, {s, 26, 1}, {Series{"R/", 4}, 2026, 1}, {Series{"", 0}, 2026, 1}, {Series{"R", 10}, 2026, 1}} {
		if x, err := bad.s.Number(bad.year, bad.n); err == nil {
			t.Errorf("%+v is numbered %q", bad, x)
		}
	}
	got := s.Gaps(2026, []string{"R-2026-0001", "R-2026-0004", "R-2025-0009", "Q-2026-0009", "R-2026-0002"})
	if !slices.Equal(got, []string{"R-2026-0003"}) {
		t.Errorf("gaps %v", got)
	}
	if n := len(s.Gaps(2026, []string{"R-2026-9999"})); n != 1000 {
		t.Errorf("%d gaps listed", n)
	}
}
