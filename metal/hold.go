package metal

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// constraints is the number of held slopes and points.
func (s *Shell) constraints() int {
	return s.edges[0] + s.edges[1] + s.edges[2] + s.edges[3] + len(s.points)
}

// alternate is (-1)^(i+1) for the wave of index i: the sign of its slope at the far edge, with the slope counted inwards.
func alternate(i int) float64 {
	if i%2 == 0 {
		return 1
	}
	return -1
}

// slips measures what is to be held: the inward slope at each clamped edge, as sine harmonics along it, and the height at points.
func (s *Shell) slips(w []float64) []float64 {
	out := make([]float64, 0, s.constraints())
	for side := range 2 {
		for j := range s.edges[side] {
			v := 0.0
			for i, a := range s.a {
				v += a * s.sign(side, i) * w[i*s.n+j]
			}
			out = append(out, v)
		}
	}
	for side := 2; side < 4; side++ {
		for i := range s.edges[side] {
			v := 0.0
			for j, b := range s.b {
				v += b * s.sign(side, j) * w[i*s.n+j]
			}
			out = append(out, v)
		}
	}
	for _, p := range s.points {
		out = append(out, Bent{s, w}.AtMM(p[0], p[1]))
	}
	return out
}

func (s *Shell) sign(side, wave int) float64 {
	if side%2 == 1 {
		return alternate(wave)
	}
	return 1
}

// push takes the reactions of the held places off the loads: the transpose of slips.
func (s *Shell) push(f, lambda []float64) {
	k := 0
	for side := range 2 {
		for j := range s.edges[side] {
			for i, a := range s.a {
				f[i*s.n+j] -= a * s.sign(side, i) * lambda[k]
			}
			k++
		}
	}
	for side := 2; side < 4; side++ {
		for i := range s.edges[side] {
			for j, b := range s.b {
				f[i*s.n+j] -= b * s.sign(side, j) * lambda[k]
			}
			k++
		}
	}
	for _, p := range s.points {
		sx, sy := sines(s.a, p[0]), sines(s.b, p[1])
		for i, x := range sx {
			for j, y := range sy {
				f[i*s.n+j] -= x * y * lambda[k]
			}
		}
		k++
	}
}

// tailWaves: the slope of an edge is a slow series (1/m^2 in the wave number); it is summed this many times further than the field.
const tailWaves = 16

// hold sets up the flexibility between all held places and factorises it.
func (s *Shell) hold() error {
	c := s.spec
	harmonics := func(e Edge, side float64, most int) int {
		if e == Simple {
			return 0
		}
		return min(most, int(math.Ceil(2*side/edgeWaveMM)))
	}
	s.edges = [4]int{harmonics(c.Left, c.HeightMM, s.n), harmonics(c.Right, c.HeightMM, s.n), harmonics(c.Bottom, c.WidthMM, s.m), harmonics(c.Top, c.WidthMM, s.m)}
	var soft []float64
	for _, b := range c.Braces {
		steps := int(math.Ceil(math.Hypot(b.X2MM-b.X1MM, b.Y2MM-b.Y1MM) / braceStepMM))
		for k := 0; k <= steps; k++ {
			t := float64(k) / math.Max(1, float64(steps))
			x, y := b.X1MM+t*(b.X2MM-b.X1MM), b.Y1MM+t*(b.Y2MM-b.Y1MM)
			if x <= 0 || y <= 0 || x >= c.WidthMM || y >= c.HeightMM {
				continue // the edge holds it already
			}
			s.points = append(s.points, [2]float64{x, y})
			give := 0.0
			if b.NPerMM > 0 {
				give = 1 / b.NPerMM
			}
			soft = append(soft, give)
		}
	}
	n := s.constraints()
	if n == 0 {
		s.unbraced = true
		return nil
	}
	if n > maxConstraints {
		return fmt.Errorf("the panel is held at %d places; that is more than %d: give a smaller piece of it or fewer braces", n, maxConstraints)
	}
	sym := mat.NewSymDense(n, nil)
	s.holdEdges(sym)
	first := n - len(s.points)
	unit := make([]float64, n)
	start := first
	if s.twist != nil {
		start = 0
	}
	for i := start; i < n; i++ {
		unit[i] = -1
		f := make([]float64, s.m*s.n)
		s.push(f, unit)
		unit[i] = 0
		if i < first { // only what the twist adds; the rest is in holdEdges
			w := make([]float64, len(f))
			s.twist.bend(w, f)
			for j, v := range s.slips(w) {
				if j >= i && j < first {
					sym.SetSym(i, j, sym.At(i, j)+v)
				}
			}
			continue
		}
		for j, v := range s.slips(s.bend(f)) {
			if j <= i {
				sym.SetSym(j, i, v)
			}
		}
		sym.SetSym(i, i, sym.At(i, i)*(1+1e-9)+soft[i-first])
	}
	if !s.chol.Factorize(sym) {
		return errors.New("two braces hold the same place; leave one of them out")
	}
	return nil
}

// holdEdges fills in the flexibility between clamped edges.
func (s *Shell) holdEdges(sym *mat.SymDense) {
	var at [4]int
	for side := 1; side < 4; side++ {
		at[side] = at[side-1] + s.edges[side-1]
	}
	pair := func(first int, along, across []float64, flex func(across, along float64) float64) {
		for j := range max(s.edges[first], s.edges[first+1]) {
			same, far := 0.0, 0.0
			for i := range tailWaves * len(across) {
				a := across[0] * float64(i+1)
				v := a * a * flex(a, along[j])
				same += v
				far += v * alternate(i)
			}
			for side := first; side <= first+1; side++ {
				if j < s.edges[side] {
					sym.SetSym(at[side]+j, at[side]+j, same)
				}
			}
			if j < s.edges[first] && j < s.edges[first+1] {
				sym.SetSym(at[first]+j, at[first+1]+j, far)
			}
		}
	}
	pair(0, s.b, s.a, s.flexibility)
	pair(2, s.a, s.b, func(across, along float64) float64 { return s.flexibility(along, across) })
	for left := range 2 {
		for bottom := 2; bottom < 4; bottom++ {
			for j := range s.edges[left] {
				for i := range s.edges[bottom] {
					v := s.a[i] * s.sign(left, i) * s.b[j] * s.sign(bottom, j) * s.inv[i*s.n+j]
					sym.SetSym(at[left]+j, at[bottom]+i, v)
				}
			}
		}
	}
}
