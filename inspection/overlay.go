package inspection

import (
	"image"
	"image/color"
	"math"

	"golang.org/x/image/draw"

	"fairmetal/internal/order"
	"fairmetal/internal/rows"
	"fairmetal/photo"
)

// overlayPX is the width of the pictures that are shown.
const overlayPX = 1200

// Pictures are the photo as shown and the heat map over it, both of one size; Scale is shown pixels per working pixel.
type Pictures struct {
	Photo *image.Gray
	Heat  *image.Paletted
	Scale float64
}

// Draw makes the pictures of a result.
func (r *Result) Draw() Pictures {
	src := r.Photo
	for src.W > 2*overlayPX {
		src = photo.Halve(src)
	}
	g := grey(src)
	w := min(overlayPX, src.W)
	h := int(math.Round(float64(src.H) * float64(w) / float64(src.W)))
	shown := g
	if w != src.W {
		// Into colours, for which scaling grey is quick, and back.
		wide := image.NewRGBA(image.Rect(0, 0, w, h))
		draw.ApproxBiLinear.Scale(wide, wide.Bounds(), g, g.Bounds(), draw.Src, nil)
		shown = image.NewGray(wide.Bounds())
		for i := range shown.Pix {
			shown.Pix[i] = wide.Pix[4*i]
		}
	}
	scale := float64(w) / float64(r.Photo.W)
	return Pictures{Photo: shown, Heat: r.heat(w, h, scale), Scale: scale}
}

// grey renders linear light as sRGB, stretched so that the 99th percentile is a light grey.
func grey(m *photo.Image) *image.Gray {
	var s []float32
	for i := 0; i < len(m.Pix); i += max(1, len(m.Pix)/20000) {
		s = append(s, m.Pix[i])
	}
	top := max(order.Nth(s, len(s)*97/100), 1e-3)
	out := image.NewGray(image.Rect(0, 0, m.W, m.H))
	var lut [1024]uint8
	for i := range lut {
		v := float64(i) / 1023
		if v <= 0.0031308 {
			v *= 12.92
		} else {
			v = 1.055*math.Pow(v, 1/2.4) - 0.055
		}
		lut[i] = uint8(math.Round(255 * v))
	}
	rows.Do(m.H, func(y0, y1 int) {
		for i := y0 * m.W; i < y1*m.W; i++ {
			out.Pix[i] = lut[int(min(max(m.Pix[i]/top*0.8, 0), 1)*1023)]
		}
	})
	return out
}

// FullScaleUM is the height at which the heat map's colours saturate: the deepest mark, within bounds that keep both a finish
// pass and a deep dent readable.
func (r *Result) FullScaleUM() float64 {
	full := 30.0
	for _, m := range r.Marks {
		full = max(full, m.DepthUM)
	}
	return min(full, 1500)
}

// bent is the place of a height on the scale of colours, 0 to 1.
func bent(um, fullUM float64) float64 {
	um = math.Abs(um)
	return math.Sqrt(min(um/fullUM, 1)) * min(um/1.5, 1)
}

// The palette of a heat map: clear where the metal is fair, blue for lows, amber for highs, and the marks' outlines.
const (
	heatShades  = 126
	heatClear   = 0
	heatLow     = 1
	heatHigh    = heatLow + heatShades
	heatOutline = heatHigh + heatShades
)

var heatPalette = func() color.Palette {
	p := make(color.Palette, heatOutline+1)
	p[heatClear] = color.NRGBA{}
	for k := range heatShades {
		q := (float64(k) + 0.5) / heatShades
		p[heatLow+k], p[heatHigh+k] = heatOf(true, q), heatOf(false, q)
	}
	p[heatOutline] = color.NRGBA{255, 255, 255, 235}
	return p
}()

// heatOf is the colour of a low or a high at a place of the scale. The scale is bent by a square root so that shallow marks beside deep ones show.
func heatOf(low bool, q float64) color.NRGBA {
	alpha := uint8(math.Round(225 * min(1, 1.25*q)))
	mix := func(a, b float64) uint8 { return uint8(math.Round(a + (b-a)*q)) }
	if low {
		return color.NRGBA{mix(120, 20), mix(190, 50), mix(255, 170), alpha}
	}
	return color.NRGBA{mix(255, 200), mix(205, 60), mix(110, 0), alpha}
}

// heat maps the surface into a picture of w x h pixels. Panel places are worked out on a lattice and interpolated.
func (r *Result) heat(w, h int, scale float64) *image.Paletted {
	const step = 6
	cam := r.Frame.Camera.Scaled(scale)
	lw, lh := w/step+2, h/step+2
	lx, ly := make([]float64, lw*lh), make([]float64, lw*lh)
	rows.Do(lh, func(j0, j1 int) {
		for j := j0; j < j1; j++ {
			for i := range lw {
				ray := cam.Ray(float64(i*step), float64(j*step))
				p, zx, zy, ok := r.Calibration.Form.Hit(cam.Centre, ray)
				// Past the panel's horizon a ray meets nothing that could be seen.
				if !ok || ray.Z-zx*ray.X-zy*ray.Y > -leastGlance {
					p.X, p.Y = math.NaN(), math.NaN()
				}
				lx[j*lw+i], ly[j*lw+i] = p.X, p.Y
			}
		}
	})
	full := r.FullScaleUM()
	out := image.NewPaletted(image.Rect(0, 0, w, h), heatPalette)
	rows.Do(h, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			for x := range w {
				i, j := x/step, y/step
				a, b := (float64(x%step)+0.5)/step, (float64(y%step)+0.5)/step
				k := j*lw + i
				px := (1-b)*((1-a)*lx[k]+a*lx[k+1]) + b*((1-a)*lx[k+lw]+a*lx[k+lw+1])
				py := (1-b)*((1-a)*ly[k]+a*ly[k+1]) + b*((1-a)*ly[k+lw]+a*ly[k+lw+1])
				if v := r.Surface.At(px, py); v == v {
					c := heatHigh
					if v < 0 {
						c = heatLow
					}
					out.Pix[y*w+x] = uint8(c + min(int(bent(1000*v, full)*heatShades), heatShades-1))
				}
			}
		}
	})
	r.drawOutlines(out, scale)
	return out
}

// leastGlance is the sine of the flattest view on the metal that is drawn: at 2 degrees a pixel spans centimetres.
const leastGlance = 0.035

// drawOutlines draws the marks' outlines.
func (r *Result) drawOutlines(m *image.Paletted, scale float64) {
	for _, k := range r.Marks {
		for i := range k.OutlinePX {
			p, q := k.OutlinePX[i], k.OutlinePX[(i+1)%len(k.OutlinePX)]
			line(m, p[0]*scale, p[1]*scale, q[0]*scale, q[1]*scale, heatOutline)
		}
	}
}

func line(m *image.Paletted, x0, y0, x1, y1 float64, c uint8) {
	n := int(math.Ceil(math.Hypot(x1-x0, y1-y0) * 1.5))
	for i := 0; i <= n; i++ {
		t := float64(i) / float64(max(n, 1))
		x, y := int(x0+t*(x1-x0)), int(y0+t*(y1-y0))
		if image.Pt(x, y).In(m.Rect) {
			m.SetColorIndex(x, y, c)
		}
	}
}

// over lays the heat map on the photo.
func (p Pictures) over() *image.RGBA {
	var tint [256]struct{ r, g, b, keep uint32 } // of 255
	for k, c := range p.Heat.Palette {
		v := color.NRGBAModel.Convert(c).(color.NRGBA)
		a := uint32(v.A)
		tint[k].r, tint[k].g, tint[k].b, tint[k].keep = uint32(v.R)*a, uint32(v.G)*a, uint32(v.B)*a, 255-a
	}
	out := image.NewRGBA(p.Heat.Rect)
	for i, c := range p.Heat.Pix {
		t, g := tint[c], uint32(p.Photo.Pix[i])
		o := out.Pix[4*i : 4*i+4]
		o[0], o[1], o[2], o[3] = uint8((t.r+t.keep*g)/255), uint8((t.g+t.keep*g)/255), uint8((t.b+t.keep*g)/255), 255
	}
	return out
}
