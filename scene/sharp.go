package scene

import (
	"fmt"
	"math/rand/v2"
)

// Sharp is a made-up capture of a panel full of sharp marks: twelve of 6 to 14 mm, about a stripe and ten pixels wide, plain and sharp lows,
// creases and highs in turn, under a board that all of them mirror. The seed decides everything.
func Sharp(seed uint64) Spec {
	r := draw{rand.New(rand.NewPCG(seed, 77))}
	s := Random(seed + 9000)
	s.Name = fmt.Sprintf("Sharp marks %d", seed)
	s.Panel.Name = s.Name
	s.Panel.Folds, s.Panel.Marks, s.Panel.HalfX, s.Panel.HalfY = nil, nil, 0, 0
	s.Panel.RXMM, s.Panel.RYMM = r.span(1500, 6000), r.span(1200, 5000)
	s.Camera.K1, s.Camera.ShakePX, s.Camera.ToldFocalPX = 0, 0, 0
	s.Board.WidthMM, s.Board.HeightMM, s.Board.TapedMM = 1000, 800, s.Board.DistanceMM
	s.Sets[0].Profile = ""
	s.Paint = []Paint{{Name: "black", Albedo: [3]float64{0.006, 0.006, 0.007}}, {Name: "silver", Albedo: [3]float64{0.12, 0.12, 0.125}, Flake: 0.3},
		{Name: "red", Albedo: [3]float64{0.25, 0.02, 0.02}}, {Name: "white", Albedo: [3]float64{0.6, 0.6, 0.58}}}[seed%4]
	half := s.Cards[1].XMM
	for n := range 12 {
		x, y := (float64(n%4)-1.5)*0.42*half, (float64(n/4)-1)*40
		m := Mark{XMM: x + r.span(-2, 2), YMM: y + r.span(-2, 2), AngleDeg: r.span(0, 180)}
		m.WidthMM = r.span(6, 14)
		m.LengthMM = m.WidthMM * r.span(1, 1.25)
		d := r.span(3, 25) * m.WidthMM
		switch n % 4 {
		case 0:
			m.Kind = "round"
		case 1:
			m.Kind = "round"
			m.Sharp = r.span(0, 0.6)
			d *= 0.7
		case 2:
			m.Kind = "crease"
			m.LengthMM = min(32, m.WidthMM*r.span(2.5, 4))
			d *= 0.6
		case 3:
			m.Kind = "high"
			d *= 0.35
		}
		m.DepthUM = max(d, 50)
		if m.Kind != "high" {
			m.CrownUM = m.DepthUM * r.span(0.01, 0.05)
		}
		m.ID = fmt.Sprintf("%s%d", m.Kind[:1], n)
		s.Panel.Marks = append(s.Panel.Marks, m)
	}
	return s
}
