package prints

import (
	"bytes"
	"image"
	"image/color"
	"image/png"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"fairmetal/internal/poppler"
)

// TestRulerMeasuresTrue finds the ruler's line on a page rasterised at 300 dpi: 100 mm within 0.15 mm, the width of its end ticks.
func TestRulerMeasuresTrue(t *testing.T) {
	pdf, err := Cards(CardSheet{SidesMM: []float64{40}})
	if err != nil {
		t.Fatal(err)
	}
	m := poppler.Page(t, pdf, "300")
	const perMM = 300 / 25.4
	best := 0
	// The longest dark run near the foot of the page is the ruler.
	for y := m.Bounds().Dy() * 9 / 10; y < m.Bounds().Dy(); y++ {
		run := 0
		for x := range m.Bounds().Dx() {
			if poppler.Dark(m, x, y) {
				run++
				best = max(best, run)
			} else {
				run = 0
			}
		}
	}
	if mm := float64(best) / perMM; math.Abs(mm-100) > 0.25 {
		t.Errorf("the ruler is %.2f mm long", mm)
	}
}

// TestCardsDecode: an independent reader (zbar) reads every card off the rasterised page.
func TestCardsDecode(t *testing.T) {
	tool, err := exec.LookPath("zbarimg")
	if err != nil {
		t.Skip("zbarimg (package zbar-tools) is not on this machine: the cards were not read back")
	}
	pdf, err := Cards(CardSheet{SidesMM: []float64{30, 40}})
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := png.Encode(&b, poppler.Page(t, pdf, "200")); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "p.png")
	if err := os.WriteFile(file, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command(tool, "-q", "--raw", file).Output()
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"FM1 A 30", "FM1 B 30", "FM1 A 40", "FM1 B 40"} {
		if !strings.Contains(string(out), want) {
			t.Errorf("%q is not on the page: %q", want, out)
		}
	}
}

// TestStripes measures pitch and mean brightness of the printed stripes: the phase of a row against a sine of the true pitch drifts
// by less than a fiftieth of a stripe over the page.
func TestStripes(t *testing.T) {
	for _, s := range []BoardSpec{
		{WidthMM: 180, HeightMM: 150, PitchMM: 12, Stripes: "u", Profile: "square"},
		{WidthMM: 180, HeightMM: 150, PitchMM: 12, Stripes: "u", Profile: "sine"},
		{WidthMM: 180, HeightMM: 150, PitchMM: 12, Stripes: "u", Profile: "sine", Bars: true},
	} {
		pdf, err := Board(s)
		if err != nil {
			t.Fatal(err)
		}
		perMM, y := 10.0, int((marginMM+60)*10)
		m := image.Image(nil)
		if s.Bars {
			// Bars are tenths of a millimetre wide: one thin strip of the page at 2540 dpi, so that whole pixels measure them.
			perMM, y = 100, 0
			m = poppler.Page(t, pdf, "2540", "-x", "0", "-y", "6800", "-W", "20000", "-H", "2")
		} else {
			m = poppler.Page(t, pdf, "254")
		}
		x0, n := int((marginMM+6)*perMM), int(s.PitchMM*perMM)
		phase := func(from int) (ph, amp, mean float64) {
			var re, im, sum float64
			for i := range n {
				v := linear(m, from+i, y)
				if s.Bars {
					// The raster smooths edges by coverage: its grey is the share of white, not a brightness to decode.
					v = grey(m, from+i, y)
				}
				k := 2 * math.Pi * float64(i) / float64(n)
				re, im, sum = re+v*math.Cos(k), im+v*math.Sin(k), sum+v
			}
			return math.Atan2(im, re), 2 * math.Hypot(re, im) / float64(n), sum / float64(n)
		}
		p0, amp, mean := phase(x0)
		p1, _, _ := phase(x0 + 12*n)
		if d := math.Remainder(p1-p0, 2*math.Pi); math.Abs(d) > 2*math.Pi/50 {
			t.Errorf("%+v: phase drifts by %.3f rad over 12 stripes", s, d)
		}
		if math.Abs(mean-0.5) > 0.02 {
			t.Errorf("%+v: mean brightness %.3f, want a half", s, mean)
		}
		if want := map[bool]float64{true: 2 / math.Pi, false: 0.5}[s.Profile == "square"]; math.Abs(amp-want) > 0.03 {
			t.Errorf("%+v: first harmonic %.3f, want %.3f", s, amp, want)
		}
	}
}

func grey(m image.Image, x, y int) float64 {
	return float64(color.GrayModel.Convert(m.At(x, y)).(color.Gray).Y) / 255
}

func linear(m image.Image, x, y int) float64 {
	v := grey(m, x, y)
	if v <= 0.04045 {
		return v / 12.92
	}
	return math.Pow((v+0.055)/1.055, 2.4)
}

// TestRepeatable: two runs give the same bytes.
func TestRepeatable(t *testing.T) {
	a, err := Board(BoardSpec{WidthMM: 400, HeightMM: 300, PitchMM: 16, Stripes: "v", Profile: "square"})
	if err != nil {
		t.Fatal(err)
	}
	b, err := Board(BoardSpec{WidthMM: 400, HeightMM: 300, PitchMM: 16, Stripes: "v", Profile: "square"})
	if err != nil || !bytes.Equal(a, b) {
		t.Errorf("different bytes, %v", err)
	}
}

func TestRefusesTheImpossible(t *testing.T) {
	for _, s := range []BoardSpec{
		{}, {WidthMM: 800, HeightMM: 600, PitchMM: 0, Stripes: "u", Profile: "sine"}, {WidthMM: 1e9, HeightMM: 600, PitchMM: 10, Stripes: "u", Profile: "sine"},
		{WidthMM: 800, HeightMM: 600, PitchMM: 10, Stripes: "x", Profile: "sine"}, {WidthMM: 800, HeightMM: 600, PitchMM: 10, Stripes: "u", Profile: "saw"},
		{WidthMM: math.NaN(), HeightMM: 600, PitchMM: 10, Stripes: "u", Profile: "sine"}, {WidthMM: 800, HeightMM: 600, PitchMM: 10, Stripes: "u", Profile: "sine", Paper: "A9"},
	} {
		if _, err := Board(s); err == nil {
			t.Errorf("%+v was drawn", s)
		}
	}
	for _, c := range []CardSheet{{}, {SidesMM: []float64{1}}, {SidesMM: []float64{40}, Paper: "A9"}, {SidesMM: []float64{190}}} {
		if _, err := Cards(c); err == nil {
			t.Errorf("%+v was drawn", c)
		}
	}
}
