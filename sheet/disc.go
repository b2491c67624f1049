package sheet

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mat"
)

// Edge is how the rim is held.
type Edge int

// A clamped rim neither moves nor turns; a hinged one may turn.
const (
	Clamped Edge = iota
	Hinged
	Mirror // half a sheet is worked out: a rectangle alone
)

// Disc is a round sheet.
type Disc struct {
	Material
	ThicknessMM float64
	RadiusMM    float64 // of the crown, front convex; 0: flat
	SupportMM   float64 // radius of the held rim
	Edge        Edge
}

// Tip is what touches the sheet.
type Tip struct {
	BallMM float64 // radius of a rigid round tip; 0: an even pressure on a disc
	DiscMM float64 // radius of that disc
}

// EquivalentRadius is the round clamped sheet that is as stiff under a load at its middle as a clamped square one of the given side:
// 0.00560 P a^2/D = P r^2/(16 pi D) ([Timoshenko1959], tables 37 and eq. 92).
func EquivalentRadius(side float64) float64 { return side * math.Sqrt(0.00560*16*math.Pi) }

// ErrNoBalance says that no balance was found under a load: the sheet snaps through, or the load is beyond reason.
var ErrNoBalance = errors.New("no balance of forces was found: the sheet snaps through under this load; hold it nearer or push less")

const (
	layers  = 12 // Gauss points through the thickness: a plastic front between them costs under 2 % of what is left after springback
	along   = 3  // Gauss points an element
	perNode = 4  // u, du/dr, w, dw/dr
)

// station is one Gauss point of the meridian.
type station struct {
	element   int
	r, weight float64    // weight: 2 pi r dr
	n, n1, n2 [4]float64 // Hermite functions and their derivatives by r
	layer     [layers]point
	press     float64 // what presses on the face, MPa, as the metal's yield knows it
	seen      float64 // the same in the last balance
}

// Solver holds a disc under load.
type Solver struct {
	d        Disc
	law      law
	node     []float64
	x        []float64 // displacements, and the tip's height last
	st       []station
	zs, zw   [layers]float64
	free     []int
	tip      Tip
	push     float64 // +1 from behind, -1 from the front
	touching bool
	pressure float64 // N/mm2 on the back, everywhere
	trial    []station
}

// New meshes a disc finely under the load and coarser outwards.
func New(d Disc, fineMM float64) *Solver {
	s := &Solver{d: d, law: d.law()}
	r, h := 0.0, fineMM
	s.node = []float64{0}
	for r < d.SupportMM-1e-9 {
		if r > 5 {
			h *= 1.17
		}
		r = math.Min(r+h, d.SupportMM)
		if d.SupportMM-r < h/2 {
			r = d.SupportMM
		}
		s.node = append(s.node, r)
	}
	zs, zw := make([]float64, layers), make([]float64, layers)
	quad.Legendre{}.FixedLocations(zs, zw, -d.ThicknessMM/2, d.ThicknessMM/2)
	copy(s.zs[:], zs)
	copy(s.zw[:], zw)
	for e := range len(s.node) - 1 {
		a, b := s.node[e], s.node[e+1]
		xs, ws := make([]float64, along), make([]float64, along)
		quad.Legendre{}.FixedLocations(xs, ws, a, b)
		for k, r := range xs {
			p := station{element: e, r: r, weight: 2 * math.Pi * r * ws[k]}
			p.n, p.n1, p.n2 = hermite((r-a)/(b-a), b-a)
			s.st = append(s.st, p)
		}
	}
	n := perNode * len(s.node)
	s.x = make([]float64, n+1)
	last := n - perNode
	held := map[int]bool{0: true, 3: true, last: true, last + 2: true}
	if d.Edge == Clamped {
		held[last+3] = true
	}
	for i := range n {
		if !held[i] {
			s.free = append(s.free, i)
		}
	}
	return s
}

// hermite returns the cubic Hermite functions of an element of length h at t in 0..1 for (value, slope) at both ends.
func hermite(t, h float64) (n, n1, n2 [4]float64) {
	t2, t3 := t*t, t*t*t
	n = [4]float64{1 - 3*t2 + 2*t3, h * (t - 2*t2 + t3), 3*t2 - 2*t3, h * (t3 - t2)}
	n1 = [4]float64{(6*t2 - 6*t) / h, 1 - 4*t + 3*t2, (6*t - 6*t2) / h, 3*t2 - 2*t}
	n2 = [4]float64{(12*t - 6) / h / h, (6*t - 4) / h, (6 - 12*t) / h / h, (6*t - 2) / h}
	return n, n1, n2
}

// form is the crown's height and slope at r.
func (d *Disc) form(r float64) (z, slope float64) {
	if d.RadiusMM == 0 {
		return 0, 0
	}
	return -r * r / (2 * d.RadiusMM), -r / d.RadiusMM
}

// at gathers displacement, slopes and curvature at a station.
func (s *Solver) at(p *station) (u, u1, w, w1, w2 float64) {
	x := s.x[perNode*p.element:]
	for k, j := range [4]int{0, 1, perNode, perNode + 1} {
		u += p.n[k] * x[j]
		u1 += p.n1[k] * x[j]
		w += p.n[k] * x[j+2]
		w1 += p.n1[k] * x[j+2]
		w2 += p.n2[k] * x[j+2]
	}
	return u, u1, w, w1, w2
}

// area is what the stations within a radius stand for, mm2: a load spread over it carries its force to the last digit.
func (s *Solver) area(within float64) float64 {
	var a float64
	for i := range s.st {
		if s.st[i].r < within {
			a += s.st[i].weight
		}
	}
	return a
}

// strains returns membrane strains and curvatures at a station.
func (s *Solver) strains(p *station) (er, et, kr, kt, slope float64) {
	u, u1, _, w1, w2 := s.at(p)
	_, z1 := s.d.form(p.r)
	return u1 + w1*w1/2 + z1*w1, u / p.r, -w2, -w1 / p.r, w1 + z1
}

// balance assembles what is out of balance and the tangent for the present displacements under force; the layers' trial states go to
// s.trial.
func (s *Solver) balance(force float64) (res []float64, k *mat.Dense) {
	n := len(s.x)
	res, k = make([]float64, n), mat.NewDense(n, n, nil)
	raw := k.RawMatrix().Data
	s.trial = append(s.trial[:0], s.st...)
	disc := 0.0
	if !s.touching && s.tip.DiscMM > 0 {
		disc = force / s.area(s.tip.DiscMM)
	}
	tipSum := 0.0
	for i := range s.trial {
		p := &s.trial[i]
		er, et, kr, kt, slope := s.strains(p)
		var f [4]float64    // Nr, Nt, Mr, Mt
		var d [4][4]float64 // their derivatives by er, et, kr, kt
		for l, z := range s.zs {
			squeeze := p.press * (0.5 - s.push*z/s.d.ThicknessMM)
			sr, st, _, t, next := s.law.pressed(er+z*kr, et+z*kt, 0, squeeze, p.layer[l])
			p.layer[l] = next
			w := s.zw[l]
			f[0] += w * sr
			f[1] += w * st
			f[2] += w * z * sr
			f[3] += w * z * st
			m := [2][2]float64{{t[0], t[1]}, {t[1], t[3]}}
			for a := range 2 {
				for b := range 2 {
					v := w * m[a][b]
					d[a][b] += v
					d[a][b+2] += z * v
					d[a+2][b] += z * v
					d[a+2][b+2] += z * z * v
				}
			}
		}
		// Rows of B for the eight unknowns of the element.
		var bm [4][8]float64
		idx := [8]int{}
		base := perNode * p.element
		for q, j := range [4]int{0, 1, perNode, perNode + 1} {
			idx[q], idx[q+4] = base+j, base+j+2
			bm[0][q], bm[1][q] = p.n1[q], p.n[q]/p.r
			bm[0][q+4], bm[2][q+4], bm[3][q+4] = slope*p.n1[q], -p.n2[q], -p.n1[q]/p.r
		}
		for a := range 8 {
			var fa float64
			var da [4]float64
			for c := range 4 {
				fa += bm[c][a] * f[c]
				for e := range 4 {
					da[e] += bm[c][a] * d[c][e]
				}
			}
			res[idx[a]] -= p.weight * fa
			for b := range 8 {
				var v float64
				for e := range 4 {
					v += da[e] * bm[e][b]
				}
				if a > 3 && b > 3 {
					v += f[0] * p.n1[a-4] * p.n1[b-4]
				}
				raw[idx[a]*n+idx[b]] += p.weight * v
			}
		}
		load := s.pressure
		if disc != 0 && p.r < s.tip.DiscMM {
			load += disc
		}
		// The middle of the sheet wraps a ball that is larger by half the thickness.
		if big := s.tip.BallMM + s.d.ThicknessMM/2; s.touching && p.r < 0.98*big {
			_, _, w, _, _ := s.at(p)
			z, _ := s.d.form(p.r)
			ball := big - math.Sqrt(big*big-p.r*p.r)
			// Height of the tip's surface over the sheet, in the direction of the push.
			if g := s.push*(s.x[n-1]-z-w) - ball; g > 0 {
				load += s.push * touchStiffness * g
				tipSum += p.weight * s.push * touchStiffness * g
				for a := range 4 {
					for b := range 4 {
						raw[idx[a+4]*n+idx[b+4]] += p.weight * touchStiffness * p.n[a] * p.n[b]
					}
					raw[idx[a+4]*n+n-1] -= p.weight * touchStiffness * p.n[a]
					raw[(n-1)*n+idx[a+4]] -= p.weight * touchStiffness * p.n[a]
				}
				raw[n*n-1] += p.weight * touchStiffness
			}
		}
		p.seen = math.Abs(load - s.pressure)
		for a := range 4 {
			res[idx[a+4]] += p.weight * load * p.n[a]
		}
	}
	if s.touching {
		res[n-1] = force - tipSum
	}
	return res, k
}

// settle finds balance under a force by Newton's method from the present state; it leaves everything as it was where it fails.
func (s *Solver) settle(force float64) bool {
	before := append([]float64(nil), s.x...)
	use := s.free
	if s.touching {
		use = append(append([]int(nil), s.free...), len(s.x)-1)
	}
	scale := math.Abs(force) + s.pressure*s.d.SupportMM*s.d.SupportMM + 1
	last := math.Inf(1)
	for it := range 30 {
		res, k := s.balance(force)
		worst := 0.0
		for _, i := range use {
			worst = math.Max(worst, math.Abs(res[i]))
		}
		if worst < 1e-7*scale {
			copy(s.st, s.trial)
			return true
		}
		if math.IsNaN(worst) || it > 6 && worst > 50*last {
			break
		}
		last = math.Min(last, worst)
		m := len(use)
		a, b := mat.NewDense(m, m, nil), mat.NewVecDense(m, nil)
		for p, i := range use {
			b.SetVec(p, res[i])
			row := k.RawRowView(i)
			for q, j := range use {
				a.Set(p, q, row[j])
			}
		}
		var lu mat.LU
		lu.Factorize(a)
		dx := mat.NewVecDense(m, nil)
		if lu.SolveVecTo(dx, false, b) != nil && math.IsNaN(dx.AtVec(0)) {
			break
		}
		// No step longer than a few thicknesses.
		biggest := 0.0
		for p, i := range use {
			if i%perNode == 2 {
				biggest = math.Max(biggest, math.Abs(dx.AtVec(p)))
			}
		}
		cut := math.Min(1, 2*s.d.ThicknessMM/math.Max(biggest, 1e-12))
		for p, i := range use {
			s.x[i] += cut * dx.AtVec(p)
		}
	}
	copy(s.x, before)
	return false
}

// ramp goes from one force to another in steps that halve where they must.
func (s *Solver) ramp(from, to float64, steps int) error {
	at, step := from, (to-from)/float64(steps)
	least := math.Abs(to-from) / 4000
	for math.Abs(to-at) > 1e-9*(1+math.Abs(to)) {
		if math.Abs(step) > math.Abs(to-at) {
			step = to - at
		}
		if s.settle(at + step) {
			s.squeeze()
			at += step
			step *= 1.3
			continue
		}
		if step /= 2; math.Abs(step) < least {
			return ErrNoBalance
		}
	}
	for range squeezes {
		if !s.settle(to) {
			return ErrNoBalance
		}
		if s.squeeze() < squeezed*s.d.YieldMPa {
			break
		}
	}
	return nil
}

// squeeze takes what presses on the face in the last balance over into the metal's yield; it returns the largest change.
func (s *Solver) squeeze() (change float64) {
	for i := range s.st {
		p := &s.st[i]
		change = math.Max(change, math.Abs(p.seen-p.press))
		p.press = p.seen
	}
	return change
}

// Load brings the tip's force to forceN, N, positive from behind.
func (s *Solver) Load(tip Tip, forceN float64) error {
	s.tip, s.push = tip, math.Copysign(1, forceN)
	if tip.BallMM == 0 {
		return s.ramp(0, forceN, 12)
	}
	s.touching = true
	z, _ := s.d.form(0)
	s.x[len(s.x)-1] = z + s.x[2] + s.push*0.02
	return s.ramp(0, forceN, 16)
}

// Release takes the force away.
func (s *Solver) Release(forceN float64) error {
	if !s.touching {
		return s.ramp(forceN, 0, 5)
	}
	low := 0.02 * forceN
	if err := s.ramp(forceN, low, 5); err != nil {
		return err
	}
	s.touching = false
	s.tip = Tip{}
	for i := range s.st {
		s.st[i].press = 0
	}
	if !s.settle(0) {
		return ErrNoBalance
	}
	return nil
}

// Press puts an even pressure, MPa, on the back.
func (s *Solver) Press(mpa float64, steps int) error {
	from := s.pressure
	for i := 1; i <= steps; i++ {
		s.pressure = from + (mpa-from)*float64(i)/float64(steps)
		if !s.settle(0) {
			return ErrNoBalance
		}
	}
	return nil
}

// HeightMM is the displacement out of the panel at the middle.
func (s *Solver) HeightMM() float64 { return s.x[2] }

// Profile returns radii and heights at the nodes, mm.
func (s *Solver) Profile() (r, w []float64) {
	for i, q := range s.node {
		r, w = append(r, q), append(w, s.x[perNode*i+2])
	}
	return r, w
}

// FrontStrain is the largest strain of the painted face now, stretched or pressed, at the stations.
func (s *Solver) FrontStrain() float64 {
	most := 0.0
	for i := range s.st {
		er, et, kr, kt, _ := s.strains(&s.st[i])
		z := s.d.ThicknessMM / 2
		most = math.Max(most, math.Max(math.Abs(er+z*kr), math.Abs(et+z*kt)))
	}
	return most
}
