// Package texture gives the waviness of a measured surface in the figures of ISO 25178-2.
//
// In: heights in mm on a grid, NaN where not measured, and a band of wavelengths. Out: Sa, Sq, Sz and their kin in um over the band, that
// is after Gaussian filters in the sense of ISO 16610-61 (package surface). Cells without a value take no part.
package texture

import (
	"errors"
	"math"

	"fairmetal/surface"
)

// Band is a range of wavelengths, mm, between two Gaussian filters that pass half at their cut-offs. LongMM 0: no upper bound.
type Band struct {
	Name            string
	ShortMM, LongMM float64
}

// Bands of paint and panel: the finest waves of a capture's grid upwards. The two orange-peel bands are common practice in paint
// measurement; waviness is what a dent technician works on.
var (
	Waviness  = Band{"waviness", 8, 0}
	PeelLong  = Band{"orange peel, long", 3, 10}
	PeelShort = Band{"orange peel, short", 1, 3}
)

// Figures are areal parameters of ISO 25178-2 over the cells with a value, about their mean. Lengths in um; slopes and the developed
// area without unit.
type Figures struct {
	Band  string  `json:"band"`
	Cells int     `json:"cells"`
	SaUM  float64 `json:"sa_um"`  // mean absolute height
	SqUM  float64 `json:"sq_um"`  // root mean square height
	SpUM  float64 `json:"sp_um"`  // highest peak
	SvUM  float64 `json:"sv_um"`  // deepest pit
	SzUM  float64 `json:"sz_um"`  // their sum
	Ssk   float64 `json:"ssk"`    // skewness
	Sku   float64 `json:"sku"`    // kurtosis
	Sdq   float64 `json:"sdq"`    // root mean square slope
	SdrPC float64 `json:"sdr_pc"` // developed area over the plane one, per cent more
	// NoiseUM is the part of Sq that the stated sigma of the heights explains, taken as independent between cells.
	NoiseUM float64 `json:"noise_um"`
}

// ErrEmpty says that no cell of the area has a value.
var ErrEmpty = errors.New("no cell of this area was measured; choose another area or measure again")

// Measure filters a surface to a band and returns its figures. skip, which may be nil, leaves cells out (marks, for the metal between).
func Measure(s *surface.Surface, b Band, skip []bool) (Figures, error) {
	z := surface.Gauss(s.Grid, s.Height, surface.GaussCutoff(b.ShortMM))
	if b.LongMM > 0 {
		long := surface.Gauss(s.Grid, s.Height, surface.GaussCutoff(b.LongMM))
		for i := range z {
			z[i] -= long[i]
		}
	}
	for i := range z {
		if s.Height[i] != s.Height[i] || skip != nil && skip[i] {
			z[i] = float32(math.NaN())
		}
	}
	f, err := Of(s.Grid, z)
	if err != nil {
		return f, err
	}
	f.Band = b.Name
	var s2, n float64
	for i, v := range z {
		if g := float64(s.Sigma[i]); v == v && g == g {
			s2 += g * g
			n++
		}
	}
	// White noise keeps the share pitch^2/(4 pi sigma^2) of its power under a Gaussian of standard deviation sigma.
	if g := surface.GaussCutoff(b.ShortMM); n > 0 {
		f.NoiseUM = 1000 * math.Sqrt(s2/n*min(1, s.PitchMM*s.PitchMM/(4*math.Pi*g*g)))
	}
	return f, nil
}

// Of returns the figures of heights, mm, as they are.
func Of(g surface.Grid, z []float32) (Figures, error) {
	var f Figures
	var sum float64
	for _, v := range z {
		if v == v {
			sum += float64(v)
			f.Cells++
		}
	}
	if f.Cells == 0 {
		return f, ErrEmpty
	}
	n := float64(f.Cells)
	mean := sum / n
	var a, m2, m3, m4 float64
	for _, v := range z {
		if v != v {
			continue
		}
		d := 1000 * (float64(v) - mean)
		a += math.Abs(d)
		m2 += d * d
		m3 += d * d * d
		m4 += d * d * d * d
		f.SpUM = max(f.SpUM, d)
		f.SvUM = max(f.SvUM, -d)
	}
	f.SaUM, f.SqUM, f.SzUM = a/n, math.Sqrt(m2/n), f.SpUM+f.SvUM
	if f.SqUM > 0 {
		f.Ssk, f.Sku = m3/n/math.Pow(f.SqUM, 3), m4/n/math.Pow(f.SqUM, 4)
	}
	// Slopes from the four corners of each square of cells.
	var q2, area, squares float64
	for r := range g.Rows - 1 {
		for c := range g.Cols - 1 {
			i := r*g.Cols + c
			p, q, s, t := float64(z[i]), float64(z[i+1]), float64(z[i+g.Cols]), float64(z[i+g.Cols+1])
			zx, zy := (q+t-p-s)/(2*g.PitchMM), (s+t-p-q)/(2*g.PitchMM)
			if k := zx*zx + zy*zy; k == k {
				q2 += k
				area += math.Sqrt(1 + k)
				squares++
			}
		}
	}
	if squares > 0 {
		f.Sdq, f.SdrPC = math.Sqrt(q2/squares), 100*(area/squares-1)
	}
	return f, nil
}
