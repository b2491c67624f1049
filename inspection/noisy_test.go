package inspection

import (
	"bytes"
	"context"
	"image"
	"image/color"
	"image/jpeg"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"fairmetal/mark"
)

// TestNoisy: stripes as strong as the noise of each photo are read from smoothed ones, and that is said; the sound metal keeps its
// value, and the sharp low, whose stripes are lost with the noise, is either measured or told as a place without a value.
func TestNoisy(t *testing.T) {
	r, err := Run(context.Background(), noisy(t, oneDing(t), 18), nil)
	if err != nil {
		t.Fatal(err)
	}
	if !slices.ContainsFunc(r.Notices, func(n Notice) bool { return n.Code == "noisy" }) {
		t.Errorf("smoothing is not told: %v", r.Notices)
	}
	if q := r.Quality; q.SpreadUM > 2 || q.MeasuredCM2 < 750 {
		t.Errorf("%.1f um of spread over %.0f cm2", q.SpreadUM, q.MeasuredCM2)
	}
	told := slices.ContainsFunc(r.Marks, func(m mark.Mark) bool { return math.Abs(m.DepthUM-800) < 2*m.DepthSigmaUM }) ||
		slices.ContainsFunc(r.Areas, func(a Area) bool { return math.Hypot(a.XMM-8, a.YMM+4) < 10 })
	if !told {
		t.Errorf("the low is neither measured nor told: %+v %+v", r.Marks, r.Areas)
	}
}

// noisy halves the contrast of each photo of a capture and adds Gaussian noise of so many grey levels.
func noisy(t *testing.T, m fstest.MapFS, levels float64) fstest.MapFS {
	t.Helper()
	rnd := rand.New(rand.NewPCG(5, 6))
	out := fstest.MapFS{}
	for name, f := range m {
		out[name] = f
		if !strings.HasSuffix(name, ".jpg") {
			continue
		}
		img, err := jpeg.Decode(bytes.NewReader(f.Data))
		if err != nil {
			t.Fatal(err)
		}
		b := img.Bounds()
		grey := image.NewGray(b)
		for y := b.Min.Y; y < b.Max.Y; y++ {
			for x := b.Min.X; x < b.Max.X; x++ {
				v := 60 + 0.5*float64(color.GrayModel.Convert(img.At(x, y)).(color.Gray).Y) + levels*rnd.NormFloat64()
				grey.SetGray(x, y, color.Gray{Y: uint8(min(max(v, 0), 255))})
			}
		}
		var w bytes.Buffer
		if err := jpeg.Encode(&w, grey, &jpeg.Options{Quality: 95}); err != nil {
			t.Fatal(err)
		}
		out[name] = &fstest.MapFile{Data: w.Bytes()}
	}
	return out
}
