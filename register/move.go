package register

import (
	"math"

	"fairmetal/internal/rows"
	"fairmetal/mark"
	"fairmetal/surface"
)

// Move carries a place of the second surface's frame onto the first's: turned by TurnDeg about the origin, then shifted.
type Move struct {
	XMM     float64 `json:"x_mm"`
	YMM     float64 `json:"y_mm"`
	TurnDeg float64 `json:"turn_deg"`
}

// To carries a place of the second frame over to the first.
func (m Move) To(x, y float64) (float64, float64) {
	sin, cos := math.Sincos(m.TurnDeg * math.Pi / 180)
	return cos*x - sin*y + m.XMM, sin*x + cos*y + m.YMM
}

// From carries a place of the first frame back to the second.
func (m Move) From(x, y float64) (float64, float64) {
	sin, cos := math.Sincos(m.TurnDeg * math.Pi / 180)
	x, y = x-m.XMM, y-m.YMM
	return cos*x + sin*y, -sin*x + cos*y
}

// Inverse undoes the move.
func (m Move) Inverse() Move {
	x, y := m.From(0, 0)
	return Move{x, y, -m.TurnDeg}
}

// Onto resamples a surface of the second frame on a grid of the first. Cells beyond it, or beside cells without a value, have none.
func Onto(b *surface.Surface, m Move, g surface.Grid) *surface.Surface {
	out := surface.New(g)
	sigma := surface.Surface{Grid: b.Grid, Height: b.Sigma}
	heights := field{b.Grid, b.Height}
	rows.Do(g.Rows, func(r0, r1 int) {
		for r := r0; r < r1; r++ {
			for c := range g.Cols {
				x, y := m.From(g.XY(c, r))
				z, _, _, ok := heights.at(x, y)
				if !ok {
					if z = b.At(x, y); math.IsNaN(z) {
						continue
					}
				}
				i := r*g.Cols + c
				out.Height[i], out.Sigma[i] = float32(z), float32(sigma.At(x, y))
			}
		}
	})
	return out
}

// Around is a grid of the first frame over all that a grid of the second covers, of the same pitch.
func Around(g surface.Grid, m Move) surface.Grid {
	x0, y0, x1, y1 := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, k := range [4][2]int{{0, 0}, {g.Cols - 1, 0}, {0, g.Rows - 1}, {g.Cols - 1, g.Rows - 1}} {
		x, y := m.To(g.XY(k[0], k[1]))
		x0, y0, x1, y1 = min(x0, x), min(y0, y), max(x1, x), max(y1, y)
	}
	p := g.PitchMM
	out := surface.Grid{PitchMM: p, X0MM: math.Floor(x0/p) * p, Y0MM: math.Floor(y0/p) * p}
	out.Cols, out.Rows = int(math.Ceil((x1-out.X0MM)/p))+1, int(math.Ceil((y1-out.Y0MM)/p))+1
	return out
}

// Marks returns copies of the second surface's marks in the first's frame; their outlines on the photo stay.
func (m Move) Marks(marks []mark.Mark) []mark.Mark {
	out := make([]mark.Mark, len(marks))
	for i, k := range marks {
		k.XMM, k.YMM = m.To(k.XMM, k.YMM)
		k.DeepestMM[0], k.DeepestMM[1] = m.To(k.DeepestMM[0], k.DeepestMM[1])
		k.AngleDeg = math.Mod(k.AngleDeg+m.TurnDeg+360, 180)
		line := make([][2]float64, len(k.OutlineMM))
		for j, p := range k.OutlineMM {
			line[j][0], line[j][1] = m.To(p[0], p[1])
		}
		k.OutlineMM = line
		out[i] = k
	}
	return out
}

// field is a height map that is read between its cells.
type field struct {
	surface.Grid
	z []float32
}

// at interpolates by cubic convolution [Keys1981] and returns value and gradient; ok is false beside cells without a value.
func (f *field) at(x, y float64) (z, zx, zy float64, ok bool) {
	c, r := f.Cell(x, y)
	i, j := int(math.Floor(c)), int(math.Floor(r))
	if i < 1 || j < 1 || i+2 >= f.Cols || j+2 >= f.Rows {
		return 0, 0, 0, false
	}
	wx, dx := keys(c - float64(i))
	wy, dy := keys(r - float64(j))
	for k := range 4 {
		row := f.z[(j+k-1)*f.Cols+i-1:]
		a, b, p, q := float64(row[0]), float64(row[1]), float64(row[2]), float64(row[3])
		s := wx[0]*a + wx[1]*b + wx[2]*p + wx[3]*q
		z += wy[k] * s
		zy += dy[k] * s
		zx += wy[k] * (dx[0]*a + dx[1]*b + dx[2]*p + dx[3]*q)
	}
	return z, zx / f.PitchMM, zy / f.PitchMM, z == z
}

// keys returns the four weights of cubic convolution with a = -1/2 and their derivatives.
func keys(t float64) (w, d [4]float64) {
	t2, t3 := t*t, t*t*t
	w = [4]float64{-0.5*t3 + t2 - 0.5*t, 1.5*t3 - 2.5*t2 + 1, -1.5*t3 + 2*t2 + 0.5*t, 0.5*t3 - 0.5*t2}
	d = [4]float64{-1.5*t2 + 2*t - 0.5, 4.5*t2 - 5*t, -4.5*t2 + 4*t + 0.5, 1.5*t2 - t}
	return w, d
}
