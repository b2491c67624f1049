package phase

import (
	"math"

	"fairmetal/internal/order"
	"fairmetal/internal/rows"
	"fairmetal/photo"
)

// raster is the photo at working size with the guide's prediction on it. Phases are counted in turns, one a stripe pair.
type raster struct {
	w, h   int
	halved int // how often the photo was halved
	pix    []float32
	hidden Covered // in its own pixels; nil: nothing is
	guide  grid    // predicted turns at nodes; NaN where the guide says nothing
	period float64 // px of a stripe pair by the guide, median
	reach  float64 // turns from the board's middle beyond which no stripes are looked for
}

// grid holds a smooth function at nodes every step px, the first at half a step from the corner of the photo.
type grid struct {
	cols, rows int
	step       int
	v          []float32
}

func newGrid(w, h, step int) grid {
	g := grid{cols: (w + step - 1) / step, rows: (h + step - 1) / step, step: step}
	g.v = make([]float32, g.cols*g.rows)
	return g
}

// row interpolates linearly along a row of pixels: out[x] for the pixel centres of row y. line is scratch of g.cols.
func (g *grid) row(y int, line, out []float32) { g.fine(y, 1, line, out, nil) }

// fine is row for pixels k times as fine as those that the grid counts in, round the nodes of that row that are due (nil: all) at least.
func (g *grid) fine(y, k int, line, out []float32, due []bool) {
	s := float32(g.step * k)
	fy := (float32(y)+0.5)/s - 0.5
	j := min(max(int(math.Floor(float64(fy))), 0), max(0, g.rows-2))
	b := fy - float32(j)
	lo := g.v[j*g.cols : (j+1)*g.cols]
	hi := lo
	if g.rows > 1 {
		hi = g.v[(j+1)*g.cols : (j+2)*g.cols]
	}
	for i := range line {
		line[i] = lo[i] + b*(hi[i]-lo[i])
	}
	x := 0
	for i := range max(1, g.cols-1) {
		end := len(out)
		if i < g.cols-2 {
			// Pixels whose centres lie before node i+1.
			end = min(end, int(math.Ceil(float64((float32(i)+1.5)*s-0.5))))
		}
		if due != nil && !due[i] && !due[min(i+1, g.cols-1)] {
			x = end
			continue
		}
		var d float32
		if g.cols > 1 {
			d = (line[i+1] - line[i]) / s
		}
		t := line[i] + d*(float32(x)+0.5-(float32(i)+0.5)*s)
		for ; x < end; x++ {
			out[x] = t
			t += d
		}
	}
}

// guideStep is the spacing of the guide's nodes: set-ups bend the stripes by less than a hundredth of a turn over it.
const guideStep = 8

// guideSlack is how far the guide's gradient may be off either way: crown that the guide doesn't know of (radius 1.3 m at half
// a metre from the board) makes stripes denser by half.
const guideSlack = 2.3

// minPeriod is how many px a stripe pair should keep when the photo is halved: its edges stay apart, also where a dent crowds
// them twofold, and a pixel's mean loses nothing of where an edge lies.
const minPeriod = 12.0

// mostHalvings of a photo: more than any photo takes.
const mostHalvings = 16

// newRaster brings the photo to working size, by most halvings at the most, and samples the guide; nil when the guide says nothing.
func newRaster(img *photo.Image, pitch, boardMM float64, guide Guide, covered Covered, most int) *raster {
	r := &raster{w: img.W, h: img.H, pix: img.Pix, reach: 0.5 * guideSlack * boardMM / pitch}
	r.sampleGuide(guide, pitch)
	for r.halved < most && r.period/(2*1.5) >= minPeriod {
		m := photo.Halve(&photo.Image{W: r.w, H: r.h, Pix: r.pix})
		r.w, r.h, r.pix = m.W, m.H, m.Pix
		r.halved++
		r.sampleGuide(guide, pitch)
	}
	if covered != nil {
		k := float64(int(1) << r.halved)
		r.hidden = func(px, py float64) bool { return covered(k*px, k*py) }
	}
	if math.IsNaN(r.period) || r.w < 32 || r.h < 32 {
		return nil
	}
	return r
}

func (r *raster) sampleGuide(guide Guide, pitch float64) {
	r.guide = newGrid(r.w, r.h, guideStep)
	k := float64(int(1) << r.halved)
	rows.Do(r.guide.rows, func(j0, j1 int) {
		for j := j0; j < j1; j++ {
			for i := range r.guide.cols {
				x, ok := guide(k*(float64(i)+0.5)*guideStep, k*(float64(j)+0.5)*guideStep)
				if !ok {
					x = math.NaN()
				}
				r.guide.v[j*r.guide.cols+i] = float32(x / pitch)
			}
		}
	})
	var per []float64
	r.guide.slopes(func(i int, sx, sy float32) {
		if v := r.guide.v[i]; float64(v) < 0.5*r.reach/guideSlack && float64(v) > -0.5*r.reach/guideSlack {
			per = append(per, 1/math.Hypot(float64(sx), float64(sy)))
		}
	})
	r.period = math.NaN()
	if len(per) > 0 {
		r.period = order.Median(per)
	}
}

// slopes visits the nodes inside the grid that have known neighbours with the gradient in 1/px.
func (g *grid) slopes(visit func(i int, sx, sy float32)) {
	k := 1 / float32(2*g.step)
	for j := 1; j < g.rows-1; j++ {
		for i := j*g.cols + 1; i < (j+1)*g.cols-1; i++ {
			sx, sy := k*(g.v[i+1]-g.v[i-1]), k*(g.v[i+g.cols]-g.v[i-g.cols])
			if sx == sx && sy == sy && sx*sx+sy*sy > 0 {
				visit(i, sx, sy)
			}
		}
	}
}

// at interpolates linearly at a place of the photo.
func (g *grid) at(px, py float64) float32 {
	x, y := px/float64(g.step)-0.5, py/float64(g.step)-0.5
	i, j := min(max(int(x), 0), max(0, g.cols-2)), min(max(int(y), 0), max(0, g.rows-2))
	a, b := float32(min(max(x-float64(i), 0), 1)), float32(min(max(y-float64(j), 0), 1))
	lo, hi := g.v[j*g.cols:(j+1)*g.cols], g.v[min(j+1, g.rows-1)*g.cols:]
	k := min(i+1, g.cols-1)
	top, bottom := lo[i]+a*(lo[k]-lo[i]), hi[i]+a*(hi[k]-hi[i])
	return top + b*(bottom-top)
}

// bare is 1 for each cell of q px, the first at px (x0, y0), of which nothing is covered, and 0 for the others.
func (r *raster) bare(x0, y0, q, cols, rws int) []float32 {
	out := make([]float32, cols*rws)
	for i := range out {
		out[i] = 1
	}
	if r.hidden == nil {
		return out
	}
	rows.Do(rws, func(j0, j1 int) {
		for j := j0; j < j1; j++ {
			y := float64(y0 + j*q)
			for i := range cols + 1 { // corners, each of the cells left and right of it
				if x := float64(x0 + i*q); r.hidden(x, y) || r.hidden(x, y+float64(q)) {
					out[j*cols+max(0, i-1)], out[j*cols+min(i, cols-1)] = 0, 0
				}
			}
		}
	})
	return out
}

// levels are the local mean of bright and dark stripes on cells.
type levels struct {
	mid, half []float32
}

// twoLevels finds the bright and the dark level around each cell of q px, of bare paint: the means of the pixels above and below the middle
// of both, over a window of some stripes. Meaningless where there are no stripes.
func (r *raster) twoLevels(q, cols, rws int, bare []float32, period float64) levels {
	n := cols * rws
	sum, cnt := make([]float32, n), make([]float32, n)
	r.cells(q, cols, rws, func(y, first int, row []float32) {
		for c := first; c < first+cols; c++ {
			if bare[c] == 0 {
				continue
			}
			own := piece(row, c-first, q)
			for _, v := range own {
				sum[c] += v
			}
			cnt[c] += float32(len(own))
		}
	})
	// 1.5 stripes: wide enough to hold both levels everywhere, narrow enough to follow the light.
	s := 1.5 * period / float64(q)
	mean, weight := smooth(sum, cols, rws, s), smooth(cnt, cols, rws, s)
	for i := range mean {
		mean[i] /= max(weight[i], 1e-6)
	}
	var hi, nhi, lo, nlo []float32
	for range 2 {
		hi, nhi, lo, nlo = make([]float32, n), make([]float32, n), make([]float32, n), make([]float32, n)
		r.cells(q, cols, rws, func(y, first int, row []float32) {
			for c := first; c < first+cols; c++ {
				if bare[c] == 0 {
					continue
				}
				own, mid := piece(row, c-first, q), mean[c]
				var all, above, n float32
				for _, v := range own {
					all += v
					if v > mid {
						above += v
						n++
					}
				}
				hi[c], nhi[c] = hi[c]+above, nhi[c]+n
				lo[c], nlo[c] = lo[c]+all-above, nlo[c]+float32(len(own))-n
			}
		})
		hi, nhi, lo, nlo = smooth(hi, cols, rws, s), smooth(nhi, cols, rws, s), smooth(lo, cols, rws, s), smooth(nlo, cols, rws, s)
		for i := range hi {
			hi[i] /= max(nhi[i], 1e-6)
			lo[i] /= max(nlo[i], 1e-6)
			mean[i] = (hi[i] + lo[i]) / 2
		}
	}
	for i := range hi {
		hi[i] = max((hi[i]-lo[i])/2, 1e-5)
	}
	return levels{mid: mean, half: hi}
}

// piece is the k-th cell's part of a row, q px each; the last may be cut.
func piece(row []float32, k, q int) []float32 { return row[min(k*q, len(row)):min((k+1)*q, len(row))] }

// cells visits rows of the photo as far apart as strides says, several at a time but each row of cells by one worker, with the first cell of
// its row.
func (r *raster) cells(q, cols, rws int, visit func(y, first int, row []float32)) {
	_, down := r.strides()
	rows.Do(rws, func(j0, j1 int) {
		for j := j0; j < j1; j++ {
			for y := (j*q + down - 1) / down * down; y < min((j+1)*q, r.h); y += down {
				visit(y, j*cols, r.pix[y*r.w:(y+1)*r.w])
			}
		}
	})
}
