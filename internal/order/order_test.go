package order

import (
	"math/rand/v2"
	"slices"
	"testing"
)

// TestNth: as sorting has it, also with many equals, sorted either way, and infinities.
func TestNth(t *testing.T) {
	rnd := rand.New(rand.NewPCG(1, 2))
	for range 2000 {
		v := make([]float64, 1+rnd.IntN(60))
		for i := range v {
			v[i] = float64(rnd.IntN(1 + rnd.IntN(40)))
		}
		switch rnd.IntN(3) {
		case 0:
			slices.Sort(v)
		case 1:
			slices.Sort(v)
			slices.Reverse(v)
		}
		sorted := slices.Sorted(slices.Values(v))
		n := rnd.IntN(len(v))
		if got := Nth(v, n); got != sorted[n] {
			t.Fatalf("number %d of %v is %v", n, sorted, got)
		}
		if got := Median(slices.Clone(v)); got != sorted[len(sorted)/2] {
			t.Fatalf("the middle of %v is %v", sorted, got)
		}
		slices.Sort(v)
		if !slices.Equal(v, sorted) {
			t.Fatalf("%v became %v", sorted, v)
		}
	}
}
