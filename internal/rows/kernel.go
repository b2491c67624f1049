package rows

// Along sets dst to a row weighted by a symmetric kernel about each element. kernel is its right half, the middle first; padded is the row with
// as many zeros before and behind as the kernel reaches.
func Along(dst, padded, kernel []float32) {
	half := len(kernel) - 1
	weigh(dst, padded[half:], kernel[0])
	i := 1
	for ; i < half; i += 2 {
		addPairs(dst, padded[half-i:], padded[half+i:], padded[half-i-1:], padded[half+i+1:], kernel[i], kernel[i+1])
	}
	if i == half {
		addPairs(dst, padded[half-i:], padded[half+i:], padded, padded, kernel[i], 0)
	}
}

// Across sets dst to a part of row r, from a column on, of a raster with rows of cols, weighted by such a kernel down the columns, zero beyond the
// raster; zero is a row of zeros.
func Across(dst, raster []float32, cols, from, r int, kernel, zero []float32) {
	half, n := len(kernel)-1, len(dst)
	row := func(r int) []float32 {
		if r < 0 || (r+1)*cols > len(raster) {
			return zero[:n]
		}
		return raster[r*cols+from : r*cols+from+n]
	}
	weigh(dst, row(r), kernel[0])
	i := 1
	for ; i < half; i += 2 {
		addPairs(dst, row(r-i), row(r+i), row(r-i-1), row(r+i+1), kernel[i], kernel[i+1])
	}
	if i == half {
		addPairs(dst, row(r-i), row(r+i), zero, zero, kernel[i], 0)
	}
}

// addPairs adds v (a + b) + w (c + d), element by element, to dst: two pairs of a symmetric kernel's rows.
func addPairs(dst, a, b, c, d []float32, v, w float32) {
	a, b, c, d = a[:len(dst)], b[:len(dst)], c[:len(dst)], d[:len(dst)]
	for i := range dst {
		dst[i] += v*(a[i]+b[i]) + w*(c[i]+d[i])
	}
}

// weigh sets dst to w a.
func weigh(dst, a []float32, w float32) {
	a = a[:len(dst)]
	for i, v := range a {
		dst[i] = w * v
	}
}
