package peer

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// CalculiX runs the finite-element program on a deck and returns what it printed of nodes and elements, how many load steps it took,
// and the processor time in seconds. Without the program the test is skipped.
func CalculiX(t testing.TB, deck string) (printed string, steps int, seconds float64) {
	t.Helper()
	ccx, err := exec.LookPath("ccx")
	if err != nil {
		t.Skip("ccx is not here; ./test installs it (package calculix-ccx)")
	}
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "job.inp"), []byte(deck), 0o600); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(ccx, "job")
	cmd.Dir = dir
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out[max(0, len(out)-800):])
	}
	raw, err := os.ReadFile(filepath.Join(dir, "job.dat"))
	if err != nil {
		t.Fatal(err)
	}
	status, err := os.ReadFile(filepath.Join(dir, "job.sta"))
	if err != nil {
		t.Fatal(err)
	}
	for _, line := range strings.Split(string(status), "\n") {
		var n [4]int
		if got, _ := fmt.Sscan(line, &n[0], &n[1], &n[2], &n[3]); got == 4 {
			steps++
		}
	}
	return string(raw), steps, (cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()).Seconds()
}

// Processor is the processor time of this process so far, in seconds: on a busy machine the clock on the wall says nothing.
func Processor() float64 {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return float64(u.Utime.Sec+u.Stime.Sec) + float64(u.Utime.Usec+u.Stime.Usec)/1e6
}
