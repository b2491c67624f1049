package mark

import (
	"math"
	"slices"

	"fairmetal/surface"
)

// describe measures a region; its outline is that of top on the map of own, which differ where it stands in another's skirt.
func (f *finder) describe(q *region, own *finder, top *region) Mark {
	m := Mark{}
	f.extreme(q, &m)
	pts := own.outline(top)
	m.OutlineMM = hullOrder(pts)
	f.breadths(pts, &m)
	f.rim(q, &m)
	f.metal(q, &m)
	m.EdgeMM = round(float64(f.edge[q.at]), 1)
	m.Kind = f.kind(q, &m)
	var s float64
	for _, i := range q.cells {
		if v := float64(f.s.Sigma[i]); v > s {
			s = v
		}
	}
	m.DepthSigmaUM = round(1000*s, 2)
	if hole, rim := f.hole(&m, q.sign); hole > maxHoleMM2 && rim > bottomShare*m.DepthUM {
		// The bottom was not seen: what was measured is the least it can be.
		m.Folded = true
		m.DepthUM = round(max(m.DepthUM, rim), 1)
		m.DepthSigmaUM = round(max(m.DepthSigmaUM, 0.5*m.DepthUM, f.hidden(q)), 2)
	}
	return m
}

// maxHoleMM2 is the area without a value inside a mark from which its depth counts as unknown; narrower gaps were bridged before.
const maxHoleMM2 = 2.0

// bottomShare of the depth is how far down a hole's rim must reach for the hole to hide the bottom. What goes on as steeply as a
// bowl's flank does above it gets no deeper, over a hole that leaves the bottom itself in sight, than the bottom.
const bottomShare = 0.7

// hole is the area without a value inside the mark's ellipse, a little shrunk, mm2, and the deepest of its rim, um.
func (f *finder) hole(m *Mark, sign float32) (mm2, rim float64) {
	g := f.s.Grid
	sin, cos := math.Sincos(m.AngleDeg * math.Pi / 180)
	c0, r0 := g.Cell(m.XMM, m.YMM)
	n := int(m.LengthMM/2/g.PitchMM) + 1
	k := 0
	for r := max(0, int(r0)-n); r <= min(g.Rows-1, int(r0)+n); r++ {
		for c := max(0, int(c0)-n); c <= min(g.Cols-1, int(c0)+n); c++ {
			x, y := g.XY(c, r)
			x, y = x-m.XMM, y-m.YMM
			a, b := (cos*x+sin*y)/(0.45*m.LengthMM), (-sin*x+cos*y)/(0.45*max(m.WidthMM, 1))
			if v := f.um[r*g.Cols+c]; a*a+b*b < 1 && v != v {
				k++
				for _, d := range [4]int{-1, 1, -g.Cols, g.Cols} {
					if j := r*g.Cols + c + d; j >= 0 && j < len(f.um) {
						if h := float64(sign * f.um[j]); h > rim {
							rim = h
						}
					}
				}
			}
		}
	}
	return float64(k) * g.PitchMM * g.PitchMM, rim
}

func round(v float64, digits int) float64 {
	p := math.Pow(10, float64(digits))
	return math.Round(v*p) / p
}

// extreme finds depth and place of the deepest point by a paraboloid fitted to the unsmoothed heights about it, in a window
// within which the bottom rises by a twentieth of the depth: wide enough to average orange peel out, small enough to follow a
// crease.
func (f *finder) extreme(q *region, m *Mark) {
	g := f.s.Grid
	reach := maxWindowMM
	if k1, _ := f.curvature(q.at, q.sign); k1 != 0 {
		reach = min(reach, math.Sqrt(2*0.05*q.peak/math.Abs(k1)))
	}
	reach = max(reach, 1.6*g.PitchMM)
	x0, y0 := g.XY(q.at%g.Cols, q.at/g.Cols)
	n := int(reach / g.PitchMM)
	// Start from the unsmoothed extreme of a slightly blurred map near the region's peak.
	best, bx, by := math.Inf(-1), x0, y0
	for range 3 {
		fit, ok := f.quadratic(bx, by, n)
		if !ok {
			break
		}
		dx, dy, v := fit.top(float64(q.sign), reach)
		if v > best {
			best = v
			bx, by = bx+dx, by+dy
		}
	}
	if math.IsInf(best, -1) {
		best = q.peak
	}
	m.DepthUM = round(max(best, 0), 1)
	m.DeepestMM = [2]float64{round(bx, 2), round(by, 2)}
}

// maxWindowMM bounds the window of the depth's fit.
const maxWindowMM = 1.5

// paraboloid is z = c0 + c1 x + c2 y + c3 x^2 + c4 x y + c5 y^2 about a cell.
type paraboloid struct {
	c      [6]float64
	dx, dy float64 // of the cell from the asked place
}

// quadratic fits heights within n cells of a place, um.
func (f *finder) quadratic(x, y float64, n int) (paraboloid, bool) {
	g := f.s.Grid
	fc, fr := g.Cell(x, y)
	c, r := int(math.Round(fc)), int(math.Round(fr))
	var a [6][7]float64
	k := 0
	for dr := -n; dr <= n; dr++ {
		for dc := -n; dc <= n; dc++ {
			if dr*dr+dc*dc > n*n+1 || c+dc < 0 || r+dr < 0 || c+dc >= g.Cols || r+dr >= g.Rows {
				continue
			}
			v := float64(f.um[(r+dr)*g.Cols+c+dc])
			if v != v {
				continue
			}
			px, py := float64(dc)*g.PitchMM, float64(dr)*g.PitchMM
			b := [6]float64{1, px, py, px * px, px * py, py * py}
			for i := range 6 {
				for j := range 6 {
					a[i][j] += b[i] * b[j]
				}
				a[i][6] += b[i] * v
			}
			k++
		}
	}
	if k < 7 {
		return paraboloid{}, false
	}
	p := paraboloid{dx: (float64(c) - fc) * g.PitchMM, dy: (float64(r) - fr) * g.PitchMM}
	for i := range 6 {
		if math.Abs(a[i][i]) < 1e-12 {
			return paraboloid{}, false
		}
		for j := i + 1; j < 6; j++ {
			s := a[j][i] / a[i][i]
			for l := i; l < 7; l++ {
				a[j][l] -= s * a[i][l]
			}
		}
	}
	for i := 5; i >= 0; i-- {
		v := a[i][6]
		for j := i + 1; j < 6; j++ {
			v -= a[i][j] * p.c[j]
		}
		p.c[i] = v / a[i][i]
	}
	return p, true
}

// top returns the extreme of sign*z, relative to the asked place, kept within reach.
func (p paraboloid) top(sign, reach float64) (dx, dy, v float64) {
	det := 4*p.c[3]*p.c[5] - p.c[4]*p.c[4]
	x, y := 0.0, 0.0
	if det > 0 && p.c[3]*sign < 0 {
		x = (p.c[4]*p.c[2] - 2*p.c[5]*p.c[1]) / det
		y = (p.c[4]*p.c[1] - 2*p.c[3]*p.c[2]) / det
		if d := math.Hypot(x, y); d > reach {
			x, y = x*reach/d, y*reach/d
		}
	}
	v = p.c[0] + p.c[1]*x + p.c[2]*y + p.c[3]*x*x + p.c[4]*x*y + p.c[5]*y*y
	return x + p.dx, y + p.dy, sign * v
}

// contour returns where the outline at level (um) crosses the raster between the region's cells and their outer neighbours,
// by linear interpolation, panel mm. The smoothed map is used, since a tenth of a shallow mark is down in the orange peel.
func (f *finder) contour(q *region, level float64) [][2]float64 {
	g := f.s.Grid
	in := make(map[int]bool, len(q.cells))
	for _, i := range q.cells {
		in[i] = true
	}
	var pts [][2]float64
	for _, i := range q.cells {
		c, r := i%g.Cols, i/g.Cols
		x, y := g.XY(c, r)
		a := float64(q.sign * f.smooth[i])
		for _, d := range [4][2]int{{1, 0}, {-1, 0}, {0, 1}, {0, -1}} {
			nc, nr := c+d[0], r+d[1]
			if nc < 0 || nr < 0 || nc >= g.Cols || nr >= g.Rows {
				continue
			}
			j := nr*g.Cols + nc
			if in[j] {
				continue
			}
			t := 0.5
			if b := float64(q.sign * f.smooth[j]); b == b && a > b {
				t = min(max((a-level)/(a-b), 0), 1)
			}
			pts = append(pts, [2]float64{x + t*float64(d[0])*g.PitchMM, y + t*float64(d[1])*g.PitchMM})
		}
	}
	return pts
}

// outline returns the outline at a tenth of the depth. Where a tenth lies in orange peel and noise, a contour clear of them is spread about its
// middle to where a Gaussian bowl has its tenth. So is that at half the depth of a mark that stands on the rim of another: where the outline is
// far wider than that contour lets a bowl be (and, clear of peel, a star, whose flanks run straight in the logarithm: ln 10/ln 2 = 3.32
// times as wide).
func (f *finder) outline(q *region) [][2]float64 {
	pts := f.contour(q, outline*q.peak)
	inner, ok := f.inner(q, 0.5)
	if !ok {
		return pts
	}
	if share := min(clearOfNoise*f.noise/q.peak, 0.5); share > outline {
		if clear, ok := f.inner(q, share); ok {
			pts = spreadOut(clear, share)
		}
	}
	const flank = 3.322
	widest := 1.4 * wider(0.5)
	if outline*q.peak > noiseRatio*f.noise {
		widest = flank
	}
	if extent(pts) < widest*extent(inner) {
		return pts
	}
	return spreadOut(inner, 0.5)
}

// clearOfNoise is how many standard deviations of the undamaged metal, under the search filter, a contour must lie up for peel and noise not to
// bend it out of shape.
const clearOfNoise = 4.5

// wider is how much wider than at a share of its depth a Gaussian bowl is at its tenth.
func wider(share float64) float64 { return math.Sqrt(math.Log(1/outline) / math.Log(1/share)) }

// spreadOut spreads a contour at a share of the depth about its middle to that of a Gaussian bowl at its tenth.
func spreadOut(pts [][2]float64, share float64) [][2]float64 {
	var cx, cy float64
	for _, p := range pts {
		cx, cy = cx+p[0]/float64(len(pts)), cy+p[1]/float64(len(pts))
	}
	k := wider(share)
	for i, p := range pts {
		pts[i] = [2]float64{cx + k*(p[0]-cx), cy + k*(p[1]-cy)}
	}
	return pts
}

// inner is the contour at a share of the depth; it is not ok where that is too small, or runs round a hole.
func (f *finder) inner(q *region, share float64) (pts [][2]float64, ok bool) {
	core := f.core(q, share*q.peak)
	if len(core) < 4 || slices.ContainsFunc(core, func(i int) bool { return f.smooth[i] != f.smooth[i] }) {
		return nil, false
	}
	return f.contour(&region{sign: q.sign, at: q.at, cells: core}, share*q.peak), true
}

// core is the part of a region over a level that hangs together with its peak.
func (f *finder) core(q *region, level float64) []int {
	sub := &region{sign: q.sign, at: q.at}
	for _, i := range q.cells {
		if v := float64(q.sign * f.smooth[i]); v > level || v != v {
			sub.cells = append(sub.cells, i)
		}
	}
	return f.connected(sub)
}

// extent is the larger side of the points' bounding box, mm.
func extent(pts [][2]float64) float64 {
	x0, y0, x1, y1 := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, p := range pts {
		x0, y0, x1, y1 = min(x0, p[0]), min(y0, p[1]), max(x1, p[0]), max(y1, p[1])
	}
	return max(x1-x0, y1-y0)
}

// breadths sets length, width, angle and middle from the outline's breadths in all directions, two degrees apart.
func (f *finder) breadths(pts [][2]float64, m *Mark) {
	if len(pts) == 0 {
		return
	}
	hull := convexHull(pts)
	m.LengthMM, m.WidthMM, m.AngleDeg = breadths(hull)
	// Middle: centroid of the outline's hull.
	if x, y, ok := centroid(hull); ok {
		m.XMM, m.YMM = round(x, 2), round(y, 2)
	} else {
		m.XMM, m.YMM = m.DeepestMM[0], m.DeepestMM[1]
	}
	// The search filter widens a mark by its own variance (exact for a Gaussian bowl, whose outline at a tenth lies at
	// 2.146 standard deviations).
	narrow := func(b float64) float64 {
		s := b / 2 / 2.146
		return 2 * 2.146 * math.Sqrt(max(s*s-smoothMM*smoothMM, 0.25*s*s))
	}
	m.LengthMM, m.WidthMM = round(narrow(m.LengthMM), 2), round(narrow(m.WidthMM), 2)
}

// breadths are the largest and the smallest breadth of a hull over all directions, two degrees apart, and the direction of the largest.
func breadths(hull [][2]float64) (length, width, angleDeg float64) {
	width = math.Inf(1)
	for deg := 0; deg < 180; deg += 2 {
		sin, cos := math.Sincos(float64(deg) * math.Pi / 180)
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, p := range hull {
			v := cos*p[0] + sin*p[1]
			lo, hi = min(lo, v), max(hi, v)
		}
		if hi-lo > length {
			length, angleDeg = hi-lo, float64(deg)
		}
		width = min(width, hi-lo)
	}
	return length, width, angleDeg
}

// centroid is the middle of a polygon's area; ok is false where it has none.
func centroid(polygon [][2]float64) (x, y float64, ok bool) {
	var a, cx, cy float64
	for i, p := range polygon {
		q := polygon[(i+1)%len(polygon)]
		k := p[0]*q[1] - q[0]*p[1]
		a += k
		cx += (p[0] + q[0]) * k
		cy += (p[1] + q[1]) * k
	}
	if a == 0 {
		return 0, 0, false
	}
	return cx / (3 * a), cy / (3 * a), true
}

// rim sets the crown: the highest metal of the other sign within half a mark's breadth of the outline.
func (f *finder) rim(q *region, m *Mark) {
	if q.sign > 0 {
		return
	}
	g := f.s.Grid
	half := max(m.LengthMM, m.WidthMM) / 2
	reach := half * 1.9
	c0, r0 := g.Cell(m.XMM, m.YMM)
	n := int(reach/g.PitchMM) + 1
	best := 0.0
	for r := max(0, int(r0)-n); r <= min(g.Rows-1, int(r0)+n); r++ {
		for c := max(0, int(c0)-n); c <= min(g.Cols-1, int(c0)+n); c++ {
			x, y := g.XY(c, r)
			if math.Hypot(x-m.XMM, y-m.YMM) > reach {
				continue
			}
			if v := float64(f.smooth[r*g.Cols+c]); v > best {
				best = v
			}
		}
	}
	if best > 3*f.noise {
		m.CrownUM = round(best, 1)
	}
}

// metal sets volume, sharpest radius and stretch inside the outline. Stretch is the excess area 0.5 |grad z|^2, in per cent
// (mechanics of a shallow surface).
func (f *finder) metal(q *region, m *Mark) {
	g := f.s.Grid
	var vol, grad2, sharp float64
	var n float64
	for _, i := range q.cells {
		c, r := i%g.Cols, i/g.Cols
		if v := float64(f.um[i]); v == v {
			vol += v * 1e-3 * g.PitchMM * g.PitchMM
		}
		if c < 2 || r < 2 || c+2 >= g.Cols || r+2 >= g.Rows {
			continue
		}
		zx := float64(f.smooth[i+1]-f.smooth[i-1]) * 1e-3 / (2 * g.PitchMM)
		zy := float64(f.smooth[i+g.Cols]-f.smooth[i-g.Cols]) * 1e-3 / (2 * g.PitchMM)
		if zx != zx || zy != zy {
			continue
		}
		grad2 += zx*zx + zy*zy
		n++
		if k1, _ := f.curvature(i, q.sign); math.Abs(k1) > sharp {
			sharp = math.Abs(k1)
		}
	}
	m.VolumeMM3 = round(math.Abs(vol), 2)
	if n > 0 {
		m.StretchPct = round(100*0.5*grad2/n, 4)
	}
	if sharp > 0 {
		m.RadiusMM = round(1/(sharp*1e-3), 0)
	}
}

const (
	creaseRatio = 2.0   // length over width from which a low counts as a crease
	starShare   = 0.025 // of the depth, by which the arms of a star wave round it; bowls stay under a tenth of that
)

// kind tells the sort of a mark from its shape.
func (f *finder) kind(q *region, m *Mark) Kind {
	if q.sign > 0 {
		return High
	}
	for _, line := range f.opt.Lines {
		if crosses(line, m) {
			return Line
		}
	}
	if m.LengthMM > creaseRatio*m.WidthMM {
		return Crease
	}
	if f.star(m) {
		return Star
	}
	return Round
}

// crosses tells whether a feature line runs through the mark's outline.
func crosses(line surface.Across, m *Mark) bool {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, p := range m.OutlineMM {
		s, _ := line(p[0], p[1])
		lo, hi = min(lo, s), max(hi, s)
	}
	// A line that only grazes the rim does not make it a mark on the line.
	return lo < 0 && hi > 0 && min(-lo, hi) > 0.12*(hi-lo)
}

// star looks for arms. Round a bowl, on ellipses similar to its outline, the height hardly changes; creases that meet there
// cut deep notches into it. What counts is the part of three and more waves a turn (one and two are an offset and an ellipse
// that fits badly), as a share of the depth.
func (f *finder) star(m *Mark) bool {
	limit := starShare + 4*f.noise/max(m.DepthUM, 1)
	votes := 0
	for _, share := range [3]float64{0.3, 0.45, 0.6} {
		if f.lobes(m, share) > limit*m.DepthUM {
			votes++
		}
	}
	return votes >= 2
}

// lobes is the amplitude of the third to twelfth harmonic of the height, um, along the outline's ellipse shrunk to a share.
func (f *finder) lobes(m *Mark, share float64) float64 {
	const n = 96
	var z [n]float64
	sin, cos := math.Sincos(m.AngleDeg * math.Pi / 180)
	for k := range n {
		st, ct := math.Sincos(2 * math.Pi * float64(k) / n)
		ex, ey := share*m.LengthMM/2*ct, share*m.WidthMM/2*st
		z[k] = 1000 * f.s.At(m.XMM+ex*cos-ey*sin, m.YMM+ex*sin+ey*cos)
		if z[k] != z[k] {
			return 0
		}
	}
	var power float64
	for h := 3; h <= 12; h++ {
		var re, im float64
		for k, v := range z {
			s, c := math.Sincos(2 * math.Pi * float64(h*k%n) / n)
			re, im = re+v*c, im+v*s
		}
		power += 4 * (re*re + im*im) / (n * n)
	}
	return math.Sqrt(power)
}

// convexHull is Andrew's monotone chain.
func convexHull(pts [][2]float64) [][2]float64 {
	p := slices.Clone(pts)
	slices.SortFunc(p, func(a, b [2]float64) int {
		switch {
		case a[0] < b[0] || a[0] == b[0] && a[1] < b[1]:
			return -1
		case a == b:
			return 0
		}
		return 1
	})
	p = slices.Compact(p)
	if len(p) < 3 {
		return p
	}
	cross := func(o, a, b [2]float64) float64 {
		return (a[0]-o[0])*(b[1]-o[1]) - (a[1]-o[1])*(b[0]-o[0])
	}
	var h [][2]float64
	build := func(seq [][2]float64) {
		base := len(h)
		for _, q := range seq {
			for len(h) >= base+2 && cross(h[len(h)-2], h[len(h)-1], q) <= 0 {
				h = h[:len(h)-1]
			}
			h = append(h, q)
		}
		h = h[:len(h)-1]
	}
	build(p)
	slices.Reverse(p)
	build(p)
	return h
}

// hullOrder turns an outline's crossing points into a closed polygon: ordered by angle about their middle, one point every few
// degrees (the farthest), which follows bowls, creases and stars alike.
func hullOrder(pts [][2]float64) [][2]float64 {
	if len(pts) == 0 {
		return nil
	}
	var cx, cy float64
	for _, p := range pts {
		cx, cy = cx+p[0], cy+p[1]
	}
	cx, cy = cx/float64(len(pts)), cy/float64(len(pts))
	const n = 48
	var far [n]float64
	var out [n][2]float64
	for _, p := range pts {
		a := math.Atan2(p[1]-cy, p[0]-cx)
		k := int((a + math.Pi) / (2 * math.Pi) * n)
		k = min(max(k, 0), n-1)
		if d := math.Hypot(p[0]-cx, p[1]-cy); d > far[k] {
			far[k], out[k] = d, p
		}
	}
	var poly [][2]float64
	for k := range out {
		if far[k] > 0 {
			poly = append(poly, [2]float64{round(out[k][0], 2), round(out[k][1], 2)})
		}
	}
	return poly
}
