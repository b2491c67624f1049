package card

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r3"

	"fairmetal/photo"
)

// shot is a made photo of cards over stripes: everything that the fit does not know. Lengths in mm, camera at the origin,
// looking along +z, x right, y down.
type shot struct {
	w, h    int
	focal   float64
	cards   []laid
	stripes float64 // pitch in px of the stripes around, 0: plain
	square  bool
	paper   float64 // reflectance
	ink     float64
	light   [3]float64 // light = l0 + l1 x + l2 y, x and y from the middle in units of the width
	blur    float64    // px, Gaussian, besides the pixel itself
	noise   float64    // standard deviation at white, photon-like
	growth  float64    // mm by which dark modules have grown on all sides
	seed    uint64
}

// laid is a card as it lies before the camera: turned by turn in its plane, tilted by tilt about a line at azimuth, centre at
// (x, y, z).
type laid struct {
	letter              string
	side                float64
	x, y, z             float64
	turn, azimuth, tilt float64 // degrees
	radius              float64 // mm, of a panel bent about the card's x axis under it; 0: flat
}

// axes returns the card's right, up and normal (towards the camera) for camera axes right, down, forward.
func (l laid) axes() (x, y, n r3.Vec) {
	rad := math.Pi / 180
	s, c := math.Sincos(l.turn * rad)
	x, y = r3.Vec{X: c, Y: -s}, r3.Vec{X: -s, Y: -c}
	sa, ca := math.Sincos(l.azimuth * rad)
	rot := r3.NewRotation(l.tilt*rad, r3.Vec{X: ca, Y: sa})
	x, y = rot.Rotate(x), rot.Rotate(y)
	return x, y, r3.Scale(-1, r3.Cross(y, x)) // camera axes: right x down = forward
}

// corners returns the true corners of the tangent plane's symbol in px, in the order of Card.Corners.
func (s *shot) corners(l laid) (out [4][2]float64) {
	x, y, _ := l.axes()
	h := l.side / 2
	for i, k := range [4][2]float64{{-h, h}, {h, h}, {h, -h}, {-h, -h}} {
		p := r3.Add(r3.Vec{X: l.x, Y: l.y, Z: l.z}, r3.Add(r3.Scale(k[0], x), r3.Scale(k[1], y)))
		out[i] = [2]float64{float64(s.w)/2 + s.focal*p.X/p.Z, float64(s.h)/2 + s.focal*p.Y/p.Z}
	}
	return out
}

// render makes the photo by looking up what each of 5 x 5 rays a pixel meets, then blurs it and adds noise.
func (s *shot) render() *photo.Image {
	const n = 5
	img := photo.NewImage(s.w, s.h)
	type plane struct {
		l       laid
		c       r3.Vec
		x, y, n r3.Vec
		m       [][]bool
		box     [4]float64
	}
	var planes []plane
	for _, l := range s.cards {
		m, err := Symbol(l.letter, l.side)
		if err != nil {
			panic(err)
		}
		p := plane{l: l, c: r3.Vec{X: l.x, Y: l.y, Z: l.z}, m: m, box: [4]float64{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}}
		p.x, p.y, p.n = l.axes()
		big := l
		big.side *= 1.6
		for _, q := range s.corners(big) {
			p.box = [4]float64{min(p.box[0], q[0]), min(p.box[1], q[1]), max(p.box[2], q[0]), max(p.box[3], q[1])}
		}
		planes = append(planes, p)
	}
	for py := range s.h {
		for px := range s.w {
			x, y := float64(px)+0.5, float64(py)+0.5
			// Paint around: dark, with stripes.
			v := 0.02
			if s.stripes > 0 {
				c := math.Cos(2 * math.Pi * (x + 0.15*y) / s.stripes)
				if s.square {
					c = math.Copysign(1, c)
				}
				v += 0.25 * (1 + c)
			}
			for i := range planes {
				p := &planes[i]
				if x < p.box[0] || y < p.box[1] || x > p.box[2] || y > p.box[3] {
					continue
				}
				sum := 0.0
				for j := range n {
					for i := range n {
						d := r3.Vec{
							X: (float64(px) + (float64(i)+0.5)/n - float64(s.w)/2) / s.focal,
							Y: (float64(py) + (float64(j)+0.5)/n - float64(s.h)/2) / s.focal,
							Z: 1,
						}
						sum += s.seen(p.l, p.c, p.x, p.y, p.n, p.m, d, v)
					}
				}
				v = sum / n / n
			}
			l := s.light[0] + s.light[1]*(x/float64(s.w)-0.5) + s.light[2]*(y/float64(s.w)-0.5)
			img.Pix[py*s.w+px] = float32(v * l)
		}
	}
	if s.blur > 0 {
		blurImage(img, s.blur)
	}
	rng := rand.New(rand.NewPCG(s.seed, 1))
	for i, v := range img.Pix {
		f := float64(v)
		f += s.noise * math.Sqrt(max(f, 0.05)) * rng.NormFloat64()
		img.Pix[i] = float32(min(max(quantise(f), 0), 1))
	}
	return img
}

// quantise rounds to the 8-bit sRGB levels.
func quantise(v float64) float64 {
	if v <= 0 {
		return 0
	}
	e := 12.92 * v
	if v > 0.0031308 {
		e = 1.055*math.Pow(v, 1/2.4) - 0.055
	}
	return float64(srgb[int(min(max(math.Round(e*255), 0), 255))])
}

// seen returns the reflectance that a ray meets on a card, or behind beside it.
func (s *shot) seen(l laid, c, ax, ay, an r3.Vec, m [][]bool, d r3.Vec, behind float64) float64 {
	t := r3.Dot(c, an) / r3.Dot(d, an)
	q := r3.Sub(r3.Scale(t, d), c)
	a, b := r3.Dot(q, ax), r3.Dot(q, ay)
	if l.radius != 0 {
		for range 4 {
			lift := -b * b / 2 / l.radius
			t = (r3.Dot(c, an) + lift) / r3.Dot(d, an)
			q = r3.Sub(r3.Scale(t, d), c)
			a, b = r3.Dot(q, ax), r3.Dot(q, ay)
		}
	}
	mod := l.side / Modules
	if max(math.Abs(a), math.Abs(b)) > l.side/2+QuietModules*mod {
		return behind
	}
	u, v := (a+l.side/2)/mod, (l.side/2-b)/mod
	g := s.growth / mod
	for _, k := range [4][2]float64{{-g, -g}, {g, -g}, {g, g}, {-g, g}} {
		i, j := int(math.Floor(u+k[0])), int(math.Floor(v+k[1]))
		if i >= 0 && j >= 0 && i < Modules && j < Modules && m[j][i] {
			return s.ink
		}
	}
	return s.paper
}

func blurImage(img *photo.Image, sd float64) {
	r := int(math.Ceil(4 * sd))
	k := make([]float32, 2*r+1)
	var sum float32
	for i := range k {
		k[i] = float32(math.Exp(-float64((i-r)*(i-r)) / 2 / sd / sd))
		sum += k[i]
	}
	tmp := make([]float32, len(img.Pix))
	for y := range img.H {
		for x := range img.W {
			var v float32
			for i, w := range k {
				v += w * img.Pix[y*img.W+min(max(x+i-r, 0), img.W-1)]
			}
			tmp[y*img.W+x] = v / sum
		}
	}
	for y := range img.H {
		for x := range img.W {
			var v float32
			for i, w := range k {
				v += w * tmp[min(max(y+i-r, 0), img.H-1)*img.W+x]
			}
			img.Pix[y*img.W+x] = v / sum
		}
	}
}
