package card

import (
	"encoding/json"
	"image"
	"image/jpeg"
	"math"
	"os"
	"path/filepath"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"fairmetal/photo"
)

// scenesDir holds path-traced captures with exact truth, made by another renderer than ours. They are not part of the
// repository.
var scenesDir = filepath.Join("..", "..", "shared", "scenes")

func needScenes(t testing.TB) {
	t.Helper()
	if _, err := os.Stat(scenesDir); err != nil {
		t.Skip("the path-traced captures are not beside the repository")
	}
}

// srgb is the inverse of the sRGB curve, IEC 61966-2-1.
var srgb = func() (t [256]float32) {
	for i := range t {
		v := float64(i) / 255
		if v <= 0.04045 {
			v /= 12.92
		} else {
			v = math.Pow((v+0.055)/1.055, 2.4)
		}
		t[i] = float32(v)
	}
	return t
}()

// readPhoto decodes the luminance of a JPEG file into linear light.
func readPhoto(t testing.TB, file string) *photo.Image {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	m, err := jpeg.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	y := m.(*image.YCbCr)
	out := photo.NewImage(y.Rect.Dx(), y.Rect.Dy())
	for r := range out.H {
		src := y.Y[r*y.YStride:]
		dst := out.Pix[r*out.W : (r+1)*out.W]
		for x := range dst {
			dst[x] = srgb[src[x]]
		}
	}
	return out
}

// meanPhoto averages photos of one size.
func meanPhoto(t testing.TB, files []string) *photo.Image {
	t.Helper()
	var out *photo.Image
	for _, f := range files {
		m := readPhoto(t, f)
		if out == nil {
			out = photo.NewImage(m.W, m.H)
		}
		for i, v := range m.Pix {
			out.Pix[i] += v / float32(len(files))
		}
	}
	return out
}

// truth is what a scene's truth.json says of camera, cards and base form.
type truth struct {
	Camera struct {
		Centre  [3]float64 `json:"centre_mm"`
		Right   [3]float64 `json:"right"`
		Up      [3]float64 `json:"up"`
		Forward [3]float64 `json:"forward"`
		Focal   float64    `json:"focal_px"`
		Size    [2]float64 `json:"size_px"`
	} `json:"camera"`
	Cards map[string]struct {
		X     float64 `json:"x_mm"`
		Y     float64 `json:"y_mm"`
		Angle float64 `json:"angle_deg"`
		Lift  float64 `json:"lift_mm"`
	} `json:"cards"`
	Form struct {
		RX    float64 `json:"rx"`
		RY    float64 `json:"ry"`
		Twist float64 `json:"twist"`
		C30   float64 `json:"c30"`
		C03   float64 `json:"c03"`
	} `json:"base_form"`
}

func vec(a [3]float64) r3.Vec { return r3.Vec{X: a[0], Y: a[1], Z: a[2]} }

// lie is a card as it lies: centre and axes in the panel frame.
type lie struct{ c, x, y, n r3.Vec }

// lie places a card tangent to the base form z = -x²/2rx - y²/2ry - twist x y + c30 x³ + c03 y³, lifted along its normal.
func (tr *truth) lie(letter string) lie {
	k, f := tr.Cards[letter], tr.Form
	z := -k.X*k.X/2/f.RX - k.Y*k.Y/2/f.RY - f.Twist*k.X*k.Y + f.C30*k.X*k.X*k.X + f.C03*k.Y*k.Y*k.Y
	zx := -k.X/f.RX - f.Twist*k.Y + 3*f.C30*k.X*k.X
	zy := -k.Y/f.RY - f.Twist*k.X + 3*f.C03*k.Y*k.Y
	n := r3.Unit(r3.Vec{X: -zx, Y: -zy, Z: 1})
	s, c := math.Sincos(k.Angle * math.Pi / 180)
	x := r3.Vec{X: c, Y: s}
	x = r3.Unit(r3.Sub(x, r3.Scale(r3.Dot(x, n), n)))
	return lie{
		c: r3.Add(r3.Vec{X: k.X, Y: k.Y, Z: z}, r3.Scale(k.Lift, n)),
		x: x, y: r3.Cross(n, x), n: n,
	}
}

// project returns the pixel of a panel point in a photo w px wide.
func (tr *truth) project(p r3.Vec, w float64) (x, y float64) {
	d := r3.Sub(p, vec(tr.Camera.Centre))
	z := r3.Dot(d, vec(tr.Camera.Forward))
	s := w / tr.Camera.Size[0]
	x = s * (tr.Camera.Size[0]/2 + tr.Camera.Focal*r3.Dot(d, vec(tr.Camera.Right))/z)
	y = s * (tr.Camera.Size[1]/2 - tr.Camera.Focal*r3.Dot(d, vec(tr.Camera.Up))/z)
	return x, y
}

// corners returns the true corners in the order of Card.Corners.
func (tr *truth) corners(letter string, side, w float64) (out [4][2]float64) {
	l := tr.lie(letter)
	s := side / 2
	for i, k := range [4][2]float64{{-s, s}, {s, s}, {s, -s}, {-s, -s}} {
		p := r3.Add(l.c, r3.Add(r3.Scale(k[0], l.x), r3.Scale(k[1], l.y)))
		out[i][0], out[i][1] = tr.project(p, w)
	}
	return out
}

func readTruth(t testing.TB, scene string) *truth {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(scenesDir, scene, "truth", "truth.json"))
	if err != nil {
		t.Fatal(err)
	}
	var tr truth
	if err := json.Unmarshal(b, &tr); err != nil {
		t.Fatal(err)
	}
	return &tr
}

// frames lists a scene's shifted photos.
func frames(t testing.TB, dir string) []string {
	t.Helper()
	var out []string
	for _, p := range []string{"u016-*.jpg", "u128-*.jpg", "v016-*.jpg", "v128-*.jpg"} {
		m, err := filepath.Glob(filepath.Join(dir, p))
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, m...)
	}
	return out
}

// cornerErrors returns the rms and the largest distance of the corners from the truth, px.
func cornerErrors(c Card, want [4][2]float64) (rms, worst float64) {
	for i, q := range c.Corners() {
		d := math.Hypot(q[0]-want[i][0], q[1]-want[i][1])
		rms += d * d / 4
		worst = max(worst, d)
	}
	return math.Sqrt(rms), worst
}

// Both cards must be found in the mean of the shifted photos, where the stripes vanish, and in the 12 MP photos with stripes all
// around, with the corners of the true tangent plane. The renderer's edges are noisy (a few samples a pixel: 10 to 30 % of the
// contrast), which by itself moves a corner by 0.01 to 0.02 px in each coordinate.
func TestScenes(t *testing.T) {
	needScenes(t)
	const limit = 0.08 // px, rms of four corners
	for _, scene := range []string{
		"s01-single-ding", "s02-hail-roof", "s03-four-neighbours", "s04-after-repair", "s05-undamaged",
		"s06a-pass0", "s06b-pass1", "s06c-pass2",
	} {
		t.Run(scene, func(t *testing.T) {
			tr := readTruth(t, scene)
			dir := filepath.Join(scenesDir, scene)
			check := func(name string, img *photo.Image) {
				cards, err := Find(img)
				if err != nil {
					t.Fatal(err)
				}
				if len(cards) != 2 || cards[0].Letter != "A" || cards[1].Letter != "B" {
					t.Errorf("%s: found %v", name, cards)
					return
				}
				for _, c := range cards {
					rms, worst := cornerErrors(c, tr.corners(c.Letter, c.SideMM, float64(img.W)))
					t.Logf("%-8s %s module %.2f px: corners off by %.3f rms, %.3f at worst, stated %.3f px", name, c.Letter, c.ModulePX, rms, worst, c.SigmaPX)
					if rms > limit || c.SideMM != 40 {
						t.Errorf("%s: card %s of %v mm: corners off by %.3f px rms, want %.2f", name, c.Letter, c.SideMM, rms, limit)
					}
				}
			}
			check("mean", meanPhoto(t, frames(t, dir)))
			if file := filepath.Join(dir, "single-u.jpg"); exists(file) {
				check("single-u", readPhoto(t, file))
			}
		})
	}
}

func exists(file string) bool {
	_, err := os.Stat(file)
	return err == nil
}

// Spoilt captures: the cards that are there are found, and none that are not.
func TestSpoiltScenes(t *testing.T) {
	needScenes(t)
	for name, want := range map[string]string{
		"blurred": "", "card-missing": "A", "orientation-6": "AB", "board-half": "AB", "overexposed": "AB", "uv-swapped": "AB",
	} {
		files := frames(t, filepath.Join(scenesDir, "s07-bad", name))
		cards, err := Find(meanPhoto(t, files[:4]))
		if err != nil {
			t.Fatal(err)
		}
		got := ""
		for _, c := range cards {
			got += c.Letter
		}
		if got != want {
			t.Errorf("%s: found %q, want %q", name, got, want)
		}
	}
}
