package metal

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
)

// twist solves the long waves of a shell whose form is twisted (Kxy): there V takes a sine into cosines, which are laid out in
// sines again, sin(m') from cos(m) by 4 m'/(pi (m'^2 - m^2)) where m + m' is odd. So waves with m + n even couple among themselves, and
// those with m + n odd. Waves much shorter than the decay length hardly feel the form and stay single.
type twist struct {
	s    *Shell
	ml   int // long waves: across and up
	nl   int
	half [2]twistHalf
}

type twistHalf struct {
	waves [][2]int
	chol  mat.Cholesky // D q^4 + E t V q^-4 V over the waves, times W H/4
	v     *mat.SymDense
}

// Waves above twistWave/l feel the form by less than twistWave^-8, a thousandth; the size of the dense part is bounded too.
const (
	twistWave = 2.5
	maxTwist  = 900
)

func newTwist(s *Shell) (*twist, error) {
	c := s.spec
	// The sharper principal curvature gives the shortest decay length.
	mean := (c.KxPerMM + c.KyPerMM) / 2
	k := math.Abs(mean) + math.Hypot((c.KxPerMM-c.KyPerMM)/2, c.KxyPerMM)
	l := Panel{Sheet: c.Sheet, RadiusMM: 1 / k}.DecayMM()
	t := &twist{s: s}
	t.ml = min(s.m, int(math.Ceil(twistWave*c.WidthMM/(math.Pi*l)))+6)
	t.nl = min(s.n, int(math.Ceil(twistWave*c.HeightMM/(math.Pi*l)))+6)
	if over := float64(t.ml*t.nl) / maxTwist; over > 1 {
		t.ml, t.nl = int(float64(t.ml)/math.Sqrt(over)), int(float64(t.nl)/math.Sqrt(over))
	}
	for h := range t.half {
		half := &t.half[h]
		for i := range t.ml {
			for j := range t.nl {
				if (i+j)%2 == h {
					half.waves = append(half.waves, [2]int{i, j})
				}
			}
		}
		n := len(half.waves)
		if n == 0 {
			continue
		}
		half.v = mat.NewSymDense(n, nil)
		scaled := mat.NewDense(n, n, nil)
		for p, wp := range half.waves {
			a, b := s.a[wp[0]], s.b[wp[1]]
			half.v.SetSym(p, p, -(c.KyPerMM*a*a + c.KxPerMM*b*b))
			for r := p + 1; r < n; r++ {
				wr := half.waves[r]
				half.v.SetSym(p, r, -2*c.KxyPerMM*slopeToSine(wp[0], wr[0], c.WidthMM)*slopeToSine(wp[1], wr[1], c.HeightMM))
			}
		}
		for p := range n {
			for r, wr := range half.waves {
				a, b := s.a[wr[0]], s.b[wr[1]]
				scaled.Set(p, r, half.v.At(p, r)*math.Sqrt(c.EMPa*c.ThicknessMM)/(a*a+b*b))
			}
		}
		stiff := mat.NewSymDense(n, nil)
		stiff.SymOuterK(c.WidthMM*c.HeightMM/4, scaled)
		for p, wp := range half.waves {
			a, b := s.a[wp[0]], s.b[wp[1]]
			q2 := a*a + b*b
			stiff.SetSym(p, p, stiff.At(p, p)+c.WidthMM*c.HeightMM/4*c.Rigidity()*q2*q2)
		}
		if !half.chol.Factorize(stiff) {
			return nil, errors.New("the twisted form cannot be solved; give the curvatures along the panel's own axes")
		}
	}
	return t, nil
}

// slopeToSine is the part of wave i (from 0) in the slope of wave j, 1/mm; nothing when both are odd or both even.
func slopeToSine(i, j int, side float64) float64 {
	if (i+j)%2 == 0 {
		return 0
	}
	p, q := float64(i+1), float64(j+1)
	return 4 * p * q / ((p*p - q*q) * side)
}

// bend puts the coupled heights in place of the single ones for the long waves: w += (coupled - single) f.
func (t *twist) bend(w, f []float64) {
	for h := range t.half {
		half := &t.half[h]
		if len(half.waves) == 0 {
			continue
		}
		g := mat.NewVecDense(len(half.waves), nil)
		for p, wp := range half.waves {
			g.SetVec(p, f[wp[0]*t.s.n+wp[1]])
		}
		var u mat.VecDense
		// The factor is sound; a remark on its condition leaves the solution standing.
		_ = half.chol.SolveVecTo(&u, g)
		for p, wp := range half.waves {
			k := wp[0]*t.s.n + wp[1]
			w[k] += u.AtVec(p) - t.s.inv[k]*f[k]
		}
	}
}

// stretch adds what the twist makes of stretched metal: -E t V_xy q^-2 of its place.
func (t *twist) stretch(f, ex, ey []float64, strength float64) {
	for h := range t.half {
		half := &t.half[h]
		for p, wp := range half.waves {
			sum := 0.0
			for r, wr := range half.waves {
				if r == p {
					continue
				}
				a, b := t.s.a[wr[0]], t.s.b[wr[1]]
				sum += half.v.At(p, r) * ex[wr[0]] * ey[wr[1]] / (a*a + b*b)
			}
			f[wp[0]*t.s.n+wp[1]] -= strength * sum
		}
	}
}
