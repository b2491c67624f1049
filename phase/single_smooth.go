package phase

import (
	"math"
	"slices"

	"fairmetal/internal/rows"
)

// smooth convolves a raster with a Gaussian of standard deviation sigma cells, zero outside: dividing two smoothed rasters,
// signal and weight, makes a normalised convolution. Narrow kernels are cut at three standard deviations, where they have fallen
// to a hundredth; wide ones are four running means, a Gaussian within a tenth of its top, at a cost that does not grow with
// sigma; their weights fall off faster near the rim.
func smooth(a []float32, cols, rws int, sigma float64) []float32 {
	out := slices.Clone(a)
	smoothIn(out, make([]float32, len(a)), cols, rws, sigma)
	return out
}

// smoothIn is smooth in place; tmp is scratch of the raster's length.
func smoothIn(a, tmp []float32, cols, rws int, sigma float64) {
	if sigma > 3 {
		runningMeans(a, tmp, cols, rws, sigma)
		return
	}
	k := gaussKernel(sigma)
	half := len(k) - 1
	rows.Do(rws, func(r0, r1 int) {
		pad := make([]float32, cols+2*half)
		for r := r0; r < r1; r++ {
			copy(pad[half:], a[r*cols:(r+1)*cols])
			rows.Along(tmp[r*cols:(r+1)*cols], pad, k)
		}
	})
	zero := make([]float32, cols)
	rows.Do(rws, func(r0, r1 int) {
		for r := r0; r < r1; r++ {
			rows.Across(a[r*cols:(r+1)*cols], tmp, cols, 0, r, k, zero)
		}
	})
}

// gaussKernel is the right half of a Gaussian of standard deviation sigma that adds up to 1, the middle first.
func gaussKernel(sigma float64) []float32 {
	k := make([]float32, 1+max(1, int(math.Ceil(3*sigma))))
	sum := -1.0
	for i := range k {
		v := math.Exp(-float64(i*i) / (2 * sigma * sigma))
		k[i] = float32(v)
		sum += 2 * v
	}
	for i := range k {
		k[i] /= float32(sum)
	}
	return k
}

// scratch keeps rasters of one length for use again; what is taken holds anything.
type scratch [][]float32

func (s *scratch) take(n int) []float32 {
	if k := len(*s) - 1; k >= 0 {
		v := (*s)[k]
		*s = (*s)[:k]
		return v
	}
	return make([]float32, n)
}

func (s *scratch) give(v ...[]float32) { *s = append(*s, v...) }

const meanPasses = 4

// runningMeans smooths a, in place, by meanPasses running means of odd breadth, the breadths chosen so that their variances, (b^2-1)/12 each,
// add up to the nearest of sigma^2.
func runningMeans(a, tmp []float32, cols, rws int, sigma float64) {
	ideal := math.Sqrt(12*sigma*sigma/meanPasses + 1)
	narrow := int(ideal)
	if narrow%2 == 0 {
		narrow--
	}
	// Of the passes, as many narrow ones as bring the variance nearest; the others are two cells broader.
	n, m := float64(narrow), float64(meanPasses)
	few := int(math.Round((12*sigma*sigma - m*n*n - 4*m*n - 3*m) / (-4*n - 4)))
	rows.Do(rws, func(r0, r1 int) {
		buf := make([]float32, cols)
		for r := r0; r < r1; r++ {
			line := a[r*cols : (r+1)*cols]
			for p := range meanPasses {
				h := narrow / 2
				if p >= few {
					h++
				}
				runningMean(line, buf, h)
				line, buf = buf, line
			}
			// An even number of passes leaves the result where it began.
		}
	})
	for p := range meanPasses {
		h := narrow / 2
		if p >= few {
			h++
		}
		down(a, tmp, cols, rws, h)
		a, tmp = tmp, a
	}
}

// runningMean sets dst to the means of src over 2 h + 1 cells, zero outside.
func runningMean(src, dst []float32, h int) {
	w := 1 / float32(2*h+1)
	var s float32
	for i := 0; i < min(h, len(src)); i++ {
		s += src[i]
	}
	for i := range dst {
		if i+h < len(src) {
			s += src[i+h]
		}
		if i-h-1 >= 0 {
			s -= src[i-h-1]
		}
		dst[i] = s * w
	}
}

// down is runningMean along columns.
func down(src, dst []float32, cols, rws, h int) {
	w := 1 / float32(2*h+1)
	rows.Do(rws, func(r0, r1 int) {
		sum := make([]float32, cols)
		for r := max(0, r0-h); r < min(rws, r0+h); r++ {
			for c, v := range src[r*cols : (r+1)*cols] {
				sum[c] += v
			}
		}
		for r := r0; r < r1; r++ {
			if r+h < rws {
				for c, v := range src[(r+h)*cols : (r+h+1)*cols] {
					sum[c] += v
				}
			}
			if q := r - h - 1; q >= 0 && r > r0 {
				for c, v := range src[q*cols : (q+1)*cols] {
					sum[c] -= v
				}
			}
			o := dst[r*cols : (r+1)*cols]
			for c, v := range sum {
				o[c] = v * w
			}
		}
	})
}
