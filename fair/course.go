package fair

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"fairmetal/surface"
)

// course is the raster of block means on which the smooth course of reflected lines is found.
type course struct {
	cols, rws int
	block     float64 // mm
	x0, y0    float64 // middle of the first block
	zx, zy, n []float64
	x, y      []float64 // centre of gravity of the measured cells, in blocks
}

// mostBlocks bounds the work: every block asks every other in every view.
const mostBlocks = 600

func newCourse(r *relief) *course {
	w, h := float64(r.g.Cols)*r.g.PitchMM, float64(r.g.Rows)*r.g.PitchMM
	block := max(courseSD()/2, math.Sqrt(w*h/mostBlocks)) // two blocks to a standard deviation lose under 1 %
	c := &course{cols: max(1, int(math.Ceil(w/block))), rws: max(1, int(math.Ceil(h/block)))}
	c.block = max(w/float64(c.cols), h/float64(c.rws))
	// Centred on the area, so that turned and mirrored surfaces fall into the same blocks.
	c.x0 = r.g.X0MM + (w-r.g.PitchMM)/2 - float64(c.cols-1)*c.block/2
	c.y0 = r.g.Y0MM + (h-r.g.PitchMM)/2 - float64(c.rws-1)*c.block/2
	m := c.cols * c.rws
	c.zx, c.zy, c.n, c.x, c.y = make([]float64, m), make([]float64, m), make([]float64, m), make([]float64, m), make([]float64, m)
	for i, v := range r.zx {
		if v != v {
			continue
		}
		x, y := r.g.XY(i%r.g.Cols, i/r.g.Cols)
		k := min(max(int(math.Round((x-c.x0)/c.block)), 0), c.cols-1) + c.cols*min(max(int(math.Round((y-c.y0)/c.block)), 0), c.rws-1)
		c.zx[k] += float64(v)
		c.zy[k] += float64(r.zy[i])
		c.x[k] += (x - c.x0) / c.block
		c.y[k] += (y - c.y0) / c.block
		c.n[k]++
	}
	for k, n := range c.n {
		if n > 0 {
			c.zx[k] /= n
			c.zy[k] /= n
			c.x[k] /= n
			c.y[k] /= n
		}
	}
	return c
}

// courseSD is the standard deviation, mm, of the Gaussian that parts waves from the smooth course: half at CourseMM (ISO 16610-21).
func courseSD() float64 { return surface.GaussCutoff(CourseMM) }

// along is the smooth course of the slope as seen from a view: a Gaussian regression of first order (it runs straight on at the rim
// of the metal, where a plain mean would lag [ISO16610-28]) whose reach is the same angle of sight every way: along the view the
// metal is foreshortened by the sine of the elevation, so the filter reaches farther by its inverse. Indexed like the blocks.
func (c *course) along(v View) (zx, zy []float64) {
	sinA, cosA := math.Sincos(v.AzimuthDeg * math.Pi / 180)
	sd := courseSD()
	ka, kp := math.Sin(v.ElevationDeg*math.Pi/180)/sd, 1/sd
	// The weight depends on the offset between blocks alone.
	w := make([]float64, (2*c.cols-1)*(2*c.rws-1))
	for j := -(c.rws - 1); j < c.rws; j++ {
		for i := -(c.cols - 1); i < c.cols; i++ {
			dx, dy := float64(i)*c.block, float64(j)*c.block
			a, p := ka*(cosA*dx+sinA*dy), kp*(-sinA*dx+cosA*dy)
			w[(j+c.rws-1)*(2*c.cols-1)+i+c.cols-1] = math.Exp(-(a*a + p*p) / 2)
		}
	}
	zx, zy = make([]float64, len(c.n)), make([]float64, len(c.n))
	for k := range c.n {
		i0, j0 := k%c.cols, k/c.cols
		var m [6]float64 // 1, x, y, xx, xy, yy
		var bx, by [3]float64
		for q, n := range c.n {
			if n == 0 {
				continue
			}
			di, dj := q%c.cols-i0, q/c.cols-j0
			g := n * w[(dj+c.rws-1)*(2*c.cols-1)+di+c.cols-1]
			x, y := c.x[q]-float64(i0), c.y[q]-float64(j0)
			m[0] += g
			m[1] += g * x
			m[2] += g * y
			m[3] += g * x * x
			m[4] += g * x * y
			m[5] += g * y * y
			bx[0] += g * c.zx[q]
			bx[1] += g * c.zx[q] * x
			bx[2] += g * c.zx[q] * y
			by[0] += g * c.zy[q]
			by[1] += g * c.zy[q] * x
			by[2] += g * c.zy[q] * y
		}
		zx[k], zy[k] = level(m, bx), level(m, by)
	}
	return zx, zy
}

// plane fits the slopes over the whole area by a + b x + c y, x and y in mm: the straight course.
func (c *course) plane() (p [2][3]float64) {
	var m [6]float64
	var b [2][3]float64
	for q, n := range c.n {
		x, y := c.x0+c.x[q]*c.block, c.y0+c.y[q]*c.block
		for k, v := range [6]float64{1, x, y, x * x, x * y, y * y} {
			m[k] += n * v
		}
		for k, v := range [3]float64{1, x, y} {
			b[0][k] += n * c.zx[q] * v
			b[1][k] += n * c.zy[q] * v
		}
	}
	a := mat.NewSymDense(3, []float64{m[0], m[1], m[2], m[1], m[3], m[4], m[2], m[4], m[5]})
	var chol mat.Cholesky
	if !chol.Factorize(a) {
		p[0][0], p[1][0] = b[0][0]/m[0], b[1][0]/m[0]
		return p
	}
	for k := range 2 {
		var x mat.VecDense
		if err := chol.SolveVecTo(&x, mat.NewVecDense(3, b[k][:])); err != nil {
			p[k] = [3]float64{b[k][0] / m[0]}
			continue
		}
		p[k] = [3]float64{x.AtVec(0), x.AtVec(1), x.AtVec(2)}
	}
	return p
}

// level solves the 3 x 3 normal equations for the height of the plane at the middle (Cramer's rule); where the blocks do not span a
// plane it is their mean.
func level(m [6]float64, b [3]float64) float64 {
	c00 := m[3]*m[5] - m[4]*m[4]
	c01 := m[2]*m[4] - m[1]*m[5]
	c02 := m[1]*m[4] - m[2]*m[3]
	det := m[0]*c00 + m[1]*c01 + m[2]*c02
	if det <= 1e-9*m[0]*m[3]*m[5] || m[0] == 0 {
		if m[0] == 0 {
			return 0
		}
		return b[0] / m[0]
	}
	return (b[0]*c00 + b[1]*c01 + b[2]*c02) / det
}

// at interpolates two values of the blocks at a place, running on past the outer blocks.
func (c *course) at(u, v []float64, x, y float64) (a, b float64) {
	fx, fy := (x-c.x0)/c.block, (y-c.y0)/c.block
	i, j := min(max(int(fx), 0), max(0, c.cols-2)), min(max(int(fy), 0), max(0, c.rws-2))
	di, dj := 1, c.cols
	fx, fy = fx-float64(i), fy-float64(j)
	if c.cols == 1 {
		fx, di = 0, 0
	}
	if c.rws == 1 {
		fy, dj = 0, 0
	}
	k := j*c.cols + i
	w0, w1, w2, w3 := (1-fx)*(1-fy), fx*(1-fy), (1-fx)*fy, fx*fy
	return w0*u[k] + w1*u[k+di] + w2*u[k+dj] + w3*u[k+dj+di], w0*v[k] + w1*v[k+di] + w2*v[k+dj] + w3*v[k+dj+di]
}
