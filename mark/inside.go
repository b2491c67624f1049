package mark

import "math"

// Inside tells whether a place lies in the mark's ellipse, that of its length and width, scaled and then widened by marginMM all round.
func (m *Mark) Inside(xMM, yMM, scale, marginMM float64) bool {
	sin, cos := math.Sincos(m.AngleDeg * math.Pi / 180)
	x, y := xMM-m.XMM, yMM-m.YMM
	a, b := (cos*x+sin*y)/(scale*m.LengthMM/2+marginMM), (-sin*x+cos*y)/(scale*m.WidthMM/2+marginMM)
	return a*a+b*b <= 1
}
