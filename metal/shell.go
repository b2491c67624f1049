package metal

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// Edge is how one edge of a panel is held. Both hold the height; a clamped edge holds the slope as well.
type Edge int

const (
	Clamped Edge = iota // a folded flange, a bonded frame
	Simple              // lies on, free to turn
)

// Brace is a place inside the panel that is held in height: a point, or a line where both ends differ. A brace under the skin, a
// bonded bar, a hand or a block held against it.
type Brace struct {
	X1MM, Y1MM, X2MM, Y2MM float64
	NPerMM                 float64 // stiffness of each held point; 0: rigid
}

// ShellSpec is a panel with room: a rectangle from (0, 0) to (WidthMM, HeightMM) of constant curvature, form
// z = -(Kx x^2/2 + Kxy x y + Ky y^2/2), so that curvatures of a crown (standing out) are positive.
type ShellSpec struct {
	Sheet
	WidthMM, HeightMM          float64
	KxPerMM, KyPerMM, KxyPerMM float64
	Left, Right, Bottom, Top   Edge
	Braces                     []Brace
	CoreMM                     float64 // standard deviation of the plastic patch of a hit; 0: 2.2
}

// Shell is a linear shallow shell, ready to be asked. With D = E t^3/(12 (1 - nu^2)) and the operator of its curvature
// V f = Ky f,xx - 2 Kxy f,xy + Kx f,yy it solves (Marguerre's equations, linear; [Ventsel2001], from memory)
//
//	D lap lap w + V phi = q,   lap lap phi = E t V w - E t lap e
//
// for the height w and Airy's function phi, lap being Laplace's operator, q a load or that of a plastic bend, e the plastic stretch. The unknowns are double
// sine series, in which the equations fall apart into single terms when Kxy = 0: E t and D give the stiffness D q^4 + E t K^2/q^4 of the
// wave (a, b), q^2 = a^2 + b^2, K = Ky a^2 + Kx b^2. Clamped edges and braces are added as forces that bring slope and height there to
// zero (Timoshenko's way for clamped plates, [Timoshenko1959] art. 44, for shells); Kxy couples the long waves, which are solved together.
// In its plane each edge is held along and free across (a diaphragm); a few decay lengths away that does not matter.
type Shell struct {
	spec     ShellSpec
	m, n     int       // waves across the width and the height
	a, b     []float64 // wave numbers, 1/mm
	inv      []float64 // 4/(W H stiffness), per wave, row a
	twist    *twist    // coupling of the long waves by Kxy; nil without
	edges    [4]int    // harmonics held on left, right, bottom, top
	points   [][2]float64
	chol     mat.Cholesky
	unbraced bool // no constraint at all
}

// Bounds of a panel, and of its series: core waves of exp(-8) are dropped.
const (
	minSideMM, maxSideMM = 20, 3000
	defaultCoreMM        = 2.2 // what makes the height at a hit of the reference runs, 1.5 to 3 mm by force and tip
	coreWaves            = 4.0
	edgeWaveMM           = 10.0 // shortest wave of slope that a clamped edge holds
	braceStepMM          = 10.0 // spacing of held points on a line
	maxConstraints       = 600
)

func (c ShellSpec) core() float64 {
	if c.CoreMM <= 0 {
		return defaultCoreMM
	}
	return c.CoreMM
}

func (c ShellSpec) check() error {
	maxK := math.Max(math.Abs(c.KxPerMM), math.Max(math.Abs(c.KyPerMM), math.Abs(c.KxyPerMM)))
	switch {
	case !within(c.WidthMM, minSideMM, maxSideMM) || !within(c.HeightMM, minSideMM, maxSideMM):
		return fmt.Errorf("a panel of %g x %g mm is not possible; give %d to %d mm a side", c.WidthMM, c.HeightMM, minSideMM, maxSideMM)
	case !within(c.ThicknessMM, 0.3, 3) || !within(c.EMPa, 20000, 400000) || !within(c.Nu, 0, 0.49):
		return fmt.Errorf("a sheet of %g mm with E %g MPa and Poisson's ratio %g is not a skin; choose a material and give 0.3 to 3 mm", c.ThicknessMM, c.EMPa, c.Nu)
	case !within(maxK, 0, 0.02):
		return fmt.Errorf("a crown of less than 50 mm radius is not a shallow shell; the far field does not hold there")
	case !within(c.core(), 1, 20):
		return fmt.Errorf("a plastic patch of %g mm is not possible; give 1 to 20 mm or 0", c.CoreMM)
	}
	for _, b := range c.Braces {
		if !within(min(b.X1MM, b.X2MM), 0, c.WidthMM) || !within(max(b.X1MM, b.X2MM), 0, c.WidthMM) || !within(min(b.Y1MM, b.Y2MM), 0, c.HeightMM) || !within(max(b.Y1MM, b.Y2MM), 0, c.HeightMM) || !within(b.NPerMM, 0, 1e9) {
			return fmt.Errorf("a brace at (%g, %g) to (%g, %g) mm lies outside the panel; keep it within %g x %g mm", b.X1MM, b.Y1MM, b.X2MM, b.Y2MM, c.WidthMM, c.HeightMM)
		}
	}
	return nil
}

// NewShell prepares a panel. It takes some 10 ms for 300 x 200 mm; with a twist of the form (Kxy) some 200 ms.
func NewShell(spec ShellSpec) (*Shell, error) {
	if err := spec.check(); err != nil {
		return nil, err
	}
	s := &Shell{spec: spec}
	waves := func(side float64) []float64 {
		k := make([]float64, int(math.Ceil(coreWaves*side/(math.Pi*spec.core()))))
		for i := range k {
			k[i] = math.Pi * float64(i+1) / side
		}
		return k
	}
	s.a, s.b = waves(spec.WidthMM), waves(spec.HeightMM)
	s.m, s.n = len(s.a), len(s.b)
	s.inv = make([]float64, s.m*s.n)
	for i, a := range s.a {
		for j, b := range s.b {
			s.inv[i*s.n+j] = s.flexibility(a, b)
		}
	}
	if spec.KxyPerMM != 0 {
		tw, err := newTwist(s)
		if err != nil {
			return nil, err
		}
		s.twist = tw
	}
	return s, s.hold()
}

// flexibility of one wave, 4/(W H (D q^4 + E t K^2/q^4)), per N mm.
func (s *Shell) flexibility(a, b float64) float64 {
	c := s.spec
	q2 := a*a + b*b
	k := c.KyPerMM*a*a + c.KxPerMM*b*b
	return 4 / (c.WidthMM * c.HeightMM * (c.Rigidity()*q2*q2 + c.EMPa*c.ThicknessMM*k*k/(q2*q2)))
}

// Source is what acts on a shell at a place: a permanent bend of strength BendMM (A of the compact law: it would leave
// A ln(a/r) on a flat sheet), metal stretched by StretchMM (B of the compact law, 2 pi t B/sqrt(12 (1 - nu^2)) of area), or a force.
type Source struct {
	XMM, YMM                  float64
	BendMM, StretchMM, ForceN float64
	CoreMM                    float64 // standard deviation of the patch; 0: that of the shell
}

// load adds the source to the loads of all waves.
func (s *Shell) load(f []float64, src Source) {
	c := s.spec
	core := src.CoreMM
	if core <= 0 {
		core = c.core()
	}
	bend := 2 * math.Pi * src.BendMM * c.Rigidity()
	stretch := 2 * math.Pi * c.ThicknessMM * src.StretchMM / math.Sqrt(12*(1-c.Nu*c.Nu)) * c.EMPa * c.ThicknessMM
	sx, sy := sines(s.a, src.XMM), sines(s.b, src.YMM)
	ex, ey := make([]float64, s.m), make([]float64, s.n)
	for i, a := range s.a {
		ex[i] = math.Exp(-a*a*core*core/2) * sx[i]
	}
	for j, b := range s.b {
		ey[j] = math.Exp(-b*b*core*core/2) * sy[j]
	}
	for i, a := range s.a {
		for j, b := range s.b {
			q2 := a*a + b*b
			k := c.KyPerMM*a*a + c.KxPerMM*b*b
			f[i*s.n+j] += ex[i] * ey[j] * (src.ForceN + bend*q2 + stretch*k/q2)
		}
	}
	if s.twist != nil && stretch != 0 {
		s.twist.stretch(f, ex, ey, stretch)
	}
}

func sines(k []float64, x float64) []float64 {
	s := make([]float64, len(k))
	for i, a := range k {
		s[i] = math.Sin(a * x)
	}
	return s
}

// bend turns loads into heights of the waves, without the held places.
func (s *Shell) bend(f []float64) []float64 {
	w := make([]float64, len(f))
	for i, g := range s.inv {
		w[i] = g * f[i]
	}
	if s.twist != nil {
		s.twist.bend(w, f)
	}
	return w
}

// Bent is the shape that sources leave.
type Bent struct {
	s *Shell
	w []float64
}

// Bend returns the shape under all sources together.
func (s *Shell) Bend(sources ...Source) Bent {
	f := make([]float64, s.m*s.n)
	for _, src := range sources {
		s.load(f, src)
	}
	w := s.bend(f)
	if s.unbraced {
		return Bent{s, w}
	}
	var lambda mat.VecDense
	// The factor was proved sound in hold; a remark on its condition leaves the solution standing.
	_ = s.chol.SolveVecTo(&lambda, mat.NewVecDense(s.constraints(), s.slips(w)))
	s.push(f, lambda.RawVector().Data)
	return Bent{s, s.bend(f)}
}

// AtMM is the height at a place, mm.
func (b Bent) AtMM(xMM, yMM float64) float64 {
	sx, sy := sines(b.s.a, xMM), sines(b.s.b, yMM)
	sum := 0.0
	for i, x := range sx {
		row := b.w[i*b.s.n : (i+1)*b.s.n]
		part := 0.0
		for j, y := range sy {
			part += row[j] * y
		}
		sum += x * part
	}
	return sum
}

// Map is heights on a grid, mm, row by row, x fastest.
type Map struct {
	NX, NY  int
	PitchMM float64
	Z       []float64
}

// Map is the height on a grid of the given pitch over the whole panel.
func (b Bent) Map(pitchMM float64) Map {
	return b.Grid(0, 0, pitchMM, int(b.s.spec.WidthMM/pitchMM)+1, int(b.s.spec.HeightMM/pitchMM)+1)
}

// Grid is the height on a grid that begins at (xMM, yMM); beyond the panel's edge it is zero.
func (b Bent) Grid(xMM, yMM, pitchMM float64, nx, ny int) Map {
	table := func(k []float64, from, side float64, n int) *mat.Dense {
		t := mat.NewDense(n, len(k), nil)
		for i := range n {
			if at := from + float64(i)*pitchMM; at > 0 && at < side {
				t.SetRow(i, sines(k, at))
			}
		}
		return t
	}
	var half, z mat.Dense
	half.Mul(mat.NewDense(b.s.m, b.s.n, b.w), table(b.s.b, yMM, b.s.spec.HeightMM, ny).T())
	z.Mul(table(b.s.a, xMM, b.s.spec.WidthMM, nx), &half)
	m := Map{NX: nx, NY: ny, PitchMM: pitchMM, Z: make([]float64, nx*ny)}
	for i := range nx {
		for j, v := range z.RawRowView(i) {
			m.Z[j*nx+i] = v
		}
	}
	return m
}

// Influence is the change at each place i for each unit of set at place j, [i][j], when lows are raised there; 1 where i is j.
// Places are (x, y) in mm.
func (s *Shell) Influence(places [][2]float64) [][]float64 {
	out := make([][]float64, len(places))
	for i := range out {
		out[i] = make([]float64, len(places))
	}
	for j, p := range places {
		b := s.Raise(p[0], p[1])
		for i, q := range places {
			out[i][j] = b.AtMM(q[0], q[1])
		}
		out[j][j] = 1
	}
	return out
}

// Raise is the shape that a hit leaves which raises a low at a place by 1; flat zero where the place is held.
func (s *Shell) Raise(xMM, yMM float64) Bent {
	b := s.Bend(Source{XMM: xMM, YMM: yMM, BendMM: 1, StretchMM: raising((s.spec.KxPerMM + s.spec.KyPerMM) / 2)})
	scale := 0.0
	if own := b.AtMM(xMM, yMM); own > 0 {
		scale = 1 / own
	}
	for i := range b.w {
		b.w[i] *= scale
	}
	return b
}

// GiveMMPerN is how far the panel gives under 1 N at a place, mm, before it yields: where that is much, a push moves the panel and not the
// mark, and it needs to be held.
func (s *Shell) GiveMMPerN(xMM, yMM float64) float64 {
	return s.Bend(Source{XMM: xMM, YMM: yMM, ForceN: 1}).AtMM(xMM, yMM)
}
