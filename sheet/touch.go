package sheet

import "math"

// touchStiffness is that of the layer between a ball and the middle of the sheet, N/mm3: under the 20 to 100 MPa of a tip it gives by some
// hundredths of a millimetre. By Kirchhoff's theory the pressure of a ball gathers in a ring that is sharper than a sheet of some thickness lets
// it be; on this bed it spreads by (D/stiffness)^(1/4), 1.5 mm. One number for all: between half and twice of it the nine reference runs with
// balls are met alike (sets within 10 to 12 %); whether it goes with the thickness, 0.7 and 1.0 mm there, they do not tell.
const touchStiffness = 1500.0

// spring holds the height at a place from where the sheet stood when it was set.
type spring struct {
	n       [16]float64
	unknown []int
	stiff   float64
	rest    float64
	side    float64
}

// Brace holds a sheet at a place: a bonded bar, a hand, a block.
type Brace struct {
	XMM, YMM float64
	NPerMM   float64 // stiffness; 0: rigid
	Side     int     // 0: holds both ways; 1: a prop behind the sheet, which takes what presses it in; -1: one before it
}

// rigid stands for a stiff block, N/mm: a hundred times the stiffness of a door skin under a tip.
const rigid = 2e4

// Hold sets braces where the sheet stands now, in place of those before.
func (w *Work) Hold(braces ...Brace) {
	w.springs = nil
	for _, b := range braces {
		n, unknown := w.values(b.XMM, b.YMM)
		s := spring{n: n, unknown: unknown, stiff: b.NPerMM, side: float64(b.Side)}
		if b.NPerMM == 0 {
			s.stiff = rigid
		}
		s.rest = w.height(n[:], unknown)
		w.springs = append(w.springs, s)
	}
}

func (w *Work) addSprings(tangent bool) {
	for i := range w.springs {
		s := &w.springs[i]
		give := w.height(s.n[:], s.unknown) - s.rest
		if give*s.side > 0 {
			continue
		}
		w.pointLoad(s.n[:], s.unknown, -s.stiff*give)
		if tangent {
			w.pointStiff(s.n[:], s.unknown, s.stiff)
		}
	}
}

func (w *Work) pointLoad(n []float64, unknown []int, f float64) {
	for a, u := range unknown {
		if u >= 0 {
			w.res[u] += f * n[a]
		}
	}
}

func (w *Work) pointStiff(n []float64, unknown []int, k float64) {
	for a, u := range unknown {
		if u < 0 {
			continue
		}
		for b, v := range unknown {
			if v >= 0 && v <= u {
				w.k.a[w.k.at(u, v)] += k * n[a] * n[b]
			}
		}
	}
}

// touch is a load on the sheet: even pressure on a disc, or a ball.
type touch struct {
	x, y   float64
	reach  float64   // radius of the disc, or of the ball that the middle of the sheet wraps
	share  float64   // of the force that the modelled part carries
	even   []float64 // load vector of a force of 1; nil for a ball
	points []touchPoint
	push   float64 // +1 from behind
	height float64 // of the ball
	border []float64
	stiff  float64
}

// touchPoint is where a ball may touch.
type touchPoint struct {
	n       [16]float64
	unknown []int
	weight  float64
	under   float64 // form and ball: what the sheet may lag behind the ball's height
}

// touchAt makes the load of a tip at a place.
func (w *Work) touchAt(x, y float64, tip Tip, push float64) *touch {
	t := &touch{x: x, y: y, share: 1, push: push, border: make([]float64, len(w.x))}
	if w.rect.Left == Mirror && x == 0 || w.rect.Right == Mirror && x == w.rect.WidthMM {
		t.share /= 2
	}
	if w.rect.Bottom == Mirror && y == 0 || w.rect.Top == Mirror && y == w.rect.HeightMM {
		t.share /= 2
	}
	if tip.BallMM == 0 {
		t.reach = math.Max(tip.DiscMM, 1e-3)
		t.even = w.evenDisc(x, y, t.reach)
		for i := range t.even {
			t.even[i] *= t.share
		}
		return t
	}
	// The middle of the sheet wraps a ball that is larger by half the thickness.
	t.reach = tip.BallMM + w.rect.ThicknessMM/2
	sx, sy := w.lx.samples(touchPoints), w.ly.samples(touchPoints)
	for i := range sx {
		for j := range sy {
			ex, ey := sx[i].element, sy[j].element
			under, near := w.under(t, sx[i].x, sy[j].x)
			if !near || w.diagonal && ey > ex {
				continue
			}
			all := w.of(ex, ey)
			p := touchPoint{unknown: all[32:], under: under, weight: sx[i].weight * sy[j].weight}
			if w.diagonal && ey < ex {
				p.weight *= 2
			}
			for a := range 16 {
				p.n[a] = sx[i].n[a/4] * sy[j].n[a%4]
			}
			t.points = append(t.points, p)
		}
	}
	t.height = w.HeightMM(x, y)
	return t
}

// evenDisc is the load vector of a force of 1, spread evenly over a disc.
func (w *Work) evenDisc(x, y, radius float64) []float64 {
	out := make([]float64, len(w.x))
	const fine = 24 // points a direction within an element
	total := 0.0
	reach := func(l *line, at float64) (lo, hi int) { return l.element(at - radius), l.element(at + radius) }
	x0, x1 := reach(&w.lx, x)
	y0, y1 := reach(&w.ly, y)
	for ex := x0; ex <= x1; ex++ {
		for ey := y0; ey <= y1; ey++ {
			dx, dy := (w.lx.at[ex+1]-w.lx.at[ex])/fine, (w.ly.at[ey+1]-w.ly.at[ey])/fine
			all := w.of(ex, ey)
			for i := range fine {
				px := w.lx.at[ex] + (float64(i)+0.5)*dx
				hx := w.lx.shapes(ex, px)
				for j := range fine {
					py := w.ly.at[ey] + (float64(j)+0.5)*dy
					if math.Hypot(px-x, py-y) > radius {
						continue
					}
					hy := w.ly.shapes(ey, py)
					total += dx * dy
					for a := range 16 {
						if u := all[32+a]; u >= 0 {
							out[u] += dx * dy * hx.n[a/4] * hy.n[a%4]
						}
					}
				}
			}
		}
	}
	if total == 0 { // a disc smaller than the mesh sees: a point
		n, unknown := w.values(x, y)
		for a, u := range unknown {
			if u >= 0 {
				out[u] += n[a]
			}
		}
		return out
	}
	for i := range out {
		out[i] /= total
	}
	return out
}

// squeeze notes at the sites what presses on the face there under a force, for the metal's yield; it returns the largest change. It stays the
// same while a balance is sought, and is sought again where it has changed much.
func (w *Work) squeeze(force float64) (change float64) {
	for i := range w.elements {
		el := &w.elements[i]
		var local [48]float64
		read := false
		for j := range el.sites {
			p := &el.sites[j]
			v := 0.0
			if t := w.load; t != nil {
				dx, dy := p.gx.x-t.x, p.gy.x-t.y
				if t.even != nil {
					if math.Hypot(dx, dy) < t.reach {
						v = math.Abs(force) / (math.Pi * t.reach * t.reach)
					}
				} else if under, near := w.under(t, p.gx.x, p.gy.x); near {
					if !read {
						local, read = w.local(el), true
					}
					h := 0.0
					for a := range 16 {
						h += p.gx.n[a/4] * p.gy.n[a%4] * local[32+a]
					}
					v = touchStiffness * math.Max(0, t.push*(t.height-h)-under)
				}
			}
			change = math.Max(change, math.Abs(v-p.press))
			p.press = v
		}
	}
	return change
}

// under is what the sheet may lag behind a ball's height at a place.
func (w *Work) under(t *touch, x, y float64) (under float64, near bool) {
	big := t.reach
	dx, dy := x-t.x, y-t.y
	r2 := dx*dx + dy*dy
	if r2 > 0.96*big*big {
		return 0, false
	}
	z0, zx0, zy0 := w.rect.form(t.x, t.y)
	// A tip is held square to the sheet: the form's slope at the hit does not count.
	z, _, _ := w.rect.form(x, y)
	return t.push*(z-z0-zx0*dx-zy0*dy) + big - math.Sqrt(big*big-r2), true
}

// add puts a force on the sheet. The height of a ball follows from the force: pressure is stiffness times how deep the sheet is in it.
func (t *touch) add(w *Work, force float64, tangent bool) {
	if t.even != nil {
		for i, v := range t.even {
			w.res[i] += force * v
		}
		return
	}
	want := math.Abs(force) * t.share / touchStiffness
	deep := make([]float64, len(t.points)) // at a ball's height of 0
	highest := math.Inf(-1)
	for i := range t.points {
		p := &t.points[i]
		deep[i] = -t.push*w.height(p.n[:], p.unknown) - p.under
		highest = math.Max(highest, deep[i])
	}
	// The sum of weight max(0, deep + h) is convex in h: Newton's method from above.
	total := 0.0
	for i := range t.points {
		total += t.points[i].weight
	}
	h := -highest + math.Sqrt(want) + 1
	for range 100 {
		sum, area := 0.0, 0.0
		for i, d := range deep {
			if g := d + h; g > 0 {
				sum += t.points[i].weight * g
				area += t.points[i].weight
			}
		}
		if math.Abs(sum-want) <= 1e-11*want {
			break
		}
		if sum < want {
			h += 1
			continue
		}
		h -= (sum - want) / area
	}
	t.height = t.push * h
	if tangent {
		clear(t.border)
		t.stiff = 0
	}
	for i, d := range deep {
		g := d + h
		if g <= 0 {
			continue
		}
		p := &t.points[i]
		w.pointLoad(p.n[:], p.unknown, t.push*touchStiffness*p.weight*g)
		if tangent {
			w.pointStiff(p.n[:], p.unknown, touchStiffness*p.weight)
			t.stiff += touchStiffness * p.weight
			for a, u := range p.unknown {
				if u >= 0 {
					t.border[u] -= touchStiffness * p.weight * p.n[a]
				}
			}
		}
	}
}
