package surface

import (
	"math"

	"fairmetal/internal/rows"
)

// GaussCutoff returns the standard deviation, in mm, of the Gaussian filter of ISO 16610-21 with cut-off wavelength lambda mm:
// its weighting function is exp(-pi (x/(alpha lambda))^2)/(alpha lambda) with alpha = sqrt(ln 2/pi), so that a wave of the
// cut-off length passes by half.
func GaussCutoff(lambda float64) float64 {
	alpha := math.Sqrt(math.Ln2 / math.Pi)
	return alpha * lambda / math.Sqrt(2*math.Pi)
}

// Gauss returns z (row-major on g, NaN unknown) smoothed by a Gaussian of standard deviation sigmaMM, as a normalised
// convolution: unknown cells take no part, so that nothing leaks over the rim of the measured metal. Unknown cells stay so.
func Gauss(g Grid, z []float32, sigmaMM float64) []float32 {
	s := sigmaMM / g.PitchMM
	if s < 0.2 {
		return append([]float32(nil), z...)
	}
	// Wide filters run on a raster thinned so that sigma spans four cells: the loss is under 0.1 %.
	if s >= 8 {
		return gaussThinned(g, z, sigmaMM, int(s/4))
	}
	kernel := gaussKernel(s)
	n, half := g.Len(), len(kernel)-1
	num, den := make([]float32, n), make([]float32, n)
	// sums are the kernel's weights added up from its left end.
	sums := make([]float32, 2*half+1)
	var all float32
	for k := range sums {
		all += kernel[max(half-k, k-half)]
		sums[k] = all
	}
	full := make([][2]int, g.Rows) // columns of each row whose whole kernel is known
	rows.Do(g.Rows, func(r0, r1 int) {
		// What is known, and zero elsewhere, padded so that the kernel may reach over the rim.
		value := make([]float32, g.Cols+2*half)
		for r := r0; r < r1; r++ {
			row, weight := z[r*g.Cols:(r+1)*g.Cols], den[r*g.Cols:(r+1)*g.Cols]
			clear(value)
			any := false
			for c := 0; c < g.Cols; c++ {
				from := c
				for ; c < g.Cols && row[c] == row[c]; c++ {
					value[c+half] = row[c]
				}
				if c == from {
					continue
				}
				any = true
				addRun(weight, from, c, sums)
				if a, b := from+half, c-half; b-a > full[r][1]-full[r][0] {
					full[r] = [2]int{a, b}
				}
			}
			if any {
				rows.Along(num[r*g.Cols:(r+1)*g.Cols], value, kernel)
			}
		}
	})
	out := make([]float32, n)
	nan := float32(math.NaN())
	rows.Do(g.Rows, func(r0, r1 int) {
		a, b, zero := make([]float32, g.Cols), make([]float32, g.Cols), make([]float32, g.Cols)
		for r := r0; r < r1; r++ {
			rows.Across(a, num, g.Cols, 0, r, kernel, zero)
			lo, hi := 0, g.Cols // where all rows in reach are full
			for q := r - half; q <= r+half && hi > lo; q++ {
				if q < 0 || q >= g.Rows {
					hi = lo
					break
				}
				lo, hi = max(lo, full[q][0]), min(hi, full[q][1])
			}
			hi = max(lo, hi)
			rows.Across(b[:lo], den, g.Cols, 0, r, kernel, zero)
			for c := lo; c < hi; c++ {
				b[c] = all * all
			}
			rows.Across(b[hi:], den, g.Cols, hi, r, kernel, zero)
			for c := range g.Cols {
				i := r*g.Cols + c
				out[i] = nan
				if z[i] == z[i] {
					out[i] = a[c] / b[c]
				}
			}
		}
	})
	return out
}

// addRun adds to a row what a kernel finds known of the columns from one on up to another; sums are its weights added up from its left end.
func addRun(row []float32, from, to int, sums []float32) {
	half := len(sums) / 2
	upTo := func(k int) float32 {
		if k < -half {
			return 0
		}
		return sums[min(k, half)+half]
	}
	for c := max(0, from-half); c < min(len(row), to+half); c++ {
		row[c] += upTo(c-from) - upTo(c-to)
	}
}

// gaussKernel is the right half of the kernel, its middle first, cut at four standard deviations, where it has fallen to 3e-4.
func gaussKernel(s float64) []float32 {
	k := make([]float32, int(math.Ceil(4*s))+1)
	for i := range k {
		d := float64(i) / s
		k[i] = float32(math.Exp(-d * d / 2))
	}
	return k
}

func gaussThinned(g Grid, z []float32, sigmaMM float64, k int) []float32 {
	t := Grid{Cols: (g.Cols + k - 1) / k, Rows: (g.Rows + k - 1) / k, PitchMM: g.PitchMM * float64(k)}
	small := make([]float32, t.Len())
	rows.Do(t.Rows, func(r0, r1 int) {
		count := make([]float32, t.Cols)
		for r := r0; r < r1; r++ {
			row := small[r*t.Cols : (r+1)*t.Cols]
			clear(count)
			for y := r * k; y < min((r+1)*k, g.Rows); y++ {
				for x, v := range z[y*g.Cols : (y+1)*g.Cols] {
					if v == v {
						row[x/k] += v
						count[x/k]++
					}
				}
			}
			for c := range row {
				row[c] /= count[c] // 0/0 is NaN: unknown
			}
		}
	})
	// Block means have blurred by a box already: its variance is (k^2-1)/12 cells^2.
	box := g.PitchMM * math.Sqrt(float64(k*k-1)/12)
	sm := Gauss(t, small, math.Sqrt(max(0, sigmaMM*sigmaMM-2*box*box)))
	out := make([]float32, len(z))
	rows.Do(g.Rows, func(r0, r1 int) {
		for r := r0; r < r1; r++ {
			y := (float64(r)+0.5)/float64(k) - 0.5
			for c := range g.Cols {
				i := r*g.Cols + c
				if out[i] = z[i]; z[i] == z[i] {
					out[i] = bilinearKnown(t, sm, (float64(c)+0.5)/float64(k)-0.5, y, z[i])
				}
			}
		}
	})
	return out
}

// bilinearKnown interpolates among known cells; fallback where there is none.
func bilinearKnown(g Grid, z []float32, x, y float64, fallback float32) float32 {
	x, y = min(max(x, 0), float64(g.Cols-1)), min(max(y, 0), float64(g.Rows-1))
	c, r := min(int(x), max(0, g.Cols-2)), min(int(y), max(0, g.Rows-2))
	fx, fy := float32(x)-float32(c), float32(y)-float32(r)
	var a, b float32
	for dy := range 2 {
		for dx := range 2 {
			if c+dx >= g.Cols || r+dy >= g.Rows {
				continue
			}
			v := z[(r+dy)*g.Cols+c+dx]
			if v != v {
				continue
			}
			w := (1 - fx + float32(dx)*(2*fx-1)) * (1 - fy + float32(dy)*(2*fy-1))
			a += w * v
			b += w
		}
	}
	if b < 1e-6 {
		return fallback
	}
	return a / b
}
