package surface

import "math"

// KeepLargest sets all but the largest connected part of the known slopes to NaN: parts that only touch through unknown
// metal have no height against each other. It returns the number of cells kept and dropped.
func KeepLargest(g Grid, zx, zy []float32) (kept, dropped int) {
	return KeepMost(g, zx, zy, func(int) (from, to int) { return 0, 0 })
}

// KeepMost is KeepLargest for the part that holds most of the cells that count, of a row those from column from to before to; among parts
// with as many the largest.
func KeepMost(g Grid, zx, zy []float32, counts func(row int) (from, to int)) (kept, dropped int) {
	// Runs of known cells along rows hang together where those of the row before overlap them; the first of a part stands for it.
	type run struct{ from, to, first int }
	var runs []run
	first := func(k int) int {
		for runs[k].first != k {
			runs[k].first = runs[runs[k].first].first
			k = runs[k].first
		}
		return k
	}
	above, here := 0, 0
	for r := range g.Rows {
		above, here = here, len(runs)
		for i, end := r*g.Cols, (r+1)*g.Cols; i < end; i++ {
			if zx[i] != zx[i] || zy[i] != zy[i] {
				continue
			}
			k := len(runs)
			runs = append(runs, run{from: i, first: k})
			for i < end && zx[i] == zx[i] && zy[i] == zy[i] {
				i++
			}
			runs[k].to = i
			for above < here && runs[above].to+g.Cols <= runs[k].from {
				above++
			}
			for q := above; q < here && runs[q].from+g.Cols < i; q++ {
				a, b := first(q), first(k)
				runs[max(a, b)].first = min(a, b)
			}
		}
	}
	size, worth := make([]int, len(runs)), make([]int, len(runs))
	for k, v := range runs {
		p := first(k)
		size[p] += v.to - v.from
		row := v.from / g.Cols
		from, to := counts(row)
		worth[p] += max(0, min(v.to, row*g.Cols+to)-max(v.from, row*g.Cols+from))
	}
	best := -1
	for k := range runs {
		if runs[k].first == k && (best < 0 || worth[k] > worth[best] || worth[k] == worth[best] && size[k] > size[best]) {
			best = k
		}
	}
	nan := float32(math.NaN())
	for k, v := range runs {
		if first(k) == best {
			kept += v.to - v.from
			continue
		}
		dropped += v.to - v.from
		for i := v.from; i < v.to; i++ {
			zx[i], zy[i] = nan, nan
		}
	}
	return kept, dropped
}
