package phase

import (
	"math"

	"fairmetal/internal/rows"
)

// judge decides which cells can be believed.
func (l *lock) judge() {
	n := l.cols * l.rows
	ok := make([]bool, n)
	for i := range ok {
		ok[i] = l.trust[i] > 0 && l.purity[i] > foldPurity
	}
	ok = l.largest(l.shrink(ok, 1))
	l.ok = ok
	l.folded = l.enclosed(ok)
}

// foldPurity is the agreement of photo and prediction, 1 on undamaged metal, below which the stripes are not followed.
const foldPurity = 0.7

// shrink takes n cells off the rim of a mask.
func (l *lock) shrink(ok []bool, n int) []bool {
	for range n {
		out := make([]bool, len(ok))
		for j := 1; j < l.rows-1; j++ {
			for i := j*l.cols + 1; i < (j+1)*l.cols-1; i++ {
				out[i] = ok[i] && ok[i-1] && ok[i+1] && ok[i-l.cols] && ok[i+l.cols]
			}
		}
		ok = out
	}
	return ok
}

// parts numbers the connected parts of a mask from 1 and returns their sizes.
func (l *lock) parts(ok []bool) (label []int32, sizes []int) {
	label = make([]int32, len(ok))
	var queue []int32
	for s := range ok {
		if !ok[s] || label[s] != 0 {
			continue
		}
		id := int32(len(sizes) + 1)
		queue = append(queue[:0], int32(s))
		label[s] = id
		for q := 0; q < len(queue); q++ {
			neighbours(int(queue[q]), l.cols, len(ok), func(j int) {
				if ok[j] && label[j] == 0 {
					label[j] = id
					queue = append(queue, int32(j))
				}
			})
		}
		sizes = append(sizes, len(queue))
	}
	return label, sizes
}

// largest keeps parts that are a fair share of the largest.
func (l *lock) largest(ok []bool) []bool {
	label, sizes := l.parts(ok)
	most := 0
	for _, s := range sizes {
		most = max(most, s)
	}
	out := make([]bool, len(ok))
	for i, id := range label {
		out[i] = id != 0 && 10*sizes[id-1] >= most
	}
	return out
}

// enclosed returns the cells that are not ok and cannot be reached from the rim.
func (l *lock) enclosed(ok []bool) []bool {
	bad := make([]bool, len(ok))
	for i, v := range ok {
		bad[i] = !v
	}
	label, sizes := l.parts(bad)
	open := make([]bool, len(sizes)+1)
	open[0] = true
	for i := range l.cols {
		open[label[i]], open[label[(l.rows-1)*l.cols+i]] = true, true
	}
	for j := range l.rows {
		open[label[j*l.cols]], open[label[(j+1)*l.cols-1]] = true, true
	}
	out := make([]bool, len(ok))
	for i, id := range label {
		out[i] = !open[id]
	}
	return out
}

// field turns the lock into board coordinates per pixel of the photo.
func (l *lock) field(w, h int, pitch, boardMM float64) *Single {
	s := &Single{Field: Field{W: w, H: h, X: make([]float32, w*h), Mod: make([]float32, w*h), PitchMM: pitch, SigmaMM: 0.1}, Folded: make([]bool, w*h)}
	nan := float32(math.NaN())
	k := 1 << l.r.halved
	p := float32(pitch)
	rows.Do(h, func(y0, y1 int) {
		line, t := make([]float32, l.cols), make([]float32, l.cols*l.q*k)
		for y := y0; y < y1; y++ {
			row := s.X[y*w : (y+1)*w]
			for x := range row {
				row[x] = nan
			}
			wy := y/k - l.y0
			if wy < 0 || wy >= l.rows*l.q {
				continue
			}
			l.phi.fine(y-l.y0*k, k, line, t)
			first := wy / l.q * l.cols
			for x, v := range t {
				i := x + l.x0*k
				c := first + x/(l.q*k)
				if l.ok[c] {
					row[i] = v * p
				}
				s.Folded[y*w+i] = l.folded[c]
				s.Mod[y*w+i] = l.levels.half[c]
			}
		}
	})
	return s
}
