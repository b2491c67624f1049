package register

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"fairmetal/mark"
	"fairmetal/surface"
)

// panel is a made-up piece of paint that can be read anywhere: bowls, and orange peel as a sum of plane waves.
type panel struct {
	bowls []bowl
	waves [][4]float64 // wave numbers, phase, amplitude mm
	form  [3]float64   // a smooth difference: x^2, xy, y^3 at 100 mm, mm
}

type bowl struct{ x, y, long, wide, angle, um float64 } // um: height, lows negative; long and wide at a tenth of it

func (p *panel) at(x, y float64) float64 {
	u, v := x/100, y/100
	z := p.form[0]*u*u + p.form[1]*u*v + p.form[2]*v*v*v
	for _, b := range p.bowls {
		sin, cos := math.Sincos(b.angle)
		dx, dy := x-b.x, y-b.y
		a, c := (cos*dx+sin*dy)/(b.long/2), (-sin*dx+cos*dy)/(b.wide/2)
		if q := a*a + c*c; q < 6 {
			z += b.um / 1000 * math.Exp(-math.Ln10*q)
		}
	}
	for _, w := range p.waves {
		z += w[3] * math.Cos(w[0]*x+w[1]*y+w[2])
	}
	return z
}

// peel gives a panel orange peel of 0.4 um rms, waves of 3 to 8 mm.
func (p *panel) peel(seed uint64) {
	const waves, rms = 48, 0.0004
	r := rand.New(rand.NewPCG(seed, 1))
	p.waves = nil
	for range waves {
		k, a := 2*math.Pi/(3+5*r.Float64()), 2*math.Pi*r.Float64()
		p.waves = append(p.waves, [4]float64{k * math.Cos(a), k * math.Sin(a), 2 * math.Pi * r.Float64(), rms * math.Sqrt(2.0/waves)})
	}
}

// measured is what a capture shows of a panel whose frame lies under the move, with noise of 0.1 um.
func measured(p *panel, m Move, seed uint64) Side {
	g := surface.Grid{Cols: 207, Rows: 155, PitchMM: 1, X0MM: -103, Y0MM: -77}
	s := surface.New(g)
	r := rand.New(rand.NewPCG(seed, 2))
	for i := range s.Height {
		x, y := m.To(g.XY(i%g.Cols, i/g.Cols))
		s.Height[i], s.Sigma[i] = float32(p.at(x, y)+0.0001*r.NormFloat64()), 0.0005
	}
	var marks []mark.Mark
	for _, b := range p.bowls {
		if math.Abs(b.um) < 5 {
			continue
		}
		k := mark.Mark{Kind: mark.Round, LengthMM: b.long, WidthMM: b.wide, AngleDeg: b.angle * 180 / math.Pi, DepthUM: math.Abs(b.um)}
		if b.um > 0 {
			k.Kind = mark.High
		}
		k.XMM, k.YMM = b.x, b.y
		k.DeepestMM = [2]float64{b.x, b.y}
		marks = append(marks, k)
	}
	return Side{Surface: s, Marks: m.Inverse().Marks(marks)}
}

// hail is six marks of unlike size.
func hail() []bowl {
	return []bowl{{-48, 22, 24, 20, 0.5, -420}, {-15, -24, 18, 17, 0, -180}, {8, 30, 14, 14, 0, -95}, {30, -8, 22, 16, 1.2, -310}, {52, 26, 12, 11, 0, -60}, {44, -34, 16, 15, 2, 70}}
}

// worked raises the first n marks to a fifth, their bottoms wandering by some half a millimetre.
func worked(b []bowl, n int, seed uint64) []bowl {
	r := rand.New(rand.NewPCG(seed, 3))
	out := append([]bowl(nil), b...)
	for i := range n {
		out[i].um *= 0.2
		out[i].x, out[i].y = out[i].x+0.5*r.NormFloat64(), out[i].y+0.5*r.NormFloat64()
		out[i].long *= 0.85
	}
	return out
}

// off is how far a result puts places wrongly, mm.
func off(r Result, m Move) float64 { return apart(r.Move, m) }

// TestKnownMoves: register(move(A)) is the move, whatever the metal holds on to. limit is on places, rms over a disc of 80 mm: the pitch
// of the map is 1 mm and its noise a quarter of the orange peel, so that peel or untouched marks give hundredths; worked marks alone give
// what their bottoms wander (0.5 mm) over the root of their number, and the turn besides.
func TestKnownMoves(t *testing.T) {
	small := Move{0.3, -0.2, 0.1}
	far := Move{22, -13, 8}
	for _, c := range []struct {
		name          string
		before, after []bowl
		peelA, peelB  uint64
		move          Move
		limit         float64
	}{
		{"nothing happened", hail(), hail(), 7, 7, far, 0.05},
		{"as it lay", hail(), hail(), 7, 7, small, 0.05},
		{"half worked, the same paint", hail(), worked(hail(), 3, 5), 7, 7, far, 0.05},
		{"all worked, the same paint", hail(), worked(hail(), 6, 5), 7, 7, Move{-17, 9, -21}, 0.05},
		{"half worked, other paint", hail(), worked(hail(), 3, 5), 7, 8, far, 0.2},
		{"half worked, turned round", hail(), worked(hail(), 3, 5), 7, 8, Move{5, 3, 170}, 0.2},
		{"all worked, other paint", hail(), worked(hail(), 6, 5), 7, 8, far, 1.2},
		{"undamaged, the same paint", nil, nil, 7, 7, far, 0.05},
	} {
		a, b := &panel{bowls: c.before}, &panel{bowls: c.after, form: [3]float64{0.002, -0.001, 0.001}}
		a.peel(c.peelA)
		b.peel(c.peelB)
		r := Between(measured(a, Move{}, 1), measured(b, c.move, 2))
		e := off(r, c.move)
		t.Logf("%-28s off by %.3f mm, sigma %.3f, %s", c.name, e, r.PlaceSigmaMM, r.Reason)
		if !r.Sure || e > c.limit {
			t.Errorf("%s: %+v, %.3f mm off", c.name, r, e)
		}
		// Rms places are off by sigma on average; four times happens once in thousands.
		if e > 4*r.PlaceSigmaMM+0.01 {
			t.Errorf("%s: %.3f mm off with a sigma of %.3f", c.name, e, r.PlaceSigmaMM)
		}
		if want := apart(c.move, Move{}) > stillMM; r.Moved != want {
			t.Errorf("%s: moved %v, want %v", c.name, r.Moved, want)
		}
	}
}

// TestUnsure: where the metal gives no hold the verdict says so, and why.
func TestUnsure(t *testing.T) {
	turn := func(k float64) (x, y float64) {
		sin, cos := math.Sincos(2 * math.Pi * k / 3)
		return 40 * cos, 40 * sin
	}
	var triangle []bowl
	for k := range 3 {
		x, y := turn(float64(k))
		triangle = append(triangle, bowl{x, y, 20, 20, 0, -200})
	}
	for _, c := range []struct {
		name          string
		before, after []bowl
		words         string
	}{
		{"undamaged, other paint", nil, nil, "nothing to hold on to"},
		{"one round mark, worked", hail()[:1], worked(hail(), 1, 3)[:1], "only 1 mark"},
		{"all gone", hail(), nil, "nothing to hold on to"},
		{"three alike in a triangle", triangle, triangle, "two places"},
	} {
		a, b := &panel{bowls: c.before}, &panel{bowls: c.after}
		a.peel(7)
		b.peel(8)
		r := Between(measured(a, Move{}, 1), measured(b, Move{12, 7, 15}, 2))
		if r.Sure || !strings.Contains(r.Reason, c.words) {
			t.Errorf("%s: sure %v: %s; want %q", c.name, r.Sure, r.Reason, c.words)
		}
	}
}

// TestChance against tails worked by hand: three of three marks meet among 33 some two times by accident, six of six hardly ever.
func TestChance(t *testing.T) {
	// 3 pairs x 33 x 32 x 6/245 moves, each with 33 x 28.3/60000 for the third mark.
	if c := chance(3, 33, 3, 60000, true); math.Abs(c-1.21) > 0.02 {
		t.Errorf("3 of 3 among 33: %.3f", c)
	}
	// 15 x 30 x 6/173 moves, (6 x 28.3/30000)^4.
	if c := chance(6, 6, 6, 30000, true); math.Abs(c/1.60e-8-1) > 0.02 {
		t.Errorf("6 of 6: %.3g", c)
	}
	// Where the cards say: (2 x 28.3/30000)^2.
	if c := chance(2, 2, 2, 30000, false); math.Abs(c/3.55e-6-1) > 0.02 {
		t.Errorf("2 of 2 in place: %.3g", c)
	}
}

// TestStrangers: panels that have nothing to do with each other are never laid onto each other, however many marks they have.
func TestStrangers(t *testing.T) {
	r := rand.New(rand.NewPCG(21, 4))
	strewn := func(n int) *panel {
		p := &panel{}
		for range n {
			s := 8 + 14*r.Float64()
			p.bowls = append(p.bowls, bowl{170 * (r.Float64() - 0.5), 120 * (r.Float64() - 0.5), s, s, 0, -30 - 250*r.Float64()})
		}
		return p
	}
	for k, n := range [][2]int{{3, 30}, {14, 12}} {
		a, b := measured(strewn(n[0]), Move{}, uint64(k)), measured(strewn(n[1]), Move{}, uint64(k+9))
		if got := Between(a, b); got.Sure {
			t.Errorf("%d and %d strange marks: %+v", n[0], n[1], got)
		}
	}
}

// TestTwoMarksInPlace: other paint and two marks, one of them worked, tell that the cards lay still.
func TestTwoMarksInPlace(t *testing.T) {
	two := []bowl{hail()[3], hail()[0]}
	a, b := &panel{bowls: two}, &panel{bowls: worked(two, 1, 3)}
	a.peel(7)
	b.peel(8)
	r := Between(measured(a, Move{}, 1), measured(b, Move{}, 2))
	t.Logf("off by %.3f mm, sigma %.3f", off(r, Move{}), r.PlaceSigmaMM)
	if !r.Sure || r.Moved || off(r, Move{}) > 4*r.PlaceSigmaMM {
		t.Errorf("%+v", r)
	}
}

// TestLines: a feature line in both captures tells the turn and the shift across it.
func TestLines(t *testing.T) {
	a, b := &panel{bowls: hail()}, &panel{bowls: worked(hail(), 6, 9)}
	a.peel(7)
	b.peel(8)
	m := Move{14, -9, 6}
	sa, sb := measured(a, Move{}, 1), measured(b, m, 2)
	free := Between(sa, sb)
	// The line x = 70 of the first frame, seen from the second.
	sin, cos := math.Sincos(-m.TurnDeg * math.Pi / 180)
	x, y := m.From(70, 0)
	sa.Lines = []Line{{AngleDeg: 0, OffsetMM: 70}}
	sb.Lines = []Line{{AngleDeg: -m.TurnDeg, OffsetMM: cos*x + sin*y}}
	r := Between(sa, sb)
	if !r.Sure || off(r, m) > 1 || !(r.SigmaTurnDeg < free.SigmaTurnDeg && r.SigmaXMM < free.SigmaXMM) {
		t.Errorf("with the line %+v (%.2f mm off), without it %+v", r, off(r, m), free)
	}
}

// TestOnto: a surface moved there and back is the same inside, marks too.
func TestOnto(t *testing.T) {
	p := &panel{bowls: hail()}
	s := measured(p, Move{}, 1)
	m := Move{9, -4, 27}
	there := Onto(s.Surface, m, surface.Grid{Cols: 300, Rows: 300, PitchMM: 1, X0MM: -150, Y0MM: -150})
	back := Onto(there, m.Inverse(), s.Surface.Grid)
	worst := 0.0
	for i, h := range back.Height {
		x, y := s.Surface.XY(i%s.Surface.Cols, i/s.Surface.Cols)
		if h == h && math.Hypot(x, y) < 70 {
			worst = max(worst, math.Abs(float64(h)-p.at(x, y)))
		}
	}
	// Two cubic interpolations of bowls 11 mm wide on 1 mm, and noise of 0.1 um.
	if worst > 0.004 {
		t.Errorf("%.1f um off after there and back", 1000*worst)
	}
	moved := m.Inverse().Marks(m.Marks(s.Marks))
	for i, k := range moved {
		if math.Hypot(k.XMM-s.Marks[i].XMM, k.YMM-s.Marks[i].YMM) > 1e-9 || math.Abs(math.Remainder(k.AngleDeg-s.Marks[i].AngleDeg, 180)) > 1e-9 {
			t.Errorf("mark %d came back as %+v", i, k)
		}
	}
}

// TestFewCells: too little in common is told, not solved.
func TestFewCells(t *testing.T) {
	s := Side{Surface: surface.New(surface.Grid{Cols: 50, Rows: 50, PitchMM: 1})}
	if r := Between(s, s); r.Sure || !strings.Contains(r.Reason, "too little") {
		t.Errorf("%+v", r)
	}
}

// TestGradient: derivatives of the residuals by the move against differences.
func TestGradient(t *testing.T) {
	pan := &panel{bowls: hail()}
	b := measured(pan, Move{}, 1)
	p := &problem{b: field{b.Surface.Grid, b.Surface.Height}, points: []point{{-46, 20, 0.01}, {25, -5, 0}, {3, 28, 0}}, cx: 4, cy: -3}
	at := func(x [3]float64) []row {
		obs := make([]row, len(p.points))
		p.residuals(x[:], obs)
		return obs
	}
	x := [3]float64{0.3, -0.4, 0.02}
	base := at(x)
	for k, step := range []float64{1e-4, 1e-4, 1e-6} {
		up, down := x, x
		up[k] += step
		down[k] -= step
		hi, lo := at(up), at(down)
		for i := range base {
			got, want := [3]float64{base[i].jx, base[i].jy, base[i].jt}[k], (hi[i].r-lo[i].r)/(2*step)
			// Cubic convolution has a continuous first derivative only: third-order terms are left.
			if math.Abs(got-want) > 1e-3*math.Abs(want)+1e-7 {
				t.Errorf("unknown %d, point %d: %g, by differences %g", k, i, got, want)
			}
		}
	}
}
