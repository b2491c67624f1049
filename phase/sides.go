package phase

// Near, Between and Far tell of a pixel on which side of a line it lies.
const (
	Near int8 = iota - 1
	Between
	Far
)

const (
	runsStep  = 0.3 // of a pitch from pixel to pixel
	runsLevel = 0.4 // of the swing around: seven stripes in ten pixels leave less
	runsPX    = 15  // half the side of the square that is around
	runsMost  = 0.8 // of the links across
	runsSome  = 30  // links
)

// RunsOn tells whether the stripes can be followed across a line, so that the count of its far side is sure: what lies between goes with the side that
// reaches it first by short steps, and the sides must meet by such over most of their way.
func (f *Field) RunsOn(side []int8) bool {
	p := float32(f.PitchMM)
	known := make([]bool, len(side))
	for i, x := range f.X {
		known[i] = x == x
	}
	level := boxMean(f.Mod, known, f.W, f.H, runsPX)
	for i, m := range f.Mod {
		known[i] = known[i] && m > runsLevel*level[i]
	}
	of := make([]int8, len(side))
	var front []int32
	for i, s := range side {
		if s == Between || !known[i] {
			continue
		}
		of[i] = s
		begins := false
		neighbours(i, f.W, len(side), func(j int) { begins = begins || side[j] == Between })
		if begins {
			front = append(front, int32(i))
		}
	}
	for q := 0; q < len(front); q++ {
		i := int(front[q])
		neighbours(i, f.W, len(side), func(j int) {
			if d := f.X[j] - f.X[i]; known[j] && of[j] == Between && d < runsStep*p && d > -runsStep*p {
				of[j] = of[i]
				front = append(front, int32(j))
			}
		})
	}
	short, all := 0, 0
	for i, s := range of {
		if s != Near {
			continue
		}
		neighbours(i, f.W, len(side), func(j int) {
			if of[j] != Far {
				return
			}
			all++
			if d := f.X[j] - f.X[i]; d < runsStep*p && d > -runsStep*p {
				short++
			}
		})
	}
	return short >= runsSome && float64(short) > runsMost*float64(all)
}
