package photo

import (
	"math"
	"testing"
)

// TestSmooth: a lone bright pixel keeps its light and spreads by the variance that Smooth states.
func TestSmooth(t *testing.T) {
	m := NewImage(9, 9)
	m.Pix[4*9+4] = 1
	s := Smooth(m)
	var sum, xx, yy float64
	for i, v := range s.Pix {
		x, y := float64(i%9-4), float64(i/9-4)
		sum, xx, yy = sum+float64(v), xx+float64(v)*x*x, yy+float64(v)*y*y
	}
	if math.Abs(sum-1) > 1e-6 || math.Abs(xx-SmoothPX2) > 1e-6 || math.Abs(yy-SmoothPX2) > 1e-6 {
		t.Errorf("light %.4f, variance %.4f and %.4f", sum, xx, yy)
	}
}
