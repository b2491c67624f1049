// Package peer runs a general-purpose scientific library beside our own code, in tests and benchmarks only.
package peer

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

// Python runs a script with the arrays, as little-endian float64, in files of a folder that is its working directory, and returns
// what the script wrote into out.f64 and its last printed number: the seconds that the step alone took. Without the libraries the test
// is skipped.
func Python(t testing.TB, script string, arrays map[string][]float64) (out []float64, seconds float64) {
	t.Helper()
	const python = "/usr/bin/python3"
	if exec.Command(python, "-c", "import numpy, scipy, skimage").Run() != nil {
		t.Skip("python3 with numpy, scipy and skimage is not here; ./test installs it")
	}
	dir := t.TempDir()
	for name, a := range arrays {
		b := make([]byte, 8*len(a))
		for i, v := range a {
			binary.LittleEndian.PutUint64(b[8*i:], math.Float64bits(v))
		}
		if err := os.WriteFile(filepath.Join(dir, name+".f64"), b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	cmd := exec.Command(python, "-c", script)
	cmd.Dir = dir
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	text, err := cmd.Output()
	if err != nil {
		t.Fatalf("%v: %s", err, stderr.String())
	}
	if _, err := fmt.Sscan(string(text), &seconds); err != nil {
		t.Fatalf("no time in %q", text)
	}
	raw, err := os.ReadFile(filepath.Join(dir, "out.f64"))
	if err != nil {
		t.Fatal(err)
	}
	out = make([]float64, len(raw)/8)
	for i := range out {
		out[i] = math.Float64frombits(binary.LittleEndian.Uint64(raw[8*i:]))
	}
	return out, seconds
}
