package export

import (
	"bytes"
	"encoding/binary"
	"errors"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fairmetal/surface"
)

func dented() *surface.Surface {
	s := surface.New(surface.Grid{Cols: 40, Rows: 30, PitchMM: 0.5, X0MM: -10, Y0MM: -7})
	for i := range s.Height {
		x, y := s.XY(i%s.Cols, i/s.Cols)
		s.Height[i], s.Sigma[i] = float32(-0.2*math.Exp(-(x*x+y*y)/18)), 0.0007
	}
	s.Height[3], s.Sigma[3] = float32(math.NaN()), float32(math.NaN())
	return s
}

// TestX3PRoundTrip: heights come back to the last bit that a float32 of millimetres holds, the gap too.
func TestX3PRoundTrip(t *testing.T) {
	s := dented()
	var b bytes.Buffer
	if err := X3P(&b, s, "test", time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC)); err != nil {
		t.Fatal(err)
	}
	got, err := ReadX3P(b.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	if got.Cols != s.Cols || got.Rows != s.Rows || math.Abs(got.PitchMM-0.5) > 1e-12 || math.Abs(got.X0MM+10) > 1e-9 {
		t.Fatalf("grid %+v", got.Grid)
	}
	for i, h := range s.Height {
		if g := got.Height[i]; (h != h) != (g != g) || h == h && math.Abs(float64(g-h)) > 1e-8 {
			t.Fatalf("cell %d: %g, want %g", i, g, h)
		}
	}
	torn := b.Bytes()[:b.Len()/2]
	if _, err := ReadX3P(torn); !errors.Is(err, ErrX3P) {
		t.Errorf("torn: %v", err)
	}
}

func FuzzReadX3P(f *testing.F) {
	var b bytes.Buffer
	if err := X3P(&b, dented(), "seed", time.Time{}); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	f.Add([]byte("PK\x05\x06" + strings.Repeat("\x00", 18)))
	f.Fuzz(func(t *testing.T, data []byte) {
		s, err := ReadX3P(data)
		if err != nil {
			if !errors.Is(err, ErrX3P) {
				t.Errorf("an error of another kind: %v", err)
			}
			return
		}
		if len(s.Height) != s.Len() {
			t.Errorf("%d heights on %d cells", len(s.Height), s.Len())
		}
	})
}

// TestTIFF reads the tags and the floats back: sorted tags, the place of the top left cell, the top row first, NaN where nothing was measured.
func TestTIFF(t *testing.T) {
	s := dented()
	var b bytes.Buffer
	if err := TIFF(&b, s, "test"); err != nil {
		t.Fatal(err)
	}
	raw, le := b.Bytes(), binary.LittleEndian
	if string(raw[:4]) != "II*\x00" {
		t.Fatalf("starts with %q", raw[:4])
	}
	dir := int(le.Uint32(raw[4:]))
	value, last := map[int][]byte{}, 0
	size := map[uint16]int{2: 1, 3: 2, 4: 4, 12: 8}
	for k := range int(le.Uint16(raw[dir:])) {
		e := raw[dir+2+12*k:]
		tag, n := int(le.Uint16(e)), size[le.Uint16(e[2:])]*int(le.Uint32(e[4:]))
		if tag <= last {
			t.Errorf("tag %d after %d", tag, last)
		}
		last = tag
		value[tag] = e[8 : 8+min(n, 4)]
		if n > 4 {
			at := int(le.Uint32(e[8:]))
			value[tag] = raw[at : at+n]
		}
	}
	double := func(tag, k int) float64 { return math.Float64frombits(le.Uint64(value[tag][8*k:])) }
	if double(33550, 0) != 0.5 || double(33922, 3) != -10 || double(33922, 4) != -7+29*0.5 {
		t.Errorf("scale %g, tied to %g, %g", double(33550, 0), double(33922, 3), double(33922, 4))
	}
	if string(value[42113]) != "nan\x00" || le.Uint16(value[339]) != 3 || le.Uint16(value[258]) != 32 {
		t.Errorf("no data %q, sample format %v, bits %v", value[42113], value[339], value[258])
	}
	data := raw[le.Uint32(value[273]):]
	if len(data) != 4*s.Len() || int(le.Uint32(value[279])) != len(data) {
		t.Fatalf("%d bytes of cells", len(data))
	}
	for i := range s.Height {
		got, want := math.Float32frombits(le.Uint32(data[4*i:])), 1000*s.Height[(s.Rows-1-i/s.Cols)*s.Cols+i%s.Cols]
		if got != want && (got == got || want == want) {
			t.Fatalf("cell %d: %g, want %g", i, got, want)
		}
	}
}

// TestReadByNumpy reads all exports by an independent program: deepest point, number of points and faces, the X3P's own checksum.
func TestReadByNumpy(t *testing.T) {
	const python = "/usr/bin/python3"
	if exec.Command(python, "-c", "import numpy").Run() != nil {
		t.Skip("python3 with numpy is not here; ./test installs it")
	}
	s := dented()
	dir := t.TempDir()
	for name, write := range map[string]func(*bytes.Buffer) error{
		"s.csv": func(b *bytes.Buffer) error { return CSV(b, s) },
		"s.ply": func(b *bytes.Buffer) error { return PLY(b, s, 10) },
		"s.stl": func(b *bytes.Buffer) error { return STL(b, s, 10) },
		"s.x3p": func(b *bytes.Buffer) error { return X3P(b, s, "test", time.Time{}) },
	} {
		var b bytes.Buffer
		if err := write(&b); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name), b.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	cmd := exec.Command(python, "-c", `
import numpy as np, zipfile, hashlib, xml.etree.ElementTree as E
c = np.genfromtxt("s.csv", delimiter=",", names=True)
assert len(c) == 1199 and abs(c["height_um"].min() + 200) < 3, c["height_um"].min()
h, body = open("s.ply", "rb").read().split(b"end_header\n", 1)
assert b"element vertex 1199" in h and b"element face 2259" in h, h
v = np.frombuffer(body[:1199*12], "<f4").reshape(-1, 3); assert abs(v[:, 2].min() + 2) < .03
f = np.frombuffer(body[1199*12:], [("n", "u1"), ("i", "<u4", 3)]); assert (f["n"] == 3).all() and f["i"].max() == 1198
t = np.frombuffer(open("s.stl", "rb").read()[84:], [("n", "<f4", 3), ("p", "<f4", (3, 3)), ("a", "<u2")])
assert len(t) == 2259 and (t["n"][:, 2] > 0).all()
z = zipfile.ZipFile("s.x3p"); m = E.fromstring(z.read("main.xml"))
d = np.frombuffer(z.read("bindata/data.bin"), "<f8")
assert hashlib.md5(d.tobytes()).hexdigest() == m.find(".//MD5ChecksumPointData").text
assert z.read("md5checksum.hex").split()[0].decode() == hashlib.md5(z.read("main.xml")).hexdigest()
assert np.isnan(d).sum() == 1 and abs(np.nanmin(d) + 2e-4) < 3e-6
assert int(m.find(".//SizeX").text) == 40 and m.find(".//FeatureType").text == "SUR"
`)
	cmd.Dir = dir
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
}
