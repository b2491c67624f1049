package phase

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"fairmetal/internal/peer"
)

// skimageUnwrap unwraps by reliability sorting [Herraez2002].
const skimageUnwrap = `
import numpy as np, time
from skimage.restoration import unwrap_phase
w, h = np.fromfile("size.f64").astype(int)
ph, ok = np.fromfile("phase.f64").reshape(h, w), np.fromfile("ok.f64").reshape(h, w) > 0
start = time.perf_counter()
out = unwrap_phase(np.ma.array(ph, mask=~ok))
took = time.perf_counter() - start
np.asarray(out.filled(np.nan)).tofile("out.f64"); print(took)
`

// wrappedDents makes the wrapped phase of stripes mirrored in a crowned, dented panel, noise of 0.05 rad on it, with an oval readable
// part; want is the phase before wrapping.
func wrappedDents(w, h int) (wrapped []float32, ok []bool, want []float64) {
	wrapped, ok, want = make([]float32, w*h), make([]bool, w*h), make([]float64, w*h)
	rnd := rand.New(rand.NewPCG(1, 9))
	for y := range h {
		for x := range w {
			i := y*w + x
			u, v := float64(x)/float64(w)-0.5, float64(y)/float64(h)-0.5
			p := 2 * math.Pi * (40*u + 6*u*v + 4*v*v)
			for _, d := range [][3]float64{{-0.2, 0.1, 30}, {0.15, -0.1, -40}, {0.05, 0.2, 25}} {
				p += d[2] * math.Exp(-((u-d[0])*(u-d[0])+(v-d[1])*(v-d[1]))/(2*0.05*0.05))
			}
			want[i] = p + 0.05*rnd.NormFloat64()
			wrapped[i] = float32(math.Remainder(want[i], 2*math.Pi))
			ok[i] = u*u+v*v < 0.23
		}
	}
	return wrapped, ok, want
}

func inputs(wrapped []float32, ok []bool, w, h int) map[string][]float64 {
	ph, mask := make([]float64, len(ok)), make([]float64, len(ok))
	for i, good := range ok {
		ph[i] = float64(wrapped[i])
		if good {
			mask[i] = 1
		}
	}
	return map[string][]float64{"phase": ph, "ok": mask, "size": {float64(w), float64(h)}}
}

// wrong counts the readable pixels that a constant number of turns does not bring onto the truth.
func wrong[T float32 | float64](got []T, want []float64, ok []bool) int {
	first, n := math.NaN(), 0
	for i, good := range ok {
		if !good {
			continue
		}
		d := float64(got[i]) - want[i]
		if math.IsNaN(first) {
			first = d
		}
		if !(math.Abs(d-first) < 1) {
			n++
		}
	}
	return n
}

// TestUnwrapBesideSkimage: both bring every readable pixel onto the truth.
func TestUnwrapBesideSkimage(t *testing.T) {
	const w, h = 480, 360
	wrapped, ok, want := wrappedDents(w, h)
	ref, _ := peer.Python(t, skimageUnwrap, inputs(wrapped, ok, w, h))
	if n := wrong(ref, want, ok); n != 0 {
		t.Fatalf("the reference leaves %d pixels wrong: the case is no fair one", n)
	}
	if n := wrong(unwrapReliable(wrapped, ok, w, h, 2*math.Pi), want, ok); n != 0 {
		t.Errorf("%d pixels on a wrong turn", n)
	}
}

// BenchmarkUnwrapBesideSkimage unwraps two million pixels and reports how many times longer scikit-image takes in the same run.
func BenchmarkUnwrapBesideSkimage(b *testing.B) {
	const w, h = 1600, 1200
	wrapped, ok, want := wrappedDents(w, h)
	ref, seconds := peer.Python(b, skimageUnwrap, inputs(wrapped, ok, w, h))
	var got []float32
	start := time.Now()
	for b.Loop() {
		got = unwrapReliable(wrapped, ok, w, h, 2*math.Pi)
	}
	own := time.Since(start).Seconds() / float64(b.N)
	b.ReportMetric(seconds/own, "times-faster")
	b.ReportMetric(float64(wrong(got, want, ok)), "wrong-px")
	b.ReportMetric(float64(wrong(ref, want, ok)), "skimage-wrong-px")
}
