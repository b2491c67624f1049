package surface

import "fairmetal/internal/rows"

// mask is a yes or no for each cell, 64 of a row in a word; bits beyond the row's end are never set.
type mask struct {
	cols, rows int
	words      int // of a row
	w          []uint64
}

func newMask(cols, rws int) mask {
	words := (cols + 63) / 64
	return mask{cols: cols, rows: rws, words: words, w: make([]uint64, words*rws)}
}

// maskOf sets the cells of which is tells so.
func maskOf(g Grid, is func(i int) bool) mask {
	m := newMask(g.Cols, g.Rows)
	rows.Do(g.Rows, func(r0, r1 int) {
		for r := r0; r < r1; r++ {
			row := m.row(r)
			for c := range g.Cols {
				if is(r*g.Cols + c) {
					row[c/64] |= 1 << (c % 64)
				}
			}
		}
	})
	return m
}

// row is the words of row r.
func (m mask) row(r int) []uint64 { return m.w[r*m.words : (r+1)*m.words] }

// full is a word of a row with all its cells set.
func (m mask) full(k int) uint64 {
	if n := m.cols % 64; k == m.words-1 && n != 0 {
		return 1<<n - 1
	}
	return ^uint64(0)
}

func (m mask) invert() {
	for r := range m.rows {
		for k, v := range m.row(r) {
			m.row(r)[k] = ^v & m.full(k)
		}
	}
}

// grow dilates the mask by n cells in the city-block sense, by rows and columns and with the diagonals alternately (an octagon for n > 1).
func (m *mask) grow(n int) {
	next := newMask(m.cols, m.rows)
	none := make([]uint64, m.words)
	// beside is a word of a row with its neighbours to the left and right.
	beside := func(row []uint64, k int) uint64 {
		v := row[k] | row[k]<<1 | row[k]>>1
		if k > 0 {
			v |= row[k-1] >> 63
		}
		if k+1 < len(row) {
			v |= row[k+1] << 63
		}
		return v
	}
	for step := range n {
		rows.Do(m.rows, func(r0, r1 int) {
			for r := r0; r < r1; r++ {
				above, below, here, out := none, none, m.row(r), next.row(r)
				if r > 0 {
					above = m.row(r - 1)
				}
				if r+1 < m.rows {
					below = m.row(r + 1)
				}
				for k := range out {
					v := beside(here, k)
					if step%2 == 0 {
						v |= above[k] | below[k]
					} else {
						v |= beside(above, k) | beside(below, k)
					}
					out[k] = v & m.full(k)
				}
			}
		})
		m.w, next.w = next.w, m.w
	}
}
