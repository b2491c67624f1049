package sheet

import (
	"errors"
	"fmt"
	"math"
	"sort"
)

// Rect is a rectangular sheet from (0, 0) to (WidthMM, HeightMM), form z = -(Kx x^2/2 + Kxy x y + Ky y^2/2) about its middle, or about
// the mirror line where only a half or a quarter is worked out. Curvatures of a crown that stands out are positive.
type Rect struct {
	Material
	ThicknessMM, WidthMM, HeightMM float64
	KxPerMM, KyPerMM, KxyPerMM     float64
	Left, Right, Bottom, Top       Edge
}

// Place is where a hit will fall: the mesh is StepMM fine within FineMM of it.
type Place struct{ XMM, YMM, FineMM, StepMM float64 }

// Quarter is a square sheet of the given side, clamped, that is hit at its middle alone: one quarter, mirrored at x = 0 and y = 0.
func Quarter(m Material, thicknessMM, sideMM, radiusMM float64) Rect {
	k := 0.0
	if radiusMM != 0 {
		k = 1 / radiusMM
	}
	return Rect{Material: m, ThicknessMM: thicknessMM, WidthMM: sideMM / 2, HeightMM: sideMM / 2, KxPerMM: k, KyPerMM: k, Left: Mirror, Bottom: Mirror}
}

func (r *Rect) check() error {
	ok := func(v, lo, hi float64) bool { return v >= lo && v <= hi }
	switch {
	case !ok(r.WidthMM, 5, 5000) || !ok(r.HeightMM, 5, 5000) || !ok(r.ThicknessMM, 0.1, 5):
		return fmt.Errorf("a sheet of %g x %g x %g mm cannot be worked out; give 5 to 5000 mm a side and 0.1 to 5 mm of thickness", r.WidthMM, r.HeightMM, r.ThicknessMM)
	case !ok(r.EMPa, 1e3, 1e6) || !ok(r.Nu, 0, 0.49999) || !(r.YieldMPa > 0):
		return fmt.Errorf("a metal with E %g MPa, Poisson's ratio %g and a yield of %g MPa is not known; choose a material", r.EMPa, r.Nu, r.YieldMPa)
	case !ok(math.Max(math.Abs(r.KxPerMM), math.Max(math.Abs(r.KyPerMM), math.Abs(r.KxyPerMM))), 0, 0.02):
		return errors.New("a crown of less than 50 mm radius is no shallow shell; the solver does not hold there")
	case r.KxPerMM != 0 && r.Left == Mirror && r.Right == Mirror || r.KyPerMM != 0 && r.Bottom == Mirror && r.Top == Mirror:
		return errors.New("a crowned sheet has one mirror line across each direction; work the other half out")
	case r.KxyPerMM != 0 && (r.Left == Mirror || r.Right == Mirror || r.Bottom == Mirror || r.Top == Mirror):
		return errors.New("a twisted form has no mirror line; work the whole sheet out")
	}
	return nil
}

// middle is where the form is level.
func (r *Rect) middle() (x, y float64) {
	at := func(low, high Edge, side float64) float64 {
		switch {
		case low == Mirror:
			return 0
		case high == Mirror:
			return side
		}
		return side / 2
	}
	return at(r.Left, r.Right, r.WidthMM), at(r.Bottom, r.Top, r.HeightMM)
}

// form is the height of the unloaded sheet and its slopes.
func (r *Rect) form(x, y float64) (z, zx, zy float64) {
	mx, my := r.middle()
	x, y = x-mx, y-my
	zx, zy = -r.KxPerMM*x-r.KxyPerMM*y, -r.KxyPerMM*x-r.KyPerMM*y
	return (zx*x + zy*y) / 2, zx, zy
}

// decay is the length over which the shell forgets a hit; infinite on a flat sheet.
func (r *Rect) decay() float64 {
	k := math.Max(math.Abs(r.KxPerMM), math.Max(math.Abs(r.KyPerMM), math.Abs(r.KxyPerMM)))
	return math.Sqrt(r.ThicknessMM/k) / math.Pow(12*(1-r.Nu*r.Nu), 0.25)
}

const (
	rectLayers  = 8 // Gauss points through the thickness: within 1 % of 16 in what is left
	gauss       = 2 // integration points an element and direction: with cubic splines that are smooth across elements enough
	touchPoints = 4 // the same for the touch of a ball
)

// site is one integration point of the sheet.
type site struct {
	gx, gy      *sample
	weight      float64
	zx, zy      float64 // slopes of the form
	old, next   []point // layers; nil: virgin
	touchedNext bool
	press       float64 // what presses on the face, MPa
}

// Work is a rectangular sheet being worked on: it keeps what every hit left.
type Work struct {
	rect     Rect
	law      law
	lx, ly   line
	sx, sy   []sample
	unknown  [3][]int // of u, v, w and function (i, j) at i*ny+j; -1: held
	ny       int
	diagonal bool // the sheet, its loads and so its answer are alike about x = y: half is enough
	zs, zw   [rectLayers]float64
	plate    [3][6]float64 // elastic stiffness in the plane, coupling, in bending
	elements []element
	x        []float64
	first    []int
	k        *skyline
	res      []float64
	springs  []spring
	load     *touch
	pressure float64   // MPa on the back
	side     float64   // +1: the tip presses on the back
	even     []float64 // the load vector of an even pressure of 1
	Balances int       // load steps taken so far
}

// element is a patch of the mesh with its unknowns: 16 functions of u, of v, of w.
type element struct {
	unknown [48]int
	sites   []site
	share   float64 // 2 where the element stands for its mirror image about x = y as well
}

// NewWork meshes a sheet finely about the places to be hit.
func NewWork(r Rect, places ...Place) (*Work, error) {
	if err := r.check(); err != nil {
		return nil, err
	}
	w := &Work{rect: r, law: r.law()}
	longest := func(side float64) float64 { return math.Max(side/40, math.Min(side/8, 1.2*w.rect.decay())) }
	var xs, ys []spot
	for _, p := range places {
		if p.XMM < 0 || p.YMM < 0 || p.XMM > r.WidthMM || p.YMM > r.HeightMM || !(p.StepMM > 0) || !(p.FineMM >= 0) {
			return nil, fmt.Errorf("a hit at (%g, %g) mm lies outside the sheet; keep it within %g x %g mm", p.XMM, p.YMM, r.WidthMM, r.HeightMM)
		}
		xs, ys = append(xs, spot{p.XMM, p.FineMM, p.StepMM}), append(ys, spot{p.YMM, p.FineMM, p.StepMM})
	}
	w.lx, w.ly = graded(r.WidthMM, longest(r.WidthMM), xs), graded(r.HeightMM, longest(r.HeightMM), ys)
	w.sx, w.sy = w.lx.samples(gauss), w.ly.samples(gauss)
	w.diagonal = r.WidthMM == r.HeightMM && r.KxPerMM == r.KyPerMM && r.Left == Mirror && r.Bottom == Mirror && r.Right == r.Top
	for _, p := range places {
		w.diagonal = w.diagonal && p.XMM == 0 && p.YMM == 0
	}
	copyLayers(w.zs[:], w.zw[:], r.ThicknessMM)
	t := r.ThicknessMM
	for i, v := range w.law.elastic {
		w.plate[0][i] = v * t
		w.plate[2][i] = v * t * t * t / 12
	}
	w.number()
	w.mesh()
	return w, nil
}

// tie returns the unknown that stands for function (i, j) of a field, or false where it is held at zero.
func (w *Work) tie(field, i, j int) (f, a, b int, free bool) {
	nx, ny := w.lx.functions(), w.ly.functions()
	// place, last place, across: 0 for the displacement along this direction, 1 for that across in the plane, 2 for the height.
	side := func(at, n int, low, high Edge, across int) (int, bool) {
		from, e := at, low
		if n-1-at < at {
			from, e = n-1-at, high
		}
		switch {
		case e == Mirror && from == 0 && across == 0:
			return 0, false
		case e == Mirror && from == 0:
			if at == 0 {
				return 1, true
			}
			return n - 2, true
		case e != Mirror && (from == 0 || from == 1 && across == 2 && e == Clamped):
			return 0, false
		}
		return at, true
	}
	ax, ay := 2, 2
	if field < 2 {
		ax, ay = field, 1-field
	}
	a, okx := side(i, nx, w.rect.Left, w.rect.Right, ax)
	b, oky := side(j, ny, w.rect.Bottom, w.rect.Top, ay)
	if !okx || !oky {
		return 0, 0, 0, false
	}
	f = field
	if w.diagonal {
		switch {
		case field == 1:
			f, a, b = 0, b, a
		case field == 2 && a < b:
			a, b = b, a
		}
	}
	return f, a, b, true
}

// number gives the unknowns their order, which decides the width of the stiffness matrix.
func (w *Work) number() {
	nx, ny := w.lx.functions(), w.ly.functions()
	w.ny = ny
	type name struct{ f, i, j int }
	seen := map[name]int{}
	var list []name
	for f := range 3 {
		for i := range nx {
			for j := range ny {
				if g, a, b, ok := w.tie(f, i, j); ok {
					n := name{g, a, b}
					if _, known := seen[n]; !known {
						seen[n] = 0
						list = append(list, n)
					}
				}
			}
		}
	}
	key := func(n name) int {
		outer, inner, width := n.i, n.j, ny
		switch {
		case w.diagonal:
			outer, inner, width = max(n.i, n.j), min(n.i, n.j), nx
		case ny > nx:
			outer, inner, width = n.j, n.i, nx
		}
		return (outer*width + inner) * 6
	}
	sort.SliceStable(list, func(p, q int) bool { return key(list[p]) < key(list[q]) })
	for p, n := range list {
		seen[n] = p
	}
	w.x = make([]float64, len(list))
	w.res = make([]float64, len(list))
	for f := range 3 {
		w.unknown[f] = make([]int, nx*ny)
		for i := range nx {
			for j := range ny {
				w.unknown[f][i*ny+j] = -1
				if g, a, b, ok := w.tie(f, i, j); ok {
					w.unknown[f][i*ny+j] = seen[name{g, a, b}]
				}
			}
		}
	}
}

// of lists the unknowns of element (ex, ey).
func (w *Work) of(ex, ey int) (out [48]int) {
	for f := range 3 {
		for a := range 4 {
			for b := range 4 {
				out[16*f+4*a+b] = w.unknown[f][(ex+a)*w.ny+ey+b]
			}
		}
	}
	return out
}

// mesh sets the elements up.
func (w *Work) mesh() {
	w.first = make([]int, len(w.x))
	for i := range w.first {
		w.first[i] = i
	}
	w.even = make([]float64, len(w.x))
	for ex := range len(w.lx.at) - 1 {
		for ey := range len(w.ly.at) - 1 {
			if w.diagonal && ey > ex {
				continue
			}
			e := element{unknown: w.of(ex, ey), share: 1}
			if w.diagonal && ey < ex {
				e.share = 2
			}
			for gx := range gauss {
				for gy := range gauss {
					p := site{gx: &w.sx[ex*gauss+gx], gy: &w.sy[ey*gauss+gy]}
					p.weight = p.gx.weight * p.gy.weight * e.share
					_, p.zx, p.zy = w.rect.form(p.gx.x, p.gy.x)
					e.sites = append(e.sites, p)
					for a := range 16 {
						if u := e.unknown[32+a]; u >= 0 {
							w.even[u] += p.weight * p.gx.n[a/4] * p.gy.n[a%4]
						}
					}
				}
			}
			lowest := len(w.x)
			for _, u := range e.unknown {
				if u >= 0 {
					lowest = min(lowest, u)
				}
			}
			for _, u := range e.unknown {
				if u >= 0 {
					w.first[u] = min(w.first[u], lowest)
				}
			}
			w.elements = append(w.elements, e)
		}
	}
	w.k = newSkyline(w.first)
}

// values returns the 16 functions of the element at a place, and its unknowns of the height.
func (w *Work) values(x, y float64) (n [16]float64, unknown []int) {
	ex, ey := w.lx.element(x), w.ly.element(y)
	hx, hy := w.lx.shapes(ex, x), w.ly.shapes(ey, y)
	for a := range 16 {
		n[a] = hx.n[a/4] * hy.n[a%4]
	}
	all := w.of(ex, ey)
	return n, all[32:]
}

// HeightMM is how far the sheet stands out from its form at a place.
func (w *Work) HeightMM(x, y float64) float64 {
	n, unknown := w.values(x, y)
	return w.height(n[:], unknown)
}

func (w *Work) height(n []float64, unknown []int) float64 {
	h := 0.0
	for a, u := range unknown {
		if u >= 0 {
			h += n[a] * w.x[u]
		}
	}
	return h
}
