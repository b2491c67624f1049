// Package steady takes the camera's wander out of the photos of one set: the scale cards lie still on the panel, so how they move
// between photos is how the camera moved.
//
// In: a reference photo with patches (pixel boxes) on still, unstriped things, and another photo. Out: the move as a similarity
// (shift, turn, scale), and the photo resampled to where the reference stood.
package steady

import (
	"math"

	"fairmetal/internal/rows"
	"fairmetal/photo"
)

// Box is a patch of the reference: what of the pixels [X0, X1) x [Y0, Y1) lies inside the convex polygon Rim, in pixels from the
// corner of the picture; all of them where it is empty. Nothing else than the still thing must show in it: mirrored stripes move.
type Box struct {
	X0, Y0, X1, Y1 int
	Rim            [][2]float64
}

// moved returns the box for a picture whose corner lies at (x, y) of this one and whose pixels are by times as large.
func (b Box) moved(x, y, by int) Box {
	out := Box{X0: (b.X0 - x) / by, Y0: (b.Y0 - y) / by, X1: (b.X1 - x) / by, Y1: (b.Y1 - y) / by}
	for _, p := range b.Rim {
		out.Rim = append(out.Rim, [2]float64{(p[0] - float64(x)) / float64(by), (p[1] - float64(y)) / float64(by)})
	}
	return out
}

// pixels lists the indices of the patch's pixels in a picture w wide.
func (b Box) pixels(w int) []int {
	var out []int
	for y := b.Y0; y < b.Y1; y++ {
	next:
		for x := b.X0; x < b.X1; x++ {
			turn := 0.0
			for i, p := range b.Rim {
				q := b.Rim[(i+1)%len(b.Rim)]
				side := (q[0]-p[0])*(float64(y)+0.5-p[1]) - (q[1]-p[1])*(float64(x)+0.5-p[0])
				if side*turn < 0 {
					continue next
				}
				turn = side
			}
			out = append(out, y*w+x)
		}
	}
	return out
}

// Move maps reference pixels to the other photo: x' = A x - B y + DX, y' = B x + A y + DY.
type Move struct{ A, B, DX, DY float64 }

// Still is no move.
var Still = Move{A: 1}

// At returns where a reference pixel lies in the other photo.
func (m Move) At(x, y float64) (float64, float64) { return m.A*x - m.B*y + m.DX, m.B*x + m.A*y + m.DY }

// Largest is the largest displacement, px, over a photo of w x h.
func (m Move) Largest(w, h int) float64 {
	most := 0.0
	for _, c := range [4][2]float64{{0, 0}, {float64(w), 0}, {0, float64(h)}, {float64(w), float64(h)}} {
		x, y := m.At(c[0], c[1])
		most = max(most, math.Hypot(x-c[0], y-c[1]))
	}
	return most
}

// Shift finds by how much a patch of the reference is displaced in img, px, from coarse to fine: whole pixels by the best correlation,
// their parts by Gauss-Newton on the squared difference with a gain and an offset free [LucasKanade1981]. ok is false where it does not
// settle, or where both patches look different.
func Shift(ref, img *photo.Image, b Box) (dx, dy float64, ok bool) {
	// Only the surroundings of the patch are looked at.
	const margin = int(maxShiftPX) + 8
	x0, y0 := max(b.X0-margin, 0), max(b.Y0-margin, 0)
	x1, y1 := min(b.X1+margin, ref.W), min(b.Y1+margin, ref.H)
	if b.X1-b.X0 < 12 || b.Y1-b.Y0 < 12 || x1-x0 < 24 || y1-y0 < 24 {
		return 0, 0, false
	}
	inside := Box{max(b.X0, 0), max(b.Y0, 0), min(b.X1, ref.W), min(b.Y1, ref.H), b.Rim}
	levels := []level{{crop(ref, x0, y0, x1, y1), crop(img, x0, y0, x1, y1), inside.moved(x0, y0, 1)}}
	// Most cameras stand still: then there is nothing to be searched for.
	pixels := levels[0].b.pixels(levels[0].ref.W)
	if correlation(levels[0].ref, levels[0].img, pixels, 0, 0) > surelyAlike {
		if dx, dy, ok := shiftAt(levels[0].ref, levels[0].img, pixels, 0, 0); ok && math.Hypot(dx, dy) < stillPX {
			return dx, dy, true
		}
	}
	for l := levels[0]; l.b.X1-l.b.X0 > 24 && l.b.Y1-l.b.Y0 > 24 && len(levels) < 4; {
		l = level{photo.Halve(l.ref), photo.Halve(l.img), l.b.moved(0, 0, 2)}
		levels = append(levels, l)
	}
	// Where modules are two pixels wide nothing of them is left at a quarter of the size: then the search begins at a finer level.
	best := minAlike
	for top := len(levels) - 1; top >= 0 && best < surelyAlike; top-- {
		if x, y, c, found := follow(levels, top); found && c > best {
			dx, dy, best, ok = x, y, c, true
		}
	}
	return dx, dy, ok
}

// level is a patch at one size of the pictures.
type level struct {
	ref, img *photo.Image
	b        Box
}

// follow finds the displacement from level top down to the first, and how much both patches look alike there.
func follow(levels []level, top int) (dx, dy, alike float64, ok bool) {
	for i := top; i >= 0; i-- {
		l := levels[i]
		pixels := l.b.pixels(l.ref.W)
		reach := 2
		if i == top {
			reach = int(maxShiftPX)>>i + 1
		}
		wx, wy, c := nearest(l.ref, l.img, pixels, int(math.Round(dx)), int(math.Round(dy)), reach)
		if c < minAlike {
			return 0, 0, 0, false
		}
		if math.Hypot(wx-dx, wy-dy) > 1 {
			dx, dy = wx, wy // it had gone astray
		}
		x, y, settled := shiftAt(l.ref, l.img, pixels, dx, dy)
		switch {
		case settled && math.Hypot(x-wx, y-wy) < 1.5:
			dx, dy = x, y
		case i == 0:
			return 0, 0, 0, false
		default:
			dx, dy = wx, wy // modules smaller than a pixel: the parts of a pixel mean nothing yet
		}
		alike = c
		if i > 0 {
			dx, dy = 2*dx, 2*dy
		}
	}
	return dx, dy, alike, true
}

// minAlike is the least correlation of a patch with where it is found: noise leaves 0.9 of a card's, stripes in its place nothing.
const minAlike = 0.6

// surelyAlike is a correlation that a module further on never has.
const surelyAlike = 0.85

// stillPX is a displacement under which a camera counts as standing: modules are wider.
const stillPX = 0.5

// nearestFirst is how much better than a near place the farthest must correlate: cards have a pattern that nearly repeats.
const nearestFirst = 0.1

// searchPX is about how many pixels of a patch are looked at on every place of a search: its correlation is then known to a twentieth.
const searchPX = 600

// nearest finds the whole pixels within reach of (x0, y0) by which the patch correlates best, and the correlation.
func nearest(ref, img *photo.Image, pixels []int, x0, y0, reach int) (dx, dy, alike float64) {
	some := pixels
	if step := len(pixels) / searchPX; step > 1 && reach > 2 {
		some = nil
		for i := 0; i < len(pixels); i += step {
			some = append(some, pixels[i])
		}
	}
	best := math.Inf(-1)
	for y := y0 - reach; y <= y0+reach; y++ {
		for x := x0 - reach; x <= x0+reach; x++ {
			c := correlation(ref, img, some, x, y)
			if v := c - nearestFirst*math.Hypot(float64(x-x0), float64(y-y0))/float64(reach); v > best {
				dx, dy, alike, best = float64(x), float64(y), c, v
			}
		}
	}
	if len(some) < len(pixels) {
		alike = correlation(ref, img, pixels, int(dx), int(dy))
	}
	return dx, dy, alike
}

// correlation is that of the patch with what lies (x, y) further in img.
func correlation(ref, img *photo.Image, pixels []int, x, y int) float64 {
	var n, a, b, aa, ab, bb float64
	for _, i := range pixels {
		u, v := i%ref.W+x, i/ref.W+y
		if u < 0 || v < 0 || u >= img.W || v >= img.H {
			continue
		}
		p, q := float64(ref.Pix[i]), float64(img.Pix[v*img.W+u])
		n, a, b, aa, ab, bb = n+1, a+p, b+q, aa+p*p, ab+p*q, bb+q*q
	}
	return (n*ab - a*b) / math.Sqrt((n*aa-a*a)*(n*bb-b*b))
}

func crop(m *photo.Image, x0, y0, x1, y1 int) *photo.Image {
	out := photo.NewImage(x1-x0, y1-y0)
	for y := range out.H {
		copy(out.Pix[y*out.W:(y+1)*out.W], m.Pix[(y0+y)*m.W+x0:])
	}
	return out
}

// shiftAt refines a displacement at one level.
func shiftAt(ref, img *photo.Image, pixels []int, dx0, dy0 float64) (dx, dy float64, ok bool) {
	dx, dy = dx0, dy0
	gain, offset := 1.0, 0.0
	for range 25 {
		// Unknowns: ddx, ddy, gain, offset. Model: img(x + d) = gain ref(x) + offset.
		var m [4][5]float64
		for _, i := range pixels {
			v, gx, gy, in := bilinear(img, float64(i%ref.W)+dx, float64(i/ref.W)+dy)
			if !in {
				continue
			}
			r := float64(ref.Pix[i])
			j := [4]float64{gx, gy, -r, -1}
			e := gain*r + offset - v
			for p := range 4 {
				for q := range 4 {
					m[p][q] += j[p] * j[q]
				}
				m[p][4] += j[p] * e
			}
		}
		s, solved := solve4(m)
		if !solved {
			return dx0, dy0, false
		}
		dx, dy = dx+s[0], dy+s[1]
		gain, offset = gain+s[2], offset+s[3]
		if math.Hypot(dx, dy) > maxShiftPX || gain < 0.3 || gain > 3 {
			return dx0, dy0, false
		}
		if math.Hypot(s[0], s[1]) < 1e-3 {
			return dx, dy, true
		}
	}
	return dx0, dy0, false
}

// maxShiftPX is the largest move that is followed: beyond it the photos are not a set.
const maxShiftPX = 25.0

// bilinear returns value and gradient at integer-based pixel coordinates.
func bilinear(m *photo.Image, x, y float64) (v, gx, gy float64, ok bool) {
	ix, iy := math.Floor(x), math.Floor(y)
	i, j := int(ix), int(iy)
	if i < 0 || j < 0 || i+1 >= m.W || j+1 >= m.H {
		return 0, 0, 0, false
	}
	fx, fy := x-ix, y-iy
	k := j*m.W + i
	a, b, c, d := float64(m.Pix[k]), float64(m.Pix[k+1]), float64(m.Pix[k+m.W]), float64(m.Pix[k+m.W+1])
	return (1-fy)*((1-fx)*a+fx*b) + fy*((1-fx)*c+fx*d), (1-fy)*(b-a) + fy*(d-c), (1-fx)*(c-a) + fx*(d-b), true
}

// solve4 solves a 4 x 4 system by Gaussian elimination.
func solve4(m [4][5]float64) (x [4]float64, ok bool) {
	for p := range 4 {
		if math.Abs(m[p][p]) < 1e-12 {
			return x, false
		}
		for q := p + 1; q < 4; q++ {
			f := m[q][p] / m[p][p]
			for k := p; k < 5; k++ {
				m[q][k] -= f * m[p][k]
			}
		}
	}
	for p := 3; p >= 0; p-- {
		x[p] = m[p][4]
		for k := p + 1; k < 4; k++ {
			x[p] -= m[p][k] * x[k]
		}
		x[p] /= m[p][p]
	}
	return x, true
}

// Between finds the move from two patches: the similarity that carries both middles along. ok is false when either is lost.
func Between(ref, img *photo.Image, a, b Box) (Move, bool) {
	ax, ay, okA := Shift(ref, img, a)
	bx, by, okB := Shift(ref, img, b)
	if !okA || !okB {
		return Still, false
	}
	px, py := mid(a)
	qx, qy := mid(b)
	// Complex ratio of the line between the middles after and before.
	ux, uy := qx-px, qy-py
	vx, vy := ux+bx-ax, uy+by-ay
	n := ux*ux + uy*uy
	m := Move{A: (vx*ux + vy*uy) / n, B: (vy*ux - vx*uy) / n}
	cx, cy := (px+qx)/2, (py+qy)/2
	m.DX = cx + (ax+bx)/2 - (m.A*cx - m.B*cy)
	m.DY = cy + (ay+by)/2 - (m.B*cx + m.A*cy)
	return m, true
}

func mid(b Box) (x, y float64) { return float64(b.X0+b.X1-1) / 2, float64(b.Y0+b.Y1-1) / 2 }

// Undo resamples img to where the reference stood, by cubic convolution [Keys1981]; what lies outside repeats the rim.
func Undo(img *photo.Image, m Move) *photo.Image {
	out := photo.NewImage(img.W, img.H)
	rows.Do(out.H, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			for x := range out.W {
				sx, sy := m.At(float64(x), float64(y))
				out.Pix[y*out.W+x] = cubic(img, sx, sy)
			}
		}
	})
	return out
}

func cubic(m *photo.Image, x, y float64) float32 {
	ix, iy := math.Floor(x), math.Floor(y)
	i, j := int(ix), int(iy)
	wx, wy := keys(float32(x-ix)), keys(float32(y-iy))
	var s float32
	if i > 0 && j > 0 && i+2 < m.W && j+2 < m.H {
		for r := range 4 {
			row := m.Pix[(j+r-1)*m.W+i-1:]
			s += wy[r] * (wx[0]*row[0] + wx[1]*row[1] + wx[2]*row[2] + wx[3]*row[3])
		}
		return s
	}
	for r := range 4 {
		row := m.Pix[min(max(j+r-1, 0), m.H-1)*m.W:]
		for c := range 4 {
			s += wy[r] * wx[c] * row[min(max(i+c-1, 0), m.W-1)]
		}
	}
	return s
}

func keys(t float32) [4]float32 {
	t2, t3 := t*t, t*t*t
	return [4]float32{-0.5*t3 + t2 - 0.5*t, 1.5*t3 - 2.5*t2 + 1, -1.5*t3 + 2*t2 + 0.5*t, 0.5*t3 - 0.5*t2}
}
