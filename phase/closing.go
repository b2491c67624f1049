package phase

import "fairmetal/internal/rows"

// closing fills gaps of a mask that are narrower than twice r pixels: what lies within r of it, less what then lies within r of
// the rest (chamfer distances 3-4, [Borgefors1986]).
func closing(m []bool, w, h, r int) []bool {
	grown := within(m, w, h, r)
	for i := range grown {
		grown[i] = !grown[i]
	}
	out := within(grown, w, h, r)
	for i := range out {
		out[i] = !out[i] || m[i]
	}
	return out
}

// within tells which pixels lie within r of the mask: r steps along rows and columns, of which a diagonal one counts four thirds
// (chamfer distances 3-4). All that a row reaches to its sides is got by shifting it as a whole, 64 pixels at a time.
func within(m []bool, w, h, r int) []bool {
	words := (w + 2*r + 63) / 64
	packed := make([]uint64, words*h)
	empty := make([]bool, h)
	rows.Do(h, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			row, any := packed[y*words:(y+1)*words], uint64(0)
			for x, v := range m[y*w : (y+1)*w] {
				if v {
					row[x/64] |= 1 << (x % 64)
				}
			}
			for _, v := range row {
				any |= v
			}
			empty[y] = any == 0
		}
	})
	out := make([]bool, len(m))
	rows.Do(h, func(y0, y1 int) {
		sum, wide := make([]uint64, words), make([]uint64, words)
		for y := y0; y < y1; y++ {
			clear(sum)
			for k := max(0, y-r); k <= min(h-1, y+r); k++ {
				if empty[k] {
					continue
				}
				off := max(k-y, y-k)
				reach := (3*r - off) / 3
				if 4*off > 3*r {
					reach = 3 * (r - off)
				}
				copy(wide, packed[k*words:(k+1)*words])
				// Each shift doubles what a pixel covers; moved back by the reach, it covers as much to either side.
				for done, left := 1, 2*reach; left > 0; {
					n := min(done, left)
					shiftOr(wide, n)
					done, left = done+n, left-n
				}
				orBack(sum, wide, reach)
			}
			for x := range w {
				out[y*w+x] = sum[x/64]>>(x%64)&1 != 0
			}
		}
	})
	return out
}

// shiftOr adds to a row of bits itself, n places further on.
func shiftOr(row []uint64, n int) {
	word, bit := n/64, n%64
	for i := len(row) - 1; i >= word; i-- {
		v := row[i-word] << bit
		if bit > 0 && i > word {
			v |= row[i-word-1] >> (64 - bit)
		}
		row[i] |= v
	}
}

// orBack adds to sum a row of bits, n places back.
func orBack(sum, row []uint64, n int) {
	word, bit := n/64, n%64
	for i := 0; i+word < len(row); i++ {
		v := row[i+word] >> bit
		if bit > 0 && i+word+1 < len(row) {
			v |= row[i+word+1] << (64 - bit)
		}
		sum[i] |= v
	}
}
