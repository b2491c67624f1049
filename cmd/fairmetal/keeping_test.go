package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"fairmetal/job"
	"fairmetal/store"
)

// TestKeeping backs a workshop up while it is open, restores it, damages it, and lets doctor cure it from the backup.
func TestKeeping(t *testing.T) {
	tmp := t.TempDir()
	dir, file, fresh := filepath.Join(tmp, "shop"), filepath.Join(tmp, "b.tar"), filepath.Join(tmp, "fresh")
	s, err := store.Open(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	j, err := s.AddJob(t.Context(), job.Job{Vehicle: "Van 12", Panel: "Roof"})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Attach(t.Context(), j.ID, map[string][]byte{"flaw.jpg": []byte("a scratch")}); err != nil {
		t.Fatal(err)
	}
	words := filepath.Join(t.TempDir(), "words")
	if err := os.WriteFile(words, []byte("five words of some length\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args []string
		code int
		says string
	}{
		{[]string{"backup", "--dir", dir, "--out", file}, 0, "1 files"},
		{[]string{"backup", "--dir", dir, "--out", file}, exitFailed, "is there already"},
		{[]string{"backup", "--dir", tmp, "--out", file + "2"}, exitFailed, "there is no workshop in"},
		{[]string{"restore", file, "--dir", fresh}, 0, "every one read back"},
		{[]string{"restore", file, "--dir", fresh}, exitFailed, "not empty"},
		{[]string{"backup", "--dir", dir, "--out", file + ".age", "--passphrase-file", words}, 0, "the passphrase elsewhere"},
		{[]string{"restore", file + ".age", "--dir", fresh + "2"}, exitFailed, "give the file that holds its passphrase"},
		{[]string{"restore", file + ".age", "--dir", fresh + "2", "--passphrase-file", words}, 0, "every one read back"},
		{[]string{"doctor", "--dir", fresh}, 0, "nothing is missing"},
		{[]string{"doctor", "--dir", dir, "--clear"}, exitFailed, "open in another"},
		{[]string{"doctor", "--dir", dir, "--recompute", "nobody"}, exitFailed, "there is no capture"},
	} {
		code, out, errs := call(t, c.args...)
		if code != c.code || !strings.Contains(out+errs, c.says) {
			t.Errorf("%v: exit %d\n%s%s", c.args, code, out, errs)
		}
	}
	if err := os.RemoveAll(filepath.Join(fresh, "blobs")); err != nil {
		t.Fatal(err)
	}
	if code, out, errs := call(t, "doctor", "--dir", fresh); code != exitFailed || !strings.Contains(out, "does not answer") || !strings.Contains(errs, "losses") {
		t.Errorf("a loss is not told: %d %s %s", code, out, errs)
	}
	if code, out, errs := call(t, "doctor", "--dir", fresh, "--from", file); code != 0 || !strings.Contains(errs, "brought back") {
		t.Errorf("not cured: %d %s %s", code, out, errs)
	}
	if code, out, _ := call(t, "doctor", "--dir", fresh, "--json"); code != 0 || !strings.Contains(out, `"files": 1`) {
		t.Errorf("%d %s", code, out)
	}
}
