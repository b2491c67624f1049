package register

import (
	"math"

	"gonum.org/v1/gonum/dsp/fourier"

	"fairmetal/internal/order"
	"fairmetal/internal/rows"
	"fairmetal/mark"
	"fairmetal/surface"
)

// The fingerprint band: long orange peel and short waviness, which neither the flattening of the form nor the photo's resolution touch.
// Its waves are correlated over a quarter of their length, some 1.5 mm.
const (
	fingerShortMM = 2.5
	fingerLongMM  = 25.0
	fingerCut     = 3.0 // robust standard deviations beyond which a height counts no more
	fingerMargin  = 1.8 // of a mark's ellipse is left out: its crown reaches so far, and is not paint
	markMargin    = 1.25
	markRimMM     = 3.0
)

// fingerprint returns a surface's heights in the band, in units of their robust spread and cut there, NaN on marks and where not measured.
func fingerprint(s *surface.Surface, marks []mark.Mark) (field, float64) {
	z := append([]float32(nil), s.Height...)
	nan := float32(math.NaN())
	for i, v := range z {
		if x, y := s.XY(i%s.Cols, i/s.Cols); v == v && markOver(marks, x, y, fingerMargin) >= 0 {
			z[i] = nan
		}
	}
	long := surface.Gauss(s.Grid, z, surface.GaussCutoff(fingerLongMM))
	z = surface.Gauss(s.Grid, z, surface.GaussCutoff(fingerShortMM))
	var abs []float64
	for i := range z {
		z[i] -= long[i]
		if i%5 == 0 && z[i] == z[i] {
			abs = append(abs, math.Abs(float64(z[i])))
		}
	}
	if len(abs) == 0 {
		return field{s.Grid, z}, 0
	}
	spread := max(order.Median(abs)/0.6745, 1e-7)
	for i, v := range z {
		if v == v {
			z[i] = float32(min(max(float64(v)/spread, -fingerCut), fingerCut))
		}
	}
	return field{s.Grid, z}, spread
}

// markOver returns the mark in whose ellipse, scaled and widened by a rim, a place lies; -1: none.
func markOver(marks []mark.Mark, x, y, scale float64) int {
	for k := range marks {
		m := &marks[k]
		reach := scale*m.LengthMM/2 + markRimMM
		if math.Abs(x-m.XMM) < reach && math.Abs(y-m.YMM) < reach && m.Inside(x, y, scale, markRimMM) {
			return k
		}
	}
	return -1
}

// searchMM is the pitch of the search by correlation, a third of a correlated patch's width.
const (
	searchMM      = 2.0
	searchTurnDeg = 45.0 // to either side: cards lie with their symbols' upright along the panel's
	searchStepDeg = 1.5  // at 100 mm from the true turn's centre half a step is 1.3 mm
)

// plane is a raster of n x n complex values.
type plane struct {
	n int
	v []complex128
}

func newPlane(n int) plane { return plane{n, make([]complex128, n*n)} }

// transform runs the two-dimensional Fourier transform, or its inverse without the factor 1/n^2.
func (p plane) transform(inverse bool) {
	line := func(buf []complex128, fft *fourier.CmplxFFT) {
		if inverse {
			fft.Sequence(buf, buf)
		} else {
			fft.Coefficients(buf, buf)
		}
	}
	for range 2 {
		rows.Do(p.n, func(r0, r1 int) {
			fft := fourier.NewCmplxFFT(p.n)
			for r := r0; r < r1; r++ {
				line(p.v[r*p.n:(r+1)*p.n], fft)
			}
		})
		for r := range p.n {
			for c := range r {
				p.v[r*p.n+c], p.v[c*p.n+r] = p.v[c*p.n+r], p.v[r*p.n+c]
			}
		}
	}
}

// middle is the middle of a field's known cells, and the longer side of the rectangle about them, mm.
func (f *field) middle() (x, y, span float64) {
	x0, y0, x1, y1 := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for i, z := range f.z {
		if z == z {
			px, py := f.XY(i%f.Cols, i/f.Cols)
			x0, y0, x1, y1 = min(x0, px), min(y0, py), max(x1, px), max(y1, py)
		}
	}
	return (x0 + x1) / 2, (y0 + y1) / 2, max(x1-x0, y1-y0)
}

// sampled lays values and mask (as real and imaginary part) of a field, turned, on a raster; (cx, cy) comes to its middle.
func sampled(f *field, cx, cy, turnDeg float64, n int) plane {
	p := newPlane(n)
	m := Move{TurnDeg: turnDeg}
	m.XMM, m.YMM = m.To(-cx, -cy)
	rows.Do(n, func(r0, r1 int) {
		for r := r0; r < r1; r++ {
			for c := range n {
				x, y := m.From(float64(c-n/2)*searchMM, float64(r-n/2)*searchMM)
				q, k := f.Cell(x, y)
				i, j := int(math.Round(q)), int(math.Round(k))
				if i < 0 || j < 0 || i >= f.Cols || j >= f.Rows {
					continue
				}
				if z := f.z[j*f.Cols+i]; z == z {
					p.v[r*n+c] = complex(float64(z), 1)
				}
			}
		}
	})
	return p
}

// split returns the spectra of the real and of the imaginary part of a transformed raster.
func (p plane) split(i, j int) (re, im complex128) {
	a := p.v[i*p.n+j]
	b := p.v[(p.n-i)%p.n*p.n+(p.n-j)%p.n]
	b = complex(real(b), -imag(b))
	return (a + b) / 2, (a - b) / 2 * complex(0, -1)
}

// byFingerprint searches shift and turn by the correlation of both fingerprints over all shifts with at least minOverlap of the smaller
// one in common, and returns the best few, scored in standard deviations of an accidental correlation.
func byFingerprint(a, b *field) []candidate {
	ax, ay, spanA := a.middle()
	bx, by, spanB := b.middle()
	// Shifts are counted round the raster; the ends of the larger one may meet beyond a fifth of its length.
	n := rasterSize(1.2 * max(spanA, spanB) / searchMM)
	pa := sampled(a, ax, ay, 0, n)
	var cells float64
	for _, v := range pa.v {
		cells += imag(v)
	}
	pa.transform(false)
	var all []candidate
	try := func(turn float64) candidate {
		pb := sampled(b, bx, by, turn, n)
		pb.transform(false)
		out := newPlane(n)
		rows.Do(n, func(r0, r1 int) {
			for i := r0; i < r1; i++ {
				for j := range n {
					za, ma := pa.split(i, j)
					zb, mb := pb.split(i, j)
					conj := func(z complex128) complex128 { return complex(real(z), -imag(z)) }
					out.v[i*n+j] = za*conj(zb) + complex(0, 1)*ma*conj(mb)
				}
			}
		})
		out.transform(true)
		best := candidate{score: -1}
		scale := 1 / float64(n*n)
		for i := range n {
			for j := range n {
				v := out.v[i*n+j]
				if over := imag(v) * scale; over > minOverlap*cells {
					if s := real(v) * scale / math.Sqrt(over); s > best.score {
						m := Move{TurnDeg: turn}
						x, y := m.To(-bx, -by)
						m.XMM, m.YMM = x+ax+float64((j+n/2)%n-n/2)*searchMM, y+ay+float64((i+n/2)%n-n/2)*searchMM
						best = candidate{m, s}
					}
				}
			}
		}
		return best
	}
	for t := -searchTurnDeg; t <= searchTurnDeg; t += searchStepDeg {
		all = append(all, try(t))
	}
	best := distinct(all)
	for i, c := range best {
		for _, d := range []float64{searchStepDeg / 3, -searchStepDeg / 3} {
			if t := try(c.move.TurnDeg + d); t.score > best[i].score && apart(t.move, c.move) < 3*nearMM {
				best[i] = t
			}
		}
	}
	return best
}

// rasterSize is the least even number from atLeast on whose prime factors the transform is quick with; a raster is no larger than 1024.
func rasterSize(atLeast float64) int {
	for n := max(64, int(atLeast)+1); n < 1024; n++ {
		rest := n
		for _, f := range []int{2, 3, 5} {
			for rest%f == 0 {
				rest /= f
			}
		}
		if rest == 1 && n%2 == 0 {
			return n
		}
	}
	return 1024
}

// minOverlap is the share of the first surface that must be in common.
const minOverlap = 0.25

// agreement is the correlation of both fingerprints under a move, and the spread of the same at wrong moves near it.
func agreement(a, b *field, m Move) (corr, chance float64) {
	at := func(m Move) float64 {
		const stride = 3 // cells: 1.5 mm, independent heights
		type sums struct{ ab, aa, bb, n float64 }
		part := make([]sums, a.Rows/stride+1)
		rows.Do(len(part), func(k0, k1 int) {
			for k := k0; k < k1; k++ {
				r := k * stride
				if r >= a.Rows {
					continue
				}
				for c := 0; c < a.Cols; c += stride {
					z := float64(a.z[r*a.Cols+c])
					if z != z {
						continue
					}
					q, _, _, ok := b.at(m.From(a.XY(c, r)))
					if ok {
						part[k].ab += z * q
						part[k].aa += z * z
						part[k].bb += q * q
						part[k].n++
					}
				}
			}
		})
		var s sums
		for _, p := range part {
			s.ab, s.aa, s.bb, s.n = s.ab+p.ab, s.aa+p.aa, s.bb+p.bb, s.n+p.n
		}
		if s.n < minShared {
			return math.NaN()
		}
		return s.ab / math.Sqrt(s.aa*s.bb)
	}
	corr = at(m)
	var s2, n float64
	for k := range 24 {
		sin, cos := math.Sincos(2 * math.Pi * float64(k) / 24)
		far := 14.0 + 4*float64(k%5)
		if v := at(Move{m.XMM + far*cos, m.YMM + far*sin, m.TurnDeg}); v == v {
			s2 += v * v
			n++
		}
	}
	if corr != corr || n < 8 {
		return 0, 1
	}
	return corr, max(math.Sqrt(s2/n), 1e-4)
}
