package photo

import (
	"bytes"
	"encoding/binary"
	"errors"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"fairmetal/internal/hostile"
)

// picture is a small scene with a light upper left corner.
func picture(w, h int) *image.RGBA {
	m := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			v := uint8(60 + x%40)
			if x < w/3 && y < h/4 {
				v = 230
			}
			m.Set(x, y, color.RGBA{v, v, v, 255})
		}
	}
	return m
}

func asJPEG(t testing.TB, m image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, &jpeg.Options{Quality: 95}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// withOrientation puts an EXIF segment with orientation and a 35 mm focal length of 27 into a JPEG.
func withOrientation(jpg []byte, o uint16) []byte {
	be := binary.BigEndian
	t := make([]byte, 8+2+24+4+2+12+4)
	copy(t, "MM\x00*\x00\x00\x00\x08")
	be.PutUint16(t[8:], 2)
	be.PutUint16(t[10:], 0x0112)
	be.PutUint16(t[12:], 3)
	be.PutUint32(t[14:], 1)
	be.PutUint16(t[18:], o)
	be.PutUint16(t[22:], 0x8769)
	be.PutUint16(t[24:], 4)
	be.PutUint32(t[26:], 1)
	be.PutUint32(t[30:], 38)
	be.PutUint16(t[38:], 1)
	be.PutUint16(t[40:], 0xa405)
	be.PutUint16(t[42:], 3)
	be.PutUint32(t[44:], 1)
	be.PutUint16(t[48:], 27)
	seg := append([]byte("Exif\x00\x00"), t...)
	out := append([]byte{0xff, 0xd8, 0xff, 0xe1, byte((len(seg) + 2) >> 8), byte(len(seg) + 2)}, seg...)
	return append(out, jpg[2:]...)
}

// TestSRGB: values of IEC 61966-2-1 (from memory): code 55 of 255 decodes to 0.0382, 188 to 0.5029; both curves are inverse.
func TestSRGB(t *testing.T) {
	for _, c := range []struct{ code, linear float64 }{{0, 0}, {10, 0.003035}, {55, 0.038204}, {188, 0.502886}, {255, 1}} {
		if got := Linear(c.code / 255); math.Abs(got-c.linear) > 2e-6 {
			t.Errorf("code %v decodes to %.6f, want %.6f", c.code, got, c.linear)
		}
		if back := 255 * SRGB(c.linear); math.Abs(back-c.code) > 1e-2 {
			t.Errorf("%v encodes to %.3f", c.linear, back)
		}
	}
}

// TestOrientations: the light corner ends up where JEITA CP-3451 says for each value of the tag.
func TestOrientations(t *testing.T) {
	jpg := asJPEG(t, picture(96, 64))
	// Stored upper left goes to: 1 upper left, 2 upper right, 3 lower right, 4 lower left, 5 upper left (transposed), 6 upper
	// right, 7 lower right, 8 lower left.
	for o, corner := range map[uint16][2]float64{1: {0.1, 0.1}, 2: {0.9, 0.1}, 3: {0.9, 0.9}, 4: {0.1, 0.9}, 5: {0.1, 0.1}, 6: {0.9, 0.1}, 7: {0.9, 0.9}, 8: {0.1, 0.9}} {
		p, err := Decode(withOrientation(jpg, o), Limits{})
		if err != nil {
			t.Fatal(err)
		}
		if turned := o >= 5; (p.W == 64) != turned {
			t.Errorf("orientation %d: %d x %d", o, p.W, p.H)
		}
		x, y := int(corner[0]*float64(p.W)), int(corner[1]*float64(p.H))
		if p.At(x, y) < 0.5 {
			t.Errorf("orientation %d: the light corner is not at %v", o, corner)
		}
		if p.EXIF.Orientation != int(o) || math.Abs(p.EXIF.FocalPX(4000, 3000)-27*5000/43.27) > 0.1 {
			t.Errorf("orientation %d: EXIF %+v", o, p.EXIF)
		}
	}
}

func TestPNG16AndGrey(t *testing.T) {
	m := image.NewGray16(image.Rect(0, 0, 20, 20))
	for i := range 400 {
		m.SetGray16(i%20, i/20, color.Gray16{Y: 0xbc00})
	}
	var b bytes.Buffer
	if err := png.Encode(&b, m); err != nil {
		t.Fatal(err)
	}
	p, err := Decode(b.Bytes(), Limits{})
	if err != nil || math.Abs(float64(p.At(3, 3))-Linear(float64(0xbc00)/65535)) > 1e-4 {
		t.Errorf("%v, %v", p, err)
	}
}

// TestHEIC decodes a photo made by an independent encoder.
func TestHEIC(t *testing.T) {
	tool, err := exec.LookPath("heif-enc")
	if err != nil {
		t.Skip("heif-enc (package libheif-examples) is not on this machine: HEIC was not tried")
	}
	dir := t.TempDir()
	src, dst := filepath.Join(dir, "a.jpg"), filepath.Join(dir, "a.heic")
	if err := os.WriteFile(src, asJPEG(t, picture(128, 96)), 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command(tool, src, "-o", dst).CombinedOutput(); err != nil {
		t.Skipf("heif-enc cannot encode here: %v %s", err, out)
	}
	data, err := os.ReadFile(dst)
	if err != nil {
		t.Fatal(err)
	}
	p, err := Decode(data, Limits{})
	if err != nil {
		t.Fatal(err)
	}
	if p.Format != "heic" || p.W != 128 || p.H != 96 || math.Abs(float64(p.At(10, 10))-Linear(230.0/255)) > 0.05 {
		t.Errorf("%s %d x %d, corner %.3f", p.Format, p.W, p.H, p.At(10, 10))
	}
}

// TestDamage cuts and spoils files: always an *Error, never a picture, never a crash.
func TestDamage(t *testing.T) {
	jpg := asJPEG(t, picture(200, 150))
	for i := 1; i < 10; i++ {
		_, err := Decode(jpg[:len(jpg)*i/10], Limits{})
		var e *Error
		if !errors.As(err, &e) || e.Code != "truncated" {
			t.Errorf("cut at %d0 %%: %v", i, err)
		}
	}
	head := []byte("IHDR\x00\x00\xea\x60\x00\x00\xea\x60\x08\x02\x00\x00\x00")
	bomb := binary.BigEndian.AppendUint32(append([]byte("\x89PNG\r\n\x1a\n\x00\x00\x00\r"), head...), crc32.ChecksumIEEE(head))
	for name, c := range map[string]struct {
		data []byte
		code string
	}{
		"empty": {nil, "not-image"}, "text": {[]byte("GIF89a or whatever, no photo"), "not-image"}, "bomb": {bomb, "too-large"},
		"script": {append([]byte("<svg onload=alert(1)>"), jpg...), "not-image"}, "tiny": {asJPEG(t, picture(8, 8)), "too-small"},
	} {
		_, err := Decode(c.data, Limits{})
		var e *Error
		if !errors.As(err, &e) || e.Code != c.code || e.Advice == "" {
			t.Errorf("%s: %v, want %s", name, err, c.code)
		}
	}
	if _, err := Decode(jpg, Limits{MaxBytes: 100}); err == nil {
		t.Error("the byte limit does not hold")
	}
	if _, err := Decode(jpg, Limits{MaxPixels: 1000}); err == nil {
		t.Error("the pixel limit does not hold")
	}
}

// TestSharpness: a step blurred by a known Gaussian.
func TestSharpness(t *testing.T) {
	for _, sigma := range []float64{1, 2, 4, 8} {
		m := NewImage(300, 200)
		for y := range m.H {
			for x := range m.W {
				v := 0.5 + 0.3*math.Erf((float64(x)-150)/(sigma*math.Sqrt2)) + 0.2*math.Erf((float64(y)-100)/(sigma*math.Sqrt2))
				m.Pix[y*m.W+x] = float32(v)
			}
		}
		if got := Sharpness(m); math.Abs(got/sigma-1) > 0.15 {
			t.Errorf("blur %g px judged %.2f", sigma, got)
		}
	}
}

// TestThumbnail is small, upright and keeps no metadata.
func TestThumbnail(t *testing.T) {
	thumb, err := Thumbnail(withOrientation(asJPEG(t, picture(400, 300)), 6), 100, Limits{})
	if err != nil {
		t.Fatal(err)
	}
	m, err := jpeg.Decode(bytes.NewReader(thumb))
	if err != nil || m.Bounds().Dx() != 75 || m.Bounds().Dy() != 100 {
		t.Errorf("%v, %v", m.Bounds(), err)
	}
	if bytes.Contains(thumb, []byte("Exif")) {
		t.Error("metadata is left")
	}
}

func FuzzDecode(f *testing.F) {
	f.Add(asJPEG(f, picture(32, 24)))
	f.Add(withOrientation(asJPEG(f, picture(32, 24)), 6))
	var b bytes.Buffer
	if err := png.Encode(&b, picture(24, 20)); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	f.Add([]byte{0xff, 0xd8, 0xff})
	f.Fuzz(func(t *testing.T, data []byte) {
		if Sniff(data) == "heic" {
			t.Skip("FuzzHEIC's")
		}
		decodeAny(t, data)
	})
}

// FuzzHEIC reads HEIC files, whatever their first bytes say.
func FuzzHEIC(f *testing.F) {
	for _, data := range hostile.HEICs() {
		f.Add(data)
		// The first use makes the sandbox, which may take longer than one input is given.
		if _, err := Decode(data, Limits{}); err != nil {
			f.Fatal(err)
		}
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) < 16 {
			return
		}
		copy(data[4:], "ftypheic")
		decodeAny(t, data)
	})
}

// decodeAny wants a picture or advice.
func decodeAny(t *testing.T, data []byte) {
	p, err := Decode(data, Limits{MaxPixels: 1 << 20})
	if err != nil {
		var e *Error
		if !errors.As(err, &e) {
			t.Fatalf("an error without advice: %v", err)
		}
		return
	}
	for _, v := range p.Pix {
		if !(v >= 0 && v <= 1) {
			t.Fatalf("luminance %v", v)
		}
	}
}

// FuzzEXIF reads what stands beside the picture: a TIFF structure (JEITA CP-3451) in the segment of a JPEG, the chunk of a PNG and the item
// of a HEIC. Whatever it holds, the facts stay within their bounds.
func FuzzEXIF(f *testing.F) {
	jpg := asJPEG(f, picture(32, 24))
	for _, with := range [][]byte{withOrientation(jpg, 6), hostile.WithPlace(jpg)} {
		f.Add(with[12 : 4+int(binary.BigEndian.Uint16(with[4:]))-2])
	}
	turned := hostile.HEICs()["turned"]
	at := bytes.LastIndex(turned, []byte("MM\x00*"))
	f.Add([]byte("II*\x00\xff\xff\xff\xff"))
	f.Fuzz(func(t *testing.T, tiff []byte) {
		if len(tiff) > 60_000 {
			return
		}
		seg := append([]byte("Exif\x00\x00"), tiff...)
		size := len(seg) + 2
		inJPEG := append(append([]byte{0xff, 0xd8, 0xff, 0xe1, byte(size >> 8), byte(size)}, seg...), jpg[2:]...)
		chunk := append([]byte("eXIf"), tiff...)
		inPNG := append(binary.BigEndian.AppendUint32([]byte("\x89PNG\r\n\x1a\n"), uint32(len(tiff))), chunk...)
		inPNG = binary.BigEndian.AppendUint32(inPNG, crc32.ChecksumIEEE(chunk))
		inHEIC := bytes.Clone(turned)
		copy(inHEIC[at:], tiff)
		for format, data := range map[string][]byte{"jpeg": inJPEG, "png": inPNG, "heic": inHEIC} {
			i := readInfo(data, format)
			if i.Orientation < 1 || i.Orientation > 8 || i.FocalLength35MM != 0 && !(i.FocalLength35MM > 4 && i.FocalLength35MM < 2000) {
				t.Fatalf("%s: %+v", format, i)
			}
		}
	})
}

// TestStep: a JPEG's steps follow its quality (at 50 they are those of the standard's example, 8 bits each); a PNG has none.
func TestStep(t *testing.T) {
	for _, c := range []struct {
		quality     int
		least, most float64
	}{{50, 10, 16}, {85, 3, 5}, {100, 1, 1}} {
		var b bytes.Buffer
		if err := jpeg.Encode(&b, picture(64, 48), &jpeg.Options{Quality: c.quality}); err != nil {
			t.Fatal(err)
		}
		p, err := Decode(withOrientation(b.Bytes(), 1), Limits{})
		if err != nil {
			t.Fatal(err)
		}
		if !(p.Step >= c.least && p.Step <= c.most) {
			t.Errorf("quality %d: steps of %.1f, want %.0f to %.0f", c.quality, p.Step, c.least, c.most)
		}
	}
}
