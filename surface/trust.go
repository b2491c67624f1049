package surface

import (
	"math"

	"fairmetal/internal/order"
	"fairmetal/internal/rows"
)

// Bends tells by how much the slopes change from each cell to its neighbours at most, beyond what even metal with its peel does; zero
// there and where nothing is known (row-major on g).
//
// A photo shows a slope at a place that is a small part of a pixel off and averaged over a little way, so that on sharp metal a slope errs by a
// share of its bend.
func Bends(g Grid, zx, zy []float32) (bends []float32, even float64) {
	bends = make([]float32, g.Len())
	rows.Do(g.Rows, func(r0, r1 int) {
		for r := r0; r < r1; r++ {
			for c := range g.Cols {
				i := r*g.Cols + c
				var most float32
				see := func(j int) {
					a, b := zx[j]-zx[i], zy[j]-zy[i]
					if d := a*a + b*b; d > most {
						most = d
					}
				}
				if c > 0 {
					see(i - 1)
				}
				if c+1 < g.Cols {
					see(i + 1)
				}
				if r > 0 {
					see(i - g.Cols)
				}
				if r+1 < g.Rows {
					see(i + g.Cols)
				}
				bends[i] = most
			}
		}
	})
	var some []float32
	for i := 0; i < len(bends); i += max(1, len(bends)/20000) {
		if bends[i] > 0 {
			some = append(some, bends[i])
		}
	}
	if len(some) == 0 {
		return bends, 0
	}
	limit := evenRatio * evenRatio * order.Median(some)
	rows.Do(len(bends), func(i0, i1 int) {
		for i := i0; i < i1; i++ {
			bends[i] = float32(math.Sqrt(float64(max(0, bends[i]-limit))))
		}
	})
	return bends, math.Sqrt(float64(limit))
}

// evenRatio is how much more than at the median slopes may change from cell to cell on even metal: one cell in some thousand changes by more.
const evenRatio = 3

// Trust tells, for Integrate, how far the slope of each cell is to be believed: 1 on even metal, on sharp metal less by the square of
// the bend, and what was only guessed there (nil: nothing) a hundredth of that. Where sharp metal contradicts itself, round a hole or on a feature
// line, what lies around it then tells, and what is wrong there stays there.
func Trust(bends []float32, even float64, guessed []bool) []float32 {
	out := make([]float32, len(bends))
	rows.Do(len(bends), func(i0, i1 int) {
		for i := i0; i < i1; i++ {
			q := float64(bends[i]) / even
			if guessed != nil && guessed[i] {
				q *= guessRatio
			}
			out[i] = float32(max(1/(1+q*q), leastTrust))
		}
	})
	return out
}

const (
	guessRatio = 10
	leastTrust = 1e-5
)
