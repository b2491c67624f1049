package rows

// Pipeline runs stages over rows 0 to n in one pass through memory, each one row behind the one before: a stage reads the rows beside its own
// as the stage before left them, and no later one has touched them yet. Strips of rows are worked side by side; at the seams between
// them later stages wait until both sides are there. What comes out is what the stages leave one after the other.
func Pipeline(n int, stages ...func(y int)) {
	strips := min(mostStrips, n/(4*len(stages)))
	if strips < 2 {
		strip(0, n, n, stages)
		return
	}
	start := func(k int) int { return n * k / strips }
	Do(strips, func(k0, k1 int) {
		for k := k0; k < k1; k++ {
			strip(start(k), start(k+1), n, stages)
		}
	})
	Do(strips-1, func(k0, k1 int) {
		for k := k0; k < k1; k++ {
			seam := start(k + 1)
			for s, do := range stages {
				for y := seam - s; y < seam+s; y++ {
					do(y)
				}
			}
		}
	})
}

// mostStrips even out rows of unlike cost on a few processors.
const mostStrips = 8

// strip runs the stages over the rows y0 to y1 of n, less what waits for the strips beside it.
func strip(y0, y1, n int, stages []func(y int)) {
	top, bottom := 1, 1
	if y0 == 0 {
		top = 0
	}
	if y1 == n {
		bottom = 0
	}
	for y := y0; y < y1+len(stages)-1; y++ {
		for s, do := range stages {
			if r := y - s; r >= y0+top*s && r < y1-bottom*s {
				do(r)
			}
		}
	}
}
