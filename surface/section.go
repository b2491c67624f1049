package surface

import (
	"math"
	"slices"

	"fairmetal/internal/order"
	"fairmetal/internal/rows"
)

// sectionReachMM is how far to either side of a feature line its own section may differ from the smooth form; it fades out
// over the last third.
const sectionReachMM = 21.0

// AlongLine estimates what the section of a feature line adds to the form from the line itself: for each distance s from the
// line the height that undamaged metal has there, free to drift linearly along the line (t), by robust regression over the
// whole line. across gives s and t in mm for a place. h is in mm, NaN skipped. The
// result, in mm, is zero away from the line.
func AlongLine(g Grid, h []float64, across Across) []float64 {
	bin := g.PitchMM
	half := int(math.Ceil(sectionReachMM / bin))
	type obs struct{ t, h float64 }
	bins := make([][]obs, 2*half)     // bin k spans (k-half)*bin to (k-half+1)*bin: none straddles the line
	place := make([]float32, g.Len()) // s in bins, NaN far away
	along := make([]float32, g.Len())
	rows.Do(g.Rows, func(r0, r1 int) {
		for r := r0; r < r1; r++ {
			for c := range g.Cols {
				i := r*g.Cols + c
				x, y := g.XY(c, r)
				s, t := across(x, y)
				place[i] = float32(math.NaN())
				if math.Abs(s) < sectionReachMM {
					place[i], along[i] = float32(s/bin), float32(t)
				}
			}
		}
	})
	for i, p := range place {
		if p == p && !math.IsNaN(h[i]) {
			k := min(max(int(math.Ceil(float64(p)))+half-1, 0), 2*half-1) // 0 belongs to the near side, as in Smooth
			bins[k] = append(bins[k], obs{float64(along[i]), h[i]})
		}
	}
	// A robust line h = a + b t for each distance.
	a, b := make([]float64, len(bins)), make([]float64, len(bins))
	known := make([]bool, len(bins))
	rows.Do(len(bins), func(k0, k1 int) {
		for k := k0; k < k1; k++ {
			o := bins[k]
			if len(o) < 40 {
				continue
			}
			t, v := make([]float64, len(o)), make([]float64, len(o))
			for i, q := range o {
				t[i], v[i] = q.t, q.h
			}
			a[k], b[k] = robustLine(t, v)
			known[k] = true
		}
	})
	fillGaps(a, known)
	fillGaps(b, known)
	out := make([]float64, g.Len())
	rows.Do(len(place), func(i0, i1 int) {
		for i := i0; i < i1; i++ {
			p := place[i]
			if p != p {
				continue
			}
			// Between the middles of two bins of the same side; the bin next to the line runs flat up to it.
			q := float64(p) + float64(half) - 0.5
			lo, hi := 0, half-1
			if p > 0 {
				lo, hi = half, 2*half-1
			}
			q = min(max(q, float64(lo)), float64(hi))
			k := min(int(q), hi-1)
			f := q - float64(k)
			v := (1-f)*(a[k]+b[k]*float64(along[i])) + f*(a[k+1]+b[k+1]*float64(along[i]))
			out[i] = v * fade(math.Abs(float64(p))*bin)
		}
	})
	return out
}

// fade is 1 to two thirds of the reach and falls to 0 at it with zero slope at both ends.
func fade(s float64) float64 {
	q := (s/sectionReachMM - 2.0/3) * 3
	switch {
	case q <= 0:
		return 1
	case q >= 1:
		return 0
	}
	return 0.5 * (1 + math.Cos(math.Pi*q))
}

// robustLine fits v = a + b t by iteratively reweighted least squares with Tukey's biweight, from the median of v.
func robustLine(t, v []float64) (a, b float64) {
	sorted := slices.Clone(v)
	a = order.Median(sorted)
	abs := make([]float64, len(v))
	long := 0.0
	for _, t := range t {
		long = max(long, math.Abs(t))
	}
	for range 12 {
		for i := range v {
			abs[i] = math.Abs(v[i] - a - b*t[i])
		}
		copy(sorted, abs)
		cut := biweight * max(order.Median(sorted)/0.6745, 1e-6)
		var s0, s1, s2, r0, r1 float64
		for i := range v {
			q := abs[i] / cut
			if q >= 1 {
				continue
			}
			w := (1 - q*q) * (1 - q*q)
			s0 += w
			s1 += w * t[i]
			s2 += w * t[i] * t[i]
			r0 += w * v[i]
			r1 += w * v[i] * t[i]
		}
		det := s0*s2 - s1*s1
		if det <= 1e-9*s0*s2 {
			break
		}
		na, nb := (r0*s2-r1*s1)/det, (s0*r1-s1*r0)/det
		moved := math.Abs(na-a) + math.Abs(nb-b)*long
		if a, b = na, nb; moved < atRest*cut {
			break
		}
	}
	return a, b
}

// atRest is the share of the cut by which a line may still move and count as found.
const atRest = 1e-4

// fillGaps carries the nearest known value into unknown bins.
func fillGaps(v []float64, known []bool) {
	for i := range v {
		if known[i] {
			continue
		}
		for d := 1; d < len(v); d++ {
			if i-d >= 0 && known[i-d] {
				v[i] = v[i-d]
				break
			}
			if i+d < len(v) && known[i+d] {
				v[i] = v[i+d]
				break
			}
		}
	}
}
