package capture

import (
	"errors"
	"strings"
	"testing"
	"testing/fstest"
)

const good = `{"format":1,"name":"Van 07","panel":{"name":"Door","material":"steel","thickness_mm":0.7},
 "camera":{"focal_px":1294.2,"principal_px":[800,600],"size_px":[1600,1200]},
 "board":{"distance_mm":450,"width_mm":800,"height_mm":600},"cards":{"scheme":"FM1"},
 "sets":[{"kind":"single","frames":[{"file":"u.jpg","stripes":"u","profile":"square","pitch_mm":12},{"file":"v.jpg","stripes":"v","profile":"square","pitch_mm":12}]}]}`

func TestGoodCapture(t *testing.T) {
	c, err := Parse([]byte(good))
	if err != nil {
		t.Fatal(err)
	}
	back, err := c.Encode()
	if err != nil {
		t.Fatal(err)
	}
	d, err := Parse(back)
	if err != nil || d.Board != c.Board || len(d.Sets[0].Frames) != 2 || *d.Camera != *c.Camera {
		t.Errorf("came back as %+v, %v", d, err)
	}
	f, cx, cy, err := c.Lens(4032, 3024, 0)
	if err != nil || f != 1294.2*2.52 || cx != 2016 || cy != 1512 {
		t.Errorf("lens %v %v %v %v", f, cx, cy, err)
	}
	// Photos of another shape: the values do not hold, EXIF does.
	if f, _, _, err := c.Lens(3024, 4032, 3270); err != nil || f != 3270 {
		t.Errorf("turned photo: %v %v", f, err)
	}
	if _, _, _, err := c.Lens(3024, 4032, 0); err == nil {
		t.Error("a lens from nowhere")
	}
}

// One photo of crossed stripes holds both directions; other kinds of sets cannot be crossed.
func TestCrossed(t *testing.T) {
	crossed := strings.Replace(good, `{"file":"u.jpg","stripes":"u","profile":"square","pitch_mm":12},{"file":"v.jpg","stripes":"v","profile":"square","pitch_mm":12}`,
		`{"file":"uv.jpg","stripes":"uv","profile":"square","pitch_mm":12}`, 1)
	c, err := Parse([]byte(crossed))
	if err != nil || len(c.Sets[0].Frames) != 1 || c.Sets[0].Frames[0].Stripes != "uv" {
		t.Errorf("%+v, %v", c.Sets, err)
	}
	for _, kind := range []string{"shifted", "sweep"} {
		if _, err := Parse([]byte(strings.Replace(crossed, `"kind":"single"`, `"kind":"`+kind+`"`, 1))); err == nil {
			t.Errorf("a %s set of crossed stripes is accepted", kind)
		}
	}
	if _, err := Parse([]byte(strings.Replace(crossed, `"uv.jpg"`, `"../uv.jpg"`, 1))); err == nil {
		t.Error("a crossed photo outside the folder is accepted")
	}
}

func TestRefusals(t *testing.T) {
	for _, c := range []struct{ old, new, words string }{
		{`"distance_mm":450`, `"distance_mm":-5`, "above zero"}, {`"distance_mm":450`, `"distance_mm":1e7`, "not possible"}, {`"distance_mm":450`, `"distance_mm":"far"`, "board.distance_mm"},
		{`"pitch_mm":12`, `"pitch_mm":0`, "pitch_mm must be above zero"}, {`"focal_px":1294.2`, `"focal_px":1e9`, "camera values are not possible"},
		{`"file":"u.jpg"`, `"file":"../u.jpg"`, "own folder"}, {`"file":"u.jpg"`, `"file":"C:\\u.jpg"`, "own folder"}, {`"file":"u.jpg"`, `"file":"/etc/passwd"`, "own folder"},
		{`"file":"u.jpg"`, `"file":"v.jpg"`, "twice"}, {`"format":1`, `"format":7`, "format 7"}, {`"stripes":"v"`, `"stripes":"u"`, "0 photos of v stripes"},
		{`"kind":"single"`, `"kind":"shifted"`, "no shift"}, {`"kind":"single"`, `"kind":"waves"`, "not known"}, {`"kind":"single"`, `"kind":"sweep"`, "needs at least 4"},
		{`"width_mm":800`, `"width_mm":0`, "not possible"}, {`"thickness_mm":0.7`, `"thickness_mm":70`, "not possible"}, {`]}]}`, ``, "cannot be read (line"},
	} {
		_, err := Parse([]byte(strings.Replace(good, c.old, c.new, 1)))
		var e *Error
		if !errors.As(err, &e) || !strings.Contains(err.Error(), c.words) || e.Advice == "" || e.Code == "" {
			t.Errorf("%s: %v, want words %q", c.new, err, c.words)
		}
	}
}

func TestMissingPhoto(t *testing.T) {
	_, err := ReadDir(fstest.MapFS{"capture.json": {Data: []byte(good)}, "u.jpg": {Data: []byte("x")}})
	if err == nil || !strings.Contains(err.Error(), "v.jpg is not in the folder") {
		t.Errorf("%v", err)
	}
	if _, err := ReadDir(fstest.MapFS{}); err == nil {
		t.Error("an empty folder is a capture")
	}
}

func FuzzParse(f *testing.F) {
	f.Add([]byte(good))
	f.Add([]byte(`{"format":1,"board":{"distance_mm":1e308}}`))
	f.Add([]byte(strings.Repeat("[", 2000)))
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := Parse(data)
		if err != nil {
			var e *Error
			if !errors.As(err, &e) {
				t.Fatalf("an error without advice: %v", err)
			}
			return
		}
		if !(c.Board.DistanceMM > 0) || len(c.Sets) == 0 {
			t.Fatalf("accepted %+v", c)
		}
		for _, s := range c.Sets {
			for _, q := range s.Frames {
				if strings.ContainsAny(q.File, "/\\\x00") || q.File == ".." || !(q.PitchMM > 0) {
					t.Fatalf("accepted frame %+v", q)
				}
			}
		}
	})
}
