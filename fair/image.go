package fair

import (
	"fmt"
	"image"
	"image/color"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"fairmetal/internal/rows"
	"fairmetal/surface"
)

// Lamp is a striped board seen mirrored in the metal, for pictures.
type Lamp struct {
	View
	Light
	PitchMM float64 // of the stripes
	BoardMM float64 // from the middle of the metal to the board
	EyeMM   float64 // from there to the eye
	// RXMM and RYMM are the radii of the panel's crown, positive where it bulges; 0: flat.
	RXMM, RYMM float64
	PXPerMM    float64 // scale of the picture
}

// mostPixels bounds a picture.
const mostPixels = 8_000_000

// Stripes draws the metal as a map in the panel frame (+x to the right, +y up) with the striped board mirrored in it, by the exact
// law of reflection with the eye and the board at finite distance. Unmeasured metal is transparent. Pictures of one lamp before, now
// and as planned lie over each other pixel by pixel.
func Stripes(s *surface.Surface, l Lamp) (*image.NRGBA, error) {
	w, h := int(float64(s.Cols-1)*s.PitchMM*l.PXPerMM), int(float64(s.Rows-1)*s.PitchMM*l.PXPerMM)
	switch {
	case !(l.PXPerMM > 0) || w < 1 || h < 1 || w > mostPixels/h:
		return nil, fmt.Errorf("a picture of %d x %d pixels cannot be drawn; choose a scale between 0.1 and 10 pixels per mm", w, h)
	case !(l.PitchMM > 0 && l.BoardMM > 0 && l.EyeMM > 0):
		return nil, fmt.Errorf("stripes of %g mm on a board %g mm away seen from %g mm cannot be drawn; set all three over zero", l.PitchMM, l.BoardMM, l.EyeMM)
	case !(l.ElevationDeg > 0 && l.ElevationDeg <= 90):
		return nil, fmt.Errorf("a view %g degrees over the metal sees no reflection; choose 5 to 90", l.ElevationDeg)
	}
	zx, zy := slope(s)
	middle := r3.Vec{X: s.X0MM + float64(s.Cols-1)*s.PitchMM/2, Y: s.Y0MM + float64(s.Rows-1)*s.PitchMM/2}
	eye := r3.Add(middle, r3.Scale(l.EyeMM, l.eye()))
	out := mirrored(l.eye(), 0, 0)
	board := r3.Add(middle, r3.Scale(l.BoardMM, out))
	over := across(l.View, l.Light)
	m := image.NewNRGBA(image.Rect(0, 0, w, h))
	rows.Do(h, func(y0, y1 int) {
		for py := y0; py < y1; py++ {
			for px := range w {
				c := (float64(px) + 0.5) / l.PXPerMM / s.PitchMM
				r := float64(s.Rows-1) - (float64(py)+0.5)/l.PXPerMM/s.PitchMM
				gx, gy, ok := between(s.Cols, s.Rows, zx, zy, c, r)
				if !ok {
					continue
				}
				p := r3.Vec{X: s.X0MM + c*s.PitchMM, Y: s.Y0MM + r*s.PitchMM}
				x, y := p.X-middle.X, p.Y-middle.Y
				if l.RXMM != 0 {
					gx -= x / l.RXMM
					p.Z -= x * x / (2 * l.RXMM)
				}
				if l.RYMM != 0 {
					gy -= y / l.RYMM
					p.Z -= y * y / (2 * l.RYMM)
				}
				ray := mirrored(r3.Unit(r3.Sub(eye, p)), gx, gy)
				along := r3.Dot(ray, out)
				if along <= 0 {
					m.SetNRGBA(px, py, color.NRGBA{20, 20, 22, 255})
					continue
				}
				q := r3.Add(p, r3.Scale(r3.Dot(r3.Sub(board, p), out)/along, ray))
				m.SetNRGBA(px, py, shade(r3.Dot(r3.Sub(q, board), over)/l.PitchMM))
			}
		}
	})
	return m, nil
}

// between interpolates slopes at a fractional cell.
func between(cols, rws int, zx, zy []float32, c, r float64) (gx, gy float64, ok bool) {
	i, j := min(max(int(c), 0), cols-2), min(max(int(r), 0), rws-2)
	if i < 0 || j < 0 {
		return 0, 0, false
	}
	a, b := c-float64(i), r-float64(j)
	k := j*cols + i
	for n, w := range [4]float64{(1 - a) * (1 - b), a * (1 - b), (1 - a) * b, a * b} {
		q := k + n%2 + n/2*cols
		gx += w * float64(zx[q])
		gy += w * float64(zy[q])
	}
	return gx, gy, gx == gx && gy == gy
}

// shade is the colour of the board at a phase in pitches: bright and dark halves with soft edges a tenth of a pitch wide.
func shade(phase float64) color.NRGBA {
	d := math.Abs(math.Remainder(phase, 1)) // 0 in the middle of a bright stripe, 0.5 of a dark one
	q := min(max((0.3-d)/0.1, 0), 1)
	q = q * q * (3 - 2*q)
	return color.NRGBA{uint8(28 + 217*q), uint8(30 + 214*q), uint8(34 + 206*q), 255}
}
