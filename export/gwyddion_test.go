package export

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"fairmetal/surface"
	"fairmetal/texture"
)

// readGwy reads what the program made of our files (its own container format), and asks its library for the figures and a Gaussian.
const readGwy = `
import struct, sys, json, ctypes as C, numpy as np
def text(b, p):
    q = b.index(b"\0", p); return b[p:q].decode(), q + 1
def obj(b, p):
    name, p = text(b, p); end = p + 4 + struct.unpack_from("<I", b, p)[0]; p += 4; out = {}
    while p < end:
        key, p = text(b, p); t = chr(b[p]); p += 1
        if t == "o": out[key], p = obj(b, p)
        elif t == "s": out[key], p = text(b, p)
        elif t in "biqdc":
            f = "<" + {"b": "B", "c": "B", "i": "i", "q": "q", "d": "d"}[t]; out[key], = struct.unpack_from(f, b, p); p += struct.calcsize(f)
        else:
            n, = struct.unpack_from("<I", b, p); p += 4
            if t == "S":
                for _ in range(n): _, p = text(b, p)
            else:
                d = np.dtype({"D": "<f8", "I": "<i4", "C": "u1", "Q": "<i8"}[t]); out[key] = np.frombuffer(b, d, n, p); p += n * d.itemsize
    return out, p
C.CDLL("libgwyddion2.so.0", C.RTLD_GLOBAL)
lib = C.CDLL("libgwyprocess2.so.0")
lib.gwy_process_type_init()
lib.gwy_data_field_new.restype = C.c_void_p
lib.gwy_data_field_new.argtypes = [C.c_int, C.c_int, C.c_double, C.c_double, C.c_int]
lib.gwy_data_field_get_data.restype = C.POINTER(C.c_double)
lib.gwy_data_field_get_data.argtypes = [C.c_void_p]
P = C.POINTER(C.c_double)
lib.gwy_data_field_area_get_stats_mask.argtypes = [C.c_void_p, C.c_void_p] + [C.c_int] * 5 + [P] * 5
lib.gwy_data_field_area_get_min_max_mask.argtypes = [C.c_void_p, C.c_void_p] + [C.c_int] * 5 + [P] * 2
lib.gwy_data_field_get_surface_area.restype = C.c_double
lib.gwy_data_field_get_surface_area.argtypes = [C.c_void_p]
lib.gwy_data_field_filter_gaussian.argtypes = [C.c_void_p, C.c_double]
def field(c, a):
    f = lib.gwy_data_field_new(c["xres"], c["yres"], c["xreal"], c["yreal"], 0)
    np.ctypeslib.as_array(lib.gwy_data_field_get_data(f), (c["yres"], c["xres"]))[:] = a.reshape(c["yres"], c["xres"])
    return f
out = {}
for name, unit in (("x3p", 1e6), ("tif", 1.0)):
    c, _ = obj(open(name + ".gwy", "rb").read(), 4)
    d = c["/0/data"]; z = d["data"] * unit
    m = field(d, c["/0/mask"]["data"]) if "/0/mask" in c else None
    f = field(d, z)
    v = [C.c_double() for _ in range(7)]
    lib.gwy_data_field_area_get_stats_mask(f, m, 0, 0, 0, d["xres"], d["yres"], *map(C.byref, v[:5]))
    lib.gwy_data_field_area_get_min_max_mask(f, m, 0, 0, 0, d["xres"], d["yres"], *map(C.byref, v[5:]))
    _, ra, rms, skew, kurt, lo, hi = [q.value for q in v]
    o = dict(cols=d["xres"], rows=d["yres"], width=d["xreal"], masked=float(c["/0/mask"]["data"].sum()) if m else 0, sa=ra, sq=rms, ssk=skew, sku=kurt + 3, sz=hi - lo, first=z[0], last=z[-1])
    if name == "x3p":
        e = field(d, d["data"])
        o["sdr"] = 100 * (lib.gwy_data_field_get_surface_area(e) / (d["xreal"] * d["yreal"]) - 1)
        g = field(d, z)
        lib.gwy_data_field_filter_gaussian(g, float(sys.argv[1]))
        o["gauss"] = np.ctypeslib.as_array(lib.gwy_data_field_get_data(g), (d["yres"] * d["xres"],)).tolist()
    out[name] = o
json.dump(out, sys.stdout)
`

// TestGwyddion opens our X3P and TIFF in a general-purpose surface program (gwyddion) and compares its figures of ISO 25178-2 and its
// Gaussian with ours.
func TestGwyddion(t *testing.T) {
	const python = "/usr/bin/python3"
	program, err := exec.LookPath("gwyddion")
	if err != nil || exec.Command(python, "-c", `import numpy, ctypes as C; C.CDLL("libgwyddion2.so.0", C.RTLD_GLOBAL); C.CDLL("libgwyprocess2.so.0")`).Run() != nil {
		t.Skip("gwyddion or python3 with numpy is not here; ./test installs them")
	}
	s := surface.New(surface.Grid{Cols: 150, Rows: 110, PitchMM: 0.5, X0MM: -37, Y0MM: -27})
	for i := range s.Height {
		x, y := s.XY(i%s.Cols, i/s.Cols)
		s.Height[i] = float32(-0.2*math.Exp(-(x*x+y*y)/60) + 0.004*math.Sin(x/2.1+0.3*y) + 0.003*math.Cos(y/1.7) + 0.0001*x)
	}
	dir := t.TempDir()
	var x3p, tif bytes.Buffer
	if err := X3P(&x3p, s, "test", time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC)); err != nil {
		t.Fatal(err)
	}
	// The picture has a hole.
	holed := surface.New(s.Grid)
	copy(holed.Height, s.Height)
	for i := 40 * s.Cols; i < 40*s.Cols+9; i++ {
		holed.Height[i] = float32(math.NaN())
	}
	if err := TIFF(&tif, holed, "test"); err != nil {
		t.Fatal(err)
	}
	for name, b := range map[string][]byte{"x3p": x3p.Bytes(), "tif": tif.Bytes()} {
		if err := os.WriteFile(filepath.Join(dir, "s."+name), b, 0o600); err != nil {
			t.Fatal(err)
		}
		cmd := exec.Command(program, "--convert-to-gwy="+name+".gwy", "s."+name)
		cmd.Dir = dir
		cmd.Env = append(os.Environ(), "HOME="+dir)
		if out, err := cmd.CombinedOutput(); err != nil {
			t.Fatalf("%s: %v: %s", name, err, out)
		}
	}
	const cutoffMM = 6.0
	cmd := exec.Command(python, "-c", readGwy, fmt.Sprint(surface.GaussCutoff(cutoffMM)/s.PitchMM))
	cmd.Dir = dir
	var errs bytes.Buffer
	cmd.Stderr = &errs
	raw, err := cmd.Output()
	if err != nil {
		t.Fatalf("%v: %s", err, errs.String())
	}
	var got map[string]struct {
		Cols, Rows                               int
		Width, Masked, Sa, Sq, Ssk, Sku, Sz, Sdr float64
		First, Last                              float64
		Gauss                                    []float64
	}
	if err := json.Unmarshal(raw, &got); err != nil {
		t.Fatal(err)
	}
	near := func(what string, a, b, share float64) {
		t.Helper()
		if !(math.Abs(a-b) <= share*math.Abs(b)) {
			t.Errorf("%s: the program says %g, we %g", what, a, b)
		}
	}
	var whole texture.Figures
	for name, of := range map[string]*surface.Surface{"tif": holed, "x3p": s} {
		g := got[name]
		want, err := texture.Of(s.Grid, of.Height)
		if err != nil {
			t.Fatal(err)
		}
		if of == s {
			whole = want
		}
		if int(g.Masked) != s.Len()-want.Cells {
			t.Errorf("%s: %g cells without a value, want %d", name, g.Masked, s.Len()-want.Cells)
		}
		if g.Cols != s.Cols || g.Rows != s.Rows {
			t.Errorf("%s: %d x %d", name, g.Cols, g.Rows)
		}
		// Heights are 32-bit floats of millimetres or micrometres: six digits.
		near(name+" Sa", g.Sa, want.SaUM, 1e-5)
		near(name+" Sq", g.Sq, want.SqUM, 1e-5)
		near(name+" Ssk", g.Ssk, want.Ssk, 1e-5)
		near(name+" Sku", g.Sku, want.Sku, 1e-5)
		near(name+" Sz", g.Sz, want.SzUM, 1e-5)
	}
	near("width", got["x3p"].Width, float64(s.Cols)*s.PitchMM/1000, 1e-9)
	// It adds the area of four triangles a cell, we the plane through four cells: they differ by the curvature, some per cent here.
	near("Sdr", got["x3p"].Sdr, whole.SdrPC, 0.05)
	// Rows run along +y in X3P and along -y in the picture.
	near("first of x3p", got["x3p"].First, 1000*float64(s.Height[0]), 1e-5)
	near("first of tif", got["tif"].First, 1000*float64(s.Height[(s.Rows-1)*s.Cols]), 1e-5)
	smooth := surface.Gauss(s.Grid, s.Height, surface.GaussCutoff(cutoffMM))
	worst := 0.0
	for r := 15; r < s.Rows-15; r++ {
		for c := 15; c < s.Cols-15; c++ {
			worst = max(worst, math.Abs(1000*float64(smooth[r*s.Cols+c])-got["x3p"].Gauss[r*s.Cols+c]))
		}
	}
	t.Logf("Sa %.4f (%.4f), Sq %.4f (%.4f), Sz %.3f (%.3f), Sdr %.6f (%.6f), Gaussian of %.0f mm within %.4f um", whole.SaUM, got["x3p"].Sa, whole.SqUM, got["x3p"].Sq, whole.SzUM, got["x3p"].Sz, whole.SdrPC, got["x3p"].Sdr, cutoffMM, worst)
	// Ours is cut at four standard deviations, where 6e-5 of its area is lost.
	if worst > 0.02 {
		t.Errorf("the Gaussian differs by %.3f um", worst)
	}
}
