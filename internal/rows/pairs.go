package rows

// AddPairs adds v (a + b) + w (c + d), element by element, to dst: two pairs of a symmetric kernel's rows.
func AddPairs(dst, a, b, c, d []float32, v, w float32) {
	a, b, c, d = a[:len(dst)], b[:len(dst)], c[:len(dst)], d[:len(dst)]
	for i := range dst {
		dst[i] += v*(a[i]+b[i]) + w*(c[i]+d[i])
	}
}

// Weigh sets dst to w a.
func Weigh(dst, a []float32, w float32) {
	a = a[:len(dst)]
	for i, v := range a {
		dst[i] = w * v
	}
}
