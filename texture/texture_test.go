package texture

import (
	"errors"
	"math"
	"testing"

	"fairmetal/surface"
)

func made(cols, rows int, pitch float64, f func(x, y float64) float64) *surface.Surface {
	s := surface.New(surface.Grid{Cols: cols, Rows: rows, PitchMM: pitch})
	for r := range rows {
		for c := range cols {
			x, y := s.XY(c, r)
			s.Height[r*cols+c], s.Sigma[r*cols+c] = float32(f(x, y)), 0.0005
		}
	}
	return s
}

func near(t *testing.T, what string, got, want, share float64) {
	t.Helper()
	if !(math.Abs(got-want) <= share*math.Abs(want)) {
		t.Errorf("%s: %g, want %g", what, got, want)
	}
}

// TestSine against the definitions of ISO 25178-2 (from memory) worked by hand: amplitude A has Sa = 2A/pi, Sq = A/sqrt 2, Sz = 2A,
// Ssk = 0, Sku = 1.5, Sdq = sqrt 2 pi A/wavelength, Sdr = Sdq^2/2 for small slopes.
func TestSine(t *testing.T) {
	const a, wave = 0.020, 25.0
	s := made(1001, 41, 0.5, func(x, _ float64) float64 { return a * math.Sin(2*math.Pi*x/wave) })
	f, err := Of(s.Grid, s.Height)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "Sa", f.SaUM, 2*20/math.Pi, 0.005)
	near(t, "Sq", f.SqUM, 20/math.Sqrt2, 0.005)
	near(t, "Sz", f.SzUM, 40, 0.005)
	near(t, "Sku", f.Sku, 1.5, 0.01)
	near(t, "Sdq", f.Sdq, math.Sqrt2*math.Pi*a/wave, 0.01)
	near(t, "Sdr", f.SdrPC, 100*f.Sdq*f.Sdq/2, 0.01)
	if math.Abs(f.Ssk) > 0.01 {
		t.Errorf("Ssk %g", f.Ssk)
	}
}

// TestPlane: a tilted plane has its slope for Sdq, and for Sdr exactly sqrt(1+slope^2)-1.
func TestPlane(t *testing.T) {
	s := made(60, 60, 1, func(x, y float64) float64 { return 0.3*x + 0.4*y })
	f, err := Of(s.Grid, s.Height)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "Sdq", f.Sdq, 0.5, 1e-5)
	near(t, "Sdr", f.SdrPC, 100*(math.Sqrt(1.25)-1), 1e-4)
}

// TestTransmission of the filters against the characteristic of ISO 16610-21 (from memory): exp(-pi (alpha cutoff/wave)^2), alpha^2 =
// ln 2/pi, so half at the cut-off.
func TestTransmission(t *testing.T) {
	for _, wave := range []float64{5, 8, 12, 20, 40} {
		s := made(801, 121, 0.5, func(x, _ float64) float64 { return 0.01 * math.Sin(2*math.Pi*x/wave) })
		inner := make([]bool, s.Len())
		for i := range inner {
			c, r := i%s.Cols, i/s.Cols
			inner[i] = c < 100 || c >= 700 || r < 40 || r > 80 // skipped: the rim
		}
		f, err := Measure(s, Waviness, inner)
		if err != nil {
			t.Fatal(err)
		}
		want := math.Exp(-math.Ln2 * (8 / wave) * (8 / wave))
		if got := f.SqUM / (10 / math.Sqrt2); math.Abs(got-want) > 0.02 {
			t.Errorf("wave of %g mm: %.3f passes, want %.3f", wave, got, want)
		}
	}
}

func TestEmptyAndSkipped(t *testing.T) {
	s := made(20, 20, 1, func(x, y float64) float64 { return 0 })
	for i := range s.Height {
		s.Height[i] = float32(math.NaN())
	}
	if _, err := Measure(s, Waviness, nil); !errors.Is(err, ErrEmpty) {
		t.Errorf("%v", err)
	}
}
