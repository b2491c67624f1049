// Package rows splits work on pictures by rows over the machine's processors.
package rows

import (
	"runtime"
	"sync"
	"sync/atomic"
)

// Do calls f for consecutive ranges [y0, y1) that cover 0 to n, several at a time.
func Do(n int, f func(y0, y1 int)) {
	workers := runtime.GOMAXPROCS(0)
	if n < 2*workers || workers == 1 {
		f(0, n)
		return
	}
	// Four ranges a worker even out rows of unlike cost.
	parts := 4 * workers
	var next atomic.Int64
	work := func() {
		for i := int(next.Add(1)) - 1; i < parts; i = int(next.Add(1)) - 1 {
			if y0, y1 := n*i/parts, n*(i+1)/parts; y0 < y1 {
				f(y0, y1)
			}
		}
	}
	var wg sync.WaitGroup
	for range workers {
		wg.Go(work)
	}
	wg.Wait()
}
