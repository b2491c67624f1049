package phase

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"fairmetal/photo"
)

// dented is the coordinate that a sharp low shows, thirteen pixels wide at a tenth of its depth: the fine stripes run one in two or three
// pixels at its bottom.
func dented(x, y float64) float64 {
	const s = 3.0
	dx, dy := x-96.3, y-40.6
	return 1.6*(x-96) + 18*dx/s*math.Exp(-(dx*dx+dy*dy)/(2*s*s))
}

// blurred renders a shifted set of the dented coordinate through pixels and a lens of the given standard deviation, px.
func blurred(pitches []float64, lens, noise float64, bent func(v float64) float64) []Shot {
	const w, h, sub, rim = 192, 80, 3, 4
	rnd := rand.New(rand.NewPCG(4, 4))
	kernel := make([]float64, 2*rim*sub+1)
	var sum float64
	for i := range kernel {
		d := float64(i-rim*sub) / sub
		kernel[i] = math.Exp(-d * d / (2 * lens * lens))
		sum += kernel[i]
	}
	for i := range kernel {
		kernel[i] /= sum
	}
	fw, fh := (w+2*rim)*sub, (h+2*rim)*sub
	var out []Shot
	for _, p := range pitches {
		for _, s := range []float64{0, 0.25, 0.5, 0.75} {
			fine := make([]float64, fw*fh)
			for i := range fine {
				x, y := (float64(i%fw)+0.5)/sub-rim, (float64(i/fw)+0.5)/sub-rim
				fine[i] = bent(0.5 + 0.45*math.Cos(2*math.Pi*(dented(x, y)/p-s)))
			}
			// Along rows first, at the pixels' subpixels alone, then down.
			half := make([]float64, w*fh)
			for y := range fh {
				for x := range w {
					for q := range sub {
						for k, v := range kernel {
							half[y*w+x] += v * fine[y*fw+(x+rim)*sub+q+k-rim*sub] / sub
						}
					}
				}
			}
			m := photo.NewImage(w, h)
			for y := range h {
				for x := range w {
					var v float64
					for q := range sub {
						for k, u := range kernel {
							v += u * half[((y+rim)*sub+q+k-rim*sub)*w+x] / sub
						}
					}
					m.Pix[y*w+x] = float32(0.02 + 0.3*v + noise*rnd.NormFloat64())
				}
			}
			out = append(out, Shot{Img: m, PitchMM: p, Shift: s})
		}
	}
	return out
}

// off is the rms error of a field within r pixels of the dent's middle and its scatter beyond, mm.
func off(t *testing.T, f *Field, r float64) (inside, beyond float64) {
	t.Helper()
	var far []float64
	var n float64
	for y := 8; y < f.H-8; y++ {
		for x := 8; x < f.W-8; x++ {
			px, py := float64(x)+0.5, float64(y)+0.5
			d := float64(f.X[y*f.W+x]) - dented(px, py)
			switch q := math.Hypot(px-96.3, py-40.6); {
			case q < r && d != d:
				t.Fatalf("nothing is read at %d, %d", x, y)
			case q < r:
				inside, n = inside+d*d, n+1
			case q > 15 && d == d:
				far = append(far, d)
			}
		}
	}
	slices.Sort(far)
	middle := far[len(far)/2]
	var s float64
	for _, d := range far {
		s += (d - middle) * (d - middle)
	}
	return math.Sqrt(inside / n), math.Sqrt(s / float64(len(far)))
}

// TestRefineSharpMetal: where blur and pixels all but wipe the fine stripes out, most of what second order leaves comes off, though the
// display bends the stripes. Even metal keeps its noise.
func TestRefineSharpMetal(t *testing.T) {
	const lens = 0.8
	display := func(v float64) float64 { return math.Pow(v, 1.3) }
	f, err := Shifted("u", blurred([]float64{16, 130}, lens, 0.001, display), 500)
	if err != nil {
		t.Fatal(err)
	}
	f.Sharpen(lens*lens, 0, lens*lens)
	before, noise := off(t, f, 7)
	f.Refine(lens*lens+1.0/12, lens*lens+1.0/12)
	after, still := off(t, f, 7)
	t.Logf("%.2f mm rms before, %.2f after; even metal %.3f, %.3f", before, after, noise, still)
	if after > 0.6*before || before < 0.6 {
		t.Errorf("the dent's coordinate is %.2f mm off, %.2f before", after, before)
	}
	if still > 1.02*noise {
		t.Errorf("even metal scatters by %.3f mm, %.3f before", still, noise)
	}
}

// TestFootprint: the kernel has the variance asked for and lets a wave through as a Gaussian does.
func TestFootprint(t *testing.T) {
	for _, v := range []float64{1.0 / 12, 0.33, 1, 2.3} {
		k := footprint(v)
		var sum, two, wave float64
		for i, x := range k {
			d := float64(i - len(k)/2)
			sum, two, wave = sum+float64(x), two+float64(x)*d*d, wave+float64(x)*math.Cos(d)
		}
		if math.Abs(sum-1) > 1e-5 || math.Abs(two-v) > 5e-3*v || math.Abs(wave-math.Exp(-v/2)) > 0.01 {
			t.Errorf("variance %.3f: sum %.5f, variance %.4f, a wave of a radian a pixel passes to %.4f, want %.4f", v, sum, two, wave, math.Exp(-v/2))
		}
	}
}

// TestOctagon: what octagon reaches is what within masks.
func TestOctagon(t *testing.T) {
	const w, h, r = 40, 30, 5
	m := make([]bool, w*h)
	for _, i := range []int{0, 7*w + 12, 7*w + 13, 8*w + 12, 20*w + 39, 29*w + 20} {
		m[i] = true
	}
	got := slices.Clone(m)
	octagon(r, rim(m, w, h), w, h, func(i int) { got[i] = true })
	if !slices.Equal(got, within(m, w, h, r)) {
		t.Error("octagon and within differ")
	}
}
