package card

import (
	"math"
	"math/rand/v2"
	"testing"
)

// testModel is a tilted, bent, unevenly lit symbol.
func testModel(t *testing.T) *model {
	t.Helper()
	_, m := testPattern(t)
	f := newModel(m, [9]float64{6.1, 1.2, 300, -0.8, 4.4, 200, 0.002, 0.004, 1}, 0.2)
	f.x[iBlur], f.x[iBlur+1], f.x[iBlur+2] = 1.1, 0.2, 0.8
	f.x[iSpread] = 0.03
	copy(f.x[iWhite:], []float64{0.7, 0.05, -0.03, 0.6, 0.02, 0.04})
	copy(f.x[iBend:], []float64{-0.001, 0.0003, -0.0012})
	f.eye = [3]float64{0.4, -0.6, 0.004}
	f.n = nAll
	return f
}

// Every derivative of the model against central differences. With respect to the homography the model leaves out that the blur on
// the card changes with it, and with respect to the blur that it also softens the spread's outline: no more than a few per cent.
func TestModelDerivatives(t *testing.T) {
	f := testModel(t)
	f.x[iSpread] = 0.005
	rng := rand.New(rand.NewPCG(7, 8))
	steps := [nAll]float64{1e-3, 1e-3, 1e-3, 1e-3, 1e-3, 1e-3, 1e-6, 1e-6, 1e-3, 1e-3, 1e-3, 1e-4,
		1e-3, 1e-3, 1e-3, 1e-3, 1e-3, 1e-3, 1e-5, 1e-5, 1e-5}
	var diff, size [nAll]float64
	for range 400 {
		u, v := 22*rng.Float64()-11, 22*rng.Float64()-11
		px, py := apply(f.x[:8], u, v)
		m, _ := f.mapping()
		f.prepare(&m)
		var g [nAll]float64
		if _, edge := f.value(&m, px, py, &g); !edge {
			for i := range iWhite {
				g[i] = 0
			}
			g[iBend], g[iBend+1], g[iBend+2] = 0, 0, 0
		}
		for i, h := range steps {
			x := f.x[i]
			at := func(d float64) float64 {
				f.x[i] = x + d
				m, _ := f.mapping()
				lum, _ := f.value(&m, px, py, nil)
				return lum
			}
			want := (at(h) - at(-h)) / 2 / h
			f.x[i] = x
			diff[i] += square(g[i] - want)
			size[i] += square(want)
		}
	}
	for i := range nAll {
		ratio := math.Sqrt(diff[i] / size[i])
		limit := 2e-3 // quadrature and table
		switch {
		case i < iBlur:
			limit = 0.06
		case i <= iBlur+2 || i == iSpread || i >= iBend:
			limit = 0.1 // of the covariance's also what the quadrature does
		}
		if !(ratio < limit) {
			t.Errorf("unknown %d: rms difference %.4f of the derivative's rms, limit %.4f", i, ratio, limit)
		}
	}
}

// view must invert the way from the card to the photo, bend and all.
func TestViewInverts(t *testing.T) {
	f := testModel(t)
	m, _ := f.mapping()
	for _, q := range [][2]float64{{0, 0}, {-10.5, -10.5}, {10.5, -10.5}, {10.5, 10.5}, {-3, 8}} {
		u, v := q[0], q[1]
		b := f.x[iBend:]
		lift := 0.5*b[0]*u*u + b[1]*u*v + 0.5*b[2]*v*v
		px, py := apply(f.x[:8], u+lift*(f.eye[0]+u*f.eye[2]), v+lift*(f.eye[1]+v*f.eye[2]))
		k := f.view(&m, px, py)
		if math.Hypot(k.u-u, k.v-v) > 1e-5 {
			t.Errorf("%v came back as %.7f, %.7f", q, k.u, k.v)
		}
		// Jacobian by differences.
		const h = 1e-4
		kx, ky := f.view(&m, px+h, py), f.view(&m, px, py+h)
		for _, c := range [][2]float64{
			{k.uxx, (kx.u - k.u) / h}, {k.vxx, (kx.v - k.v) / h}, {k.uxy, (ky.u - k.u) / h}, {k.vxy, (ky.v - k.v) / h},
		} {
			if math.Abs(c[0]-c[1]) > 1e-4 {
				t.Errorf("at %v: Jacobian %.6f, differences give %.6f", q, c[0], c[1])
			}
		}
	}
}

// A fit to the model's own picture comes back to it from a pixel away.
func TestSolveReturns(t *testing.T) {
	want := testModel(t)
	m, _ := want.mapping()
	want.prepare(&m)
	f := testModel(t)
	f.bendPrior = 1
	var s []sample
	for py := -70.; py < 70; py++ {
		for px := -85.; px < 85; px++ {
			if u, v := m.symbol(px, py); math.Abs(u) < 12 && math.Abs(v) < 12 {
				lum, _ := want.value(&m, px, py, nil)
				s = append(s, sample{px, py, lum, 1, 1})
			}
		}
	}
	f.x[2] += 0.8
	f.x[5] -= 0.6
	f.x[0] *= 1.02
	f.x[7] *= 0.9
	f.x[iBlur] *= 1.5
	f.x[iWhite] += 0.1
	f.x[iBend] = 0
	if err := f.solve(s, everything, 30, 1e-6); err != nil {
		t.Fatal(err)
	}
	if d := f.moved(&want.x); d > 1e-3 {
		t.Errorf("corners came back to %.5f px", d)
	}
	for i := range nAll {
		if d := math.Abs(f.x[i] - want.x[i]); d > 1e-3*(1+math.Abs(want.x[i])) {
			t.Errorf("unknown %d: %.6f, want %.6f", i, f.x[i], want.x[i])
		}
	}
}

// The cut at the sensor's white keeps what clipped pixels say: at least so much.
func TestResidual(t *testing.T) {
	for _, c := range []struct {
		v, lum, want float64
		mute         bool
	}{
		{0.5, 0.6, -0.1, false}, {0.5, 1.4, -0.5, true}, {1, 1.4, 0, true}, {0.98, 0.99, 0, true}, {1, 0.9, 0.1, false}, {0.9, 1.1, -0.1, true},
	} {
		r, mute := residual(c.v, c.lum)
		if math.Abs(r-c.want) > 1e-12 || mute != c.mute {
			t.Errorf("residual(%v, %v) = %v, %v, want %v, %v", c.v, c.lum, r, mute, c.want, c.mute)
		}
	}
}
