package register

import (
	"math"
	"math/rand/v2"
	"testing"

	"fairmetal/surface"
)

// skin is a pressed panel: crown, a cubic term, and a feature line of 0.07 over 6 mm along y = 12 + x/20.
func skin(x, y float64) float64 {
	z := -x*x/6200 - y*y/3800 + 8e-6*x*y + 6e-8*x*y*y - 4e-8*x*x*x
	const step, width = -0.07, 6.0
	s := (y - 12 - x/20) / math.Hypot(1, 0.05)
	t := min(max(s/width+0.5, 0), 1)
	z += step * width * (t*t*t - t*t*t*t/2)
	if s > width/2 {
		z += step * (s - width/2)
	}
	return z
}

// dent is a low of 2 mm and about 120 x 80 mm across the line.
func dent(x, y float64) float64 {
	q := (x-10)*(x-10)/(60*60) + (y-8)*(y-8)/(40*40)
	return -2 * math.Exp(-math.Ln10*q*q)
}

// TestUnder: a large low across the feature line, over a twin whose cards lay 4 mm and 0.8 degrees off, whose heights are measured 0.3 %
// too large, whose skin differs by 30 um of crown, with orange peel of its own. The section of the line under the damage comes from the
// twin; without it the damage itself bends the section.
func TestUnder(t *testing.T) {
	g := surface.Grid{Cols: 261, Rows: 181, PitchMM: 1, X0MM: -130, Y0MM: -90}
	paint, other := &panel{}, &panel{}
	paint.peel(5)
	other.peel(6)
	r := rand.New(rand.NewPCG(9, 9))
	z := make([]float64, g.Len())
	for i := range z {
		x, y := g.XY(i%g.Cols, i/g.Cols)
		z[i] = skin(x, y) + dent(x, y) + paint.at(x, y) + 0.0001*r.NormFloat64()
	}
	m := Move{4, -3, 0.8}
	form, height := make([]float32, g.Len()), make([]float32, g.Len())
	for i := range form {
		x, y := g.XY(i%g.Cols, i/g.Cols)
		// The twin's own frame, before the mirror.
		px, py := m.To(-x, y)
		form[i] = float32(1.003*skin(px, py) + 0.03*(x*x+y*y)/1e4)
		height[i] = float32(other.at(x, y))
	}
	ref := surface.NewReference(g, form, height).Mirrored()
	twin, err := Under(g, z, ref, true)
	if err != nil {
		t.Fatal(err)
	}
	// Along the line little tells the place, and little hangs on it; across it a tenth of a millimetre would make 7 um.
	ax, ay := m.To(0, 12)
	bx, by := twin.Move.To(0, 12)
	if off := (by - ay - (bx-ax)/20) / math.Hypot(1, 0.05); math.Abs(off) > 0.03 {
		t.Errorf("the twin's line lies %.3f mm off", off)
	}
	// Orange peel of 0.4 um, and its own through the filter.
	if twin.SpreadMM > 0.001 || math.Abs(twin.Scale-1/1.003) > 5e-4 {
		t.Errorf("spread %.2f um, scale %.4f", 1000*twin.SpreadMM, twin.Scale)
	}
	// Without the twin: the fill by polynomial and the line's own section.
	across := func(x, y float64) (s, d float64) {
		h := math.Hypot(1, 0.05)
		return (y - 12 - x/20) / h, (x + y/20) / h
	}
	fill := make([]float64, len(z))
	for i := range z {
		x, y := g.XY(i%g.Cols, i/g.Cols)
		s, _ := across(x, y)
		// What the mirror's calibration takes off: crown and a fold of its own shape, a sixth too wide.
		fill[i] = z[i] + x*x/6200 + y*y/3800 + 0.07/2*(s+math.Hypot(s, 2.2))
	}
	smooth, _, err := surface.Flatten(g, fill, across)
	if err != nil {
		t.Fatal(err)
	}
	for i, v := range smooth.Grid(g) {
		fill[i] -= v
	}
	for i, v := range surface.AlongLine(g, fill, across) {
		fill[i] -= v
	}
	with, without := 0.0, 0.0
	n := 0.0
	for i := range z {
		x, y := g.XY(i%g.Cols, i/g.Cols)
		want := dent(x, y) + paint.at(x, y)
		if want > -0.02 || twin.Base[i] != twin.Base[i] {
			continue
		}
		with += (z[i] - twin.Base[i] - want) * (z[i] - twin.Base[i] - want)
		without += (fill[i] - want) * (fill[i] - want)
		n++
	}
	with, without = 1000*math.Sqrt(with/n), 1000*math.Sqrt(without/n)
	t.Logf("rms error in the damage %.2f um with the twin (degree %d), %.2f um without", with, twin.Degree, without)
	// No worse than undamaged metal scatters, and a tenth of what the fill gets wrong.
	if with > 1 || without < 10*with {
		t.Errorf("rms error in the damage %.2f um with the twin, %.2f um without", with, without)
	}
}

// TestUnderNothing: a twin that lies elsewhere is refused.
func TestUnderNothing(t *testing.T) {
	g := surface.Grid{Cols: 60, Rows: 60, PitchMM: 1}
	far := surface.Reference{Grid: surface.Grid{Cols: 60, Rows: 60, PitchMM: 1, X0MM: 500}, Z: make([]float32, 3600)}
	if _, err := Under(g, make([]float64, 3600), far, false); err == nil {
		t.Error("accepted")
	}
}
