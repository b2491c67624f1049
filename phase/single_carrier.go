package phase

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"

	"fairmetal/internal/order"
)

// carrier is the smooth trend of the stripes over the photo: turns as a polynomial of the pixel place.
type carrier struct {
	cx, cy, scale float64 // maps px to about [-1, 1]
	c             []float64
	period        float64 // px of a stripe pair, median
	x0, y0        int     // the part of the photo that shows stripes, px
	x1, y1        int
	levels        levels // of that part's brightness, on cells of q px of the whole photo
	bare          []float32
	q, cols, rows int
}

// carrierDegree is the degree of the trend: what a crowned panel and a near board bend stripes by; dents and feature lines
// remain in the difference from it.
const carrierDegree = 5

// terms lists the powers of the trend's terms, without the constant.
func terms() [][2]int {
	var t [][2]int
	for d := 1; d <= carrierDegree; d++ {
		for j := 0; j <= d; j++ {
			t = append(t, [2]int{d - j, j})
		}
	}
	return t
}

// gradient fills the derivatives of the terms at a px, 1/px.
func (c *carrier) gradient(px, py float64, t [][2]int, gx, gy []float64) {
	x, y := (px-c.cx)/c.scale, (py-c.cy)/c.scale
	var xp, yp [carrierDegree + 1]float64
	xp[0], yp[0] = 1, 1
	for i := 1; i <= carrierDegree; i++ {
		xp[i], yp[i] = xp[i-1]*x, yp[i-1]*y
	}
	for k, e := range t {
		gx[k], gy[k] = 0, 0
		if e[0] > 0 {
			gx[k] = float64(e[0]) * xp[e[0]-1] * yp[e[1]] / c.scale
		}
		if e[1] > 0 {
			gy[k] = float64(e[1]) * xp[e[0]] * yp[e[1]-1] / c.scale
		}
	}
}

// at returns the trend at a px, in turns.
func (c *carrier) at(px, py float64, t [][2]int) float64 {
	x, y := (px-c.cx)/c.scale, (py-c.cy)/c.scale
	var xp, yp [carrierDegree + 1]float64
	xp[0], yp[0] = 1, 1
	for i := 1; i <= carrierDegree; i++ {
		xp[i], yp[i] = xp[i-1]*x, yp[i-1]*y
	}
	var s float64
	for k, e := range t {
		s += c.c[k] * xp[e[0]] * yp[e[1]]
	}
	return s
}

// beat is the local frequency of the stripes on one cell and how purely they show it.
type beat struct {
	purity float32 // 0 to 1: 0.64 (2/pi) for clean square stripes
	fx, fy float32 // turns per px
}

const (
	// scaleStep of the trial carriers: a window of 0.8 stripe pairs passes frequencies half a step off by over nine tenths.
	scaleStep = 1.17
	// minPurity of stripes: flake, noise and print stay under 0.2 in windows of this size.
	minPurity = 0.3
	// beatsPerStripe is how many cells of the beat span a stripe pair as guided: the windows are wider, and stripes twice as dense still pass a cell.
	beatsPerStripe = 4
	// mostBeats are enough for the trend.
	mostBeats = 4000
	// minStripes is how many stripe pairs squared make it worth going on.
	minStripes = 16
)

// findCarrier finds the trend of the stripes: it tries the guide at several scales, reads the local frequency from the beat
// with the best of them, and fits a polynomial whose gradient has these frequencies, robustly. Nil where there are no stripes.
func (r *raster) findCarrier() *carrier {
	c := &carrier{cx: float64(r.w) / 2, cy: float64(r.h) / 2, scale: float64(max(r.w, r.h)) / 2}
	c.q = max(2, int(math.Round(r.period/beatsPerStripe)))
	c.cols, c.rows = (r.w+c.q-1)/c.q, (r.h+c.q-1)/c.q
	c.bare = r.bare(0, 0, c.q, c.cols, c.rows)
	c.levels = r.twoLevels(c.q, c.cols, c.rows, c.bare, r.period)
	beats := r.beats(c)
	var pure []float32
	for _, b := range beats {
		if b.purity > minPurity {
			pure = append(pure, b.purity)
		}
	}
	if float64(len(pure)) < minStripes*beatsPerStripe*beatsPerStripe {
		return nil
	}
	floor := max(minPurity, 0.7*order.Nth(pure, len(pure)*9/10))
	if !c.fit(beats, floor) {
		return nil
	}
	return c
}

// beats demodulates the photo with scaled guides and keeps the purest for each cell.
func (r *raster) beats(c *carrier) []beat {
	var scales []float32
	for s := 1 / guideSlack; s < guideSlack; s *= scaleStep {
		scales = append(scales, float32(s))
	}
	re, im := r.demodulate(c, scales)
	best := make([]beat, c.cols*c.rows)
	across, down := r.strides()
	count := float32(((c.q+across-1)/across)*c.q) / float32(down)
	for k, s := range scales {
		sigma := 0.8 * r.period / float64(s) / float64(c.q)
		re, im := smooth(re[k], c.cols, c.rows, sigma), smooth(im[k], c.cols, c.rows, sigma)
		for j := 1; j < c.rows-1; j++ {
			for i := j*c.cols + 1; i < (j+1)*c.cols-1; i++ {
				a := float32(math.Sqrt(float64(re[i]*re[i]+im[i]*im[i]))) / count
				if a <= best[i].purity || a < minPurity {
					best[i].purity = max(best[i].purity, a)
					continue
				}
				gx, gy, ok := r.guideSlope((i-j*c.cols)*c.q+c.q/2, j*c.q+c.q/2)
				if !ok {
					continue
				}
				k := float32(1 / (4 * math.Pi * float64(c.q)))
				best[i] = beat{a, s*gx + k*turn(re, im, i-1, i+1), s*gy + k*turn(re, im, i-c.cols, i+c.cols)}
			}
		}
	}
	return best
}

// turn is the angle from the complex number at i to that at j, rad.
func turn(re, im []float32, i, j int) float32 {
	return float32(math.Atan2(float64(im[j]*re[i]-re[j]*im[i]), float64(re[j]*re[i]+im[j]*im[i])))
}

// guideSlope is the gradient of the guide at a pixel, turns per px.
func (r *raster) guideSlope(x, y int) (gx, gy float32, ok bool) {
	g := &r.guide
	i, j := min(max(x/g.step, 1), g.cols-2), min(max(y/g.step, 1), g.rows-2)
	k := j*g.cols + i
	s := 1 / float32(2*g.step)
	gx, gy = s*(g.v[k+1]-g.v[k-1]), s*(g.v[k+g.cols]-g.v[k-g.cols])
	return gx, gy, gx == gx && gy == gy
}

// demodulate sums the normalised photo times exp(-2 pi i s guide) over cells, for each scale s.
func (r *raster) demodulate(c *carrier, scales []float32) (re, im [][]float32) {
	n := c.cols * c.rows
	for range scales {
		re, im = append(re, make([]float32, n)), append(im, make([]float32, n))
	}
	lim := float32(r.reach)
	stride, _ := r.strides()
	r.cells(c.q, c.cols, c.rows, func(y, first int, row []float32) {
		line, t := make([]float32, r.guide.cols), make([]float32, r.w)
		own, turns := make([]float32, 0, c.q), make([]float32, 0, c.q)
		r.guide.row(y, line, t)
		for k := first; k < first+c.cols; k++ {
			x0 := (k - first) * c.q
			x1 := min(x0+c.q, r.w)
			if !(t[x0] > -lim && t[x0] < lim) || c.bare[k] == 0 {
				continue
			}
			mid, gain := c.levels.mid[k], 1/c.levels.half[k]
			own, turns = own[:0], turns[:0]
			for x := x0; x < x1; x += stride {
				own, turns = append(own, bounded((row[x]-mid)*gain, maxSwing)), append(turns, t[x])
			}
			for q, s := range scales {
				var a, b float32
				for x, g := range own {
					sin, cos := sincosTurns(s * turns[x])
					a += g * cos
					b -= g * sin
				}
				re[q][k] += a
				im[q][k] += b
			}
		}
	})
	return re, im
}

// strides is how many pixels apart, across and down, the first looks read the photo: the densest stripes that the guide may stand for keep
// six across and three down.
func (r *raster) strides() (across, down int) {
	return min(max(int(r.period/(6*guideSlack)), 1), 2), min(max(int(r.period/(3*guideSlack)), 2), 4)
}

// maxSwing bounds the normalised photo: stripes swing by 1 (square) to pi/2 (sine), print and glare by more.
const maxSwing = 2

// fit solves for the trend by iteratively reweighted least squares on the frequencies of pure cells, and sets period and the
// part of the photo that shows stripes.
func (c *carrier) fit(beats []beat, floor float32) bool {
	t := terms()
	n := len(t)
	type sample struct {
		gx, gy    []float64 // gradient of the terms there
		fx, fy, w float64
	}
	var all []sample
	pure := 0
	for _, b := range beats {
		if b.purity > floor {
			pure++
		}
	}
	step := max(1, int(math.Ceil(math.Sqrt(float64(pure)/mostBeats))))
	for j := step / 2; j < c.rows; j += step {
		for i := step / 2; i < c.cols; i += step {
			if b := beats[j*c.cols+i]; b.purity > floor {
				g := make([]float64, 2*n)
				c.gradient((float64(i)+0.5)*float64(c.q), (float64(j)+0.5)*float64(c.q), t, g[:n], g[n:])
				all = append(all, sample{g[:n], g[n:], float64(b.fx), float64(b.fy), 1})
			}
		}
	}
	if len(all) < 4*n {
		return false
	}
	slope := func(s *sample) (fx, fy float64) { return floats.Dot(c.c, s.gx), floats.Dot(c.c, s.gy) }
	miss := make([]float64, len(all))
	for range 8 {
		normal, rhs := make([]float64, n*n), make([]float64, n)
		for _, s := range all {
			if s.w == 0 {
				continue
			}
			for p := range n {
				x, y := s.w*s.gx[p], s.w*s.gy[p]
				rhs[p] += x*s.fx + y*s.fy
				row, gy := normal[p*n+p:(p+1)*n], s.gy[p:]
				for q, v := range s.gx[p:] {
					row[q] += x*v + y*gy[q]
				}
			}
		}
		for p := range n {
			// A ridge of a millionth keeps terms that a small board leaves open at zero.
			normal[p*n+p] *= 1 + 1e-6
		}
		a := mat.NewSymDense(n, normal)
		var ch mat.Cholesky
		v := mat.NewVecDense(n, nil)
		if !ch.Factorize(a) || ch.SolveVecTo(v, mat.NewVecDense(n, rhs)) != nil {
			return false
		}
		c.c = slices.Clone(v.RawVector().Data)
		for i := range all {
			fx, fy := slope(&all[i])
			miss[i] = math.Hypot(all[i].fx-fx, all[i].fy-fy)
		}
		sorted := slices.Clone(miss)
		cut := 4 * order.Median(sorted)
		for i := range all {
			q := miss[i] / cut
			all[i].w = 0
			if q < 1 {
				all[i].w = (1 - q*q) * (1 - q*q)
			}
		}
	}
	var f []float64
	for i := range all {
		if all[i].w > 0 {
			f = append(f, math.Hypot(slope(&all[i])))
		}
	}
	if len(f) < 2*n {
		return false
	}
	c.period = 1 / order.Median(f)
	c.frame(beats, floor, t)
	return c.x1 > c.x0 && c.y1 > c.y0
}

// slope is the gradient of the trend, turns per px; gx and gy are scratch.
func (c *carrier) slope(px, py float64, t [][2]int, gx, gy []float64) (fx, fy float64) {
	c.gradient(px, py, t, gx, gy)
	for k, v := range c.c {
		fx += v * gx[k]
		fy += v * gy[k]
	}
	return fx, fy
}

// frame sets the part of the photo to look at: all pure cells whose frequency fits the trend, and two stripe pairs around.
func (c *carrier) frame(beats []beat, floor float32, t [][2]int) {
	gx, gy := make([]float64, len(t)), make([]float64, len(t))
	c.x0, c.y0 = c.cols*c.q, c.rows*c.q
	for j := range c.rows {
		for i := range c.cols {
			b := beats[j*c.cols+i]
			if b.purity < floor {
				continue
			}
			x, y := i*c.q, j*c.q
			fx, fy := c.slope(float64(x), float64(y), t, gx, gy)
			if math.Hypot(float64(b.fx)-fx, float64(b.fy)-fy) > 0.25*math.Hypot(fx, fy) {
				continue
			}
			c.x0, c.y0, c.x1, c.y1 = min(c.x0, x), min(c.y0, y), max(c.x1, x+c.q), max(c.y1, y+c.q)
		}
	}
	m := int(2 * c.period)
	c.x0, c.y0 = c.x0-m, c.y0-m
	c.x1, c.y1 = c.x1+m, c.y1+m
}

// sinTable holds one turn of the sine, and a quarter more.
var sinTable = func() (t [sinSteps * 5 / 4]float32) {
	for i := range t {
		t[i] = float32(math.Sin(2 * math.Pi * (float64(i) + 0.5) / sinSteps))
	}
	return t
}()

// sinSteps: a step of 1/1024 turn, 6 mrad, is a tenth of what the noise of one pixel does.
const sinSteps = 1024

func sincosTurns(t float32) (sin, cos float32) {
	i := int32((t+1024)*sinSteps) & (sinSteps - 1)
	return sinTable[i], sinTable[i+sinSteps/4]
}

// cosTurns is the cosine of sincosTurns alone.
func cosTurns(t float32) float32 {
	return sinTable[int32((t+1024.25)*sinSteps)&(sinSteps-1)]
}
