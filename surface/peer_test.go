package surface

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"fairmetal/internal/peer"
)

// scipyIntegrate solves the same equations by conjugate gradients with the rectangle's cosine-transform Poisson solver as
// preconditioner, to the same relative residual.
const scipyIntegrate = `
import numpy as np, time
from scipy.fft import dctn, idctn
from scipy.sparse.linalg import cg, LinearOperator
w, h, p, tol = np.fromfile("size.f64"); w, h = int(w), int(h)
zx, zy = np.fromfile("zx.f64").reshape(h, w), np.fromfile("zy.f64").reshape(h, w)
start = time.perf_counter()
ok = np.isfinite(zx) & np.isfinite(zy)
ex, ey = ok[:, :-1] & ok[:, 1:], ok[:-1] & ok[1:]
def rise(s, ok):
    r = (s[:, :-1] + s[:, 1:]) / 2
    all4 = ok[:, :-3] & ok[:, 1:-2] & ok[:, 2:-1] & ok[:, 3:]
    r[:, 1:-1] = np.where(all4, (13 * (s[:, 1:-2] + s[:, 2:-1]) - s[:, :-3] - s[:, 3:]) / 24, r[:, 1:-1]); return r * p
gx = np.where(ex, rise(zx, ok), 0); gy = np.where(ey, rise(zy.T, ok.T).T, 0)
def div(fx, fy):
    o = np.zeros((h, w)); o[:, :-1] -= fx; o[:, 1:] += fx; o[:-1] -= fy; o[1:] += fy; return o
def lap(v):
    z = v.reshape(h, w); return div(np.where(ex, z[:, 1:] - z[:, :-1], 0), np.where(ey, z[1:] - z[:-1], 0)).ravel()
k = (2 - 2 * np.cos(np.pi * np.arange(w) / w))[None] + (2 - 2 * np.cos(np.pi * np.arange(h) / h))[:, None]; k[0, 0] = 1
def pre(v):
    c = dctn(v.reshape(h, w), norm="ortho") / k; c[0, 0] = 0; return (idctn(c, norm="ortho") * ok).ravel()
n = w * h
z, info = cg(LinearOperator((n, n), lap), div(gx, gy).ravel(), tol=tol, M=LinearOperator((n, n), pre), maxiter=200)
took = time.perf_counter() - start
assert info == 0
z[~ok.ravel()] = np.nan
z.tofile("out.f64"); print(took)
`

// slopesOf makes the slopes of a dented, wavy panel of cols x rows cells with an odd-shaped readable part.
func slopesOf(cols, rows int) (g Grid, zx, zy []float32, z []float64) {
	g = Grid{Cols: cols, Rows: rows, PitchMM: 0.25}
	zx, zy, z = make([]float32, g.Len()), make([]float32, g.Len()), make([]float64, g.Len())
	rnd := rand.New(rand.NewPCG(7, 8))
	nan := float32(math.NaN())
	cx, cy := float64(cols)*g.PitchMM/2, float64(rows)*g.PitchMM/2
	for r := range rows {
		for c := range cols {
			i := r*cols + c
			x, y := g.XY(c, r)
			dx, dy := x-cx, y-cy
			e := 0.6 * math.Exp(-(dx*dx+dy*dy)/(2*15*15))
			sin, cos := math.Sincos(2 * math.Pi * (x + 2*y) / 70)
			z[i] = 0.02*sin - e
			zx[i] = float32(0.02*cos*2*math.Pi/70 + e*dx/225 + 1e-4*rnd.NormFloat64())
			zy[i] = float32(0.04*cos*2*math.Pi/70 + e*dy/225 + 1e-4*rnd.NormFloat64())
			hole := math.Hypot(dx-0.3*cx, dy-0.2*cy) < 0.1*cy
			if hole || math.Pow(math.Abs(dx/cx), 4)+math.Pow(math.Abs(dy/cy), 4) > 0.9 {
				zx[i], zy[i], z[i] = nan, nan, math.NaN()
			}
		}
	}
	return g, zx, zy, z
}

// apart is the rms difference of two height maps after their means are made equal, over cells that both have.
func apart(a, b []float64) float64 {
	var sum, n float64
	for i, v := range a {
		if d := v - b[i]; d == d {
			sum += d
			n++
		}
	}
	mean, s2 := sum/n, 0.0
	for i, v := range a {
		if d := v - b[i] - mean; d == d {
			s2 += d * d
		}
	}
	return math.Sqrt(s2 / n)
}

func wide(v []float32) []float64 {
	out := make([]float64, len(v))
	for i, x := range v {
		out[i] = float64(x)
	}
	return out
}

// TestIntegrateBesideScipy: the same least-squares problem solved by scipy gives the same heights, to a hundredth of a micrometre.
func TestIntegrateBesideScipy(t *testing.T) {
	g, zx, zy, truth := slopesOf(400, 300)
	ref, _ := peer.Python(t, scipyIntegrate, map[string][]float64{"zx": wide(zx), "zy": wide(zy), "size": {400, 300, g.PitchMM, 1e-8}})
	got, err := Integrate(g, zx, zy, nil, nil, 1e-8)
	if err != nil {
		t.Fatal(err)
	}
	if d := apart(got, ref); d > 1e-5 {
		t.Errorf("%.2e mm rms from scipy's heights", d)
	}
	if d := apart(got, truth); d > 2e-4 {
		t.Errorf("%.2e mm rms from the true heights", d)
	}
}

// BenchmarkIntegrateBesideScipy integrates the slopes of two million cells and reports how many times longer scipy takes in the same
// run, both to a relative residual of 1e-5.
func BenchmarkIntegrateBesideScipy(b *testing.B) {
	g, zx, zy, truth := slopesOf(1600, 1200)
	const tol = 1e-5
	ref, seconds := peer.Python(b, scipyIntegrate, map[string][]float64{"zx": wide(zx), "zy": wide(zy), "size": {1600, 1200, g.PitchMM, tol}})
	var got []float64
	start := time.Now()
	for b.Loop() {
		var err error
		if got, err = Integrate(g, zx, zy, nil, nil, tol); err != nil {
			b.Fatal(err)
		}
	}
	own := time.Since(start).Seconds() / float64(b.N)
	b.ReportMetric(seconds/own, "times-faster")
	b.ReportMetric(1000*apart(got, truth), "um-rms")
	b.ReportMetric(1000*apart(ref, truth), "scipy-um-rms")
}
