package scene

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"sync/atomic"
)

// Capture is a rendered capture: files by name, with capture.json among them, and the truth.
type Capture struct {
	Files map[string][]byte
	Truth Truth
}

// exposure is one photo to be taken.
type exposure struct {
	file    string
	stripes string // u, v or uv
	profile string
	pitch   float64
	shift   float64
	known   bool       // the shift goes into capture.json
	gain    float64    // of the exposure
	sway    [2]float64 // px by which the camera has moved
}

// samples is the number of subpixels along each side of a pixel: at two, the lens's blur hides what is left of the raster.
const samples = 2

// Render takes all photos of a Spec. progress, which may be nil, is told photos done and photos in all.
func Render(s Spec, progress func(done, total int)) (*Capture, error) {
	if err := s.check(); err != nil {
		return nil, err
	}
	halfX, halfY := s.reach()
	m := cast(s.Panel, halfX, halfY, s.Seed)
	g, err := setUp(&s, m)
	if err != nil {
		return nil, err
	}
	var shots []exposure
	rnd := rand.New(rand.NewPCG(s.Seed, 0xca3e7a))
	for _, set := range s.Sets {
		shots = append(shots, set.exposures(&s, rnd)...)
	}
	out := &Capture{Files: map[string][]byte{}}
	// Photos from one place share their tracing; a swaying camera traces anew.
	var done atomic.Int64
	for len(shots) > 0 {
		n := 1
		for n < len(shots) && shots[n].sway == shots[0].sway && n < 16 {
			n++
		}
		pics := g.expose(shots[:n])
		errs := make([]error, n)
		files := make([][]byte, n)
		parallel(n, func(i int) {
			files[i], errs[i] = g.develop(pics[i], shots[i], uint64(len(out.Files)+i))
			d := done.Add(1)
			if progress != nil {
				progress(int(d), int(d)+len(shots)-n)
			}
		})
		if err := errors.Join(errs...); err != nil {
			return nil, err
		}
		for i, f := range files {
			out.Files[shots[i].file] = f
		}
		shots = shots[n:]
	}
	if out.Files["capture.json"], err = s.document(g.taped); err != nil {
		return nil, err
	}
	out.Truth = g.truth()
	return out, nil
}

func (s *Spec) check() error {
	c := s.Camera
	switch {
	case c.W < 64 || c.H < 64 || c.W*c.H > 64_000_000:
		return fmt.Errorf("a photo of %d x %d pixels cannot be rendered; choose 64 x 64 to 64 megapixels", c.W, c.H)
	case c.FocalPX <= 0 || c.DistanceMM <= 0 || s.Board.DistanceMM <= 0:
		return errors.New("focal length and distances must be above zero")
	case len(s.Sets) == 0:
		return errors.New("name at least one set of photos")
	}
	return nil
}

// reach is how far from the origin the metal is laid out in detail: what the camera sees of it, within half a metre.
func (s *Spec) reach() (x, y float64) {
	d := s.Camera.DistanceMM / s.Camera.FocalPX
	x = min(500, 0.75*d*float64(s.Camera.W))
	y = min(500, 0.75*d*float64(s.Camera.H)/max(0.3, math.Cos(rad(s.Camera.TiltDeg))))
	return x, y
}

// exposures lists the photos of a set.
func (q Set) exposures(s *Spec, rnd *rand.Rand) []exposure {
	var out []exposure
	profile := q.Profile
	if profile == "" {
		profile = "sine"
	}
	add := func(e exposure) {
		e.profile = profile
		e.gain = 1 + s.Camera.Jitter*rnd.NormFloat64()
		if s.Camera.ShakePX > 0 {
			e.sway = [2]float64{s.Camera.ShakePX * rnd.NormFloat64(), s.Camera.ShakePX * rnd.NormFloat64()}
		}
		out = append(out, e)
	}
	switch q.Kind {
	case "shifted":
		steps := max(3, q.Steps)
		if q.Steps == 0 {
			steps = 4
		}
		for _, axis := range []string{"u", "v"} {
			for _, p := range []float64{q.FineMM, q.CoarseMM} {
				for k := range steps {
					if p > 0 {
						shift := float64(k) / float64(steps)
						add(exposure{file: fmt.Sprintf("%s%03.0f-%02.0f.jpg", axis, p, 100*shift), stripes: axis, pitch: p, shift: shift, known: true})
					}
				}
			}
		}
	case "single":
		if q.Crossed {
			add(exposure{file: "crossed.jpg", stripes: "uv", pitch: q.FineMM, shift: rnd.Float64()})
			break
		}
		for _, axis := range []string{"u", "v"} {
			add(exposure{file: "single-" + axis + ".jpg", stripes: axis, pitch: q.FineMM, shift: rnd.Float64()})
		}
	case "sweep":
		for _, axis := range []string{"u", "v"} {
			at := rnd.Float64()
			for k := range max(7, q.Frames) {
				add(exposure{file: fmt.Sprintf("sweep-%s-%02d.jpg", axis, k), stripes: axis, pitch: q.FineMM, shift: at})
				at += 0.08 + 0.16*rnd.Float64() // a hand is uneven, but goes one way
			}
		}
	}
	return out
}

// picture is one photo in linear light, before the sensor: W x H pixels of RGB.
type picture struct{ rgb []float32 }

// expose traces all subpixels and adds their light up for each photo.
func (g *rig) expose(shots []exposure) []picture {
	c := g.spec.Camera
	pics := make([]picture, len(shots))
	for i := range pics {
		pics[i].rgb = make([]float32, 3*c.W*c.H)
	}
	sway := shots[0].sway
	b := g.spec.Board
	level, contrast := orElse(b.Level, 1), orElse(b.Contrast, 0.95)
	const share = 1.0 / (samples * samples)
	lit, waves := lamps(shots)
	parallel(c.H, func(y int) {
		mirror := make([]float64, len(shots))
		sc := make([][4]float64, len(waves))
		for x := range c.W {
			var base [3]float64
			clear(mirror)
			for k := range samples * samples {
				px := float64(x) + (float64(k%samples)+0.5)/samples + sway[0]
				py := float64(y) + (float64(k/samples)+0.5)/samples + sway[1]
				s := g.look(g.ray(px, py))
				switch s.kind {
				case nothing:
					for i := range base {
						base[i] += 0.02 * share
					}
				case paper, ink:
					a := 0.82
					if s.kind == ink {
						a = 0.05
					}
					for i := range base {
						base[i] += a * s.shade * share
					}
				case cover:
					for i := range base {
						base[i] += s.albedo * s.shade * share
					}
				case paint:
					f := 1.0
					if fl := g.spec.Paint.Flake; fl > 0 {
						f += fl * flake(s.x, s.y)
					}
					for i := range base {
						base[i] += g.spec.Paint.Albedo[i] * f * s.shade * (1 - s.fresnel) * share
					}
					if s.u != s.u {
						for i := range mirror {
							mirror[i] += s.fresnel * s.room * share
						}
						break
					}
					for i, w := range waves {
						sc[i] = w.phases(s.u, s.v)
					}
					for i := range lit {
						mirror[i] += s.fresnel * level * lit[i].level(sc[lit[i].wave], contrast, b.Gamma) * share
					}
				}
			}
			for i := range pics {
				o := 3 * (y*c.W + x)
				for ch := range 3 {
					pics[i].rgb[o+ch] = float32(base[ch] + mirror[i])
				}
			}
		}
	})
	return pics
}

// lamp shades the board for one photo; photos of one pitch share the sines.
type lamp struct {
	wave     int // index of its stripes among the waves
	cos, sin float64
	square   bool
	crossed  bool
}

// wave is one pattern of stripes that some photos share.
type wave struct {
	stripes string
	k       float64 // 2 pi / pitch
}

// lamps sorts the photos by their stripes.
func lamps(shots []exposure) (all []lamp, waves []wave) {
	for _, e := range shots {
		w := wave{e.stripes, 2 * math.Pi / e.pitch}
		at := slices.Index(waves, w)
		if at < 0 {
			at = len(waves)
			waves = append(waves, w)
		}
		sin, cos := math.Sincos(2 * math.Pi * e.shift)
		all = append(all, lamp{at, cos, sin, e.profile == "square", e.stripes == "uv"})
	}
	return all, waves
}

// level is the light of the board in a photo, from the sine and cosine of the phase along its stripes (and the second direction
// of crossed ones).
func (l *lamp) level(sc [4]float64, contrast, gamma float64) float64 {
	one := func(sin, cos float64) float64 {
		w := cos*l.cos + sin*l.sin
		if l.square {
			w = math.Copysign(1, w)
		}
		return 0.5 + 0.5*contrast*w
	}
	v := one(sc[0], sc[1])
	if l.crossed {
		v = 0.5 * (v + one(sc[2], sc[3]))
	}
	if gamma != 0 && gamma != 1 {
		v = math.Pow(v, gamma)
	}
	return v
}

// phases returns sine and cosine along the stripes at (u, v).
func (w wave) phases(u, v float64) (sc [4]float64) {
	if w.stripes != "v" {
		sc[0], sc[1] = math.Sincos(w.k * u)
	}
	switch w.stripes {
	case "v":
		sc[0], sc[1] = math.Sincos(w.k * v)
	case "uv":
		sc[2], sc[3] = math.Sincos(w.k * v)
	}
	return sc
}

// flake is a fixed random number for each 0.15 mm cell of paint, mean 0, about +-1.
func flake(x, y float64) float64 {
	h := uint64(int64(math.Floor(x/0.15)))*0x9e3779b97f4a7c15 ^ uint64(int64(math.Floor(y/0.15)))*0xc2b2ae3d27d4eb4f
	h ^= h >> 29
	h *= 0xbf58476d1ce4e5b9
	h ^= h >> 32
	return 3.4 * (float64(h>>11)/(1<<53) - 0.5)
}

func orElse(v, d float64) float64 {
	if v == 0 {
		return d
	}
	return v
}
