package card

import (
	"cmp"
	"math"
	"slices"

	"fairmetal/photo"
)

// relief is a photo minus its own surroundings: below zero where dark. Zeros between pixels are edges, to a fraction of a
// pixel; in linear light a blurred edge has its middle where the sharp one was.
type relief struct {
	w, h  int
	d     []float32
	slack float64 // on the largest misfits
}

// newRelief subtracts the mean over a square of 2 radius + 1 px.
func newRelief(img *photo.Image, radius int, slack float64) *relief {
	w, h := img.W, img.H
	r := &relief{w, h, make([]float32, w*h), slack}
	col := make([]float32, w) // sums over the rows of the window
	add := func(y int, sign float32) {
		for x, v := range img.Pix[y*w : (y+1)*w] {
			col[x] += sign * v
		}
	}
	for y := range min(radius, h) {
		add(y, 1)
	}
	for y := range h {
		if y+radius < h {
			add(y+radius, 1)
		}
		if y-radius-1 >= 0 {
			add(y-radius-1, -1)
		}
		rows := min(y+radius, h-1) - max(y-radius, 0) + 1
		var sum float32
		for x := range min(radius, w) {
			sum += col[x]
		}
		src, dst := img.Pix[y*w:(y+1)*w], r.d[y*w:(y+1)*w]
		inner := 1 / float32(rows*(2*radius+1))
		for x := range w {
			if x+radius < w {
				sum += col[x+radius]
			}
			if x-radius-1 >= 0 {
				sum -= col[x-radius-1]
			}
			if x >= radius && x+radius < w {
				dst[x] = src[x] - sum*inner
				continue
			}
			n := rows * (min(x+radius, w-1) - max(x-radius, 0) + 1)
			dst[x] = src[x] - sum/float32(n)
		}
	}
	return r
}

// finder is a place that looks like a finder pattern's middle.
type finder struct {
	x, y   float64 // px from the corner of the picture
	mx, my float64 // chord through the middle along x and along y, px a module
	misfit float64 // of the run lengths, modules
	hits   int
}

// minModulePX is the smallest module along rows and columns for which five runs can still be told apart.
const minModulePX = 1.3

// runsMisfit returns the largest deviation of five runs from 1:1:3:1:1 in modules, with the module's length. e are the six
// edges.
func runsMisfit(e *[6]float64) (misfit, module float64) {
	module = (e[5] - e[0]) / 7
	inv := 1 / module
	d := math.Abs((e[1]-e[0])*inv - 1)
	d = max(d, math.Abs((e[2]-e[1])*inv-1))
	d = max(d, math.Abs((e[3]-e[2])*inv-3)*0.6) // the core may be off by more: three modules of error
	d = max(d, math.Abs((e[4]-e[3])*inv-1))
	d = max(d, math.Abs((e[5]-e[4])*inv-1))
	return d, module
}

// Largest misfits, modules: of a row that may pass off the middle of a turned finder; of the chords through the middle.
const (
	rowMisfit    = 0.75
	middleMisfit = 0.6
)

// finders scans every stride-th row and adds what it finds to found.
func (r *relief) finders(stride int, found []finder) []finder {
	edges := make([]float64, 0, r.w/2)
	for y := stride / 2; y < r.h; y += stride {
		row := r.d[y*r.w : (y+1)*r.w]
		edges = edges[:0]
		neg := row[0] < 0
		startDark := neg
		prev := row[0]
		for x, v := range row {
			if (v < 0) != neg {
				neg = !neg
				edges = append(edges, float64(x)-0.5+float64(prev/(prev-v)))
			}
			prev = v
		}
		first := 0 // first edge that goes from light to dark
		if startDark {
			first = 1
		}
		for i := first; i+5 < len(edges); i += 2 {
			e := (*[6]float64)(edges[i : i+6])
			total := e[5] - e[0]
			core := e[3] - e[2]
			if core < total*0.22 || core > total*0.62 || total < 7*minModulePX {
				continue
			}
			if m, _ := runsMisfit(e); m > r.slack*rowMisfit {
				continue
			}
			r.centre((e[2]+e[3])/2, float64(y)+0.5, total/7, &found)
		}
	}
	return found
}

// centre walks to the middle of a finder from a point in its core and keeps it when all four chords look right.
func (r *relief) centre(x, y, module float64, found *[]finder) {
	for i := range *found {
		f := &(*found)[i]
		if math.Abs(f.x-x) < 1.2*f.mx && math.Abs(f.y-y) < 1.2*f.my {
			f.hits++
			return
		}
	}
	var mx, my float64
	mis := 0.0
	for range 3 {
		v, ok := r.chord(x, y, 0, 1, 14*module)
		if !ok {
			return
		}
		y = (v[2] + v[3]) / 2
		var m float64
		m, my = runsMisfit(&v)
		if !(m <= r.slack*rowMisfit && my >= minModulePX) {
			return
		}
		h, ok := r.chord(x, y, 1, 0, 14*module)
		if !ok {
			return
		}
		moved := math.Abs((h[2]+h[3])/2 - x)
		x = (h[2] + h[3]) / 2
		var n float64
		n, mx = runsMisfit(&h)
		mis = max(m, n)
		if !(n <= r.slack*rowMisfit && mx >= minModulePX) {
			return
		}
		if moved < 0.3 {
			break
		}
	}
	if !(mis <= r.slack*middleMisfit) {
		return
	}
	for _, s := range [2]float64{1, -1} {
		d, ok := r.chord(x, y, 1, s, 14*max(mx, my))
		if !ok {
			return
		}
		if m, _ := runsMisfit(&d); m > r.slack*rowMisfit {
			return
		}
	}
	for i := range *found {
		f := &(*found)[i]
		if math.Abs(f.x-x) < 1.2*f.mx && math.Abs(f.y-y) < 1.2*f.my {
			f.hits++
			if mis < f.misfit {
				f.x, f.y, f.mx, f.my, f.misfit = x, y, mx, my, mis
			}
			return
		}
	}
	*found = append(*found, finder{x, y, mx, my, mis, 1})
}

// chord finds the three edges on either side of (x, y) along (dx, dy), whose entries are -1, 0 or 1, as signed distances along
// the greater axis: positions in px for rows and columns, distances from (x, y) for diagonals. It gives up beyond far px.
func (r *relief) chord(x, y, dx, dy, far float64) (e [6]float64, ok bool) {
	ix, iy := int(math.Floor(x)), int(math.Floor(y))
	if ix < 0 || iy < 0 || ix >= r.w || iy >= r.h || r.d[iy*r.w+ix] >= 0 {
		return e, false
	}
	var base float64 // position of the starting pixel's centre
	switch {
	case dy == 0:
		base = float64(ix) + 0.5
	case dx == 0:
		base = float64(iy) + 0.5
	}
	stepX, stepY := int(dx), int(dy)
	limit := int(far) + 2
	for side, sign := range [2]int{-1, 1} {
		cx, cy := ix, iy
		prev := r.d[iy*r.w+ix]
		n := 0
		for k := 1; n < 3; k++ {
			cx += sign * stepX
			cy += sign * stepY
			if k > limit || cx < 0 || cy < 0 || cx >= r.w || cy >= r.h {
				return e, false
			}
			v := r.d[cy*r.w+cx]
			if (v < 0) != (prev < 0) {
				at := base + float64(sign)*(float64(k)-1+float64(prev/(prev-v)))
				if side == 0 {
					e[2-n] = at
				} else {
					e[3+n] = at
				}
				n++
			}
			prev = v
		}
	}
	return e, true
}

// triple is three finders that may belong to one symbol.
type triple struct {
	tl, tr, bl int
	misfit     float64
	h          [9]float64 // symbol coordinates to px, affine
}

// Largest deviation of the natural logarithm of a finder's chords from those that the three middles predict: perspective makes
// the nearest finder of a steeply tilted card a fifth larger than the farthest; the rest is the error of chords a few px long.
const chordMisfit = 0.35

// maxNear bounds the finders that are paired with one: those of the own card are among the nearest.
const maxNear = 30

// triples lists every three finders whose middles predict the chords measured at all three, best first.
func triples(f []finder) []triple {
	var out []triple
	var near []int
	for i := range f {
		// The middle of a neighbouring finder is 14 modules away, in a direction where a module is at most as long as the
		// longest and at least as long as the shortest; along a chord it is between the two, or up to sqrt 2 longer.
		a := &f[i]
		big := max(a.mx, a.my)
		near = near[:0]
		for j := range f {
			if j == i {
				continue
			}
			b := &f[j]
			d := math.Hypot(b.x-a.x, b.y-a.y)
			if d < 14*3.2*big && d > 14*0.2*big && ratio(a.mx, b.mx) < 2*chordMisfit && ratio(a.my, b.my) < 2*chordMisfit {
				near = append(near, j)
			}
		}
		if len(near) > maxNear {
			away := func(j int) float64 { return math.Hypot(f[j].x-a.x, f[j].y-a.y) }
			slices.SortFunc(near, func(j, k int) int { return cmp.Compare(away(j), away(k)) })
			near = near[:maxNear]
		}
		for _, j := range near {
			for _, k := range near {
				if j == k {
					continue
				}
				if t, ok := newTriple(f, i, j, k); ok {
					out = append(out, t)
				}
			}
		}
	}
	slices.SortFunc(out, func(a, b triple) int { return cmp.Compare(a.misfit, b.misfit) })
	return out
}

func ratio(a, b float64) float64 { return math.Abs(math.Log(a / b)) }

// newTriple checks finder i as top left, j as top right, k as bottom left.
func newTriple(f []finder, i, j, k int) (t triple, ok bool) {
	ux, uy := (f[j].x-f[i].x)/14, (f[j].y-f[i].y)/14
	vx, vy := (f[k].x-f[i].x)/14, (f[k].y-f[i].y)/14
	det := ux*vy - vx*uy
	if !(det > minModulePX*minModulePX/2) { // mirrored (the photo's y runs down), or a line
		return t, false
	}
	// A step of one px along x is (vy, -uy)/det modules, along y (-vx, ux)/det; the chord ends where the larger reaches 3.5.
	mx := det / max(math.Abs(vy), math.Abs(uy))
	my := det / max(math.Abs(vx), math.Abs(ux))
	worst := 0.0
	for _, q := range [3]int{i, j, k} {
		worst = max(worst, max(ratio(f[q].mx, mx), ratio(f[q].my, my)))
	}
	if !(worst <= chordMisfit) {
		return t, false
	}
	t = triple{tl: i, tr: j, bl: k, misfit: worst}
	t.h = [9]float64{ux, vx, (f[j].x + f[k].x) / 2, uy, vy, (f[j].y + f[k].y) / 2, 0, 0, 1}
	return t, true
}

// perspective returns the homography through the three middles whose foreshortening follows the finders' areas: the area scale
// of a homography falls with the cube of its denominator.
func (t *triple) perspective(f []finder) [9]float64 {
	area := func(i int) float64 { return f[i].mx * f[i].my }
	a := area(t.tl)
	w := [3]float64{1, math.Cbrt(a / area(t.tr)), math.Cbrt(a / area(t.bl))}
	at := [3][2]float64{{-7, -7}, {7, -7}, {-7, 7}}
	pts := [3]int{t.tl, t.tr, t.bl}
	// Denominator g u + h v + 1, up to its value at the middle: w = c0 + c1 u + c2 v through three points.
	c1, c2 := (w[1]-w[0])/14, (w[2]-w[0])/14
	c0 := w[0] + 7*c1 + 7*c2
	var x, y [3]float64
	for i, p := range pts {
		wi := (c0 + c1*at[i][0] + c2*at[i][1]) / c0
		x[i], y[i] = f[p].x*wi, f[p].y*wi
	}
	return [9]float64{
		(x[1] - x[0]) / 14, (x[2] - x[0]) / 14, (x[1] + x[2]) / 2,
		(y[1] - y[0]) / 14, (y[2] - y[0]) / 14, (y[1] + y[2]) / 2,
		c1 / c0, c2 / c0, 1,
	}
}
