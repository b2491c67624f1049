package fair

import (
	"math"
	"sort"

	"fairmetal/surface"
)

// Gap is a place that was not measured and so is not judged.
type Gap struct {
	XMM     float64 `json:"x_mm"` // middle
	YMM     float64 `json:"y_mm"`
	AreaMM2 float64 `json:"area_mm2"`
	Inside  bool    `json:"inside"` // measured metal all round: a flaw could hide here
}

// gapMM2 is the least gap that is told: a circle of PeelMM, the smallest flaw that counts.
const gapMM2 = math.Pi / 4 * PeelMM * PeelMM

// gaps lists connected unmeasured places, largest first.
func gaps(s *surface.Surface) []Gap {
	seen := make([]bool, s.Len())
	out := []Gap{}
	var queue []int
	for start, h := range s.Height {
		if h == h || seen[start] {
			continue
		}
		queue = append(queue[:0], start)
		seen[start] = true
		inside := true
		var sx, sy float64
		for k := 0; k < len(queue); k++ {
			i := queue[k]
			c, r := i%s.Cols, i/s.Cols
			x, y := s.XY(c, r)
			sx, sy = sx+x, sy+y
			if c == 0 || r == 0 || c == s.Cols-1 || r == s.Rows-1 {
				inside = false
			}
			for _, d := range [4][2]int{{-1, 0}, {1, 0}, {0, -1}, {0, 1}} {
				cc, rr := c+d[0], r+d[1]
				if cc < 0 || rr < 0 || cc >= s.Cols || rr >= s.Rows {
					continue
				}
				if j := rr*s.Cols + cc; !seen[j] && s.Height[j] != s.Height[j] {
					seen[j] = true
					queue = append(queue, j)
				}
			}
		}
		n := float64(len(queue))
		if area := n * s.PitchMM * s.PitchMM; area >= gapMM2 {
			out = append(out, Gap{XMM: sx / n, YMM: sy / n, AreaMM2: area, Inside: inside})
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].AreaMM2 > out[j].AreaMM2 })
	return out
}
