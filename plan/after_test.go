package plan

import (
	"math"
	"testing"
)

// TestAfterIsTheForecast: the surface after the plan is as low, high and steep as the plan's own forecast says, and metal that was not measured
// stays unknown. The planning has a raster of 1.5 mm on a surface of 0.5 mm and whole um a hit, hence a fifth and 2 um.
func TestAfterIsTheForecast(t *testing.T) {
	s, m := dented(dent{0, 0, 300, 30}, dent{60, 10, 150, 24})
	hole := s.Cols*s.Rows/2 - s.Cols/2 + 3
	s.Height[hole] = float32(math.NaN())
	in := input(s, m, panel(t, 1500))
	p, err := Make(in)
	if err != nil {
		t.Fatal(err)
	}
	after := After(in, p)
	in.Surface = after
	um, mrad := benchOn(t, in, m).left()
	if um > 1.2*p.Forecast.LeftUM+2 || um < 0.3*p.Forecast.LeftUM || math.Abs(2*mrad-p.Forecast.WobbleMRad) > 0.2*p.Forecast.WobbleMRad+0.2 {
		t.Errorf("%.1f um left that wobble by %.1f mrad, forecast %.1f and %.1f", um, 2*mrad, p.Forecast.LeftUM, p.Forecast.WobbleMRad)
	}
	if h := after.Height[hole]; h == h {
		t.Errorf("unmeasured metal became %g mm", h)
	}
}
