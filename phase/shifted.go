// Package phase turns photos of mirrored stripes into board coordinates: where on the board, in mm, each pixel looks.
//
// Pattern (linear light): cos(2 pi (X/pitch - shift)), X being u or v on the board.
package phase

import (
	"fmt"
	"math"
	"slices"

	"fairmetal/internal/order"
	"fairmetal/internal/rows"
	"fairmetal/photo"
)

// Field is one board coordinate for each pixel of a photo, row-major; NaN where the stripes cannot be read.
type Field struct {
	W, H int
	X    []float32 // mm on the board
	Mod  []float32 // modulation: half the swing of the stripes, linear light
	// SigmaMM is the typical standard deviation of X from noise, over the readable pixels.
	SigmaMM float64
	PitchMM float64 // of the fine stripes

	told  []*group // soft stripes as they were read, fine to coarse
	read  *group   // soft stripes of one pitch as they were read; nil: another kind of set
	gaps  *gaps    // of a reordered field; nil: none
	alone []bool   // pixels that the coarse stripes alone tell; nil: none
	slit  []bool   // those of them in slits a few pixels wide
	// unsure are pixels of a shifted set of one pitch whose order continuity may have got wrong; nil: none.
	unsure []bool
}

// Shot is one photo of a shifted set.
type Shot struct {
	File    string
	Img     *photo.Image
	PitchMM float64
	Shift   float64 // in pitches
	Square  bool    // stripes with sharp edges
}

// ShiftError says that the photos of one pitch contradict their shifts.
type ShiftError struct {
	Axis     string
	PitchMM  float64
	Residual float64 // rms of what the shifts leave unexplained, in units of the modulation
}

func (e *ShiftError) Error() string {
	return fmt.Sprintf("the shifts of the %s %g mm photos do not fit together (they leave %.0f %% of the stripes unexplained); check the order of the files and that nothing moved",
		e.Axis, e.PitchMM, 100*e.Residual)
}

// maxShiftResidual is the unexplained share above which a set of shifts is refused: noise, JPEG and 2 % exposure jitter leave
// under 0.04 of the modulation on paints from black over metallic to white, one foreign frame of four some 0.2, two exchanged
// shifts 0.65.
const maxShiftResidual = 0.12

// group is the result of the N-step sum at one pitch.
type group struct {
	pitch    float64
	phase    []float32 // rad, wrapped
	mod      []float32
	residual []float32 // rms over the frames, linear light
	noise    float64   // sigma of one frame, linear light
	frames   int
	level    float64   // median modulation of what is readable
	ripple   []float32 // rad by which the phase strays from finer stripes, over a turn; nil: unknown
	share    float64   // median of what the shifts leave unexplained / modulation, noise averaged out

	left func(i int, out []float32) // what the fit leaves of each frame at a pixel

	run, across int // step from pixel to pixel along the stripes and across
}

// Shifted solves a shifted set for one board axis ("u" or "v"): N-step least squares per pixel at each pitch [Greivenkamp1984],
// the coarser pitch telling the order of the finer. All images must have the same size. boardMM is the board's breadth along
// this axis.
func Shifted(axis string, shots []Shot, boardMM float64) (*Field, error) {
	byPitch := map[float64][]Shot{}
	square := false
	for _, s := range shots {
		byPitch[s.PitchMM] = append(byPitch[s.PitchMM], s)
		square = square || s.Square
	}
	var pitches []float64
	for p := range byPitch {
		pitches = append(pitches, p)
	}
	slices.Sort(pitches)
	if square {
		// Coarse stripes with sharp edges tell only which eighth of a stripe a pixel sees: the fine ones go by continuity.
		pitches = pitches[:1]
	}
	w, h := shots[0].Img.W, shots[0].Img.H
	var groups []*group
	for _, p := range pitches {
		g, err := nstep(axis, byPitch[p])
		if err != nil {
			return nil, err
		}
		groups = append(groups, g)
	}
	fine, coarse := groups[0], groups[len(groups)-1]
	ok := readable(fine, w, h)
	// Whether the shifts fit together is judged where there are stripes at all, however badly they are explained.
	lit := striking(fine)
	for _, g := range groups {
		g.judge(lit, len(byPitch[g.pitch]))
		if g.share > maxShiftResidual {
			return nil, &ShiftError{Axis: axis, PitchMM: g.pitch, Residual: g.share}
		}
	}
	f := &Field{W: w, H: h, X: make([]float32, w*h), Mod: fine.mod, PitchMM: fine.pitch}
	// Noise of X: p/2pi sqrt(2/N) sigma/m, the N-step formula.
	f.SigmaMM = fine.pitch / (2 * math.Pi) * math.Sqrt(2/float64(len(byPitch[fine.pitch]))) * fine.noise / medianWhere(fine.mod, ok)

	// From coarse to fine: the absolute coordinate of the coarsest pitch follows from continuity, each finer one from the next.
	// In gaps where sharp metal packs the fine stripes too densely, the coarse coordinate stands alone: it is good to about a
	// millimetre on the board, a milliradian of slope. Elsewhere wide stripes also light the base coat and mean nothing.
	seen := ok
	if len(groups) > 1 {
		seen = readable(coarse, w, h)
		near := closing(ok, w, h, max(5, w/130))
		f.slit = closing(ok, w, h, max(1, w/800))
		for i := range seen {
			ok[i] = ok[i] && seen[i]
			seen[i] = ok[i] || seen[i] && near[i]
			f.slit[i] = f.slit[i] && !ok[i]
		}
	}
	evenOut(fine, ok, len(byPitch[fine.pitch]))
	var abs []float32
	if len(groups) == 1 {
		abs = unwrapReliable(coarse.phase, seen, w, h, coarse.pitch)
	} else {
		abs = unwrapStep(coarse.phase, seen, w, h, coarse.pitch)
		if torn(abs, seen, w, coarse.pitch) > maxTorn {
			abs = unwrapReliable(coarse.phase, seen, w, h, coarse.pitch)
		}
	}
	for i := range ok {
		ok[i] = ok[i] && seen[i]
	}
	if len(groups) > 1 {
		settleOffset(abs, groups[len(groups)-2], ok, seen, coarse.pitch, boardMM)
	}
	for i := len(groups) - 2; i >= 0; i-- {
		from := groups[i+1]
		from.calm(abs, ok, w, h, groups[i].pitch, len(byPitch[from.pitch]))
		refine(abs, groups[i], ok)
	}
	if len(groups) > 1 {
		mendOrders(abs, ok, w, h, fine.pitch)
	}
	if len(groups) == 1 {
		centre(abs, ok, coarse.pitch, boardMM)
		f.read = fine
		f.unsure = coarse.sure(abs, ok, w, h)
		for i, v := range f.unsure {
			f.unsure[i] = ok[i] && !v
		}
	} else {
		coarse.learnRipple(abs, ok)
		f.alone = make([]bool, w*h)
		for i := range abs {
			if seen[i] && !ok[i] {
				f.alone[i] = true
				abs[i] -= coarse.strays(i) * float32(coarse.pitch/(2*math.Pi))
			}
		}
		f.told = []*group{fine, coarse}
		for _, g := range f.told {
			g.level = medianWhere(g.mod, ok)
			g.left, g.residual = nil, nil // they hold the photos
		}
	}
	nan := float32(math.NaN())
	for i := range abs {
		if seen[i] {
			f.X[i] = abs[i]
		} else {
			f.X[i] = nan
		}
	}
	if len(groups) > 1 {
		f = f.without(unresolved*coarse.pitch, unresolvedPX)
	}
	f.openPixels()
	return f, nil
}

// Where the coordinate runs by half the coarse pitch from one pixel to the next, as at the bottom of a crease, a pixel mixes whole
// stripes and tells nothing, and neither do those beside it.
const (
	unresolved   = 1.0 // of the coarse pitch, half of which is the jump
	unresolvedPX = 2
)

// maxTorn is how many links of the coarse coordinate may be torn by lone pixels of noise: a slip that runs across the panel tears more.
const maxTorn = 12

// torn counts the links between readable neighbours over which x jumps by half a pitch or more.
func torn(x []float32, ok []bool, w int, pitch float64) int {
	p, n := float32(pitch), 0
	for i := w; i < len(x); i++ {
		if !ok[i] {
			continue
		}
		if ok[i-1] && i%w != 0 && !near(x[i], x[i-1], p) {
			n++
		}
		if ok[i-w] && !near(x[i], x[i-w], p) {
			n++
		}
	}
	return n
}

// openPixels undoes, to second order, that a pixel averages what it sees over its square: the mean of a smooth function over a
// unit square is its middle plus 1/24 of its Laplacian.
func (f *Field) openPixels() {
	src := slices.Clone(f.X)
	rows.Do(f.H, func(y0, y1 int) {
		for y := max(1, y0); y < min(y1, f.H-1); y++ {
			for x := 1; x < f.W-1; x++ {
				i := y*f.W + x
				l := src[i-1] + src[i+1] + src[i-f.W] + src[i+f.W] - 4*src[i]
				if l == l {
					f.X[i] = src[i] - l/24
				}
			}
		}
	})
}

// Sharpen takes off, to second order, what a blur of covariance xx, xy, yy (px^2) does to the coordinate: a blurred stripe shows the
// phase plus half the blur times the phase's second derivatives, so that a bowl of a few pixels looks shallower than it is. Differences
// are taken over two pixels to either side, which leaves the noise of single pixels nearly alone; what lies beside a hole stays as it is.
func (f *Field) Sharpen(xx, xy, yy float64) {
	src := slices.Clone(f.X)
	a, b, c := float32(xx/8), float32(yy/8), float32(xy/16)
	rows.Do(f.H, func(y0, y1 int) {
		for y := max(2, y0); y < min(y1, f.H-2); y++ {
			for x := 2; x < f.W-2; x++ {
				i := y*f.W + x
				up, down := i-2*f.W, i+2*f.W
				d := a*(src[i-2]-2*src[i]+src[i+2]) + b*(src[up]-2*src[i]+src[down]) + c*(src[down+2]-src[down-2]-src[up+2]+src[up-2])
				if d == d {
					f.X[i] -= d
				}
			}
		}
	})
}

// nstep fits I = A + C cos 2 pi s + S sin 2 pi s to each pixel, together with one gain a frame.
func nstep(axis string, shots []Shot) (*group, error) {
	n := len(shots)
	w, h := shots[0].Img.W, shots[0].Img.H
	g := &group{pitch: shots[0].PitchMM, phase: make([]float32, w*h), mod: make([]float32, w*h), residual: make([]float32, w*h), frames: n}
	shifts := make([]float64, n)
	for i, s := range shots {
		shifts[i] = s.Shift
	}
	basis, inv, err := normalEquations(shifts)
	if err != nil {
		return nil, fmt.Errorf("%s %g mm photos: %w", axis, g.pitch, err)
	}
	g.run, g.across = 1, w
	if axis == "u" {
		g.run, g.across = w, 1
	}
	gains := frameGains(shots, basis, inv, g.across)
	wa, wc, ws, gain := make([]float32, n), make([]float32, n), make([]float32, n), make([]float32, n)
	for k, w := range fitWith(basis, inv, gains) {
		wa[k], wc[k], ws[k], gain[k] = float32(w[0]), float32(w[1]), float32(w[2]), float32(1/gains[k])
	}
	cos, sin := make([]float32, n), make([]float32, n)
	pix := make([][]float32, n)
	for k := range shots {
		cos[k], sin[k] = float32(basis[k][1]), float32(basis[k][2])
		pix[k] = shots[k].Img.Pix
	}
	fit := func(i int) (a, c, s float32) {
		for k := range pix {
			v := pix[k][i]
			a += wa[k] * v
			c += wc[k] * v
			s += ws[k] * v
		}
		return a, c, s
	}
	g.left = func(i int, out []float32) {
		a, c, s := fit(i)
		for k := range pix {
			out[k] = pix[k][i]*gain[k] - a - c*cos[k] - s*sin[k]
		}
	}
	rows.Do(h, func(y0, y1 int) {
		// Row by row and frame by frame: as fit and left do, but the frames run through memory as they lie.
		a, c, s, r2 := make([]float32, w), make([]float32, w), make([]float32, w), make([]float32, w)
		for y := y0; y < y1; y++ {
			for _, v := range [4][]float32{a, c, s, r2} {
				clear(v)
			}
			for k := range pix {
				pa, pc, ps := wa[k], wc[k], ws[k]
				c, s := c[:len(a)], s[:len(a)]
				for x, v := range pix[k][y*w : y*w+len(a)] {
					a[x] += pa * v
					c[x] += pc * v
					s[x] += ps * v
				}
			}
			for k := range pix {
				pg, pc, ps := gain[k], cos[k], sin[k]
				a, c, s := a[:len(r2)], c[:len(r2)], s[:len(r2)]
				for x, v := range pix[k][y*w : y*w+len(r2)] {
					d := v*pg - a[x] - c[x]*pc - s[x]*ps
					r2[x] += d * d
				}
			}
			for x := range w {
				i := y*w + x
				g.phase[i] = atan2(s[x], c[x])
				g.mod[i] = sqrt(c[x]*c[x] + s[x]*s[x])
				g.residual[i] = sqrt(r2[x] / float32(n))
			}
		}
	})
	return g, nil
}

func sqrt(v float32) float32 { return float32(math.Sqrt(float64(v))) }

// calm averages the coordinate that a coarse pitch of n frames gives over some pixels, where its noise would mistake the order of stripes
// of the next pitch: half that pitch should be five standard deviations.
func (g *group) calm(x []float32, ok []bool, w, h int, next float64, n int) {
	sigma := g.pitch / (2 * math.Pi) * math.Sqrt(2/float64(n)) * g.noise / medianWhere(g.mod, ok)
	const clear, mostPX = 5, 2
	r := int(min(mostPX, math.Ceil((2*clear*sigma/next-1)/2)))
	if r <= 0 {
		return
	}
	limit := float32(3 * sigma)
	src := slices.Clone(x)
	rows.Do(h, func(y0, y1 int) {
		for y := max(r, y0); y < min(y1, h-r); y++ {
			for c := r; c < w-r; c++ {
				i := y*w + c
				if !ok[i] {
					continue
				}
				// A whole square alone is even about its middle; pairs across the middle are too.
				var s, k float32
				for dy := -r; dy <= r; dy++ {
					for dx := -r; dx <= r; dx++ {
						a, b := i+dy*w+dx, i-dy*w-dx
						if ok[a] && ok[b] {
							s, k = s+src[a], k+1
						}
					}
				}
				// Sharp metal bends the coordinate by more than its noise: it is left alone.
				if d := s/k - src[i]; d < limit && d > -limit {
					x[i] = s / k
				}
			}
		}
	})
}

// atan2 is the angle of (x, y), good to 2e-7 rad: the series of arc tangent to the eleventh power after reducing the ratio below
// tan(pi/8) by atan r = pi/4 + atan((r-1)/(r+1)). A stripe's phase is never known better than a milliradian.
func atan2(y, x float32) float32 {
	ax, ay := x, y
	if ax < 0 {
		ax = -ax
	}
	if ay < 0 {
		ay = -ay
	}
	lo, hi := ax, ay
	if ax > ay {
		lo, hi = ay, ax
	}
	if hi == 0 {
		return 0
	}
	r, base := lo/hi, float32(0)
	if r > 0.41421357 {
		r, base = (r-1)/(r+1), math.Pi/4
	}
	q := r * r
	a := base + r*(1+q*(-1.0/3+q*(1.0/5+q*(-1.0/7+q*(1.0/9-q/11)))))
	if ay > ax {
		a = math.Pi/2 - a
	}
	if x < 0 {
		a = math.Pi - a
	}
	if y < 0 {
		a = -a
	}
	return a
}

// normalEquations returns the rows (1, cos, sin) of the shifts and the inverse of their normal matrix.
func normalEquations(shifts []float64) (basis [][3]float64, inv [3][3]float64, err error) {
	var m [3][3]float64
	for _, s := range shifts {
		b := [3]float64{1, math.Cos(2 * math.Pi * s), math.Sin(2 * math.Pi * s)}
		basis = append(basis, b)
		for i := range 3 {
			for j := range 3 {
				m[i][j] += b[i] * b[j]
			}
		}
	}
	det := m[0][0]*(m[1][1]*m[2][2]-m[1][2]*m[2][1]) - m[0][1]*(m[1][0]*m[2][2]-m[1][2]*m[2][0]) + m[0][2]*(m[1][0]*m[2][1]-m[1][1]*m[2][0])
	if math.Abs(det) < 1e-3 {
		return nil, inv, fmt.Errorf("their shifts are too alike; use at least three shifts spread over a whole stripe")
	}
	for i := range 3 {
		for j := range 3 {
			a, b := (j+1)%3, (j+2)%3
			c, d := (i+1)%3, (i+2)%3
			inv[i][j] = (m[a][c]*m[b][d] - m[a][d]*m[b][c]) / det
		}
	}
	return basis, inv, nil
}

// fit is the least squares fit of level, cosine and sine to the frames of a pixel: a row of weights for each, the gains folded in.
type fit [][3]float64

// fitWith takes gains of nil for ones.
func fitWith(basis [][3]float64, inv [3][3]float64, gains []float64) fit {
	f := make(fit, len(basis))
	for k, b := range basis {
		for j := range 3 {
			f[k][j] = inv[j][0]*b[0] + inv[j][1]*b[1] + inv[j][2]*b[2]
			if gains != nil {
				f[k][j] /= gains[k]
			}
		}
	}
	return f
}

// of fits the values of a pixel in the frames.
func (f fit) of(val []float64) (a, c, s float64) {
	for k, v := range val {
		a, c, s = a+f[k][0]*v, c+f[k][1]*v, s+f[k][2]*v
	}
	return a, c, s
}

// at fits pixel i.
func (f fit) at(shots []Shot, i int) (a, c, s float64) {
	for k := range f {
		v := float64(shots[k].Img.Pix[i])
		a, c, s = a+f[k][0]*v, c+f[k][1]*v, s+f[k][2]*v
	}
	return a, c, s
}

// frameGains estimates the exposure of each frame against their mean, by alternating the pixels' fit with the frames' gains
// over a subsample of well modulated pixels. across is the step from pixel to pixel across the stripes.
func frameGains(shots []Shot, basis [][3]float64, inv [3][3]float64, across int) []float64 {
	n := len(shots)
	gains := make([]float64, n)
	for i := range gains {
		gains[i] = 1
	}
	pix := shots[0].Img.Pix
	var use []int
	var mods []float64
	step := max(1, len(pix)/40000)
	val := make([]float64, n)
	fit := fitWith(basis, inv, gains)
	for i := 0; i < len(pix); i += step {
		clipped := false
		for k, s := range shots {
			val[k] = float64(s.Img.Pix[i])
			clipped = clipped || val[k] > 0.95
		}
		_, c, s := fit.at(shots, i)
		if !clipped {
			use = append(use, i)
			mods = append(mods, math.Hypot(c, s))
		}
	}
	if len(use) < 100 {
		return gains
	}
	sorted := slices.Clone(mods)
	floor := 0.3 * order.Nth(sorted, len(sorted)*95/100)
	for range 6 {
		num, den := make([]float64, n), make([]float64, n)
		fit := fitWith(basis, inv, gains)
		for q, i := range use {
			if mods[q] < floor {
				continue
			}
			a, c, s := fit.at(shots, i)
			for k := range val {
				p := a + c*basis[k][1] + s*basis[k][2]
				num[k] += p * float64(shots[k].Img.Pix[i])
				den[k] += p * p
			}
		}
		var mean float64
		for k := range gains {
			if den[k] > 0 {
				gains[k] = num[k] / den[k]
			}
			mean += gains[k] / float64(n)
		}
		for k := range gains {
			gains[k] /= mean
			// Exposure that wanders further is not jitter: leave it to the residual to complain.
			gains[k] = min(max(gains[k], 0.8), 1.25)
		}
	}
	for range 3 {
		c, s := feigned(shots, basis, inv, gains, use, across)
		for k, b := range basis {
			gains[k] *= 1 + c*b[1] + s*b[2]
		}
	}
	return gains
}

// feigned is the part (cos, sin) of the mean level A that the frames' gains feign to be stripes: gains that follow the shifts leave no
// residual, but on white paint, whose level is twenty times the stripes, a hundredth of it bends the phase by a fifth of a radian.
// The true stripes (C, S) = P swing evenly, |P - A e|^2 runs smoothly, and so over a short way across the stripes
//
//	d|P|^2 = 2 e.d(A P) - e^2 d(A^2)
//
// of which the last term is left to the next call, by which e is smaller. Least squares over a subsample of pixels and three ways,
// for fine stripes and coarse.
func feigned(shots []Shot, basis [][3]float64, inv [3][3]float64, gains []float64, use []int, across int) (c, s float64) {
	fit := fitWith(basis, inv, gains)
	const evenShare = 0.05 // by which the level may change on the way: no card's edge, no panel's
	var cc, cs, ss, cd, sd float64
	for q := 0; q < len(use); q += 2 {
		i := use[q]
		a, x, y := fit.at(shots, i)
		for _, way := range [3]int{3, 10, 30} {
			j := i + way*across
			if j >= len(shots[0].Img.Pix) {
				break
			}
			b, u, v := fit.at(shots, j)
			if !(math.Abs(a-b) < evenShare*a) {
				continue
			}
			p, q := 2*(b*u-a*x), 2*(b*v-a*y)
			d := u*u + v*v - x*x - y*y
			// Bright places must not outweigh all others.
			w := 1 / (a*a + 1e-4)
			cc, cs, ss, cd, sd = cc+w*p*p, cs+w*p*q, ss+w*q*q, cd+w*p*d, sd+w*q*d
		}
	}
	det := cc*ss - cs*cs
	if !(det > 1e-6*cc*ss) {
		return 0, 0
	}
	return (cd*ss - sd*cs) / det, (sd*cc - cd*cs) / det
}

// standOut is how many standard deviations of its own noise a modulation must be: noise alone makes one to three, stripes of a tenth of the
// usual contrast four and more.
const standOut = 3.2

// clearance is the least readable modulation in rms of what the shifts leave unexplained. Noise of sigma a frame leaves an rms of
// sqrt((N-3)/N) sigma and gives the modulation sqrt(2/N) sigma: the more frames, the fainter are the stripes that can be told from it.
func (g *group) clearance() float32 {
	return float32(standOut * math.Sqrt(2/math.Max(1, float64(g.frames-3))))
}

// striking masks the pixels whose modulation is not far below that of the mirror image.
func striking(g *group) []bool {
	floor := float32(modFloor(g))
	ok := make([]bool, len(g.mod))
	for i, m := range g.mod {
		ok[i] = m > floor
	}
	return ok
}

// Faint is the share of the pixels that show stripes, not much fainter than elsewhere, but cannot be read, since noise hides them; and of patches of
// faintPatchPX of which hardly anything can be.
func (f *Field) Faint() (pixels, patches float64) {
	lit := striking(&group{mod: f.Mod})
	cols := (f.W + faintPatchPX - 1) / faintPatchPX
	type count struct{ seen, lost int }
	by := make([]count, cols*((f.H+faintPatchPX-1)/faintPatchPX))
	for y := range f.H {
		for x := range f.W {
			i := y*f.W + x
			if !lit[i] {
				continue
			}
			c := &by[y/faintPatchPX*cols+x/faintPatchPX]
			c.seen++
			if f.X[i] != f.X[i] {
				c.lost++
			}
		}
	}
	var seen, lost, striped, drowned int
	for _, c := range by {
		seen, lost = seen+c.seen, lost+c.lost
		if 2*c.seen > faintPatchPX*faintPatchPX {
			striped++
			if 10*c.lost > 7*c.seen {
				drowned++
			}
		}
	}
	return float64(lost) / float64(max(1, seen)), float64(drowned) / float64(max(1, striped))
}

// faintPatchPX is the side of a patch: some stripes.
const faintPatchPX = 24

// modFloor is an eighth of the mirror image's modulation: the upper mode over the photo.
func modFloor(g *group) float64 {
	sample := make([]float64, 0, 20000)
	for i := 0; i < len(g.mod); i += max(1, len(g.mod)/20000) {
		sample = append(sample, float64(g.mod[i]))
	}
	return 0.12 * order.Nth(sample, len(sample)*97/100)
}

// readable masks the pixels whose stripes stand clear of noise: by themselves, or less clearly so but on the average of five pixels along
// the stripes, over which noise alone keeps below two local rms.
func readable(g *group, w, h int) []bool {
	floor := float32(modFloor(g))
	local, clearance := localRMS(g.residual, w, h, g.around()), g.clearance()
	ok := make([]bool, len(g.mod))
	rows.Do(h, func(y0, y1 int) {
		for i := y0 * w; i < y1*w; i++ {
			m, limit := g.mod[i], clearance*local[i]
			ok[i] = m > floor && m > limit
			if j := 2 * g.run; !ok[i] && m > floor && 2*m > limit && i >= j && i+j < len(ok) {
				ok[i] = m+g.mod[i-g.run]+g.mod[i-j]+g.mod[i+g.run]+g.mod[i+j] > 5*limit
			}
		}
	})
	return despeckle(ok, w, h)
}

// around is how many pixels to each side what the shifts leave is looked at to know it: that takes some fifty degrees of freedom, of which a
// pixel of N frames has N-3.
func (g *group) around() int {
	const enough = 50
	r := 1
	for (2*r+1)*(2*r+1)*(g.frames-3) < enough && r < 4 {
		r++
	}
	return r
}

// localRMS is the rms over squares of 2r+1 pixels, by running sums.
func localRMS(v []float32, w, h, r int) []float32 {
	tmp, out := make([]float32, len(v)), make([]float32, len(v))
	rows.Do(h, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			row := v[y*w : (y+1)*w]
			var s float32
			for x := range min(r, w) {
				s += row[x] * row[x]
			}
			for x := range w {
				if x+r < w {
					s += row[x+r] * row[x+r]
				}
				if x > r {
					s -= row[x-r-1] * row[x-r-1]
				}
				n := min(x+r, w-1) - max(x-r, 0) + 1
				tmp[y*w+x] = max(s, 0) / float32(n)
			}
		}
	})
	rows.Do(h, func(y0, y1 int) {
		col := make([]float32, w)
		for y := y0; y < y1; y++ {
			lo, hi := max(y-r, 0), min(y+r, h-1)
			clear(col)
			for k := lo; k <= hi; k++ {
				for x, v := range tmp[k*w : (k+1)*w] {
					col[x] += v
				}
			}
			n := float32(hi - lo + 1)
			for x, v := range col {
				out[y*w+x] = sqrt(v / n)
			}
		}
	})
	return out
}

// alongPX is over how many pixels along the stripes what the shifts leave is averaged: noise falls to a third, what comes of wrong shifts
// runs with the stripes and stays.
const alongPX = 9

// judge fills in the group's noise and unexplained share. Of n frames, n-3 degrees of freedom are left to the residual, so a
// frame's sigma is rms residual / sqrt((n-3)/n).
func (g *group) judge(ok []bool, n int) {
	var res, ratio []float64
	one, mean := make([]float32, n), make([]float32, n)
	for i := 0; i < len(g.mod); i += max(1, len(g.mod)/30000) {
		first, last := i-alongPX/2*g.run, i+alongPX/2*g.run
		if !ok[i] || first < 0 || last >= len(ok) || !ok[first] || !ok[last] {
			continue
		}
		clear(mean)
		for j := first; j <= last; j += g.run {
			g.left(j, one)
			for k, v := range one {
				mean[k] += v / alongPX
			}
		}
		var r2 float32
		for _, v := range mean {
			r2 += v * v
		}
		res = append(res, float64(g.residual[i]))
		ratio = append(ratio, math.Sqrt(float64(r2)/float64(n))/float64(g.mod[i]))
	}
	if n < 4 || len(res) == 0 {
		g.noise = 0.005 // no residual to judge by: half a grey level in a hundred
		return
	}
	g.noise = order.Median(res) / 0.6745 / math.Sqrt(float64(n-3)/float64(n))
	g.share = order.Median(ratio)
}

// despeckle drops readable pixels with fewer than five readable neighbours of eight, twice: lone pixels in noise.
func despeckle(ok []bool, w, h int) []bool {
	for range 2 {
		out := make([]bool, len(ok))
		rows.Do(h, func(y0, y1 int) {
			for y := max(y0, 1); y < min(y1, h-1); y++ {
				for x := 1; x < w-1; x++ {
					i := y*w + x
					if !ok[i] {
						continue
					}
					n := 0
					for _, row := range [3]int{i - w - 1, i - 1, i + w - 1} {
						for _, v := range ok[row : row+3] {
							if v {
								n++
							}
						}
					}
					out[i] = n >= 6 // itself among them
				}
			}
		})
		ok = out
	}
	return ok
}

func medianWhere(v []float32, ok []bool) float64 {
	var s []float64
	step := max(1, len(v)/20000)
	for i := 0; i < len(v); i += step {
		if ok[i] {
			s = append(s, float64(v[i]))
		}
	}
	if len(s) == 0 {
		return math.NaN()
	}
	return order.Median(s)
}
