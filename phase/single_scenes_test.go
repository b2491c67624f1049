package phase_test

import (
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"fairmetal/capture"
	"fairmetal/card"
	"fairmetal/mirror"
	"fairmetal/phase"
	"fairmetal/photo"
	"fairmetal/pose"
)

// scene holds what one capture of an independent renderer shows: its single photos at half size, a guide from the cards' pose, and
// the board coordinates of its shifted set, measured from the same place, to compare with.
type scene struct {
	c      capture.Capture
	single map[string]*photo.Image
	frame  map[string]capture.Frame
	ref    map[string]*phase.Field
	guide  map[string]phase.Guide
}

func load(t *testing.T, dir string) scene {
	t.Helper()
	folder := os.DirFS(dir)
	c, err := capture.ReadDir(folder)
	if err != nil {
		t.Fatal(err)
	}
	s := scene{c: c, single: map[string]*photo.Image{}, frame: map[string]capture.Frame{}, ref: map[string]*phase.Field{}, guide: map[string]phase.Guide{}}
	shots := map[string][]phase.Shot{}
	var w, h int
	var info photo.Info
	for _, set := range c.Sets {
		for _, f := range set.Frames {
			data, err := fs.ReadFile(folder, f.File)
			if err != nil {
				t.Fatal(err)
			}
			p, err := photo.Decode(data, photo.Limits{})
			if err != nil {
				t.Fatal(err)
			}
			switch set.Kind {
			case capture.Single:
				s.single[f.Stripes], s.frame[f.Stripes] = photo.Halve(p.Image), f
				w, h, info = p.W, p.H, p.EXIF
			case capture.Shifted:
				shots[f.Stripes] = append(shots[f.Stripes], phase.Shot{File: f.File, Img: p.Image, PitchMM: f.PitchMM, Shift: *f.Shift})
			}
		}
	}
	mean := photo.Average(s.single["u"], s.single["v"])
	found, err := card.Find(mean)
	if err != nil {
		t.Fatal(err)
	}
	cards := map[string]card.Card{}
	for _, k := range found {
		cards[k.Letter] = k
	}
	focal, cx, cy, err := c.Lens(w, h, info.FocalPX(w, h))
	if err != nil {
		t.Fatal(err)
	}
	fr, err := pose.FromCards(cards["A"], cards["B"], focal/2, cx/2, cy/2, mean.W, mean.H)
	if err != nil {
		t.Fatal(err)
	}
	board := mirror.Nominal(&fr.Camera, c.Board.DistanceMM)
	form := mirror.NewForm()
	for _, axis := range []string{"u", "v"} {
		s.guide[axis] = func(px, py float64) (float64, bool) {
			ray := fr.Camera.Ray(px, py)
			p, zx, zy, ok := form.Hit(fr.Camera.Centre, ray)
			if !ok {
				return 0, false
			}
			u, v, ok := board.Reflect(ray, p, zx, zy)
			if axis == "v" {
				return v, ok
			}
			return u, ok
		}
		if s.ref[axis], err = phase.Shifted(axis, shots[axis], c.Board.WidthMM); err != nil {
			t.Fatal(err)
		}
	}
	return s
}

// The field of one photo against that of sixteen, over waves longer than 6 px (1.7 mm on the panel; shorter ones are orange peel
// that a single photo samples at its edges only). The mean error stays below a twentieth of the pitch (0.6 mm of 12: 0.5 mrad,
// a micrometre over a stripe, most of it orange peel finer than a stripe), hardly a pixel lies on another stripe, and all that is compared is most of the board.
func TestSingleScenes(t *testing.T) {
	if testing.Short() {
		t.Skip("decodes 36 photos")
	}
	for _, name := range []string{"s02-hail-roof", "s05-undamaged"} {
		dir := filepath.Join("../../shared/scenes", name)
		if _, err := os.Stat(filepath.Join(dir, "capture.json")); err != nil {
			t.Skip("scenes are not here")
		}
		t.Run(name, func(t *testing.T) {
			s := load(t, dir)
			for axis, size := range map[string]float64{"u": s.c.Board.WidthMM, "v": s.c.Board.HeightMM} {
				f := s.frame[axis]
				got, err := phase.Demodulate(axis, s.single[axis], f.PitchMM, f.Profile == "square", size, s.guide[axis], nil)
				if err != nil {
					t.Fatal(err)
				}
				against(t, axis, got, s.ref[axis])
			}
		})
	}
}

func against(t *testing.T, axis string, got *phase.Single, ref *phase.Field) {
	t.Helper()
	const block = 6
	var e []float64
	whole, read := 0, 0
	for y := 0; y+block <= got.H; y += block {
	next:
		for x := 0; x+block <= got.W; x += block {
			var sum float64
			missing := false
			for j := y; j < y+block; j++ {
				for i := x; i < x+block; i++ {
					r := sample(ref, (float64(i)+0.5)*float64(ref.W)/float64(got.W), (float64(j)+0.5)*float64(ref.H)/float64(got.H))
					if r != r {
						continue next
					}
					v := float64(got.X[j*got.W+i])
					missing = missing || v != v
					sum += (v - r) / (block * block)
				}
			}
			whole++
			if !missing {
				read++
				e = append(e, sum)
			}
		}
	}
	if read == 0 {
		t.Fatalf("%s: nothing read", axis)
	}
	sorted := slices.Clone(e)
	slices.Sort(sorted)
	mid := sorted[len(sorted)/2]
	var s2 float64
	far := 0
	for _, v := range e {
		s2 += (v - mid) * (v - mid)
		if math.Abs(v-mid) > 0.35*got.PitchMM {
			far++
		}
	}
	rms := math.Sqrt(s2 / float64(len(e)))
	t.Logf("%s: %.1f %% of what the shifted set reads, rms %.3f mm, %d of %d blocks far off, sigma %.3f mm", axis, 100*float64(read)/float64(whole), rms, far, len(e), got.SigmaMM)
	if rms > got.PitchMM/20 || 5000*far > len(e) || 10*read < 8*whole {
		t.Errorf("%s: rms %.3f mm, %d of %d blocks far off, %d of %d read", axis, rms, far, len(e), read, whole)
	}
}

// sample interpolates between four pixels; NaN beside an unreadable one.
func sample(f *phase.Field, px, py float64) float64 {
	px, py = px-0.5, py-0.5
	x, y := int(math.Floor(px)), int(math.Floor(py))
	if x < 0 || y < 0 || x+1 >= f.W || y+1 >= f.H {
		return math.NaN()
	}
	a, b := px-float64(x), py-float64(y)
	i := y*f.W + x
	return (1-b)*((1-a)*float64(f.X[i])+a*float64(f.X[i+1])) + b*((1-a)*float64(f.X[i+f.W])+a*float64(f.X[i+f.W+1]))
}
