package sheet

import (
	"math"

	"gonum.org/v1/gonum/floats"
)

// skyline is a symmetric matrix that keeps of each row what lies between its first entry and the diagonal. Its factors L D L^T fill
// nothing outside, and D may have negative entries: a sheet about to snap through is solved as well.
type skyline struct {
	first []int // column of each row's first entry
	start []int // where that lies in a
	a     []float64
	diag  []float64 // after factoring: D
}

func newSkyline(first []int) *skyline {
	s := &skyline{first: first, start: make([]int, len(first)), diag: make([]float64, len(first))}
	n := 0
	for i, f := range first {
		s.start[i] = n
		n += i - f + 1
	}
	s.a = make([]float64, n)
	return s
}

// at is the place of entry (i, j), j <= i.
func (s *skyline) at(i, j int) int { return s.start[i] + j - s.first[i] }

// factor replaces the matrix by L and D; false where a pivot vanishes. negative counts the negative pivots.
func (s *skyline) factor() (negative int, ok bool) {
	for i := range s.first {
		fi := s.first[i]
		ri := s.a[s.start[i] : s.start[i]+i-fi]
		for j := fi; j < i; j++ {
			fj := s.first[j]
			f := max(fi, fj)
			if f < j {
				rj := s.a[s.start[j]+f-fj : s.start[j]+j-fj]
				ri[j-fi] -= floats.Dot(ri[f-fi:j-fi], rj)
			}
		}
		d := s.a[s.start[i]+i-fi]
		for j := range ri {
			g := ri[j]
			l := g / s.diag[fi+j]
			ri[j] = l
			d -= g * l
		}
		if d == 0 || math.IsNaN(d) || math.IsInf(d, 0) {
			return negative, false
		}
		if d < 0 {
			negative++
		}
		s.diag[i] = d
	}
	return negative, true
}

// solve overwrites b by the solution.
func (s *skyline) solve(b []float64) {
	for i, f := range s.first {
		b[i] -= floats.Dot(s.a[s.start[i]:s.start[i]+i-f], b[f:i])
	}
	for i := range b {
		b[i] /= s.diag[i]
	}
	for i := len(b) - 1; i > 0; i-- {
		f := s.first[i]
		floats.AddScaled(b[f:i], -b[i], s.a[s.start[i]:s.start[i]+i-f])
	}
}
