package phase

import "fairmetal/internal/rows"

// What is believed. Pace is how fast the board coordinate runs along the trend's direction, 1 on undamaged metal and 0 where
// the reflection folds (Coddington's equations [BornWolf]); purity is how well photo and prediction agree, 1 on undamaged metal.
// The stricter limit starts a folded place, the milder one bounds it: a fold is ringed by stripes that nearly stand.
const (
	foldPace, rimPace     = 0.05, 0.25
	foldPurity, rimPurity = 0.5, 0.7
	// turnPace is how far backwards what stands may seem to run, in the middle of a dent that does not quite fold.
	turnPace = -0.05
	// stillPace: where stripes stand nearly still, smoothed over paceWindow, they may run either way behind. The prediction passes
	// from a fold's outside into the mirrored inside at 0.3 to 0.4.
	stillPace = 0.45
	// dense stripes, turns per px, can no longer be told apart.
	dense = 0.4
	// paceWindow, in stripe pairs, evens out orange peel, which folds the reflection all over in spots smaller than a stripe.
	paceWindow = 0.3
	// backPace is the raw pace, and backStripes the area in stripe pairs squared, of a prediction that runs backwards.
	backPace, backStripes = -0.1, 0.18
)

// Rims in cells, a quarter of a stripe pair each.
const (
	foldMargin = 1 // the window of purity reaches over the rim
	foldNeck   = 2 // followed stripes hang together over more than a stripe pair
	foldGap    = 4 // inside a fold lie readable rests up to two stripe pairs wide
	seamGap    = 3 // holes wider than this are cards and folds, no seams
)

// judge decides which cells can be believed. A single photo shows where stripes are, but not which way the board coordinate runs:
// closed stripes may be a hill or a hollow of it. So nothing is believed where the prediction disagrees with the photo, stands or
// runs backwards, nor what such places enclose, nor what is reached only through standing stripes.
func (l *lock) judge() {
	n := l.cols * l.rows
	pace := l.pace()
	turns, stands, rim := make([]bool, n), make([]bool, n), make([]bool, n)
	for i := range turns {
		turns[i] = l.bare[i] == 0 || pace[i] < turnPace || l.purity[i] < foldPurity || l.slope[i] > dense
		rim[i] = pace[i] < rimPace || l.purity[i] < rimPurity
	}
	l.backward(turns)
	for i, v := range turns {
		stands[i] = v || pace[i] < foldPace
	}
	ok := invert(l.grow(turns, rim))
	l.dropTouching(ok, invert(l.grow(stands, rim)))
	for i, v := range l.trust {
		ok[i] = ok[i] && v > 0
	}
	ok = l.forgive(ok)
	ok = invert(l.closing(invert(ok), foldGap))
	l.holes = invert(l.closing(ok, seamGap))
	l.ok = l.open(l.moving(l.shrink(ok, foldMargin), pace), foldNeck)
}

// dropTouching takes those parts of a mask that sure lacks out of it which touch anything outside the mask: stripes may stand in the
// middle of a dent, but not at the end of the board or beside a fold.
func (l *lock) dropTouching(ok, sure []bool) {
	doubt := make([]bool, len(ok))
	for i, v := range ok {
		doubt[i] = v && !sure[i]
	}
	label, sizes := l.parts(doubt)
	lost := make([]bool, len(sizes)+1)
	for i, id := range label {
		if id != 0 {
			neighbours(i, l.cols, len(ok), func(j int) { lost[id] = lost[id] || !ok[j] })
		}
	}
	for i, id := range label {
		ok[i] = ok[i] && !lost[id]
	}
}

// pace is the smoothed gradient of the prediction along that of the trend, over the latter.
func (l *lock) pace() []float32 {
	n := l.cols * l.rows
	psi := l.take()
	for i := range psi {
		psi[i] = l.phi.v[i] - l.trend[i]
	}
	l.smooth(psi, paceWindow*l.stripe)
	out := make([]float32, n)
	rows.Do(l.rows, func(j0, j1 int) {
		for j := j0; j < j1; j++ {
			for i := range l.cols {
				tx, ty := l.gradient(l.trend, i, j)
				px, py := l.gradient(psi, i, j)
				out[j*l.cols+i] = 1 + (px*tx+py*ty)/(tx*tx+ty*ty)
			}
		}
	})
	return out
}

// backward adds to the seeds where the prediction itself runs backwards over several cells: closed stripes make it do so on one
// side, whichever way it took them.
func (l *lock) backward(seed []bool) {
	back := make([]bool, len(seed))
	rows.Do(l.rows, func(j0, j1 int) {
		for j := j0; j < j1; j++ {
			for i := range l.cols {
				k := j*l.cols + i
				tx, ty := l.gradient(l.trend, i, j)
				px, py := l.gradient(l.phi.v, i, j)
				back[k] = l.trust[k] > 0 && px*tx+py*ty < backPace*(tx*tx+ty*ty)
			}
		}
	})
	label, sizes := l.parts(back)
	for i, id := range label {
		if id != 0 && float64(sizes[id-1]) >= backStripes*l.stripe*l.stripe {
			seed[i] = true
		}
	}
}

// moving cuts the mask where stripes stand nearly still and keeps the main parts. Standing cells that touch nothing but them,
// the middle of a dent that does not quite fold, stay.
func (l *lock) moving(ok []bool, pace []float32) []bool {
	moves, stands := make([]bool, len(ok)), make([]bool, len(ok))
	for i, v := range ok {
		moves[i] = v && pace[i] >= stillPace
		stands[i] = v && pace[i] < stillPace
	}
	moves = l.main(moves)
	out := make([]bool, len(ok))
	for i, v := range moves {
		out[i] = v || stands[i]
	}
	l.dropTouching(out, moves)
	return out
}
