package scene

import (
	"fmt"
	"math"
	"math/rand/v2"
)

// Gentle is a made-up capture by a pair of single photos whose marks, most of them, do not fold the reflection: shallow and middling
// lows, highs and creases up to the fold and a little beyond, over geometries, paints, pitches, stripe profiles, feature lines and
// orange peel. The seed decides everything; w is the width of the photos in px, their height three quarters of it.
func Gentle(seed uint64, w int) Spec {
	r := rand.New(rand.NewPCG(seed, 0x9E471E))
	span := func(lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }
	s := Random(seed)
	s.Name = fmt.Sprintf("Gentle panel %d", seed)
	s.Panel.Name = s.Name
	s.Panel.PeelUM = span(0.2, 0.8)
	s.Panel.Marks, s.Panel.HalfX, s.Panel.HalfY = nil, 0, 0
	s.Board.WidthMM, s.Board.HeightMM = max(s.Board.WidthMM, 800), max(s.Board.HeightMM, 600)
	s.Camera.FocalPX *= float64(w) / demoW
	s.Camera.ToldFocalPX *= float64(w) / demoW
	s.Camera.W, s.Camera.H, s.Camera.K1, s.Camera.ShakePX = w, w*3/4, s.Camera.K1/4, 0
	s.Sets = []Set{{Kind: "single", Profile: "square", FineMM: span(8, 16)}}
	if r.Float64() < 0.25 {
		s.Sets[0].Profile = "sine"
	}
	// What folds, for a bowl of standard deviation 1 mm in the plane of incidence (Coddington's equations), mm.
	limit := 0.5 * math.Cos(rad(s.Camera.TiltDeg)) * (1/s.Board.DistanceMM + 1/s.Camera.DistanceMM)
	kinds := []string{"round", "round", "round", "high", "crease"}
	half := s.Cards[1].XMM
	for range 60 {
		m := Mark{Kind: kinds[r.IntN(len(kinds))], XMM: span(-0.6, 0.6) * half, YMM: span(-42, 48), AngleDeg: span(0, 180)}
		m.LengthMM = span(10, 46)
		m.WidthMM = m.LengthMM * span(0.75, 1)
		share := span(0.2, 1.15)
		switch m.Kind {
		case "crease":
			// Its bottom is a rounded tent's, some four times as sharp as a bowl's.
			m.LengthMM = span(28, 60)
			m.WidthMM = m.LengthMM * span(0.4, 0.6)
			share *= 0.25
		case "high":
			// The ring around it is hollow by e^-1.5 times two of its top.
			m.LengthMM = span(8, 20)
			m.WidthMM = m.LengthMM * span(0.8, 1)
			share *= 2.2
		}
		wide := m.WidthMM / (2 * math.Sqrt(2*math.Ln10))
		m.DepthUM = 1000 * share * limit * wide * wide
		if m.DepthUM < 6 {
			continue
		}
		if apart(m, &s.Panel, half) {
			m.ID = fmt.Sprintf("g%d", len(s.Panel.Marks)+1)
			s.Panel.Marks = append(s.Panel.Marks, m)
		}
	}
	return s
}
