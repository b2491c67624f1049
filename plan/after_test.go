package plan

import (
	"math"
	"testing"
)

// TestAfterIsTheForecast: the surface after the plan is as low and as high as the plan's own forecast says, and metal that was not measured
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
	worst := 0.0
	for _, k := range m {
		for dx := -k.LengthMM / 2; dx <= k.LengthMM/2; dx += 1.5 {
			for dy := -k.WidthMM / 2; dy <= k.WidthMM/2; dy += 1.5 {
				if k.Inside(k.XMM+dx, k.YMM+dy, 1, 0) {
					worst = math.Max(worst, math.Abs(1000*after.At(k.XMM+dx, k.YMM+dy)))
				}
			}
		}
	}
	if !(worst < 1.2*p.Forecast.LeftUM+2) || worst < 0.3*p.Forecast.LeftUM {
		t.Errorf("%.1f um left, forecast %.1f", worst, p.Forecast.LeftUM)
	}
	if h := after.Height[hole]; h == h {
		t.Errorf("unmeasured metal became %g mm", h)
	}
}
