package scene

import (
	"math"
	"math/rand/v2"
)

// metal is a panel ready for tracing: the form in closed form, the deviation as a cubic B-spline over a fine raster. The spline is
// the surface, so normals are exact.
type metal struct {
	p          Panel
	x0, y0     float64
	pitch      float64
	cols, rows int
	dev        []float32 // control values, mm: marks, extra and peel
	sound      []float32 // the same without peel
}

const rasterMM = 0.3

// cast lays the deviation of a panel on a raster that spans half x half mm.
func cast(p Panel, halfX, halfY float64, seed uint64) *metal {
	m := &metal{p: p, pitch: rasterMM, x0: -halfX, y0: -halfY}
	m.cols, m.rows = int(2*halfX/rasterMM)+4, int(2*halfY/rasterMM)+4
	m.sound = make([]float32, m.cols*m.rows)
	parallel(m.rows, func(r int) {
		for c := range m.cols {
			x, y := m.x0+float64(c)*m.pitch, m.y0+float64(r)*m.pitch
			m.sound[r*m.cols+c] = float32(p.deviation(x, y))
		}
	})
	m.dev = append([]float32(nil), m.sound...)
	if p.PeelUM > 0 {
		m.peel(p.PeelUM*1e-3, seed)
	}
	return m
}

// deviation is what marks and extra add to the form, mm.
func (p *Panel) deviation(x, y float64) float64 {
	z := 0.0
	for i := range p.Marks {
		z += p.Marks[i].height(x, y)
	}
	if p.Extra != nil {
		z += p.Extra(x, y)
	}
	return z
}

// height is the mark's own part of the deviation, mm.
func (k *Mark) height(x, y float64) float64 {
	sin, cos := math.Sincos(k.AngleDeg * math.Pi / 180)
	x, y = x-k.XMM, y-k.YMM
	a, b := (cos*x+sin*y)/(k.LengthMM/2), (-sin*x+cos*y)/(k.WidthMM/2)
	rho2 := a*a + b*b
	if rho2 > 9 {
		return 0
	}
	d := k.DepthUM * 1e-3
	var z float64
	switch k.Kind {
	case "crease":
		// Along: flat with soft ends; across: exponential flanks with a rounded bottom.
		z = -d * math.Exp(-math.Ln10*a*a*a*a) * tent(b, 0.22)
	case "star":
		arms := max(3, k.Arms)
		v := 1 + 0.25*math.Cos(float64(arms)*math.Atan2(b, a))
		z = -d * tent(math.Sqrt(rho2)/v*1.02, 0.15)
	default:
		bowl := math.Exp(-math.Ln10 * rho2)
		if k.Sharp > 0 {
			bowl = (1-k.Sharp)*bowl + k.Sharp*tent(math.Sqrt(rho2), 0.2)
		}
		z = -d * bowl
		if k.Kind == "high" {
			z = -z
		}
	}
	if k.CrownUM > 0 {
		// A raised rim of its own, outside the low.
		r := math.Sqrt(rho2)
		z += k.CrownUM * 1e-3 * math.Exp(-(r-1.42)*(r-1.42)/(2*0.19*0.19))
	}
	return z
}

// tent is 1 at 0 and a tenth at 1, with straight flanks in the logarithm and a bottom rounded over r.
func tent(q, r float64) float64 {
	return math.Exp(-math.Ln10 * (math.Sqrt(q*q+r*r) - r) / (math.Sqrt(1+r*r) - r))
}

// peel adds orange peel: white noise through the difference of two Gaussians, which passes waves of about 1 to 8 mm.
func (m *metal) peel(rms float64, seed uint64) {
	rnd := rand.New(rand.NewPCG(seed, 0x9ee1))
	n := make([]float32, len(m.dev))
	for i := range n {
		n[i] = float32(rnd.NormFloat64())
	}
	fine := blurred(n, m.cols, m.rows, 0.45/m.pitch)
	wide := blurred(n, m.cols, m.rows, 1.7/m.pitch)
	var s float64
	for i := range fine {
		fine[i] -= wide[i]
		s += float64(fine[i]) * float64(fine[i])
	}
	k := float32(rms / math.Sqrt(s/float64(len(fine))))
	for i := range fine {
		m.dev[i] += k * fine[i]
	}
}

// blurred is a separable Gaussian blur, sigma in cells.
func blurred(src []float32, w, h int, sigma float64) []float32 {
	half := int(math.Ceil(3.5 * sigma))
	k := make([]float32, 2*half+1)
	var sum float32
	for i := range k {
		d := float64(i-half) / sigma
		k[i] = float32(math.Exp(-d * d / 2))
		sum += k[i]
	}
	for i := range k {
		k[i] /= sum
	}
	tmp, out := make([]float32, len(src)), make([]float32, len(src))
	parallel(h, func(y int) {
		for x := range w {
			var s float32
			for i, v := range k {
				s += v * src[y*w+min(max(x+i-half, 0), w-1)]
			}
			tmp[y*w+x] = s
		}
	})
	parallel(h, func(y int) {
		for i, v := range k {
			row := tmp[min(max(y+i-half, 0), h-1)*w:]
			for x := range w {
				out[y*w+x] += v * row[x]
			}
		}
	})
	return out
}

// form is the undamaged surface: height and gradient.
func (p *Panel) form(x, y float64) (z, zx, zy float64) {
	if p.RXMM != 0 {
		z, zx = z-x*x/(2*p.RXMM), zx-x/p.RXMM
	}
	if p.RYMM != 0 {
		z, zy = z-y*y/(2*p.RYMM), zy-y/p.RYMM
	}
	z, zx, zy = z+p.TwistPerMM*x*y, zx+p.TwistPerMM*y, zy+p.TwistPerMM*x
	c := p.Cubic
	z += c[0]*x*x*x + c[1]*x*x*y + c[2]*x*y*y + c[3]*y*y*y
	zx += 3*c[0]*x*x + 2*c[1]*x*y + c[2]*y*y
	zy += c[1]*x*x + 2*c[2]*x*y + 3*c[3]*y*y
	for _, f := range p.Folds {
		sin, cos := math.Sincos(f.AngleDeg * math.Pi / 180)
		s := cos*x + sin*y - f.OffsetMM
		w := max(f.WidthMM, 0.1)
		// The slope climbs by Step through an arc of a circle's length w: smoothstep keeps the curvature continuous.
		t := min(max(s/w+0.5, 0), 1)
		d := f.Step * (3*t*t - 2*t*t*t)
		q := f.Step * w * (t*t*t - t*t*t*t/2)
		if s > w/2 {
			q += f.Step * (s - w/2)
		}
		z, zx, zy = z+q, zx+d*cos, zy+d*sin
	}
	return z, zx, zy
}

// surface returns height and gradient of the painted metal.
func (m *metal) surface(x, y float64) (z, zx, zy float64) {
	z, zx, zy = m.p.form(x, y)
	d, dx, dy := m.spline(m.dev, x, y)
	return z + d, zx + dx, zy + dy
}

// spline evaluates the uniform cubic B-spline of the raster.
func (m *metal) spline(v []float32, x, y float64) (z, zx, zy float64) {
	fx, fy := (x-m.x0)/m.pitch, (y-m.y0)/m.pitch
	ix, iy := math.Floor(fx), math.Floor(fy)
	i, j := int(ix), int(iy)
	if i < 1 || j < 1 || i+2 >= m.cols || j+2 >= m.rows {
		return 0, 0, 0
	}
	bx, dx := cubic(fx - ix)
	by, dy := cubic(fy - iy)
	for r := range 4 {
		row := v[(j+r-1)*m.cols+i-1:]
		a, b, c, d := float64(row[0]), float64(row[1]), float64(row[2]), float64(row[3])
		s := bx[0]*a + bx[1]*b + bx[2]*c + bx[3]*d
		z += by[r] * s
		zx += by[r] * (dx[0]*a + dx[1]*b + dx[2]*c + dx[3]*d)
		zy += dy[r] * s
	}
	return z, zx / m.pitch, zy / m.pitch
}

// cubic returns the four B-spline weights at t and their derivatives.
func cubic(t float64) (b, d [4]float64) {
	u := 1 - t
	b = [4]float64{u * u * u / 6, (3*t*t*t - 6*t*t + 4) / 6, (3*u*u*u - 6*u*u + 4) / 6, t * t * t / 6}
	d = [4]float64{-u * u / 2, (3*t*t - 4*t) / 2, (-3*u*u + 4*u) / 2, t * t / 2}
	return b, d
}
