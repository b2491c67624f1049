package fair

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"fairmetal/surface"
)

// panel returns a surface of w x h mm at a pitch whose height is f, mm, and whose sigma is given, um.
func panel(w, h, pitch, sigmaUM float64, f func(x, y float64) float64) *surface.Surface {
	g := surface.Grid{Cols: int(w/pitch) + 1, Rows: int(h/pitch) + 1, PitchMM: pitch, X0MM: -w / 2, Y0MM: -h / 2}
	s := surface.New(g)
	for r := range g.Rows {
		for c := range g.Cols {
			x, y := g.XY(c, r)
			s.Height[r*g.Cols+c], s.Sigma[r*g.Cols+c] = float32(f(x, y)), float32(sigmaUM/1000)
		}
	}
	return s
}

// wave is a sinusoid of slope amplitude slope (rad) and length lambda running in direction deg.
func wave(slope, lambda, deg float64) func(x, y float64) float64 {
	sin, cos := math.Sincos(deg * math.Pi / 180)
	k := 2 * math.Pi / lambda
	return func(x, y float64) float64 { return slope / k * math.Sin(k*(cos*x+sin*y)) }
}

// bowl is a round low: depth mm, width mm at a tenth of the depth.
func bowl(depth, width, x0, y0 float64) func(x, y float64) float64 {
	m := width / 2 / rimSD
	return func(x, y float64) float64 {
		return -depth * math.Exp(-((x-x0)*(x-x0)+(y-y0)*(y-y0))/(2*m*m))
	}
}

func flat(float64, float64) float64 { return 0 }

// addPeel adds orange peel of rms um: white noise through the difference of two Gaussians, 0.45 and 1.7 mm, waves of about 1 to 8 mm.
func addPeel(s *surface.Surface, rms float64, seed uint64) {
	rnd := rand.New(rand.NewPCG(seed, 1))
	n := make([]float32, s.Len())
	for i := range n {
		n[i] = float32(rnd.NormFloat64())
	}
	a, b := surface.Gauss(s.Grid, n, 0.45), surface.Gauss(s.Grid, n, 1.7)
	var sum float64
	for i := range a {
		a[i] -= b[i]
		sum += float64(a[i]) * float64(a[i])
	}
	k := float32(rms / 1000 / math.Sqrt(sum/float64(len(a))))
	for i := range a {
		s.Height[i] += k * a[i]
	}
}

func must(t *testing.T, s *surface.Surface, l Limits) Verdict {
	t.Helper()
	v, err := Judge(s, l)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// TestWaveAtTheLimit: a sinusoid whose slope is exactly the limit passes, 20 % over fails, for every paint, direction and for lengths
// from 30 mm, where the filter of orange peel leaves 93 %, to 70 mm, where the smooth course has taken 4 %.
func TestWaveAtTheLimit(t *testing.T) {
	for _, paint := range []Paint{Black, Dark, Mid, Pale} {
		for i, c := range []struct{ lambda, deg float64 }{{40, 30}, {30, 0}, {40, 0}, {50, 90}, {70, 67.5}} {
			if i > 0 && paint != Black {
				continue // the paints differ by the limit alone
			}
			l := DefaultLimits(paint)
			if v := must(t, panel(300, 200, 1, 0.02, wave(1e-3*l.SlopeMRad, c.lambda, c.deg)), l); !v.Fair || v.Answer != Yes {
				t.Errorf("%s, %g mm at %g degrees: at the limit %s: %s", paint, c.lambda, c.deg, v.Answer, strings.Join(v.Reasons, "; "))
			}
			v := must(t, panel(300, 200, 1, 0.02, wave(1.2e-3*l.SlopeMRad, c.lambda, c.deg)), l)
			if v.Answer != No || v.Fair {
				t.Errorf("%s, %g mm at %g degrees: 20 %% over is %s, worst %+v", paint, c.lambda, c.deg, v.Answer, v.Worst)
			}
			if a := math.Abs(math.Remainder(v.Worst.AzimuthDeg-c.deg, 180)); v.Worst.LineDeg == 0 && a > 7.6 {
				t.Errorf("%g mm at %g degrees: worst seen from %g", c.lambda, c.deg, v.Worst.AzimuthDeg)
			}
		}
	}
}

// TestWobbleIsTwiceTheSlope on a wave that no filter touches by more than 4 %.
func TestWobbleIsTwiceTheSlope(t *testing.T) {
	l := DefaultLimits(Black)
	l.BoardMM = 1500
	v := must(t, panel(300, 200, 1, 0.02, wave(0.5e-3, 50, 0)), l)
	if w := v.Worst; math.Abs(w.WobbleMRad-1) > 0.04 || math.Abs(w.WobbleMM-1.5*w.WobbleMRad) > 1e-9 {
		t.Errorf("%+v", w)
	}
}

// TestOrangePeelPasses: 0.6 and 1 um rms, on black, at two pitches.
func TestOrangePeelPasses(t *testing.T) {
	for _, pitch := range []float64{0.5, 1} {
		for _, rms := range []float64{0.6, 1} {
			for seed := range uint64(3 * pitch) {
				s := panel(300, 200, pitch, 0.2, flat)
				addPeel(s, rms, seed)
				v := must(t, s, DefaultLimits(Black))
				if v.Answer != Yes || len(v.Flaws) > 0 {
					t.Errorf("pitch %g, %g um, seed %d: %s %v; flaws %+v", pitch, rms, seed, v.Answer, v.Reasons, v.Flaws)
				}
				if v.PeelUM < 0.6*rms || v.PeelUM > 1.1*rms {
					t.Errorf("peel of %g um is told as %.2f", rms, v.PeelUM)
				}
			}
		}
	}
}

// TestOverlookedFlaw: 20 mm wide, 30 um deep, low or high, anywhere, under orange peel of 1 um: found within 2 mm, its depth within a
// quarter, and on every paint the panel is not fair.
func TestOverlookedFlaw(t *testing.T) {
	for k, at := range [][2]float64{{0, 0}, {-117, 68}, {103.4, -31.7}, {140, 0}, {20, -91}} {
		for _, sign := range [][]float64{{1, -1}, {1}, {-1}, {1}, {-1}}[k] {
			s := panel(300, 200, 1, 0.3, bowl(sign*0.030, 20, at[0], at[1]))
			addPeel(s, 1, uint64(k))
			v := must(t, s, DefaultLimits(Pale))
			if len(v.Flaws) != 1 {
				t.Errorf("at %v: %d flaws: %+v", at, len(v.Flaws), v.Flaws)
				continue
			}
			f := v.Flaws[0]
			if math.Hypot(f.XMM-at[0], f.YMM-at[1]) > 2 || math.Abs(f.HeightUM+sign*30) > 7.5 || f.WidthMM < 12 || f.WidthMM > 30 {
				t.Errorf("at %v: %+v", at, f)
			}
			if v.Fair || f.Answer != No {
				t.Errorf("at %v: %s, flaw %s with %.2f mrad", at, v.Answer, f.Answer, f.SlopeMRad)
			}
		}
	}
}

// TestTwoFlawsSideBySide are told apart.
func TestTwoFlawsSideBySide(t *testing.T) {
	a, b := bowl(0.03, 20, -15, 0), bowl(0.02, 14, 15, 5)
	v := must(t, panel(300, 200, 1, 0.1, func(x, y float64) float64 { return a(x, y) + b(x, y) }), DefaultLimits(Black))
	if len(v.Flaws) != 2 {
		t.Errorf("%+v", v.Flaws)
	}
}

// turned returns the surface turned by 90 degrees (quarter) or mirrored.
func turned(s *surface.Surface, quarter, mirror bool) *surface.Surface {
	g := s.Grid
	out := surface.New(g)
	if quarter {
		out = surface.New(surface.Grid{Cols: g.Rows, Rows: g.Cols, PitchMM: g.PitchMM, X0MM: g.Y0MM, Y0MM: g.X0MM})
	}
	for r := range g.Rows {
		for c := range g.Cols {
			cc, rr := c, r
			if mirror {
				cc = g.Cols - 1 - c
			}
			if quarter {
				cc, rr = g.Rows-1-rr, cc
			}
			out.Height[rr*out.Cols+cc], out.Sigma[rr*out.Cols+cc] = s.Height[r*g.Cols+c], s.Sigma[r*g.Cols+c]
		}
	}
	return out
}

// TestTurnedAndMirrored: the same answer, worst wobble and flaws whichever way the panel lies.
func TestTurnedAndMirrored(t *testing.T) {
	w, b := wave(0.9e-3, 45, 20), bowl(0.02, 25, 40, -30)
	s := panel(240, 180, 1, 0.1, func(x, y float64) float64 { return w(x, y) + b(x, y) })
	addPeel(s, 0.5, 4)
	want := must(t, s, DefaultLimits(Mid))
	for _, c := range [][2]bool{{true, false}, {false, true}, {true, true}} {
		got := must(t, turned(s, c[0], c[1]), DefaultLimits(Mid))
		if got.Answer != want.Answer || math.Abs(got.Worst.WobbleMRad-want.Worst.WobbleMRad) > 0.01 || len(got.Flaws) != len(want.Flaws) {
			t.Errorf("turned %v mirrored %v: %s %.3f mrad %d flaws, was %s %.3f, %d", c[0], c[1], got.Answer, got.Worst.WobbleMRad, len(got.Flaws), want.Answer, want.Worst.WobbleMRad, len(want.Flaws))
		}
	}
	// Turned by any angle: the dome has a view every 15 degrees.
	for _, deg := range []float64{0, 11, 52} {
		v := must(t, panel(300, 300, 1, 0.02, wave(1e-3, 40, deg)), DefaultLimits(Mid))
		if d := v.Worst.WobbleMRad; d < 1.88 || d > 2 {
			t.Errorf("a wave of 1 mrad at %g degrees wobbles by %.3f mrad", deg, d)
		}
	}
}

// TestSmoothCourse: tilt, a bend and a long swell are a smooth course, not a wobble, up to the rim.
func TestSmoothCourse(t *testing.T) {
	v := must(t, panel(300, 200, 1, 0.1, func(x, y float64) float64 { return 2e-3*x + 3e-3*y + x*x/40000 - x*y/60000 }), DefaultLimits(Black))
	if v.Answer != Yes || v.Worst.WobbleMRad > 0.02 {
		t.Errorf("%s %v %+v", v.Answer, v.Reasons, v.Worst)
	}
}

// TestFlatViewSeesLongWaves: a wave of 160 mm is nearly a smooth course from above and a wobble when one stoops along it.
func TestFlatViewSeesLongWaves(t *testing.T) {
	v := must(t, panel(480, 240, 1, 0.1, wave(1e-3, 160, 0)), DefaultLimits(Black))
	seen := map[float64]float64{}
	for _, s := range v.Views {
		if s.AzimuthDeg == 0 && s.LineDeg == 0 {
			seen[s.ElevationDeg] = s.WobbleMRad
		}
	}
	if seen[20] < 1.4*seen[70] || seen[70] == 0 {
		t.Errorf("wobble by elevation: %v", seen)
	}
}

// TestNoiseDoesNotFail: flat metal under noise as large as its sigma is never called not fair, and a wave just over the limit under it
// is not sure.
func TestNoiseDoesNotFail(t *testing.T) {
	l := DefaultLimits(Black)
	for seed := range uint64(2) {
		rnd := rand.New(rand.NewPCG(seed, 7))
		s := panel(300, 200, 1, 6, flat)
		for i := range s.Height {
			s.Height[i] += float32(0.006 * rnd.NormFloat64())
		}
		if v := must(t, s, l); v.Answer == No {
			t.Errorf("noise alone: %v", v.Reasons)
		}
	}
	// 3 um leave 0.28 mrad of slope.
	if v := must(t, panel(300, 200, 1, 3, wave(1.1e-3, 50, 0)), l); v.Answer != NotSure || v.Fair {
		t.Errorf("10 %% over with 3 um of uncertainty: %s, fair %v", v.Answer, v.Fair)
	}
	if v := must(t, panel(300, 200, 1, 3, wave(0.9e-3, 50, 0)), l); v.Answer != NotSure || !v.Fair {
		t.Errorf("10 %% under with 3 um of uncertainty: %s, fair %v", v.Answer, v.Fair)
	}
	if v := must(t, panel(300, 200, 1, 3, wave(0.5e-3, 50, 0)), l); v.Answer != Yes || !v.Fair {
		t.Errorf("well under the limit with 3 um of uncertainty: %s %v", v.Answer, v.Reasons)
	}
}

// TestGaps: a missing corner is told and leaves the answer; a hole inside makes it unsure; a flaw beside a hole still fails.
func TestGaps(t *testing.T) {
	cut := func(f func(x, y float64) float64, gone func(x, y float64) bool) *surface.Surface {
		return panel(300, 200, 1, 0.1, func(x, y float64) float64 {
			if gone(x, y) {
				return math.NaN()
			}
			return f(x, y)
		})
	}
	v := must(t, cut(wave(0.3e-3, 40, 0), func(x, y float64) bool { return x+y > 150 }), DefaultLimits(Black))
	if v.Answer != Yes || len(v.Gaps) != 1 || v.Gaps[0].Inside || v.Covered > 0.95 {
		t.Errorf("corner: %s %v gaps %+v covered %.2f", v.Answer, v.Reasons, v.Gaps, v.Covered)
	}
	hole := func(x, y float64) bool { return math.Hypot(x-50, y) < 10 }
	v = must(t, cut(flat, hole), DefaultLimits(Black))
	if v.Answer != NotSure || len(v.Gaps) != 1 || !v.Gaps[0].Inside || math.Abs(v.Gaps[0].XMM-50) > 0.5 || math.Abs(v.Gaps[0].AreaMM2-314) > 15 {
		t.Errorf("hole: %s %+v", v.Answer, v.Gaps)
	}
	v = must(t, cut(bowl(0.03, 20, 30, 0), hole), DefaultLimits(Black))
	if v.Answer != No || len(v.Flaws) != 1 {
		t.Errorf("flaw beside a hole: %s %+v", v.Answer, v.Flaws)
	}
}

func TestRefusals(t *testing.T) {
	l := DefaultLimits("no such paint")
	if l.Paint != Black {
		t.Errorf("an unknown paint is judged as %s", l.Paint)
	}
	bad := l
	bad.SlopeMRad = math.NaN()
	for name, f := range map[string]func() (Verdict, error){
		"nothing measured": func() (Verdict, error) { return Judge(nil, l) },
		"all unmeasured": func() (Verdict, error) {
			return Judge(surface.New(surface.Grid{Cols: 100, Rows: 100, PitchMM: 1}), l)
		},
		"too coarse":   func() (Verdict, error) { return Judge(panel(300, 200, 4, 0.1, flat), l) },
		"wrong limits": func() (Verdict, error) { return Judge(panel(300, 200, 1, 0.1, flat), bad) },
	} {
		if _, err := f(); err == nil {
			t.Errorf("%s was judged", name)
		}
	}
}

// TestWeightsAgainstReflection: the linear law against the exact one for slopes of 2 mrad, to 1 % of the largest.
func TestWeightsAgainstReflection(t *testing.T) {
	for _, v := range Dome() {
		for _, line := range lights {
			l := Light{line}
			wx, wy := Weights(v, l)
			m := across(v, l)
			d := func(zx, zy float64) float64 {
				a, b := mirrored(v.eye(), zx, zy), mirrored(v.eye(), 0, 0)
				return (a.X-b.X)*m.X + (a.Y-b.Y)*m.Y + (a.Z-b.Z)*m.Z
			}
			for _, z := range [][2]float64{{2e-3, 0}, {0, 2e-3}, {-1e-3, 1.5e-3}} {
				if got, want := wx*z[0]+wy*z[1], d(z[0], z[1]); math.Abs(got-want) > 4e-5 {
					t.Errorf("view %+v line %g slope %v: %.3g, exact %.3g", v, line, z, got, want)
				}
			}
		}
	}
}

func BenchmarkJudge(b *testing.B) {
	s := panel(300, 200, 1, 0.3, bowl(0.03, 20, 0, 0))
	addPeel(s, 1, 1)
	for b.Loop() {
		if _, err := Judge(s, DefaultLimits(Black)); err != nil {
			b.Fatal(err)
		}
	}
}
