package scene

import (
	"fmt"
	"math"
	"math/rand/v2"
)

// draw is a source of random figures of one made-up capture.
type draw struct{ *rand.Rand }

func (r draw) span(lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }

// even draws so that every factor between lo and hi is as likely as any other.
func (r draw) even(lo, hi float64) float64 { return math.Exp(r.span(math.Log(lo), math.Log(hi))) }

func (r draw) chance(p float64) bool { return r.Float64() < p }

// Random is a made-up capture: crown, feature line, panel edge, marks, paint, board, camera and their faults drawn within what a
// technician meets. The seed decides everything.
func Random(seed uint64) Spec {
	r := draw{rand.New(rand.NewPCG(seed, 0x5CE7E))}
	s := Spec{Name: fmt.Sprintf("Made-up panel %d", seed), Seed: seed}
	half := r.span(110, 150)
	s.Cards = [2]Card{{SideMM: 40, XMM: -half, AngleDeg: r.span(-8, 8), LiftMM: 0.2}, {SideMM: 40, XMM: half, AngleDeg: r.span(-8, 8), LiftMM: 0.2}}
	s.Panel = r.panel(s.Name, half)
	paints := []Paint{{Name: "black", Albedo: [3]float64{0.006, 0.006, 0.007}}, {Name: "white", Albedo: [3]float64{0.6, 0.6, 0.58}}, {Name: "pearl white", Albedo: [3]float64{0.75, 0.74, 0.7}, Flake: 0.1},
		{Name: "silver", Albedo: [3]float64{0.12, 0.12, 0.125}, Flake: 0.3}, {Name: "coarse silver", Albedo: [3]float64{0.2, 0.2, 0.21}, Flake: 0.6}, {Name: "red", Albedo: [3]float64{0.25, 0.02, 0.02}},
		{Name: "dark blue metallic", Albedo: [3]float64{0.01, 0.015, 0.05}, Flake: 0.5}}
	s.Paint = paints[r.IntN(len(paints))]
	s.Board = r.board()
	s.Camera = r.camera()
	s.Sets = []Set{{Kind: "shifted", FineMM: r.span(11, 26), CoarseMM: r.span(100, 160)}}
	if r.chance(0.12) {
		s.Sets[0].Profile = "square"
	}
	for range 1 + r.IntN(8) {
		m := r.mark(half)
		if apart(m, &s.Panel, half) {
			m.ID = fmt.Sprintf("r%d", len(s.Panel.Marks)+1)
			s.Panel.Marks = append(s.Panel.Marks, m)
		}
	}
	return s
}

// panel draws the undamaged form.
func (r draw) panel(name string, half float64) Panel {
	p := Panel{Name: name, Material: "steel", ThicknessMM: 0.7, RXMM: r.even(900, 12000), RYMM: r.even(700, 9000), TwistPerMM: r.span(-2e-5, 2e-5), PeelUM: r.span(0.2, 1.2)}
	for i := range p.Cubic {
		p.Cubic[i] = r.span(-6e-8, 6e-8)
	}
	if r.chance(0.35) {
		step := r.span(0.02, 0.1)
		if r.chance(0.6) {
			step = -step
		}
		angle := 90 + r.span(-25, 25)
		if r.chance(0.4) {
			angle = r.span(25, 155)
		}
		p.Folds = []Fold{{AngleDeg: angle, OffsetMM: r.span(25, 60), Step: step, WidthMM: r.span(3, 10)}}
	}
	if r.chance(0.15) { // a door's or a wing's edge
		p.HalfY = r.span(45, 90)
	}
	if r.chance(0.1) {
		p.HalfX = half + r.span(30, 60)
	}
	return p
}

// board draws the striped board: most fill the panel, some do not, some are a display whose brightness is bent.
func (r draw) board() Board {
	d := r.span(260, 650)
	b := Board{DistanceMM: d, TapedMM: d * (1 + 0.007*max(-2, min(2, r.NormFloat64()))), WidthMM: r.span(750, 1100), HeightMM: r.span(550, 850), TiltDeg: [2]float64{r.span(-5, 5), r.span(-5, 5)},
		RollDeg: r.span(-3, 3), OffsetMM: [2]float64{r.span(-30, 30), r.span(-30, 30)}, RoomLevel: r.even(0.02, 0.2), Gamma: r.span(0.95, 1.05), Contrast: r.span(0.7, 0.97)}
	if r.chance(0.25) {
		b.WidthMM, b.HeightMM = r.span(330, 650), r.span(250, 480)
	}
	if r.chance(0.25) {
		b.Gamma = r.even(0.65, 1.6)
	}
	return b
}

// camera draws where the camera stands and what its lens does.
func (r draw) camera() Camera {
	c := Camera{DistanceMM: r.span(380, 620), TiltDeg: r.span(20, 50), TurnDeg: r.span(-18, 18), RollDeg: r.span(-4, 4), AimMM: [2]float64{r.span(-10, 10), r.span(-8, 14)},
		FocalPX: r.span(700, 900), W: demoW, H: demoH, BlurPX: r.span(0.3, 1.1), Jitter: r.span(0, 0.03), Quality: 82 + r.IntN(16), FullWell: r.even(4000, 40000)}
	corner := 0.25 * float64(c.W*c.W+c.H*c.H) / (c.FocalPX * c.FocalPX)
	c.K1 = r.span(-0.003, 0.003) / corner // most phones set their pictures right
	if r.chance(0.35) {
		c.K1 = r.span(-0.02, 0.02) / corner
	}
	if r.chance(0.5) {
		c.ToldFocalPX = c.FocalPX * r.span(0.98, 1.02)
	}
	if r.chance(0.3) {
		c.ShakePX = r.even(0.1, 1.5)
	}
	return c
}

// mark draws one flaw.
func (r draw) mark(half float64) Mark {
	kinds := []string{"round", "round", "round", "crease", "star", "high"}
	m := Mark{Kind: kinds[r.IntN(len(kinds))], XMM: r.span(-0.8, 0.8) * half, YMM: r.span(-55, 60), AngleDeg: r.span(0, 180)}
	m.LengthMM = r.even(8, 120)
	m.WidthMM = m.LengthMM * r.span(0.75, 1)
	// As deep as metal of that width goes: a slope of a tenth.
	m.DepthUM = r.even(15, min(3000, 28*m.LengthMM))
	switch m.Kind {
	case "crease":
		m.LengthMM = r.span(25, 70)
		m.WidthMM = m.LengthMM * r.span(0.22, 0.45)
		m.DepthUM = r.even(30, min(600, 25*m.WidthMM))
	case "star":
		m.Arms, m.LengthMM = 3+r.IntN(3), r.span(25, 50)
		m.WidthMM = m.LengthMM * 0.95
		m.DepthUM = r.even(150, 20*m.LengthMM)
	case "high":
		m.LengthMM = r.span(7, 18)
		m.WidthMM = m.LengthMM * r.span(0.8, 1)
		m.DepthUM = r.even(15, 120)
	default:
		if r.chance(0.3) {
			m.Sharp = r.span(0, 0.6)
			m.DepthUM *= 1 - 0.5*m.Sharp
		}
	}
	if m.Kind != "high" {
		m.CrownUM = m.DepthUM * r.span(0.01, 0.07)
	}
	return m
}

// apart tells whether a mark stands clear of the cards at +-half, of those drawn before and of feature lines.
func apart(m Mark, p *Panel, half float64) bool {
	if math.Hypot(math.Abs(m.XMM)-half, m.YMM) < 0.75*m.LengthMM+30 {
		return false
	}
	for _, o := range p.Marks {
		if math.Hypot(o.XMM-m.XMM, o.YMM-m.YMM) < 0.75*(o.LengthMM+m.LengthMM) {
			return false
		}
	}
	for _, f := range p.Folds {
		sin, cos := math.Sincos(f.AngleDeg * math.Pi / 180)
		if math.Abs(cos*m.XMM+sin*m.YMM-f.OffsetMM) < m.LengthMM {
			return false
		}
	}
	return true
}
