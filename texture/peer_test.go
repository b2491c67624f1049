package texture

import (
	"math"
	"math/rand/v2"
	"testing"

	"fairmetal/internal/peer"
	"fairmetal/surface"
)

// byDefinition filters with the whole planar weighting function of ISO 16610-61, exp(-pi (x^2+y^2)/(alpha cutoff)^2), as a normalised
// convolution over the known cells, and adds up the parameters of ISO 25178-2 as they are defined, slopes by central differences.
const byDefinition = `
import numpy as np
from scipy.signal import fftconvolve
w, h, p, short, long = np.fromfile("size.f64"); w, h = int(w), int(h)
z = np.fromfile("z.f64").reshape(h, w)
known = np.isfinite(z)
def gauss(cut):
    n = int(np.ceil(2 * cut / p)); x = np.arange(-n, n + 1) * p
    k = np.exp(-np.pi * (x[None] ** 2 + x[:, None] ** 2) / (np.log(2) / np.pi * cut ** 2))
    return fftconvolve(np.where(known, z, 0), k, "same") / np.maximum(fftconvolve(known.astype(float), k, "same"), 1e-9)
s = gauss(short) - (gauss(long) if long else 0)
s = np.where(known, s, np.nan) * 1000
d = s - np.nanmean(s); q = np.sqrt(np.nanmean(d ** 2))
gy, gx = np.gradient(s / 1000, p); g = gx ** 2 + gy ** 2
np.array([np.nanmean(abs(d)), q, np.nanmax(d), -np.nanmin(d), np.nanmax(d) - np.nanmin(d), np.nanmean(d ** 3) / q ** 3, np.nanmean(d ** 4) / q ** 4,
  np.sqrt(np.nanmean(g)), 100 * (np.nanmean(np.sqrt(1 + g)) - 1)]).tofile("out.f64")
print(0)
`

// TestByDefinition: the figures of each band against numpy and scipy working by the standards' definitions, on a panel with a low, long
// and short waves, a hole and a ragged rim.
func TestByDefinition(t *testing.T) {
	s := surface.New(surface.Grid{Cols: 240, Rows: 180, PitchMM: 0.5, X0MM: -60, Y0MM: -45})
	r := rand.New(rand.NewPCG(3, 4))
	z := make([]float64, s.Len())
	for i := range z {
		x, y := s.XY(i%s.Cols, i/s.Cols)
		z[i] = math.NaN()
		if math.Hypot(x/58, y/43) > 1 || math.Hypot(x-20, y+5) < 6 {
			continue
		}
		h := -0.03*math.Exp(-((x+15)*(x+15)+y*y)/90) + 0.006*math.Sin(x/4+y/9) + 0.0008*math.Sin(1.4*x-y) + 0.0003*r.NormFloat64()
		s.Height[i], s.Sigma[i] = float32(h), 0.0005
		z[i] = float64(s.Height[i])
	}
	// Heights to a thousandth; over a long cut-off the filter runs on a thinned raster and the hole and the rim show. Slopes depend on how a
	// standard's derivative is taken on a grid: between the middles of four cells (ours) or over two cells they part where waves are
	// four cells long.
	for _, c := range []struct {
		Band
		heights, slopes float64
	}{{Waviness, 0.001, 0.005}, {PeelLong, 0.001, 0.03}, {PeelShort, 0.001, math.Inf(1)}, {Band{"wide", 8, 50}, 0.01, 0.005}} {
		b := c.Band
		want, _ := peer.Python(t, byDefinition, map[string][]float64{"z": z, "size": {240, 180, s.PitchMM, b.ShortMM, b.LongMM}})
		f, err := Measure(s, b, nil)
		if err != nil {
			t.Fatal(err)
		}
		got := []float64{f.SaUM, f.SqUM, f.SpUM, f.SvUM, f.SzUM, f.Ssk, f.Sku, f.Sdq, f.SdrPC}
		for k, name := range []string{"Sa", "Sq", "Sp", "Sv", "Sz", "Ssk", "Sku", "Sdq", "Sdr"} {
			limit := c.heights
			if k >= 7 {
				limit = c.slopes
			}
			// Skewness may be next to nothing.
			if math.Abs(got[k]-want[k]) > limit*max(math.Abs(want[k]), 0.01) {
				t.Errorf("%s %s: %.6g, by definition %.6g", b.Name, name, got[k], want[k])
			}
		}
	}
}
