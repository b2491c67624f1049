package inspection

import (
	"bytes"
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	"os"
	"testing"
)

// spoilt is a test photo with something wrong.
func spoilt(t *testing.T, f func(m *image.Gray) image.Image) []byte {
	t.Helper()
	data, err := os.ReadFile("testdata/one-ding/u016-00.jpg")
	if err != nil {
		t.Fatal(err)
	}
	src, err := jpeg.Decode(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	m := image.NewGray(src.Bounds())
	draw.Draw(m, m.Bounds(), src, image.Point{}, draw.Src)
	var out bytes.Buffer
	if err := jpeg.Encode(&out, f(m), &jpeg.Options{Quality: 92}); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// boxed blurs by the mean of (2r+1)^2 pixels.
func boxed(m *image.Gray, r int) *image.Gray {
	out := image.NewGray(m.Bounds())
	for y := range m.Rect.Dy() {
		for x := range m.Rect.Dx() {
			sum, n := 0, 0
			for dy := -r; dy <= r; dy++ {
				for dx := -r; dx <= r; dx++ {
					if p := image.Pt(x+dx, y+dy); p.In(m.Rect) {
						sum, n = sum+int(m.GrayAt(p.X, p.Y).Y), n+1
					}
				}
			}
			out.SetGray(x, y, color.Gray{Y: uint8(sum / n)})
		}
	}
	return out
}

func TestCheckPhoto(t *testing.T) {
	fill := func(m *image.Gray, x0, x1 int, v uint8) *image.Gray {
		draw.Draw(m, image.Rect(x0, 0, x1, m.Rect.Dy()), image.NewUniform(color.Gray{Y: v}), image.Point{}, draw.Src)
		return m
	}
	for _, c := range []struct {
		name string
		want string // code of the first notice
		data []byte
	}{
		{"as taken", "", spoilt(t, func(m *image.Gray) image.Image { return m })},
		{"no photo", "not-image", []byte("hello")},
		{"overexposed", "clipped", spoilt(t, func(m *image.Gray) image.Image {
			for i, v := range m.Pix {
				m.Pix[i] = uint8(min(255, 4*int(v)))
			}
			return m
		})},
		{"blurred", "blurred", spoilt(t, func(m *image.Gray) image.Image { return boxed(m, 3) })},
		{"card B covered", "no-card-b", spoilt(t, func(m *image.Gray) image.Image { return fill(m, 760, 1120, 60) })},
		{"both covered", "no-cards", spoilt(t, func(m *image.Gray) image.Image { return fill(m, 0, 1120, 60) })},
		{"board aside", "no-stripes", spoilt(t, func(m *image.Gray) image.Image { return fill(m, 310, 800, 60) })},
	} {
		got := CheckPhoto(c.data)
		code := ""
		if len(got.Notices) > 0 {
			code = got.Notices[0].Code
		}
		if code != c.want {
			t.Errorf("%s: %q, want %q: %+v", c.name, code, c.want, got)
		}
	}
}

// TestPeriod: a sine of 12 samples a period is counted to a few per cent, noise about a level is no stripe.
func TestPeriod(t *testing.T) {
	var v []float64
	for i := range 240 {
		v = append(v, 0.3+0.1*[]float64{0, 0.5, 0.87, 1, 0.87, 0.5, 0, -0.5, -0.87, -1, -0.87, -0.5}[i%12])
	}
	if p, s := period(v); p < 11.7 || p > 12.3 || s < 0.08 || s > 0.11 {
		t.Errorf("period %.2f, swing %.3f", p, s)
	}
	if p, _ := period(make([]float64, 100)); p != 0 {
		t.Errorf("a flat line has a period of %.1f", p)
	}
}
