// Package poppler looks at PDFs by an independent reader, in tests only.
package poppler

import (
	"image"
	"image/color"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

// Tool finds one of its programs or skips the test.
func Tool(t testing.TB, name string) string {
	t.Helper()
	p, err := exec.LookPath(name)
	if err != nil {
		t.Skipf("%s (package poppler-utils) is not on this machine: the pages were not checked", name)
	}
	return p
}

// Save puts a PDF into a file of the test's own.
func Save(t testing.TB, pdf []byte) string {
	t.Helper()
	p := filepath.Join(t.TempDir(), "a.pdf")
	if err := os.WriteFile(p, pdf, 0o600); err != nil {
		t.Fatal(err)
	}
	return p
}

// Page renders the first page at so many dots an inch, with further arguments of pdftoppm.
func Page(t testing.TB, pdf []byte, dpi string, more ...string) image.Image {
	t.Helper()
	p := Save(t, pdf)
	args := append([]string{"-r", dpi, "-f", "1", "-l", "1", "-png"}, more...)
	if out, err := exec.Command(Tool(t, "pdftoppm"), append(args, p, p)...).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	names, err := filepath.Glob(p + "*.png")
	if err != nil || len(names) != 1 {
		t.Fatalf("%v, %v", names, err)
	}
	f, err := os.Open(names[0])
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	m, err := png.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// Dark tells whether a pixel is nearer to black than to white.
func Dark(m image.Image, x, y int) bool {
	return color.GrayModel.Convert(m.At(x, y)).(color.Gray).Y < 128
}
