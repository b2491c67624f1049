package phase

import (
	"math/rand/v2"
	"testing"
)

// TestWithin compares with the distance of every pixel to every other, and closes a gap at the rim of a word.
func TestWithin(t *testing.T) {
	rnd := rand.New(rand.NewPCG(1, 2))
	for _, size := range [][2]int{{1, 1}, {63, 9}, {64, 20}, {65, 33}, {130, 40}} {
		w, h := size[0], size[1]
		for _, r := range []int{0, 1, 2, 5, 12, 70} {
			m := make([]bool, w*h)
			var set [][2]int
			for range 1 + w*h/300 {
				x, y := rnd.IntN(w), rnd.IntN(h)
				m[y*w+x], set = true, append(set, [2]int{x, y})
			}
			for i, got := range within(m, w, h, r) {
				want := false
				for _, s := range set {
					dx, dy := max(i%w-s[0], s[0]-i%w), max(i/w-s[1], s[1]-i/w)
					want = want || 3*max(dx, dy)+min(dx, dy) <= 3*r
				}
				if got != want {
					t.Fatalf("%d x %d, r %d: pixel (%d, %d) is %v", w, h, r, i%w, i/w, got)
				}
			}
		}
	}
}
