package phase

import "fairmetal/internal/rows"

// Masks on the cells of a lock.

func invert(m []bool) []bool {
	out := make([]bool, len(m))
	for i, v := range m {
		out[i] = !v
	}
	return out
}

// shrink takes n cells off the rim of a mask, by turns along four and eight directions: an octagon.
func (l *lock) shrink(ok []bool, n int) []bool {
	c := l.cols
	for k := range n {
		out := make([]bool, len(ok))
		rows.Do(l.rows, func(j0, j1 int) {
			for j := max(1, j0); j < min(l.rows-1, j1); j++ {
				for i := j*c + 1; i < (j+1)*c-1; i++ {
					out[i] = ok[i] && ok[i-1] && ok[i+1] && ok[i-c] && ok[i+c] &&
						(k%2 == 0 || ok[i-c-1] && ok[i-c+1] && ok[i+c-1] && ok[i+c+1])
				}
			}
		})
		ok = out
	}
	return ok
}

// widen adds n cells to the rim of a mask, along four directions, of those in another one (nil: of all).
func (l *lock) widen(m, in []bool, n int) []bool {
	c := l.cols
	for range n {
		out := make([]bool, len(m))
		rows.Do(l.rows, func(j0, j1 int) {
			for j := j0; j < j1; j++ {
				for i := range c {
					k := j*c + i
					out[k] = m[k] || (in == nil || in[k]) && (i > 0 && m[k-1] || i < c-1 && m[k+1] || j > 0 && m[k-c] || j < l.rows-1 && m[k+c])
				}
			}
		})
		m = out
	}
	return m
}

// closing fills gaps of up to 2 n cells.
func (l *lock) closing(m []bool, n int) []bool {
	out := l.shrink(invert(l.shrink(invert(m), n)), n)
	for i, v := range m {
		out[i] = out[i] || v
	}
	return out
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

// main keeps the parts of a mask that are no crumbs beside the largest: a tenth of it at least.
func (l *lock) main(ok []bool) []bool {
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

// open keeps the main parts that hang together by more than necks of 2 n cells.
func (l *lock) open(ok []bool, n int) []bool {
	return l.widen(l.main(l.shrink(ok, n)), ok, n+1)
}

// enclosed returns the cells that are not ok and cannot be reached from the rim.
func (l *lock) enclosed(ok []bool) []bool {
	label, sizes := l.parts(invert(ok))
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

// grow extends the seeds over what of the rim hangs on them.
func (l *lock) grow(seed, rim []bool) []bool {
	out := make([]bool, len(seed))
	var queue []int32
	for i, v := range seed {
		if v {
			out[i] = true
			queue = append(queue, int32(i))
		}
	}
	for q := 0; q < len(queue); q++ {
		neighbours(int(queue[q]), l.cols, len(seed), func(j int) {
			if rim[j] && !out[j] {
				out[j] = true
				queue = append(queue, int32(j))
			}
		})
	}
	return out
}
