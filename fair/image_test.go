package fair

import (
	"image"
	"math"
	"testing"

	"fairmetal/surface"
)

func lamp() Lamp {
	return Lamp{View: View{0, 45}, Light: Light{0}, PitchMM: 20, BoardMM: 1000, EyeMM: 1e7, PXPerMM: 1}
}

// edges returns where a row of the picture crosses half brightness, with sub-pixel places.
func edges(m *image.NRGBA, y int) []float64 {
	var out []float64
	for x := 1; x < m.Bounds().Dx(); x++ {
		a, b := float64(m.NRGBAAt(x-1, y).R)-136.5, float64(m.NRGBAAt(x, y).R)-136.5
		if (a < 0) != (b < 0) {
			out = append(out, float64(x)-0.5+a/(a-b))
		}
	}
	return out
}

// TestStripesOnFlatMetal: with the eye far away every ray leaves at 45 degrees, so stripes of 20 mm on the board lie 20/sin 45 mm apart
// on the metal.
func TestStripesOnFlatMetal(t *testing.T) {
	m, err := Stripes(panel(300, 200, 1, 0, flat), lamp())
	if err != nil {
		t.Fatal(err)
	}
	e := edges(m, 100)
	if len(e) < 10 {
		t.Fatalf("%d edges", len(e))
	}
	n := (len(e) - 1) / 2 * 2
	if got, want := 2*(e[n]-e[0])/float64(n), 20/math.Sin(math.Pi/4); math.Abs(got-want) > 0.1 {
		t.Errorf("stripes %.2f mm apart, want %.2f", got, want)
	}
}

// TestStripesMoveByTheLaw: metal tilted by 2 mrad along the view moves the stripes by 2 x 2 mrad x 1000 mm = 4 mm on the board, 4/sin 45 on
// the metal; the tilt across the view leaves them.
func TestStripesMoveByTheLaw(t *testing.T) {
	at := func(f func(x, y float64) float64) float64 {
		m, err := Stripes(panel(300, 200, 1, 0, f), lamp())
		if err != nil {
			t.Fatal(err)
		}
		// The edge nearest to the middle, where the board is 1000 mm away.
		best := math.Inf(1)
		for _, e := range edges(m, 100) {
			if math.Abs(e-150) < math.Abs(best-150) {
				best = e
			}
		}
		return best
	}
	still := at(flat)
	period := 20 / math.Sin(math.Pi/4)
	moved := math.Abs(math.Remainder(at(func(x, _ float64) float64 { return 2e-3 * x })-still, period/2))
	if want := 4 / math.Sin(math.Pi/4); math.Abs(moved-want) > 0.15 {
		t.Errorf("moved by %.2f mm, want %.2f", moved, want)
	}
	if d := at(func(_, y float64) float64 { return 2e-3 * y }) - still; math.Abs(d) > 0.05 {
		t.Errorf("a tilt across the view moved the stripes by %.2f mm", d)
	}
}

func TestStripesLeaveUnmeasuredClear(t *testing.T) {
	s := panel(100, 80, 1, 0, func(x, y float64) float64 {
		if x > 20 && y > 10 {
			return math.NaN()
		}
		return 0
	})
	m, err := Stripes(s, lamp())
	if err != nil {
		t.Fatal(err)
	}
	if m.NRGBAAt(95, 3).A != 0 || m.NRGBAAt(95, 76).A == 0 || m.NRGBAAt(3, 3).A == 0 {
		t.Error("the upper right corner should be clear, the others drawn")
	}
}

func TestStripesRefuse(t *testing.T) {
	bad := lamp()
	bad.PXPerMM = 1000
	flatView := lamp()
	flatView.ElevationDeg = 0
	for _, l := range []Lamp{{}, bad, flatView} {
		if _, err := Stripes(panel(100, 80, 1, 0, flat), l); err == nil {
			t.Errorf("%+v was drawn", l)
		}
	}
	if _, err := Stripes(surface.New(surface.Grid{Cols: 1, Rows: 1, PitchMM: 1}), lamp()); err == nil {
		t.Error("a single cell was drawn")
	}
}
