package sheet

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"
)

func copyLayers(zs, zw []float64, t float64) {
	quad.Legendre{}.FixedLocations(zs, zw, -t/2, t/2)
}

// section is what the layers at one place carry: forces and moments for each length, and their derivatives by strains and curvatures
// (in the plane, mixed, in bending; 11, 12, 13, 22, 23, 33).
type section struct {
	n, m    [3]float64
	d       [3][6]float64
	coupled bool
}

// section works the layers at a place out for strains e and curvatures k of the middle (xx, yy, xy).
func (w *Work) section(p *site, e, k [3]float64) (s section) {
	p.touchedNext = false
	if p.old == nil && p.press == 0 && w.staysElastic(e, k) {
		s.d = w.plate
		mul := func(d *[6]float64, v [3]float64) [3]float64 {
			return [3]float64{d[0]*v[0] + d[1]*v[1], d[1]*v[0] + d[3]*v[1], d[5] * v[2]}
		}
		s.n, s.m = mul(&s.d[0], e), mul(&s.d[2], k)
		return s
	}
	s.coupled = true
	p.touchedNext = true
	if p.next == nil {
		p.next = make([]point, rectLayers)
	}
	for l, z := range w.zs {
		var old point
		if p.old != nil {
			old = p.old[l]
		}
		// What presses on the face that is touched fades to nothing at the other.
		squeeze := p.press * (0.5 - w.side*z/w.rect.ThicknessMM)
		x, y, xy, t, next := w.law.pressed(e[0]+z*k[0], e[1]+z*k[1], e[2]+z*k[2], squeeze, old)
		p.next[l] = next
		weight := w.zw[l]
		for i, v := range [3]float64{x, y, xy} {
			s.n[i] += weight * v
			s.m[i] += weight * z * v
		}
		for i, v := range t {
			v *= weight
			s.d[0][i] += v
			s.d[1][i] += z * v
			s.d[2][i] += z * z * v
		}
	}
	return s
}

// staysElastic: stress is linear through the thickness, so what holds at both faces holds between.
func (w *Work) staysElastic(e, k [3]float64) bool {
	h := w.rect.ThicknessMM / 2
	for _, z := range [2]float64{-h, h} {
		x, y, xy := e[0]+z*k[0], e[1]+z*k[1], e[2]+z*k[2]
		sum, dif, shear := w.law.sum*(x+y), w.law.dif*(x-y), w.law.dif/2*xy
		if (sum*sum+3*dif*dif)/4+3*shear*shear > w.law.YieldMPa*w.law.YieldMPa {
			return false
		}
	}
	return true
}

// gradients of the sixteen functions at a site.
type gradients struct{ x, y, xx, yy, xy [16]float64 }

func (p *site) gradients(g *gradients) {
	for a := range 4 {
		n, d, dd := p.gx.n[a], p.gx.d[a], p.gx.dd[a]
		for b := range 4 {
			i := 4*a + b
			g.x[i] = d * p.gy.n[b]
			g.y[i] = n * p.gy.d[b]
			g.xx[i] = dd * p.gy.n[b]
			g.yy[i] = n * p.gy.dd[b]
			g.xy[i] = d * p.gy.d[b]
		}
	}
}

// bend returns von Karman's strains about the form, the curvatures, and the slopes of the sheet as it stands (form and height).
func (p *site) bend(g *gradients, local *[48]float64) (e, k [3]float64, sx, sy float64) {
	var ux, uy, vx, vy, wx, wy, wxx, wyy, wxy float64
	for a := range 16 {
		u, v, w := local[a], local[16+a], local[32+a]
		ux += g.x[a] * u
		uy += g.y[a] * u
		vx += g.x[a] * v
		vy += g.y[a] * v
		wx += g.x[a] * w
		wy += g.y[a] * w
		wxx += g.xx[a] * w
		wyy += g.yy[a] * w
		wxy += g.xy[a] * w
	}
	e = [3]float64{ux + wx*(p.zx+wx/2), vy + wy*(p.zy+wy/2), uy + vx + p.zx*wy + p.zy*wx + wx*wy}
	return e, [3]float64{-wxx, -wyy, -2 * wxy}, p.zx + wx, p.zy + wy
}

func (w *Work) local(e *element) (out [48]float64) {
	for i, u := range e.unknown {
		if u >= 0 {
			out[i] = w.x[u]
		}
	}
	return out
}

// balance puts what is out of balance under a share of the load into res, and where asked the tangent into k; the layers' trial states
// stay at the sites until keep.
func (w *Work) balance(force float64, tangent bool) {
	clear(w.res)
	if tangent {
		clear(w.k.a)
	}
	var g gradients
	var km [48][48]float64
	for i := range w.elements {
		el := &w.elements[i]
		local := w.local(el)
		var f [48]float64
		if tangent {
			km = [48][48]float64{}
		}
		for j := range el.sites {
			p := &el.sites[j]
			p.gradients(&g)
			e, k, sx, sy := p.bend(&g, &local)
			s := w.section(p, e, k)
			for q := range 3 {
				s.n[q] *= p.weight
				s.m[q] *= p.weight
			}
			for a := range 16 {
				fu := g.x[a]*s.n[0] + g.y[a]*s.n[2]
				fv := g.y[a]*s.n[1] + g.x[a]*s.n[2]
				f[a] += fu
				f[16+a] += fv
				f[32+a] += sx*fu + sy*fv - g.xx[a]*s.m[0] - g.yy[a]*s.m[1] - 2*g.xy[a]*s.m[2]
			}
			if tangent {
				stiffen(&km, &g, &s, p.weight, sx, sy)
			}
		}
		for a, u := range el.unknown {
			if u >= 0 {
				w.res[u] -= f[a]
			}
		}
		if tangent {
			w.scatter(el, &km)
		}
	}
	for i, v := range w.even {
		w.res[i] += w.pressure * v
	}
	w.addSprings(tangent)
	if w.load != nil {
		w.load.add(w, force, tangent)
	}
}

// stiffen adds one site to the lower half of an element's tangent.
func stiffen(km *[48][48]float64, g *gradients, s *section, weight, sx, sy float64) {
	var d [3][6]float64
	for i := range d {
		for j := range d[i] {
			d[i][j] = weight * s.d[i][j]
		}
	}
	row := func(m *[6]float64, x, y, z float64) (a, b, c float64) {
		return m[0]*x + m[1]*y + m[2]*z, m[1]*x + m[3]*y + m[4]*z, m[2]*x + m[4]*y + m[5]*z
	}
	for b := range 16 {
		bx, by := g.x[b], g.y[b]
		// Forces and moments for each unit of u, v and w of function b.
		u0, u1, u2 := row(&d[0], bx, 0, by)
		v0, v1, v2 := row(&d[0], 0, by, bx)
		e0, e1, e2 := sx*bx, sy*by, sx*by+sy*bx
		k0, k1, k2 := -g.xx[b], -g.yy[b], -2*g.xy[b]
		w0, w1, w2 := row(&d[0], e0, e1, e2)
		m0, m1, m2 := row(&d[2], k0, k1, k2)
		var um, vm [3]float64
		if s.coupled {
			c0, c1, c2 := row(&d[1], k0, k1, k2)
			w0, w1, w2 = w0+c0, w1+c1, w2+c2
			c0, c1, c2 = row(&d[1], e0, e1, e2)
			m0, m1, m2 = m0+c0, m1+c1, m2+c2
			um[0], um[1], um[2] = row(&d[1], bx, 0, by)
			vm[0], vm[1], vm[2] = row(&d[1], 0, by, bx)
		}
		// What the height of another function feels of them: through its slopes x and y.
		ux, uy := sx*u0+sy*u2, sy*u1+sx*u2
		vx, vy := sx*v0+sy*v2, sy*v1+sx*v2
		wx := sx*w0 + sy*w2 + s.n[0]*bx + s.n[2]*by
		wy := sy*w1 + sx*w2 + s.n[1]*by + s.n[2]*bx
		for a := range 16 {
			ax, ay := g.x[a], g.y[a]
			if a >= b {
				km[a][b] += ax*u0 + ay*u2
				km[16+a][16+b] += ay*v1 + ax*v2
				km[32+a][32+b] += ax*wx + ay*wy - g.xx[a]*m0 - g.yy[a]*m1 - 2*g.xy[a]*m2
			}
			km[16+a][b] += ay*u1 + ax*u2
			wu, wv := ax*ux+ay*uy, ax*vx+ay*vy
			if s.coupled {
				wu -= g.xx[a]*um[0] + g.yy[a]*um[1] + 2*g.xy[a]*um[2]
				wv -= g.xx[a]*vm[0] + g.yy[a]*vm[1] + 2*g.xy[a]*vm[2]
			}
			km[32+a][b] += wu
			km[32+a][16+b] += wv
		}
	}
}

// scatter adds an element's tangent, of which the lower half counts, to the sheet's.
func (w *Work) scatter(el *element, km *[48][48]float64) {
	for a, u := range el.unknown {
		if u < 0 {
			continue
		}
		for b := 0; b <= a; b++ {
			v := el.unknown[b]
			switch {
			case v < 0:
			case v < u:
				w.k.a[w.k.at(u, v)] += km[a][b]
			case v > u:
				w.k.a[w.k.at(v, u)] += km[a][b]
			case a == b:
				w.k.a[w.k.at(u, u)] += km[a][b]
			default: // two functions tied to one unknown
				w.k.a[w.k.at(u, u)] += 2 * km[a][b]
			}
		}
	}
}

// keep makes the trial states those of the metal.
func (w *Work) keep() {
	for i := range w.elements {
		for j := range w.elements[i].sites {
			p := &w.elements[i].sites[j]
			if !p.touchedNext {
				continue
			}
			if p.old == nil {
				for _, l := range p.next {
					if l.alpha > 0 {
						p.old = append([]point(nil), p.next...)
						break
					}
				}
				continue
			}
			p.old, p.next = p.next, p.old
		}
	}
}

// StrainPct is the largest principal strain of the painted face now, stretched or pressed, per cent.
func (w *Work) StrainPct() float64 {
	most := 0.0
	var g gradients
	for i := range w.elements {
		local := w.local(&w.elements[i])
		for j := range w.elements[i].sites {
			p := &w.elements[i].sites[j]
			p.gradients(&g)
			e, k, _, _ := p.bend(&g, &local)
			h := w.rect.ThicknessMM / 2
			x, y, xy := e[0]+h*k[0], e[1]+h*k[1], e[2]+h*k[2]
			most = math.Max(most, math.Abs(x+y)/2+math.Hypot((x-y)/2, xy/2))
		}
	}
	return 100 * most
}
