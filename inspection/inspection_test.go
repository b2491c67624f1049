package inspection

import (
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"hash/crc32"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"fairmetal/mark"
	"fairmetal/register"
)

func measure(t *testing.T, dir string) *Result {
	t.Helper()
	r, err := Run(context.Background(), os.DirFS(dir), nil)
	if err != nil {
		t.Fatalf("%s: %v", dir, err)
	}
	return r
}

// TestOneDing: photos from an independent renderer; truth is 800 um.
func TestOneDing(t *testing.T) {
	r := measure(t, "testdata/one-ding")
	if len(r.Marks) != 1 || r.Marks[0].Kind != mark.Round {
		t.Fatalf("marks %+v", r.Marks)
	}
	if d := r.Marks[0].DepthUM; math.Abs(d-800) > 16 {
		t.Errorf("depth %.1f um, want 800 within 2 %%", d)
	}
	if len(r.Notices) != 0 {
		t.Errorf("notices on a sound capture: %v", r.Notices)
	}
}

// TestUndamaged: orange peel alone gives no mark.
func TestUndamaged(t *testing.T) {
	r := measure(t, "testdata/undamaged")
	if len(r.Marks) != 0 {
		t.Errorf("%d marks on an undamaged panel, first %+v", len(r.Marks), r.Marks[0])
	}
	if s := r.Quality.SpreadUM; s > 1.2 {
		t.Errorf("undamaged metal spreads by %.2f um, its orange peel has 0.8", s)
	}
}

// TestRoundTrip: what is written is what is read.
func TestRoundTrip(t *testing.T) {
	r := measure(t, "testdata/one-ding")
	files, err := r.Files()
	if err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(t.TempDir(), "result")
	if err := Save(dir, files); err != nil {
		t.Fatal(err)
	}
	s, err := Load(os.DirFS(dir))
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Marks) != 1 || s.Marks[0].DepthUM != r.Marks[0].DepthUM || s.Grid != r.Surface.Grid {
		t.Errorf("came back as %+v on %+v", s.Marks, s.Grid)
	}
	for i, h := range r.Surface.Height {
		if g := s.Surface.Height[i]; g != h && !(g != g && h != h) {
			t.Fatalf("cell %d: %v became %v", i, h, g)
		}
	}
	if !slices.Equal(s.AbsoluteMM, r.AbsoluteMM) {
		t.Error("the whole form came back changed")
	}
	if left, _ := filepath.Glob(filepath.Join(dir, "*.part")); len(left) != 0 {
		t.Errorf("left behind: %v", left)
	}
}

// TestSaveIntoNothing: a folder that cannot be written is told in words, and nothing is left.
func TestSaveIntoNothing(t *testing.T) {
	file := filepath.Join(t.TempDir(), "a-file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	err := Save(filepath.Join(file, "result"), map[string][]byte{"surface.json": []byte("{}")})
	if err == nil || !strings.Contains(err.Error(), "choose another") {
		t.Errorf("error %v", err)
	}
}

// TestTornResults: a result whose files do not fit together is refused.
func TestTornResults(t *testing.T) {
	good := `{"format":1,"grid":{"cols":3,"rows":2,"pitch_mm":0.5,"x0_mm":0,"y0_mm":0}}`
	whole := func() fstest.MapFS {
		return fstest.MapFS{"surface.json": {Data: []byte(good)}, "height.f32": {Data: make([]byte, 24)}, "sigma.f32": {Data: make([]byte, 24)}, "marks.json": {Data: []byte(`{"marks":[]}`)}}
	}
	if _, err := Load(whole()); err != nil {
		t.Fatal(err)
	}
	for name, spoil := range map[string]func(m fstest.MapFS){
		"no surface":  func(m fstest.MapFS) { delete(m, "surface.json") },
		"half height": func(m fstest.MapFS) { m["height.f32"].Data = make([]byte, 12) },
		"no sigma":    func(m fstest.MapFS) { delete(m, "sigma.f32") },
		"torn marks":  func(m fstest.MapFS) { m["marks.json"].Data = []byte(`{"marks":[`) },
		"huge grid": func(m fstest.MapFS) {
			m["surface.json"].Data = []byte(`{"format":1,"grid":{"cols":900000,"rows":900000,"pitch_mm":0.5}}`)
		},
	} {
		m := whole()
		spoil(m)
		if _, err := Load(m); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
}

// TestReferenceScenes measures the scenes beside the repository, where they are, and those that must be refused or warned about.
func TestReferenceScenes(t *testing.T) {
	root := "../../shared/scenes/s07-bad"
	if _, err := os.Stat(root); err != nil {
		t.Skip("the reference scenes are not on this machine")
	}
	want := map[string]string{
		"blurred": "blurred", "card-missing": "card B", "distance-negative": "above zero", "file-missing": "single-w.jpg is not in the folder",
		"focal-absurd": "camera values are not possible", "noise-png": "no scale cards", "not-json": "line 3", "overexposed": "clipped",
		"path-outside": "own folder", "pitch-zero": "pitch_mm must be above zero", "shifts-swapped": "do not fit together", "truncated": "single-v.jpg ends early",
		"uv-swapped": "swapped",
	}
	for name, words := range want {
		_, err := Run(context.Background(), os.DirFS(filepath.Join(root, name)), nil)
		var r *Refusal
		if !errors.As(err, &r) || !strings.Contains(err.Error(), words) {
			t.Errorf("%s: %v; want a refusal with %q", name, err, words)
		}
		if err != nil && strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: the refusal is not one line: %q", name, err)
		}
	}
	for name, code := range map[string]string{"tape-wrong": "tape", "board-half": "no-board"} {
		r := measure(t, filepath.Join(root, name))
		found := false
		for _, n := range r.Notices {
			found = found || n.Code == code && n.Severity == Warning
		}
		if !found {
			t.Errorf("%s: no warning %q among %v", name, code, r.Notices)
		}
	}
	if r := measure(t, filepath.Join(root, "orientation-6")); len(r.Marks) != 1 || math.Abs(r.Marks[0].DepthUM-800) > 16 {
		t.Errorf("orientation-6: %+v", r.Marks)
	}
	if r := measure(t, filepath.Join(root, "board-half")); strings.Contains(r.Notices[0].Advice, "left") {
		t.Errorf("board-half: %v", r.Notices)
	}
}

// TestSameFrame: the same panel from another place of camera and board, worked in between, its cards left where they lay: by the metal
// alone the move is nil, to what the cards are read with (0.02 mm; a tenth is five times that).
func TestSameFrame(t *testing.T) {
	const root = "../../shared/scenes/"
	if _, err := os.Stat(root); err != nil {
		t.Skip("the reference scenes are not on this machine")
	}
	var sides [2]register.Side
	for i, name := range []string{"s06a-pass0", "s06c-pass2"} {
		r := measure(t, root+name)
		sides[i] = register.Side{Surface: r.Surface, Marks: r.Marks}
	}
	got := register.Between(sides[0], sides[1])
	if m := got.Move; !got.Sure || got.Moved || math.Hypot(m.XMM, m.YMM) > 0.1 || math.Abs(m.TurnDeg) > 0.1 {
		t.Errorf("%+v", got)
	}
}

// TestWorseForCaptures spoils the photos of a good capture in ways that happen.
func TestWorseForCaptures(t *testing.T) {
	base := oneDing(t)
	copyOf := func() fstest.MapFS {
		m := fstest.MapFS{}
		for n, f := range base {
			m[n] = &fstest.MapFile{Data: f.Data}
		}
		return m
	}
	edit := func(m fstest.MapFS, f func(c map[string]any)) {
		var c map[string]any
		if err := json.Unmarshal(m["capture.json"].Data, &c); err != nil {
			t.Fatal(err)
		}
		f(c)
		m["capture.json"].Data, _ = json.Marshal(c)
	}
	cases := map[string]struct {
		spoil func(m fstest.MapFS)
		words string
	}{
		"empty photo":   {func(m fstest.MapFS) { m["u016-25.jpg"].Data = nil }, "u016-25.jpg is not a photo"},
		"text as photo": {func(m fstest.MapFS) { m["v016-00.jpg"].Data = []byte("hello, not a picture at all") }, "v016-00.jpg is not a photo"},
		"cut photo":     {func(m fstest.MapFS) { d := m["v128-50.jpg"].Data; m["v128-50.jpg"].Data = d[:len(d)/2] }, "v128-50.jpg ends early"},
		"huge header":   {func(m fstest.MapFS) { m["u016-00.jpg"].Data = hugePNG() }, "u016-00.jpg is 60000 x 60000"},
		"wrong pitch": {func(m fstest.MapFS) {
			edit(m, func(c map[string]any) { c["board"].(map[string]any)["distance_mm"] = 1e9 })
		}, "not possible"},
		"one direction":   {func(m fstest.MapFS) { edit(m, dropV) }, "no v stripes"},
		"other capture":   {func(m fstest.MapFS) { m["u016-50.jpg"].Data = m["v016-50.jpg"].Data }, "do not fit together"},
		"no capture.json": {func(m fstest.MapFS) { delete(m, "capture.json") }, "no capture.json"},
	}
	for name, c := range cases {
		m := copyOf()
		c.spoil(m)
		_, err := Run(context.Background(), m, nil)
		var r *Refusal
		if !errors.As(err, &r) || !strings.Contains(err.Error(), c.words) {
			t.Errorf("%s: %v; want a refusal with %q", name, err, c.words)
		}
	}
}

func dropV(c map[string]any) {
	s := c["sets"].([]any)[0].(map[string]any)
	var keep []any
	for _, f := range s["frames"].([]any) {
		if f.(map[string]any)["stripes"] == "u" {
			keep = append(keep, f)
		}
	}
	s["frames"] = keep
}

// hugePNG is the start of a PNG that claims 60000 x 60000 pixels.
func hugePNG() []byte {
	head := []byte("IHDR\x00\x00\xea\x60\x00\x00\xea\x60\x08\x02\x00\x00\x00")
	b := append([]byte("\x89PNG\r\n\x1a\n\x00\x00\x00\r"), head...)
	return binary.BigEndian.AppendUint32(b, crc32.ChecksumIEEE(head))
}

// TestCancelled: a cancelled run stops with the context's error.
func TestCancelled(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Run(ctx, os.DirFS("testdata/one-ding"), nil); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v", err)
	}
}
