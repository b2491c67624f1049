package main

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"fairmetal/mark"
	"fairmetal/plan"
	"fairmetal/quote"
	"fairmetal/surface"
)

const ding = "../../inspection/testdata/one-ding"

// call runs the command line as a shell would.
func call(t *testing.T, args ...string) (code int, out, errs string) {
	t.Helper()
	var o, e bytes.Buffer
	code = run(args, streams{&o, &e})
	return code, o.String(), e.String()
}

// TestMainJob is the contract that outside checks use: measure, plan, quote, compare, their files and exit codes.
func TestMainJob(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "result")
	if code, out, errs := call(t, "measure", ding, "--out", dir); code != 0 || !strings.Contains(out, "round") {
		t.Fatalf("measure: %d\n%s\n%s", code, out, errs)
	}
	var s struct {
		Grid surface.Grid `json:"grid"`
	}
	read(t, filepath.Join(dir, "surface.json"), &s)
	raw, err := os.ReadFile(filepath.Join(dir, "height.f32"))
	if err != nil || len(raw) != 4*s.Grid.Len() {
		t.Fatalf("height.f32: %v, %d bytes for %d cells", err, len(raw), s.Grid.Len())
	}
	lowest := 0.0
	for i := 0; i < len(raw); i += 4 {
		lowest = math.Min(lowest, float64(math.Float32frombits(binary.LittleEndian.Uint32(raw[i:]))))
	}
	if math.Abs(lowest+0.8) > 0.016 {
		t.Errorf("the lowest cell lies at %.4f mm, want -0.800 within 2 %%", lowest)
	}
	var m struct {
		Marks []mark.Mark `json:"marks"`
	}
	read(t, filepath.Join(dir, "marks.json"), &m)
	if len(m.Marks) != 1 {
		t.Errorf("%d marks", len(m.Marks))
	}
	for _, f := range []string{"overlay.png", "heat.png", "photo.jpg", "sigma.f32"} {
		if st, err := os.Stat(filepath.Join(dir, f)); err != nil || st.Size() == 0 {
			t.Errorf("%s: %v", f, err)
		}
	}
	var p plan.Plan
	if code, out, errs := call(t, "plan", dir, "--json"); code != 0 || json.Unmarshal([]byte(out), &p) != nil || p.Forecast.Hits == 0 {
		t.Errorf("plan: %d %s", code, errs)
	}
	if code, out, errs := call(t, "plan", dir, "--material", "aluminium", "--film", "900"); code != 0 || !strings.Contains(out, "without paint: no") {
		t.Errorf("plan on filler: %d %s %s", code, out, errs)
	}
	var q quote.Quote
	if code, out, errs := call(t, "quote", dir, "--json"); code != 0 || json.Unmarshal([]byte(out), &q) != nil || q.TotalMinor == 0 {
		t.Errorf("quote: %d %s", code, errs)
	}
	pdf, err := os.ReadFile(filepath.Join(dir, "quote.pdf"))
	if err != nil || !bytes.HasPrefix(pdf, []byte("%PDF-")) {
		t.Errorf("quote.pdf: %v", err)
	}
	if code, out, _ := call(t, "compare", dir, dir); code != 0 || !strings.Contains(out, "unchanged") {
		t.Errorf("compare: %d %s", code, out)
	}
}

func read(t *testing.T, path string, v any) {
	t.Helper()
	b, err := os.ReadFile(path)
	if err == nil {
		err = json.Unmarshal(b, v)
	}
	if err != nil {
		t.Fatal(err)
	}
}

// TestRefusalsExitTwo with one line that says why and what to do, and write nothing.
func TestRefusalsExitTwo(t *testing.T) {
	empty := t.TempDir()
	out := filepath.Join(t.TempDir(), "out")
	for _, args := range [][]string{{"measure", empty, "--out", out}, {"measure", ding, "--twin", empty, "--out", out}, {"plan", empty}, {"quote", empty}, {"board", "--pitch", "0", "--out", filepath.Join(empty, "b.pdf")}, {"card", "--side", "5", "--out", filepath.Join(empty, "c.pdf")}, {"measure"}, {"nonsense"}} {
		code, _, errs := call(t, args...)
		if code != exitRefused {
			t.Errorf("%v: exit %d, %q", args, code, errs)
		}
		if strings.TrimSpace(errs) == "" {
			t.Errorf("%v says nothing", args)
		}
	}
	if _, err := os.Stat(out); err == nil {
		t.Error("a refused capture left a folder")
	}
	if code, _, errs := call(t, "measure", empty, "--out", out); code != exitRefused || strings.Count(strings.TrimSpace(errs), "\n") != 0 {
		t.Errorf("the refusal is not one line: %q", errs)
	}
}

// TestPrints writes both kinds of PDF.
func TestPrints(t *testing.T) {
	dir := t.TempDir()
	for _, args := range [][]string{{"card", "--out", filepath.Join(dir, "c.pdf")}, {"board", "--width", "300", "--height", "200", "--out", filepath.Join(dir, "b.pdf")}} {
		if code, _, errs := call(t, args...); code != 0 {
			t.Errorf("%v: %s", args, errs)
		}
	}
	for _, f := range []string{"c.pdf", "b.pdf"} {
		if b, err := os.ReadFile(filepath.Join(dir, f)); err != nil || !bytes.HasPrefix(b, []byte("%PDF-")) {
			t.Errorf("%s: %v", f, err)
		}
	}
}

// TestScoreTable scores a scene that the refusals' words are expected of, given by its folder and by a link to it.
func TestScoreTable(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "capture.json"), []byte(`{"format":`), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "expected.json"), []byte(`{"expect":"refuse: capture.json cannot be read"}`), 0o600); err != nil {
		t.Fatal(err)
	}
	link := filepath.Join(t.TempDir(), "link")
	if err := os.Symlink(dir, link); err != nil {
		t.Skip(err)
	}
	for _, path := range []string{dir, link} {
		code, out, errs := call(t, "score", path)
		if code != 0 || !strings.Contains(out, "refused:  capture.json cannot be read (line 1)") {
			t.Errorf("%s: %d %s %s", path, code, out, errs)
		}
	}
}
