package photo

import (
	"math"
	"slices"

	"fairmetal/internal/rows"
)

// Sharpness estimates how blurred the sharpest edges of a picture are, as the standard deviation in px of a Gaussian blur of a
// step. It compares the strongest changes of brightness over one pixel with those over eight: for an edge blurred by sigma
// their ratio is erf(0.5/(sigma sqrt 2)) / erf(4/(sigma sqrt 2)). The worse of both directions counts.
func Sharpness(m *Image) float64 {
	return max(edgeBlur(m, 1, 0), edgeBlur(m, 0, 1))
}

func edgeBlur(m *Image, dx, dy int) float64 {
	const reach = 8
	var one, eight []float32
	step := 1
	if m.W*m.H > 2_000_000 {
		step = 2
	}
	for y := reach / 2; y < m.H-reach/2; y += step {
		for x := reach / 2; x < m.W-reach/2; x++ {
			at := func(k int) float32 { return m.Pix[(y+k*dy)*m.W+x+k*dx] }
			one = append(one, abs32(at(1)-at(0)))
			eight = append(eight, abs32(at(reach/2)-at(-reach/2)))
		}
	}
	if len(one) < 1000 {
		return 0
	}
	// The top thousandth are the edges of cards and stripes, and not yet single hot pixels.
	top := func(v []float32) float64 {
		slices.Sort(v)
		return float64(v[len(v)-1-len(v)/1000])
	}
	a, b := top(one), top(eight)
	if b <= 0 {
		return math.Inf(1)
	}
	lo, hi := 0.05, 60.0
	for range 50 {
		s := math.Sqrt(lo * hi)
		if math.Erf(0.5/(s*math.Sqrt2))/math.Erf(4/(s*math.Sqrt2)) > a/b {
			lo = s
		} else {
			hi = s
		}
	}
	return math.Sqrt(lo * hi)
}

func abs32(v float32) float32 {
	if v < 0 {
		return -v
	}
	return v
}

// Average is the mean of pictures of one size.
func Average(imgs ...*Image) *Image {
	out := NewImage(imgs[0].W, imgs[0].H)
	k := 1 / float32(len(imgs))
	rows.Do(out.H, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			dst := out.Pix[y*out.W : (y+1)*out.W]
			for _, m := range imgs {
				for i, v := range m.Pix[y*out.W : (y+1)*out.W] {
					dst[i] += v
				}
			}
			for i := range dst {
				dst[i] *= k
			}
		}
	})
	return out
}

// Halve shrinks a picture to half its size by the mean of 2 x 2 pixels.
func Halve(m *Image) *Image {
	out := NewImage(m.W/2, m.H/2)
	rows.Do(out.H, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			meanOfFour(out.Pix[y*out.W:(y+1)*out.W], m.Pix[2*y*m.W:], m.Pix[(2*y+1)*m.W:])
		}
	})
	return out
}

// meanOfFour fills a row with the means of 2 x 2 pixels of two rows.
func meanOfFour(dst, a, b []float32) {
	a, b = a[:2*len(dst)], b[:2*len(dst)]
	for x := range dst {
		dst[x] = (a[2*x] + a[2*x+1] + b[2*x] + b[2*x+1]) / 4
	}
}

// SmoothPX2 is the variance of the blur that Smooth adds, px^2.
const SmoothPX2 = 0.5

// Smooth averages each pixel with its neighbours, binomial weights 1 2 1 both ways: noise falls to 0.375. The rim repeats itself.
func Smooth(m *Image) *Image {
	out, tmp := NewImage(m.W, m.H), make([]float32, len(m.Pix))
	for y := range m.H {
		row, dst := m.Pix[y*m.W:(y+1)*m.W], tmp[y*m.W:]
		for x, v := range row {
			dst[x] = 0.25*(row[max(x-1, 0)]+row[min(x+1, m.W-1)]) + 0.5*v
		}
	}
	for y := range m.H {
		up, row, down := tmp[max(y-1, 0)*m.W:], tmp[y*m.W:], tmp[min(y+1, m.H-1)*m.W:]
		for x := range m.W {
			out.Pix[y*m.W+x] = 0.25*(up[x]+down[x]) + 0.5*row[x]
		}
	}
	return out
}
