package mark

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"fairmetal/surface"
)

// skin makes a surface with orange peel of the given rms (um, waves of 1 to 8 mm) and a height added by add (mm).
func skin(seed uint64, peelUM float64, add func(x, y float64) float64) *surface.Surface {
	g := surface.Grid{Cols: 401, Rows: 301, PitchMM: 0.5, X0MM: -100, Y0MM: -75}
	s := surface.New(g)
	rnd := rand.New(rand.NewPCG(seed, 7))
	noise := make([]float32, g.Len())
	for i := range noise {
		noise[i] = float32(rnd.NormFloat64())
	}
	fine, coarse := surface.Gauss(g, noise, 0.7), surface.Gauss(g, noise, 2)
	var power float64
	for i := range fine {
		fine[i] -= coarse[i]
		power += float64(fine[i]) * float64(fine[i])
	}
	k := peelUM * 1e-3 / math.Sqrt(power/float64(len(fine)))
	for i := range s.Height {
		x, y := g.XY(i%g.Cols, i/g.Cols)
		s.Height[i] = float32(k*float64(fine[i]) + add(x, y))
		s.Sigma[i] = float32(peelUM * 1e-3)
	}
	return s
}

func bowl(x, y, d, sx, sy, turned float64) float64 {
	sin, cos := math.Sincos(turned)
	a, b := cos*x+sin*y, -sin*x+cos*y
	return -d * math.Exp(-a*a/(2*sx*sx)-b*b/(2*sy*sy))
}

// TestGaussianBowl: depth, place and outline against the closed form: a Gaussian's outline at a tenth lies at
// sqrt(2 ln 10) = 2.146 standard deviations.
func TestGaussianBowl(t *testing.T) {
	s := skin(1, 0.5, func(x, y float64) float64 { return bowl(x-12, y+8, 0.18, 9, 7, 0.6) })
	marks := Find(s, Options{Sharp: func(x, y float64) bool { return true }})
	if len(marks) != 1 {
		t.Fatalf("%d marks, want 1: %+v", len(marks), marks)
	}
	m := marks[0]
	if m.Kind != Round || math.Abs(m.DepthUM-180) > 2 || math.Hypot(m.XMM-12, m.YMM+8) > 0.5 {
		t.Errorf("found %+v", m)
	}
	if math.Abs(m.LengthMM-2*2.146*9) > 1.5 || math.Abs(m.WidthMM-2*2.146*7) > 1.5 {
		t.Errorf("outline %.1f x %.1f, want %.1f x %.1f", m.LengthMM, m.WidthMM, 2*2.146*9, 2*2.146*7)
	}
	if d := math.Abs(m.AngleDeg - 0.6*180/math.Pi); d > 8 {
		t.Errorf("angle %.0f", m.AngleDeg)
	}
	// Volume of a Gaussian is 2 pi d sx sy; nine tenths of it lie inside the outline at a tenth.
	if want := 0.9 * 2 * math.Pi * 0.18 * 63; math.Abs(m.VolumeMM3/want-1) > 0.05 {
		t.Errorf("volume %.1f mm3, want %.1f", m.VolumeMM3, want)
	}
}

// TestScalingDepth: twice the height, twice the depth, the same outline.
func TestScalingDepth(t *testing.T) {
	f := func(k float64) Mark {
		m := Find(skin(2, 0, func(x, y float64) float64 { return k * bowl(x, y, 0.1, 6, 6, 0) }), Options{})
		if len(m) != 1 {
			t.Fatalf("%d marks", len(m))
		}
		return m[0]
	}
	a, b := f(1), f(2)
	if math.Abs(b.DepthUM/a.DepthUM-2) > 1e-3 || math.Abs(b.LengthMM-a.LengthMM) > 0.1 {
		t.Errorf("%v and %v", a, b)
	}
}

// TestMirroredSigns: turning the surface over turns lows into highs of the same size.
func TestMirroredSigns(t *testing.T) {
	up := Find(skin(3, 0.3, func(x, y float64) float64 { return -bowl(x-20, y, 0.05, 4, 4, 0) }), Options{})
	if len(up) != 1 || up[0].Kind != High || math.Abs(up[0].DepthUM-50) > 1.5 {
		t.Errorf("%+v", up)
	}
}

// TestOrangePeelIsNoMark on five undamaged skins up to a coarse 1.2 um rms.
func TestOrangePeelIsNoMark(t *testing.T) {
	for seed := range uint64(5) {
		if m := Find(skin(10+seed, 0.4+0.2*float64(seed), func(x, y float64) float64 { return 0 }), Options{}); len(m) != 0 {
			t.Errorf("seed %d: %d marks, first %+v", seed, len(m), m[0])
		}
	}
}

// TestWideShallowLow: 20 mm wide and 30 um deep, the overlooked flaw, amid peel of 1 um.
func TestWideShallowLow(t *testing.T) {
	m := Find(skin(20, 1, func(x, y float64) float64 { return bowl(x+30, y-20, 0.03, 20/4.292, 20/4.292, 0) }), Options{})
	if len(m) != 1 || math.Abs(m[0].DepthUM-30) > 3 || math.Abs(m[0].LengthMM-20) > 2 {
		t.Errorf("%+v", m)
	}
}

// TestKinds tells a crease, a star, a low on a feature line and a crowned round one apart; a crown is no high.
func TestKinds(t *testing.T) {
	star := func(x, y float64) float64 {
		r := math.Hypot(x, y)
		v := 1 + 0.28*math.Cos(3*math.Atan2(y, x)+0.4)
		return -0.5 * math.Exp(-r/(9*v)*r/(9*v))
	}
	crowned := func(x, y float64) float64 {
		r2 := (x*x + y*y) / 64
		return -0.3 * (1 - 0.45*r2) * math.Exp(-r2/2)
	}
	cases := []struct {
		name string
		want Kind
		add  func(x, y float64) float64
		line surface.Across
	}{
		{"crease", Crease, func(x, y float64) float64 { return bowl(x, y, 0.2, 12, 4, 0.4) }, nil},
		{"star", Star, star, nil},
		{"crowned", Round, crowned, nil},
		{"line", Line, func(x, y float64) float64 { return bowl(x, y, 0.3, 6, 6, 0) }, func(x, y float64) (float64, float64) { return y - 2, x }},
		{"beside a line", Round, func(x, y float64) float64 { return bowl(x, y, 0.3, 6, 6, 0) }, func(x, y float64) (float64, float64) { return y - 20, x }},
	}
	for _, c := range cases {
		opt := Options{}
		if c.line != nil {
			opt.Lines = []surface.Across{c.line}
		}
		m := Find(skin(30, 0.4, c.add), opt)
		if len(m) != 1 || m[0].Kind != c.want {
			t.Errorf("%s: %d marks, first %+v", c.name, len(m), m)
			continue
		}
		if c.name == "crowned" && (m[0].CrownUM < 20 || m[0].CrownUM > 60) {
			t.Errorf("crown %.0f um", m[0].CrownUM)
		}
	}
}

// TestNeighboursStayApart: two bowls whose outlines touch are two marks.
func TestNeighboursStayApart(t *testing.T) {
	m := Find(skin(40, 0.4, func(x, y float64) float64 { return bowl(x-9, y, 0.1, 5, 5, 0) + bowl(x+9, y, 0.07, 5, 5, 0) }), Options{})
	if len(m) != 2 {
		t.Errorf("%d marks", len(m))
	}
}

// TestCutByTheRim: a low whose bottom lies at the rim of the measured metal, or in a hole of it, is found all the same; orange peel there
// is none.
func TestCutByTheRim(t *testing.T) {
	for name, unknown := range map[string]func(x, y float64) bool{
		"rim":  func(x, y float64) bool { return y > 1 },
		"hole": func(x, y float64) bool { return math.Hypot(x, y) < 2 },
	} {
		for _, depth := range []float64{0, 0.05} {
			s := skin(8, 0.4, func(x, y float64) float64 { return bowl(x, y, depth, 14, 14, 0) })
			for i := range s.Height {
				if x, y := s.XY(i%s.Cols, i/s.Cols); unknown(x, y) {
					s.Height[i] = float32(math.NaN())
				}
			}
			got := Find(s, Options{})
			if want := int(math.Ceil(depth)); len(got) != want {
				t.Errorf("%s, %.0f um deep: %d marks, want %d", name, 1000*depth, len(got), want)
			}
		}
	}
}

// TestNothingMeasured: a surface without values has no marks and does not crash.
func TestNothingMeasured(t *testing.T) {
	if m := Find(surface.New(surface.Grid{Cols: 40, Rows: 30, PitchMM: 0.5}), Options{}); len(m) != 0 {
		t.Errorf("%d marks", len(m))
	}
}

// TestHighOnCrown: a high's outline lies at a tenth of its own height over the crown of the low it stands on, wherever it stands there,
// and the same as on sound metal.
func TestHighOnCrown(t *testing.T) {
	const half = 16.0
	low := func(x, y float64) float64 {
		r := math.Hypot(x, 1.15*y) / half
		return -0.24*math.Exp(-math.Ln10*r*r) + 0.022*(1+0.3*math.Cos(math.Atan2(y, x)))*math.Exp(-(r-1.42)*(r-1.42)/(2*0.19*0.19))
	}
	for k, at := range []float64{1.2, 1.42, 1.6, 1.75, 2} {
		angle := 0.7 + 1.3*float64(k)
		hx, hy := at*half*math.Cos(angle), at*half/1.15*math.Sin(angle)
		marks := Find(skin(60+uint64(k), 0.4, func(x, y float64) float64 { return low(x, y) - bowl(x-hx, y-hy, 0.055, 9/4.292, 7.6/4.292, angle) }), Options{})
		if len(marks) != 2 {
			t.Errorf("at %.2f: %d marks", at, len(marks))
			continue
		}
		m := marks[0]
		if m.Kind != High {
			m = marks[1]
		}
		if m.Kind != High || math.Abs(m.LengthMM/9-1) > 0.12 || math.Abs(m.WidthMM/7.6-1) > 0.12 || math.Hypot(m.XMM-hx, m.YMM-hy) > 0.4 {
			t.Errorf("at %.2f half breadths: %s of %.1f x %.1f mm, %.2f mm off, want a high of 9 x 7.6", at, m.Kind, m.LengthMM, m.WidthMM, math.Hypot(m.XMM-hx, m.YMM-hy))
		}
	}
}

// TestLostBottom: a crease whose bottom the stripes could not show is one mark, of unknown depth, and neither its ends nor its crown are
// marks of their own. A hole of which nothing tells that the metal is sharp there joins nothing.
func TestLostBottom(t *testing.T) {
	s := skin(70, 0.4, func(x, y float64) float64 {
		a, b := x/26, y/5.5
		r := math.Hypot(a, b)
		return -0.6*math.Exp(-math.Ln10*(a*a*a*a+b*b)) + 0.05*math.Exp(-(r-1.42)*(r-1.42)/(2*0.19*0.19))
	})
	for i := range s.Height {
		if x, y := s.XY(i%s.Cols, i/s.Cols); math.Hypot(x/16, y/6) < 1 {
			s.Height[i], s.Sigma[i] = float32(math.NaN()), float32(math.NaN())
		}
	}
	m := Find(s, Options{Sharp: func(x, y float64) bool { return true }})
	if len(m) != 1 || m[0].Kind != Crease || !m[0].Folded || math.Abs(m[0].LengthMM-52) > 4 {
		t.Errorf("%d marks, first %+v; want a crease 52 mm long of unknown depth", len(m), m)
	}
	if m := Find(s, Options{}); len(m) < 2 {
		t.Errorf("%d marks where the hole tells nothing", len(m))
	}
}

// TestCrownRunsRound: the crown of a long low peaks at its ends, broad and shallow like a high of its own; it is none.
func TestCrownRunsRound(t *testing.T) {
	for seed := range uint64(4) {
		m := Find(skin(80+seed, 0.3, func(x, y float64) float64 {
			a, b := x/26, y/6
			r := math.Hypot(a, b)
			return -0.12*math.Exp(-math.Ln10*(a*a*a*a+b*b)) + 0.006*math.Exp(-(r-1.42)*(r-1.42)/(2*0.19*0.19))
		}), Options{})
		if len(m) != 1 {
			t.Errorf("seed %d: %d marks: %+v", seed, len(m), m)
		}
	}
}

// TestBottomNotSeen: a star whose bottom and arms have no value, so that five valleys of its flanks are seen, each the deeper the nearer to
// the hole, is one mark in its place; its depth is the least that it can be, with an uncertainty that covers what the hole hides.
func TestBottomNotSeen(t *testing.T) {
	const depth = 0.5
	s := skin(6, 0.5, func(x, y float64) float64 {
		r, a := math.Hypot(x-15, y-5), math.Atan2(y-5, x-15)
		return -depth * math.Exp(-r/(6.5*(1+0.25*math.Cos(5*a))))
	})
	for i := range s.Height {
		x, y := s.XY(i%s.Cols, i/s.Cols)
		if r, a := math.Hypot(x-15, y-5), math.Atan2(y-5, x-15); r < 5*(1+0.6*math.Cos(5*(a+math.Pi/5))) {
			s.Height[i] = float32(math.NaN())
		}
	}
	marks := Find(s, Options{Sharp: func(x, y float64) bool { return true }})
	if len(marks) != 1 {
		t.Fatalf("%d marks, want 1: %+v", len(marks), marks)
	}
	m := marks[0]
	if !m.Folded || math.Hypot(m.XMM-15, m.YMM-5) > 1.5 {
		t.Errorf("found %+v", m)
	}
	if m.DepthUM > 1000*depth || m.DepthUM+2*m.DepthSigmaUM < 1000*depth || m.DepthSigmaUM > 1000*depth {
		t.Errorf("depth %.0f with an uncertainty of %.0f um, it is %.0f", m.DepthUM, m.DepthSigmaUM, 1000*depth)
	}
}

// TestOutlineAmidNoise: a bowl of 15 um on metal as restless as single photos leave it keeps its size: its tenth lies in the noise, a contour
// clear of it does not.
func TestOutlineAmidNoise(t *testing.T) {
	worst := 0.0
	for seed := range uint64(8) {
		s := skin(seed, 1.6, func(x, y float64) float64 { return -0.015 * math.Exp(-math.Ln10*(x*x/64+y*y/36)) })
		marks := Find(s, Options{})
		if len(marks) == 0 {
			t.Fatalf("seed %d: no mark found", seed)
		}
		worst = max(worst, math.Abs(marks[0].LengthMM/16-1), math.Abs(marks[0].WidthMM/12-1))
	}
	if worst > 0.25 {
		t.Errorf("length or width %.0f %% off", 100*worst)
	}
}

// TestHoleBesideCard: a mark whose unread middle runs into what a card hides is one mark all the same, not a piece of flank on each side.
func TestHoleBesideCard(t *testing.T) {
	nan := float32(math.NaN())
	card := func(x, y float64) bool { return x < -14 && x > -60 && math.Abs(y) < 25 }
	s := skin(4, 0.2, func(x, y float64) float64 { return -0.3 * math.Exp(-(x*x+y*y)/(2*64)) })
	for i := range s.Height {
		x, y := s.XY(i%s.Cols, i/s.Cols)
		// The middle and two arms along the stripes' own directions, one to the card.
		if math.Hypot(x, y) < 11 || math.Abs(y) < 2 && math.Abs(x) < 16 || math.Abs(x) < 2 && math.Abs(y) < 24 || card(x, y) {
			s.Height[i], s.Sigma[i] = nan, nan
		}
	}
	sharp := func(x, y float64) bool { return !card(x, y) && math.Hypot(x, y) < 14 }
	marks := Find(s, Options{Sharp: sharp})
	lows := 0
	for _, m := range marks {
		if m.Kind != High {
			lows++
			if !m.Folded {
				t.Errorf("%s is said to be %.0f um deep", m.ID, m.DepthUM)
			}
		}
	}
	if lows != 1 {
		t.Errorf("%d lows: %+v", lows, marks)
	}
}

// TestUnreadSpot: a small low of which nothing is seen but its crown is a mark of unknown depth, and its crown none; a hole in even metal, as a drilled one, is none, nor is one
// in a larger low.
func TestUnreadSpot(t *testing.T) {
	without := func(depth, crown, half, hole float64) []Mark {
		s := skin(31, 0.4, func(x, y float64) float64 {
			r := math.Hypot(x-12, y+8) / half
			return -depth*math.Exp(-math.Ln10*r*r*r*r) + crown*math.Exp(-(r-1.3)*(r-1.3)/(2*0.2*0.2))
		})
		for i := range s.Height {
			if x, y := s.XY(i%s.Cols, i/s.Cols); math.Hypot(x-12, y+8) < hole {
				s.Height[i], s.Sigma[i] = float32(math.NaN()), float32(math.NaN())
			}
		}
		return Find(s, Options{Sharp: func(x, y float64) bool { return true }, Read: Pixelwise})
	}
	for _, crown := range []float64{0.006, 0.012} {
		m := without(0.2, crown, 3.5, 4.2)
		if len(m) != 1 || m[0].Kind != Round || !m[0].Folded || math.Hypot(m[0].XMM-12, m[0].YMM+8) > 0.5 || math.Abs(m[0].LengthMM-8.4) > 1 || m[0].ID != "m01" || m[0].CrownUM < 300*crown || len(m[0].OutlineMM) < 8 {
			t.Errorf("%g mm of crown: %+v", crown, m)
		}
	}
	if m := without(0, 0, 3.5, 4.2); len(m) != 0 {
		t.Errorf("a hole in even metal: %+v", m)
	}
	// Metal that runs a little off where it is measured last is even.
	for i, off := range []float64{0, 0.008} {
		s := skin(33, 0.3, func(x, y float64) float64 { return off * math.Exp(-((x-12)*(x-12)+(y+8)*(y+8))/(2*25*25)) })
		for i := range s.Height {
			if x, y := s.XY(i%s.Cols, i/s.Cols); math.Hypot(x-12, y+8) < 4.2 {
				s.Height[i], s.Sigma[i] = float32(math.NaN()), float32(math.NaN())
			}
		}
		f := newFinder(s, Options{Sharp: func(x, y float64) bool { return true }, Read: Pixelwise, MinDepthUM: DefaultMinDepthUM})
		if m := f.unread(nil); len(m) != 0 {
			t.Errorf("%d: a hole in metal that runs off: %+v", i, m)
		}
	}
	if m := without(0.3, 0.01, 14, 3); len(m) != 1 || m[0].LengthMM < 20 {
		t.Errorf("a low whose bottom was not seen: %+v", m)
	}
}

// TestQuivering: metal that quivers more than the rest is asked for more: it has no marks that the same unrest has not elsewhere, and a plain one it has.
func TestQuivering(t *testing.T) {
	rough := func(depth float64) []Mark {
		s := skin(32, 0.3, func(x, y float64) float64 { return bowl(x-70, y-20, depth, 5, 5, 0) })
		noisy := skin(38, 2, func(x, y float64) float64 { return 0 })
		for i := range s.Height {
			if x, _ := s.XY(i%s.Cols, i/s.Cols); x > 40 {
				s.Height[i] += noisy.Height[i]
			}
		}
		return Find(s, Options{Read: Pixelwise})
	}
	if m := rough(0); len(m) != 0 {
		t.Errorf("%d marks of unrest", len(m))
	}
	if m := rough(0.08); len(m) != 1 {
		t.Errorf("%d marks, want the low: %+v", len(m), m)
	}
}

// TestWideEvenHole: a wide part without a value amid even metal is no mark, whatever is told of it; one whose rim goes down into it is.
func TestWideEvenHole(t *testing.T) {
	find := func(deep float64) []Mark {
		s := skin(9, 0.5, func(x, y float64) float64 {
			// Waves at the rim, as noise that hides the stripes leaves them.
			return 0.012*math.Sin(x/4)*math.Exp(-math.Pow((math.Hypot(x, y)-38)/5, 2)) - deep*math.Exp(-(x*x+y*y)/(2*24*24))
		})
		for i := range s.Height {
			if x, y := s.XY(i%s.Cols, i/s.Cols); math.Hypot(x, y) < 36 {
				s.Height[i], s.Sigma[i] = float32(math.NaN()), float32(math.NaN())
			}
		}
		return Find(s, Options{Sharp: func(x, y float64) bool { return true }, Read: Pixelwise})
	}
	wide := func(m Mark) bool { return m.LengthMM > 60 }
	if m := find(0); slices.ContainsFunc(m, wide) {
		t.Errorf("a mark around a hole in even metal: %+v", m)
	}
	if m := find(2); !slices.ContainsFunc(m, wide) {
		t.Errorf("no mark around a dent whose middle is not seen: %+v", m)
	}
}

// TestCrownBetweenArms: the crown of a star peaks between its arms, in pieces longer than wide; none is a mark.
func TestCrownBetweenArms(t *testing.T) {
	m := Find(skin(12, 0.25, func(x, y float64) float64 {
		r, a := math.Hypot(x, y), math.Atan2(y, x)
		crown := 0.012 * math.Max(0, math.Cos(5*a)) * math.Exp(-math.Abs(r-20)/1.9)
		return crown - 0.56*math.Exp(-math.Pow(r/(7.5*(1+0.1*math.Cos(5*a+math.Pi))), 2))
	}), Options{Read: Pixelwise})
	if len(m) != 1 || m[0].Kind == High {
		t.Errorf("%d marks: %+v", len(m), m)
	}
}
