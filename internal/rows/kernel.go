package rows

// Along sets dst to a row weighted by a symmetric kernel about each element. kernel is its right half, the middle first; padded is the row with
// as many zeros before and behind as the kernel reaches.
func Along(dst, padded, kernel []float32) {
	half := len(kernel) - 1
	convolve(dst, kernel, func(d int) []float32 { return padded[half+d:] })
}

// Across sets dst to a part of row r, from a column on, of a raster with rows of cols, weighted by such a kernel down the columns, zero beyond the
// raster; zero is a row of zeros.
func Across(dst, raster []float32, cols, from, r int, kernel, zero []float32) {
	n := len(dst)
	convolve(dst, kernel, func(d int) []float32 {
		if r+d < 0 || (r+d+1)*cols > len(raster) {
			return zero[:n]
		}
		return raster[(r+d)*cols+from : (r+d)*cols+from+n]
	})
}

// convolve sets dst to what a kernel makes of rows by their distance, as many pairs of them at a time as go.
func convolve(dst, kernel []float32, row func(d int) []float32) {
	half, i := len(kernel)-1, 1
	weigh(dst, row(0), kernel[0])
	for ; i+3 <= half; i += 4 {
		addFours(dst, [8][]float32{row(-i), row(i), row(-i - 1), row(i + 1), row(-i - 2), row(i + 2), row(-i - 3), row(i + 3)}, [4]float32(kernel[i:]))
	}
	for ; i < half; i += 2 {
		addPairs(dst, row(-i), row(i), row(-i-1), row(i+1), kernel[i], kernel[i+1])
	}
	if i == half {
		addPair(dst, row(-i), row(i), kernel[i])
	}
}

// addFours adds four weighted pairs of a symmetric kernel's rows, element by element, to dst.
func addFours(dst []float32, of [8][]float32, weight [4]float32) {
	n := len(dst)
	a, b, c, d, e, f, g, h := of[0][:n], of[1][:n], of[2][:n], of[3][:n], of[4][:n], of[5][:n], of[6][:n], of[7][:n]
	s, t, u, v := weight[0], weight[1], weight[2], weight[3]
	for i, sum := range dst {
		sum += s*(a[i]+b[i]) + t*(c[i]+d[i])
		dst[i] = sum + (u*(e[i]+f[i]) + v*(g[i]+h[i]))
	}
}

// addPairs adds two.
func addPairs(dst, a, b, c, d []float32, v, w float32) {
	a, b, c, d = a[:len(dst)], b[:len(dst)], c[:len(dst)], d[:len(dst)]
	for i := range dst {
		dst[i] += v*(a[i]+b[i]) + w*(c[i]+d[i])
	}
}

// addPair adds one.
func addPair(dst, a, b []float32, v float32) {
	a, b = a[:len(dst)], b[:len(dst)]
	for i := range dst {
		dst[i] += v * (a[i] + b[i])
	}
}

// weigh sets dst to w a.
func weigh(dst, a []float32, w float32) {
	a = a[:len(dst)]
	for i, v := range a {
		dst[i] = w * v
	}
}
