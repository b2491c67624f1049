package phase

import "math"

// follow makes wrapped turns continuous over the cells that are ok, best first (quality-guided path following
// [Herraez2002]), and returns which cells it reached. Cells around a loop whose differences don't add up to nothing are left out:
// the stripes end or fork there. Separate parts are placed by whole turns next to the largest. Nil when there is nothing.
func follow(t, quality []float32, ok []bool, cols, rws int) []bool {
	n := len(t)
	use := make([]bool, n)
	copy(use, ok)
	for j := 0; j+1 < rws; j++ {
		for i := 0; i+1 < cols; i++ {
			k := j*cols + i
			a, b, c, d := k, k+1, k+cols+1, k+cols
			if !(ok[a] && ok[b] && ok[c] && ok[d]) {
				continue
			}
			s := wrap(t[b]-t[a]) + wrap(t[c]-t[b]) + wrap(t[d]-t[c]) + wrap(t[a]-t[d])
			if s > 0.5 || s < -0.5 {
				use[a], use[b], use[c], use[d] = false, false, false, false
			}
		}
	}
	label := make([]int32, n)
	var sizes []int
	// Buckets of quality stand in for a heap: their order is all that matters.
	const levels = 64
	var bucket [levels][]int32
	level := func(i int) int { return min(max(int(quality[i]*levels), 0), levels-1) }
	top := 0
	push := func(i int) {
		l := level(i)
		bucket[l] = append(bucket[l], int32(i))
		top = max(top, l)
	}
	for start := range n {
		if !use[start] || label[start] != 0 {
			continue
		}
		id := int32(len(sizes) + 1)
		size := 0
		label[start] = id
		push(start)
		for top >= 0 {
			b := bucket[top]
			if len(b) == 0 {
				top--
				continue
			}
			i := int(b[len(b)-1])
			bucket[top] = b[:len(b)-1]
			size++
			neighbours(i, cols, n, func(j int) {
				if use[j] && label[j] == 0 {
					label[j] = id
					t[j] = t[i] + wrap(t[j]-t[i])
					push(j)
				}
			})
		}
		top = 0
		sizes = append(sizes, size)
	}
	if len(sizes) == 0 {
		return nil
	}
	settleParts(t, label, sizes, cols, rws)
	out := make([]bool, n)
	for i, l := range label {
		out[i] = l != 0 && sizes[l-1] >= minCells
	}
	return out
}

// minCells is the smallest separate part worth placing: two stripe pairs squared.
const minCells = 100

// wrap brings turns to [-1/2, 1/2].
func wrap(d float32) float32 { return d - float32(math.Round(float64(d))) }

// settleParts shifts all parts but the largest by whole turns to lie level with it: against the trend that the carrier has
// taken off, undamaged parts lie flat.
func settleParts(t []float32, label []int32, sizes []int, cols, rws int) {
	main := int32(1)
	for i, s := range sizes {
		if s > sizes[main-1] {
			main = int32(i + 1)
		}
	}
	sum := make([]float64, len(sizes)+1)
	for i, l := range label {
		sum[l] += float64(t[i])
	}
	for i, l := range label {
		if l != 0 && l != main {
			d := sum[l]/float64(sizes[l-1]) - sum[main]/float64(sizes[main-1])
			t[i] -= float32(math.Round(d))
		}
	}
}
