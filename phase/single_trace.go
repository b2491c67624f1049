package phase

// Trace is a lab hook.
var Trace func(name string, cols, rows int, v []float32)

func trace(name string, cols, rows int, f func(i int) float32) {
	if Trace == nil {
		return
	}
	v := make([]float32, cols*rows)
	for i := range v {
		v[i] = f(i)
	}
	Trace(name, cols, rows, v)
}

func traceV(name string, cols, rows int, v []float32) {
	if Trace != nil {
		Trace(name, cols, rows, v)
	}
}
