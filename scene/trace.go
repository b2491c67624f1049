package scene

import (
	"math"
	"runtime"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"
)

// parallel runs f for 0..n-1 over the processors.
func parallel(n int, f func(i int)) {
	var wg sync.WaitGroup
	next := make(chan int, n)
	for i := range n {
		next <- i
	}
	close(next)
	for range runtime.GOMAXPROCS(0) {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for i := range next {
				f(i)
			}
		}()
	}
	wg.Wait()
}

// rig is camera, board and cards in space.
type rig struct {
	m       *metal
	spec    *Spec
	eye     r3.Vec
	right   r3.Vec
	down    r3.Vec
	forward r3.Vec
	focal   float64
	cx, cy  float64
	board   placed
	cards   [2]placed
	symbols [2][][]bool
	taped   float64
}

func rad(deg float64) float64 { return deg * math.Pi / 180 }

// setUp places everything.
func setUp(s *Spec, m *metal) (*rig, error) {
	g := &rig{m: m, spec: s, focal: s.Camera.FocalPX, cx: float64(s.Camera.W) / 2, cy: float64(s.Camera.H) / 2}
	st, ct := math.Sincos(rad(s.Camera.TiltDeg))
	sp, cp := math.Sincos(rad(s.Camera.TurnDeg))
	g.eye = r3.Scale(s.Camera.DistanceMM, r3.Vec{X: st * sp, Y: -st * cp, Z: ct})
	aim := r3.Vec{X: s.Camera.AimMM[0], Y: s.Camera.AimMM[1]}
	g.forward = r3.Unit(r3.Sub(aim, g.eye))
	up := r3.Vec{Y: 1}
	g.right = r3.Unit(r3.Cross(g.forward, up))
	g.down = r3.Cross(g.forward, g.right)
	roll := r3.NewRotation(rad(s.Camera.RollDeg), g.forward)
	g.right, g.down = roll.Rotate(g.right), roll.Rotate(g.down)

	// Mirror the line of sight of the origin in the plane z = 0 and put the board square to it.
	d := r3.Unit(r3.Scale(-1, g.eye))
	u := r3.Unit(r3.Sub(g.right, r3.Scale(r3.Dot(g.right, d), d)))
	v := r3.Cross(d, u)
	flip := func(w r3.Vec) r3.Vec { return r3.Vec{X: w.X, Y: w.Y, Z: -w.Z} }
	b := placed{u: flip(u), v: flip(v), n: r3.Scale(-1, flip(d))}
	for _, t := range []struct {
		deg  float64
		axis r3.Vec
	}{{s.Board.TiltDeg[0], b.u}, {s.Board.TiltDeg[1], b.v}, {s.Board.RollDeg, b.n}} {
		if t.deg != 0 {
			r := r3.NewRotation(rad(t.deg), t.axis)
			b.u, b.v, b.n = r.Rotate(b.u), r.Rotate(b.v), r.Rotate(b.n)
		}
	}
	c := r3.Add(flip(d), r3.Scale(1/s.Board.DistanceMM, r3.Add(r3.Scale(s.Board.OffsetMM[0], b.u), r3.Scale(s.Board.OffsetMM[1], b.v))))
	b.c = r3.Scale(s.Board.DistanceMM, r3.Unit(c))
	g.board = b
	g.taped = s.Board.TapedMM
	if g.taped == 0 {
		g.taped = s.Board.DistanceMM
	}
	for i, k := range s.Cards {
		sym, err := symbol([]string{"A", "B"}[i], k.SideMM)
		if err != nil {
			return nil, err
		}
		g.symbols[i] = sym
		z, zx, zy := m.p.form(k.XMM, k.YMM)
		n := r3.Unit(r3.Vec{X: -zx, Y: -zy, Z: 1})
		sa, ca := math.Sincos(rad(k.AngleDeg))
		x := r3.Vec{X: ca, Y: sa}
		x = r3.Unit(r3.Sub(x, r3.Scale(r3.Dot(x, n), n)))
		g.cards[i] = placed{c: r3.Add(r3.Vec{X: k.XMM, Y: k.YMM, Z: z}, r3.Scale(k.LiftMM, n)), u: x, v: r3.Cross(n, x), n: n}
	}
	return g, nil
}

// ray is the unit direction through a place in the photo, the lens's distortion undone by iteration.
func (g *rig) ray(px, py float64) r3.Vec {
	a, b := (px-g.cx)/g.focal, (py-g.cy)/g.focal
	if k := g.spec.Camera.K1; k != 0 {
		x, y := a, b
		for range 6 {
			s := 1 + k*(x*x+y*y)
			x, y = a/s, b/s
		}
		a, b = x, y
	}
	return r3.Unit(r3.Add(g.forward, r3.Add(r3.Scale(a, g.right), r3.Scale(b, g.down))))
}

// What a ray meets.
const (
	nothing = iota // beyond the panel
	paint
	paper
	ink
	cover
)

// sight is one subpixel's fate: what it meets, the board coordinates it mirrors (NaN: the room) and the share it mirrors.
type sight struct {
	kind    int
	u, v    float64
	room    float64 // brightness of the room that is mirrored where the board is not
	fresnel float64
	shade   float64 // of diffuse light: cosine and distance
	albedo  float64 // of a cover
	x, y    float64
}

// look follows one ray.
func (g *rig) look(dir r3.Vec) sight {
	for i := range g.cards {
		if s, hit := g.card(i, dir); hit {
			return s
		}
	}
	p, zx, zy, ok := g.hit(dir)
	if !ok {
		return sight{kind: nothing}
	}
	if g.beyond(p) {
		return sight{kind: nothing}
	}
	n := r3.Unit(r3.Vec{X: -zx, Y: -zy, Z: 1})
	cos := -r3.Dot(dir, n)
	if cos <= 0 {
		return sight{kind: nothing}
	}
	s := sight{kind: paint, fresnel: fresnel(cos, g.spec.Paint.Index), x: p.X, y: p.Y}
	s.shade = g.daylight(p, n)
	for _, c := range g.m.p.Covers {
		if c.over(p.X, p.Y) {
			s.kind, s.albedo = cover, c.Albedo
			return s
		}
	}
	s.u, s.v, s.room = g.mirrored(dir, p, n)
	return s
}

// over tells whether a place lies under the cover.
func (c *Cover) over(x, y float64) bool {
	sin, cos := math.Sincos(rad(c.AngleDeg))
	x, y = x-c.XMM, y-c.YMM
	a, b := (cos*x+sin*y)/(c.LengthMM/2), (cos*y-sin*x)/(c.WidthMM/2)
	if c.Round {
		return a*a+b*b < 1
	}
	return math.Abs(a) < 1 && math.Abs(b) < 1
}

// beyond tells whether a place lies off the panel.
func (g *rig) beyond(p r3.Vec) bool {
	hx, hy := g.m.p.HalfX, g.m.p.HalfY
	return hx > 0 && math.Abs(p.X) > hx || hy > 0 && math.Abs(p.Y) > hy
}

// mirrored returns the board coordinates seen along dir in metal at p of normal n; NaN where the ray misses the board, and how bright the
// room is there.
func (g *rig) mirrored(dir, p, n r3.Vec) (u, v, room float64) {
	room = g.spec.Board.RoomLevel
	r := r3.Sub(dir, r3.Scale(2*r3.Dot(dir, n), n))
	den := r3.Dot(r, g.board.n)
	if den < -1e-9 {
		t := r3.Dot(r3.Sub(g.board.c, p), g.board.n) / den
		if t > 0 {
			q := r3.Sub(r3.Add(p, r3.Scale(t, r)), g.board.c)
			u, v = r3.Dot(q, g.board.u), r3.Dot(q, g.board.v)
			if math.Abs(u) <= g.spec.Board.WidthMM/2 && math.Abs(v) <= g.spec.Board.HeightMM/2 {
				return u, v, room
			}
			for _, l := range g.spec.Board.Lamps {
				if math.Abs(u-l.UMM) <= l.WidthMM/2 && math.Abs(v-l.VMM) <= l.HeightMM/2 {
					room = l.Level
				}
			}
		}
	}
	return math.NaN(), math.NaN(), room
}

// project returns the place of a point in the photo.
func (g *rig) project(p r3.Vec) (px, py float64) {
	d := r3.Sub(p, g.eye)
	a, b := r3.Dot(d, g.right)/r3.Dot(d, g.forward), r3.Dot(d, g.down)/r3.Dot(d, g.forward)
	s := 1 + g.spec.Camera.K1*(a*a+b*b)
	return g.cx + g.focal*s*a, g.cy + g.focal*s*b
}

// hit intersects a ray with the painted metal: Newton's rule with the exact gradient, to 1e-8 mm.
func (g *rig) hit(dir r3.Vec) (p r3.Vec, zx, zy float64, ok bool) {
	if dir.Z > -1e-3 {
		return p, 0, 0, false
	}
	t := -g.eye.Z / dir.Z
	var z float64
	for range 30 {
		p = r3.Add(g.eye, r3.Scale(t, dir))
		z, zx, zy = g.m.surface(p.X, p.Y)
		den := dir.Z - zx*dir.X - zy*dir.Y
		if math.Abs(den) < 1e-6 {
			return p, 0, 0, false
		}
		dt := (z - p.Z) / den
		t += dt
		if math.Abs(dt) < 1e-8 {
			return p, zx, zy, t > 0
		}
	}
	return p, zx, zy, false
}

// card intersects a ray with a card's plane and tells paper from ink.
func (g *rig) card(i int, dir r3.Vec) (sight, bool) {
	k := g.spec.Cards[i]
	if k.Missing {
		return sight{}, false
	}
	c := &g.cards[i]
	den := r3.Dot(dir, c.n)
	if den > -1e-6 {
		return sight{}, false
	}
	t := r3.Dot(r3.Sub(c.c, g.eye), c.n) / den
	q := r3.Sub(r3.Add(g.eye, r3.Scale(t, dir)), c.c)
	u, v := r3.Dot(q, c.u), r3.Dot(q, c.v)
	module := k.SideMM / 21
	if half := k.SideMM/2 + 5*module; math.Abs(u) > half || math.Abs(v) > half {
		return sight{}, false
	}
	s := sight{kind: paper, shade: g.daylight(r3.Add(q, c.c), c.n)}
	col, row := int(math.Floor((u+k.SideMM/2)/module)), int(math.Floor((k.SideMM/2-v)/module))
	if col >= 0 && row >= 0 && col < 21 && row < 21 && g.symbols[i][row][col] {
		s.kind = ink
	}
	return s, true
}

// daylight is the diffuse light on a surface: the board as a small source and the room's even light.
func (g *rig) daylight(p, n r3.Vec) float64 {
	to := r3.Sub(g.board.c, p)
	d := r3.Norm(to)
	cosIn := max(0, r3.Dot(n, to)/d)
	cosOut := max(0, -r3.Dot(g.board.n, to)/d)
	area := g.spec.Board.WidthMM * g.spec.Board.HeightMM
	// Radiosity of a Lambertian rectangle seen as one patch; the stripes' mean is half of full.
	form := area * cosIn * cosOut / (math.Pi*d*d + area)
	return 0.5*form + g.spec.Board.RoomLevel
}

// fresnel is the unpolarised reflectance of a clear coat of index n at cosine c (Fresnel's equations).
func fresnel(c, n float64) float64 {
	if n == 0 {
		n = 1.5
	}
	t := math.Sqrt(max(0, 1-(1-c*c)/(n*n)))
	rs := (c - n*t) / (c + n*t)
	rp := (n*c - t) / (n*c + t)
	return (rs*rs + rp*rp) / 2
}
