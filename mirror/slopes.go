package mirror

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"fairmetal/internal/rows"
	"fairmetal/phase"
	"fairmetal/pose"
	"fairmetal/surface"
)

// Slopes returns, for every cell of g, how much steeper than the form the metal is (dz/dx, dz/dy less the form's; NaN where the
// stripes cannot be read), for metal that stands dev mm above the form (row-major; nil: zero; NaN counts as zero). The board
// point of a cell is interpolated from the pixels around its image.
func (c *Calibration) Slopes(cam *pose.Camera, u, v *phase.Field, g surface.Grid, dev []float64) (rx, ry []float32) {
	rx, ry = make([]float32, g.Len()), make([]float32, g.Len())
	nan := float32(math.NaN())
	rows.Do(g.Rows, func(r0, r1 int) {
		for r := r0; r < r1; r++ {
			_, y := g.XY(0, r)
			level := c.Form.level(y)
			for q := range g.Cols {
				i := r*g.Cols + q
				rx[i], ry[i] = nan, nan
				x, _ := g.XY(q, r)
				z, fx, fy := level.eval(x)
				if dev != nil && !math.IsNaN(dev[i]) {
					z += dev[i]
				}
				p := r3.Vec{X: x, Y: y, Z: z}
				px, py, depth := cam.Project(p)
				if depth <= 0 {
					continue
				}
				bu, ok := sample(u, px, py)
				if !ok {
					continue
				}
				bv, ok := sample(v, px, py)
				if !ok {
					continue
				}
				zx, zy := Slopes(cam.Centre, p, c.Board.At(bu-c.ShiftU, bv-c.ShiftV))
				rx[i], ry[i] = float32(zx-fx), float32(zy-fy)
			}
		}
	})
	return rx, ry
}

// sample interpolates a field at a place in the photo: cubic convolution [Keys1981] where the sixteen pixels around are
// readable, which keeps waves down to a few pixels, else bilinear.
func sample(f *phase.Field, px, py float64) (float64, bool) {
	px, py = px-0.5, py-0.5
	fx, fy := math.Floor(px), math.Floor(py)
	x, y := int(fx), int(fy)
	if x < 0 || y < 0 || x+1 >= f.W || y+1 >= f.H {
		return 0, false
	}
	i := y*f.W + x
	a, b := px-fx, py-fy
	v00, v10, v01, v11 := float64(f.X[i]), float64(f.X[i+1]), float64(f.X[i+f.W]), float64(f.X[i+f.W+1])
	near := (1-b)*((1-a)*v00+a*v10) + b*((1-a)*v01+a*v11)
	if near != near {
		return 0, false
	}
	if x > 0 && y > 0 && x+2 < f.W && y+2 < f.H {
		wx, wy := keys(a), keys(b)
		var s float64
		for r := range 4 {
			row := f.X[i+(r-1)*f.W-1:][:4]
			s += wy[r] * (wx[0]*float64(row[0]) + wx[1]*float64(row[1]) + wx[2]*float64(row[2]) + wx[3]*float64(row[3]))
		}
		if s == s {
			return s, true
		}
	}
	return near, true
}

// keys returns the four weights of cubic convolution with a = -1/2.
func keys(t float64) [4]float64 {
	t2, t3 := t*t, t*t*t
	return [4]float64{
		-0.5*t3 + t2 - 0.5*t,
		1.5*t3 - 2.5*t2 + 1,
		-1.5*t3 + 2*t2 + 0.5*t,
		0.5*t3 - 0.5*t2,
	}
}

// Extent returns the panel rectangle, in mm, that readable pixels cover.
func (c *Calibration) Extent(cam *pose.Camera, u, v *phase.Field) (x0, y0, x1, y1 float64) {
	const step = 6
	type box struct{ x0, y0, x1, y1 float64 }
	all := box{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
	bands := make([]box, (u.H+step-1-step/2)/step)
	rows.Do(len(bands), func(b0, b1 int) {
		for b := b0; b < b1; b++ {
			in, py := all, b*step+step/2
			for px := step / 2; px < u.W; px += step {
				i := py*u.W + px
				if u.X[i] != u.X[i] || v.X[i] != v.X[i] {
					continue
				}
				if p, _, _, ok := c.Form.Hit(cam.Centre, cam.Ray(float64(px)+0.5, float64(py)+0.5)); ok {
					in = box{min(in.x0, p.X), min(in.y0, p.Y), max(in.x1, p.X), max(in.y1, p.Y)}
				}
			}
			bands[b] = in
		}
	})
	for _, b := range bands {
		all = box{min(all.x0, b.x0), min(all.y0, b.y0), max(all.x1, b.x1), max(all.y1, b.y1)}
	}
	return all.x0, all.y0, all.x1, all.y1
}

// Expected returns the board coordinates that each of w x h pixels would see in undamaged metal, in the fields' own count; NaN where
// the mirror image leaves the board's plane.
func (c *Calibration) Expected(cam *pose.Camera, w, h int) (u, v []float32) {
	u, v = make([]float32, w*h), make([]float32, w*h)
	nan := float32(math.NaN())
	rows.Do(h, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			for x := range w {
				i := y*w + x
				u[i], v[i] = nan, nan
				ray := cam.Ray(float64(x)+0.5, float64(y)+0.5)
				p, zx, zy, ok := c.Form.Hit(cam.Centre, ray)
				if !ok {
					continue
				}
				if bu, bv, ok := c.Board.Reflect(ray, p, zx, zy); ok {
					u[i], v[i] = float32(bu+c.ShiftU), float32(bv+c.ShiftV)
				}
			}
		}
	})
	return u, v
}
