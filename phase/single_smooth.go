package phase

import (
	"math"

	"fairmetal/internal/rows"
)

// smooth convolves a raster with a Gaussian of standard deviation sigma cells, zero outside: dividing two smoothed rasters,
// signal and weight, makes a normalised convolution. The kernel is cut at three standard deviations, where it has fallen to a
// hundredth.
func smooth(a []float32, cols, rws int, sigma float64) []float32 {
	half := max(1, int(math.Ceil(3*sigma)))
	k := make([]float32, half+1)
	sum := 0.0
	for i := range k {
		v := math.Exp(-float64(i*i) / (2 * sigma * sigma))
		k[i] = float32(v)
		sum += 2 * v
	}
	sum--
	for i := range k {
		k[i] /= float32(sum)
	}
	tmp, out := make([]float32, len(a)), make([]float32, len(a))
	rows.Do(rws, func(r0, r1 int) {
		pad := make([]float32, cols+2*half)
		for r := r0; r < r1; r++ {
			copy(pad[half:], a[r*cols:(r+1)*cols])
			dst := tmp[r*cols : (r+1)*cols]
			for c := range dst {
				w := pad[c : c+2*half+1]
				s := k[0] * w[half]
				for i := 1; i <= half; i++ {
					s += k[i] * (w[half-i] + w[half+i])
				}
				dst[c] = s
			}
		}
	})
	rows.Do(rws, func(r0, r1 int) {
		for r := r0; r < r1; r++ {
			dst := out[r*cols : (r+1)*cols]
			for i := -half; i <= half; i++ {
				q := r + i
				if q < 0 || q >= rws {
					continue
				}
				w := k[max(i, -i)]
				for c, v := range tmp[q*cols : (q+1)*cols] {
					dst[c] += w * v
				}
			}
		}
	})
	return out
}
