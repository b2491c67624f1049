package store_test

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"fairmetal/blob"
	"fairmetal/internal/pgtest"
	"fairmetal/job"
	"fairmetal/store"
)

// childDir names the workshop in which a process of this test works until it is killed.
const childDir = "FAIRMETAL_KILL_DIR"

func TestMain(m *testing.M) {
	if dir := os.Getenv(childDir); dir != "" {
		child(dir)
	}
	code := m.Run()
	pgtest.Stop()
	os.Exit(code)
}

// results of the made-up measuring: all or none must be there.
var resultNames = []string{"height.f32", "marks.json", "surface.json"}

// child works on a workshop with three at once, and says each change after the store said that it is kept.
func child(dir string) {
	ctx := context.Background()
	s, err := store.Open(ctx, dir)
	if err == nil {
		_, err = s.Rescue(ctx, 0)
	}
	if err != nil {
		fmt.Println("failed", err)
		os.Exit(1)
	}
	var mu sync.Mutex
	say := func(format string, args ...any) {
		mu.Lock()
		defer mu.Unlock()
		fmt.Printf(format+"\n", args...)
	}
	must := func(err error) {
		if err != nil {
			say("failed %v", err)
			os.Exit(1)
		}
	}
	seed := rand.New(rand.NewPCG(uint64(os.Getpid()), uint64(time.Now().UnixNano())))
	photo := func() []byte {
		mu.Lock()
		defer mu.Unlock()
		b := make([]byte, 1000+seed.IntN(100_000))
		for i := range b {
			b[i] = byte(seed.Uint32())
		}
		return b
	}
	j, err := s.AddJob(ctx, job.Job{Vehicle: "Van 12", Panel: "Roof", Notes: "0"})
	must(err)
	say("edit %s %d 0", j.ID, j.Rev)
	photographed, err := s.AddJob(ctx, job.Job{Vehicle: "Van 13", Panel: "Roof", Notes: "0"})
	must(err)
	queued := make(chan struct{}, 1)
	go func() {
		for {
			u, v := photo(), photo()
			c, err := s.AddCapture(ctx, photographed.ID, "more", map[string][]byte{"u.jpg": u, "v.jpg": v})
			must(err)
			say("upload %s %s %s", c.ID, blob.Hash(u), blob.Hash(v))
			select {
			case queued <- struct{}{}:
			default:
			}
		}
	}()
	go func() {
		for range queued {
			c, err := s.NextQueued(ctx)
			if err != nil {
				continue
			}
			must(s.SetProgress(ctx, c.ID, "reading the stripes", 0.5))
			c.State, c.Marks = job.Measured, 2
			c.Sizes = []job.Size{{ID: "M1", Kind: "round"}, {ID: "M2", Kind: "round"}}
			files := map[string][]byte{}
			for _, n := range resultNames {
				files[n] = photo()
			}
			must(s.Finish(ctx, c, files))
			say("finish %s", c.ID)
		}
	}()
	for n := 1; ; n++ {
		now, err := s.Job(ctx, j.ID)
		must(err)
		now.Notes = strconv.Itoa(n)
		must(s.SaveJob(ctx, now))
		say("edit %s %d %d", j.ID, now.Rev+1, n)
	}
}

// kept are the changes that a child was told are kept.
type kept struct {
	uploads map[string][]string // capture: hashes of u.jpg and v.jpg
	done    map[string]bool
	edits   map[string][2]int64 // job: revision and note
}

// TestKilled kills a working process at random moments: what it was told is kept is there, whole, and nothing half. 200 moments with
// FAIRMETAL_KILLS=200.
func TestKilled(t *testing.T) {
	moments := 20
	if v := os.Getenv("FAIRMETAL_KILLS"); v != "" {
		var err error
		if moments, err = strconv.Atoi(v); err != nil {
			t.Fatal(err)
		}
	}
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 1))
	dir := t.TempDir()
	k := kept{uploads: map[string][]string{}, done: map[string]bool{}, edits: map[string][2]int64{}}
	for range moments {
		cmd := exec.Command(os.Args[0])
		cmd.Env = append(os.Environ(), childDir+"="+dir)
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		lines := bufio.NewScanner(out)
		// At a random moment after a random number of changes: the computer may be slow.
		for n, last := 0, random.IntN(30); lines.Scan(); n++ {
			k.hear(t, lines.Text())
			if n == last {
				time.AfterFunc(time.Duration(random.IntN(30_000))*time.Microsecond, func() { cmd.Process.Kill() })
			}
		}
		cmd.Wait() // killed
		k.verify(t, dir)
		if t.Failed() {
			return
		}
	}
	t.Logf("%d uploads, %d measurements, edits of %d jobs were kept over %d kills", len(k.uploads), len(k.done), len(k.edits), moments)
	if len(k.uploads) < moments/2 || len(k.done) == 0 || len(k.edits) < moments/2 {
		t.Error("hardly anything was done before the kills: this was no test")
	}
}

func (k *kept) hear(t *testing.T, line string) {
	f := strings.Fields(line)
	switch {
	case len(f) == 4 && f[0] == "upload":
		k.uploads[f[1]] = f[2:]
	case len(f) == 2 && f[0] == "finish":
		k.done[f[1]] = true
	case len(f) == 4 && f[0] == "edit":
		rev, _ := strconv.ParseInt(f[2], 10, 64)
		note, _ := strconv.ParseInt(f[3], 10, 64)
		k.edits[f[1]] = [2]int64{rev, note}
	case len(f) > 0 && f[0] == "failed":
		t.Errorf("the child %s", line)
	}
}

// verify opens the workshop as the next start would, and compares.
func (k *kept) verify(t *testing.T, dir string) {
	t.Helper()
	ctx := t.Context()
	s, err := store.Open(ctx, dir)
	if err != nil {
		t.Fatalf("it does not start again: %v", err)
	}
	defer s.Close()
	for id, hashes := range k.uploads {
		for i, n := range []string{"u.jpg", "v.jpg"} {
			data, err := s.File(ctx, id, n)
			if err != nil || blob.Hash(data) != hashes[i] {
				t.Errorf("an acknowledged photo is lost: %s of %s, %v", n, id, err)
			}
		}
	}
	for id, want := range k.edits {
		j, err := s.Job(ctx, id)
		note, convErr := strconv.ParseInt(j.Notes, 10, 64)
		// One more edit may have been kept and not told.
		if err != nil || convErr != nil || j.Rev < want[0] || j.Rev > want[0]+1 || note-want[1] != j.Rev-want[0] {
			t.Errorf("an acknowledged edit is lost: revision %d, note %q, told %v, %v", j.Rev, j.Notes, want, err)
		}
	}
	jobs, err := s.Jobs(ctx, 10_000)
	if err != nil {
		t.Fatal(err)
	}
	for _, j := range jobs {
		list, err := s.Captures(ctx, j.ID)
		if err != nil {
			t.Fatal(err)
		}
		if some := slices.ContainsFunc(list, func(c job.Capture) bool { return c.State == job.Measured }); some != (j.Step == job.Offer) {
			t.Errorf("half a state: a job stands at %s, measured %v", j.Step, some)
		}
		for _, c := range list {
			files, err := s.Files(ctx, c.ID)
			if err != nil {
				t.Fatal(err)
			}
			sizes, err := s.Sizes(ctx, c.ID)
			if err != nil {
				t.Fatal(err)
			}
			want := "u.jpg v.jpg"
			if c.State == job.Measured {
				want = strings.Join(append(resultNames, "u.jpg", "v.jpg"), " ")
			}
			if got := strings.Join(files, " "); got != want || (c.State == job.Measured) != (len(sizes) == 2) {
				t.Errorf("half a state: a capture %s has %s and %d sizes", c.State, got, len(sizes))
			}
			if k.done[c.ID] && c.State != job.Measured {
				t.Errorf("an acknowledged measurement is lost: %s is %s", c.ID, c.State)
			}
		}
	}
	sound(t, dir)
}

// sound looks at the records and at every blob that they name.
func sound(t *testing.T, dir string) {
	t.Helper()
	snap, err := store.Look(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	defer snap.Close()
	if faults, err := snap.Faults(t.Context()); err != nil || len(faults) > 0 {
		t.Errorf("the records are damaged: %v, %v", faults, err)
	}
	err = snap.Uses(t.Context(), func(u store.Use) error {
		if _, err := store.Blobs(dir).Get(t.Context(), u.Hash); err != nil {
			return fmt.Errorf("%s: %w", u.Name, err)
		}
		return nil
	})
	if err != nil {
		t.Error(err)
	}
}

func copyDir(t *testing.T, from, to string) {
	t.Helper()
	if err := os.CopyFS(to, os.DirFS(from)); err != nil {
		t.Fatal(err)
	}
}

// TestPowerCut models a power cut: whatever was synced is there, and of what was written after the last sync any part may be, torn at
// any byte. The log of the records is cut there, and filled up with what else the disk held.
func TestPowerCut(t *testing.T) {
	ctx := t.Context()
	random := rand.New(rand.NewPCG(7, 7))
	dir := filepath.Join(t.TempDir(), "shop")
	s, err := store.Open(ctx, dir)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	j, err := s.AddJob(ctx, job.Job{Vehicle: "Van 12", Panel: "Roof", Notes: "0"})
	if err != nil {
		t.Fatal(err)
	}
	change := func(n int) {
		j, err = s.Job(ctx, j.ID)
		if err == nil {
			j.Notes = strconv.Itoa(n)
			err = s.SaveJob(ctx, j)
		}
		if err == nil {
			_, err = s.AddCapture(ctx, j.ID, "c", map[string][]byte{"u.jpg": fmt.Appendf(nil, "photo %d", n)})
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	for n := 1; n <= 10; n++ {
		change(n)
	}
	wal := filepath.Join(dir, "workshop.db-wal")
	synced, err := os.Stat(wal)
	if err != nil {
		t.Fatal(err)
	}
	for n := 11; n <= 14; n++ {
		change(n)
	}
	all, err := os.ReadFile(wal)
	if err != nil || int64(len(all)) <= synced.Size() {
		t.Fatalf("the log did not grow: %d, %v", len(all), err)
	}
	told := map[int]bool{}
	for k := range 40 {
		cut := int(synced.Size()) + random.IntN(len(all)-int(synced.Size()))
		torn := bytes.Clone(all[:cut])
		if k%2 == 1 { // the rest holds other bytes
			rest := make([]byte, len(all)-cut)
			for i := range rest {
				rest[i] = byte(random.Uint32())
			}
			torn = append(torn, rest...)
		}
		again := filepath.Join(t.TempDir(), "again")
		copyDir(t, dir, again)
		if err := os.WriteFile(filepath.Join(again, "workshop.db-wal"), torn, 0o600); err != nil {
			t.Fatal(err)
		}
		os.Remove(filepath.Join(again, "workshop.db-shm")) // lives in memory
		r, err := store.Open(ctx, again)
		if err != nil {
			t.Fatalf("cut at %d: %v", cut, err)
		}
		got, err := r.Job(ctx, j.ID)
		captures, err2 := r.Captures(ctx, j.ID)
		r.Close()
		n, _ := strconv.Atoi(got.Notes)
		if err != nil || err2 != nil || n < 10 || len(captures) != n && len(captures) != n-1 {
			t.Fatalf("cut at %d of %d (synced %d): note %q, %d captures, %v %v", cut, len(all), synced.Size(), got.Notes, len(captures), err, err2)
		}
		told[n] = true
		sound(t, again)
	}
	if len(told) < 3 {
		t.Errorf("all cuts came out the same: %v", told)
	}
}
