package scene

import (
	"fmt"
	"math"
	"math/rand/v2"
)

// Random is a made-up capture: crown, feature line, marks, paint, board, camera and their faults drawn within what a technician meets.
// The seed decides everything.
func Random(seed uint64) Spec {
	r := rand.New(rand.NewPCG(seed, 0x5CE7E))
	span := func(lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }
	s := Spec{Name: fmt.Sprintf("Made-up panel %d", seed), Seed: seed}
	s.Panel = Panel{Name: s.Name, Material: "steel", ThicknessMM: 0.7, RXMM: span(1500, 12000), RYMM: span(1200, 9000), TwistPerMM: span(-1e-5, 1e-5),
		Cubic: [4]float64{span(-4e-8, 4e-8), span(-4e-8, 4e-8), span(-4e-8, 4e-8), span(-4e-8, 4e-8)}, PeelUM: span(0.2, 1)}
	if r.Float64() < 0.35 {
		step := span(0.02, 0.1)
		if r.Float64() < 0.6 {
			step = -step
		}
		s.Panel.Folds = []Fold{{AngleDeg: 90 + span(-25, 25), OffsetMM: span(25, 60), Step: step, WidthMM: span(3, 10)}}
	}
	half := span(110, 150)
	s.Cards = [2]Card{{SideMM: 40, XMM: -half, AngleDeg: span(-5, 5), LiftMM: 0.2}, {SideMM: 40, XMM: half, AngleDeg: span(-5, 5), LiftMM: 0.2}}
	paints := []Paint{{Name: "black", Albedo: [3]float64{0.006, 0.006, 0.007}}, {Name: "white", Albedo: [3]float64{0.6, 0.6, 0.58}},
		{Name: "silver", Albedo: [3]float64{0.12, 0.12, 0.125}, Flake: 0.3}, {Name: "red", Albedo: [3]float64{0.25, 0.02, 0.02}}}
	s.Paint = paints[r.IntN(len(paints))]
	d := span(260, 620)
	s.Board = Board{DistanceMM: d, TapedMM: d * span(0.991, 1.009), WidthMM: span(800, 1100), HeightMM: span(600, 850), TiltDeg: [2]float64{span(-3, 3), span(-3, 3)},
		RollDeg: span(-2, 2), OffsetMM: [2]float64{span(-25, 25), span(-25, 25)}, RoomLevel: span(0.02, 0.1), Gamma: span(0.95, 1.05)}
	s.Camera = Camera{DistanceMM: span(380, 600), TiltDeg: span(22, 46), TurnDeg: span(-15, 15), RollDeg: span(-3, 3), AimMM: [2]float64{span(-8, 8), span(-6, 12)},
		FocalPX: span(700, 900), W: demoW, H: demoH, BlurPX: span(0.3, 0.9), Jitter: span(0, 0.02), Quality: 85 + r.IntN(13), K1: span(-0.02, 0.02)}
	if r.Float64() < 0.4 {
		s.Camera.ShakePX = span(0, 0.6)
	}
	s.Sets = []Set{{Kind: "shifted", FineMM: span(12, 24), CoarseMM: 128}}
	kinds := []string{"round", "round", "round", "crease", "star", "high"}
	for range 1 + r.IntN(8) {
		m := Mark{Kind: kinds[r.IntN(len(kinds))], XMM: span(-0.55, 0.55) * half, YMM: span(-42, 48), AngleDeg: span(0, 180)}
		m.LengthMM = span(9, 42)
		m.WidthMM = m.LengthMM * span(0.8, 1)
		// As deep as metal of that width goes: a slope of a tenth.
		m.DepthUM = math.Exp(span(math.Log(15), math.Log(min(900, 28*m.LengthMM))))
		switch m.Kind {
		case "crease":
			m.LengthMM = span(25, 55)
			m.WidthMM = m.LengthMM * span(0.28, 0.45)
			m.DepthUM = math.Exp(span(math.Log(30), math.Log(400)))
		case "star":
			m.Arms, m.LengthMM = 3+r.IntN(2), span(30, 45)
			m.WidthMM = m.LengthMM * 0.95
			m.DepthUM = math.Exp(span(math.Log(200), math.Log(900)))
		case "high":
			m.LengthMM = span(7, 14)
			m.WidthMM = m.LengthMM * span(0.8, 1)
			m.DepthUM = span(15, 90)
		}
		m.CrownUM = m.DepthUM * span(0.02, 0.07)
		if m.Kind == "high" {
			m.CrownUM = 0
		}
		if s.Panel.apart(&m) {
			m.ID = fmt.Sprintf("r%d", len(s.Panel.Marks)+1)
			s.Panel.Marks = append(s.Panel.Marks, m)
		}
	}
	return s
}

// apart tells whether a mark keeps clear of the others, by three quarters of both lengths, and of feature lines.
func (p *Panel) apart(m *Mark) bool {
	for _, o := range p.Marks {
		if math.Hypot(o.XMM-m.XMM, o.YMM-m.YMM) <= 0.75*(o.LengthMM+m.LengthMM) {
			return false
		}
	}
	for _, f := range p.Folds {
		sin, cos := math.Sincos(f.AngleDeg * math.Pi / 180)
		if math.Abs(cos*m.XMM+sin*m.YMM-f.OffsetMM) <= m.LengthMM {
			return false
		}
	}
	return true
}
