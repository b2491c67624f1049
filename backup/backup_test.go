package backup_test

import (
	"archive/tar"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"fairmetal/backup"
	"fairmetal/blob"
	"fairmetal/inspection"
	"fairmetal/internal/hostile"
	"fairmetal/job"
	"fairmetal/store"
)

func silent(float64) {}

// shop makes a workshop with some of everything.
func shop(t testing.TB) (*store.Store, string, job.Job, job.Capture) {
	t.Helper()
	ctx := store.As(context.Background(), "ann")
	dir := filepath.Join(t.TempDir(), "shop")
	s, err := store.Open(ctx, dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	p, err := s.SavePerson(ctx, job.Person{Name: "A. \"Quoted\" <Person>", City: "Trün\u2028"})
	if err != nil {
		t.Fatal(err)
	}
	j, err := s.AddJob(ctx, job.Job{Vehicle: "Van 12", Panel: "Roof", PersonID: p.ID, SheetMM: 0.7, FilmUM: 1.0 / 3, Notes: "hail\nlast night \U0001F327"})
	if err != nil {
		t.Fatal(err)
	}
	c, err := s.AddCapture(ctx, j.ID, "before", map[string][]byte{"capture.json": []byte("{}"), "u.jpg": bytes.Repeat([]byte("photo"), 2000), "v.jpg": []byte("another")})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Attach(ctx, j.ID, map[string][]byte{"flaw.jpg": []byte("a scratch")}); err != nil {
		t.Fatal(err)
	}
	if err := s.SaveSetting(ctx, "house", 0, map[string]any{"name": "Fennel Yard"}); err != nil {
		t.Fatal(err)
	}
	return s, dir, j, c
}

func look(t testing.TB, dir string) *store.Snapshot {
	t.Helper()
	snap, err := store.Look(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { snap.Close() })
	return snap
}

// write backs a workshop up.
func write(t testing.TB, dir string) string {
	t.Helper()
	out := filepath.Join(t.TempDir(), "b.tar")
	snap := look(t, dir)
	defer snap.Close()
	if _, err := backup.Write(t.Context(), out, "", snap, store.Blobs(dir), silent); err != nil {
		t.Fatal(err)
	}
	return out
}

// TestUnderLoad: a backup taken while people work restores to an identical workshop: the hash of every record and of every file.
func TestUnderLoad(t *testing.T) {
	s, dir, j, _ := shop(t)
	ctx, stop := context.WithCancel(t.Context())
	var wg sync.WaitGroup
	for k := range 3 {
		wg.Go(func() {
			for n := 0; ctx.Err() == nil; n++ {
				if _, err := s.AddCapture(ctx, j.ID, "more", map[string][]byte{"u.jpg": fmt.Appendf(nil, "photo %d of %d", n, k)}); err != nil && ctx.Err() == nil {
					t.Error(err)
				}
				if a, err := s.AddJob(ctx, job.Job{Vehicle: fmt.Sprint("Van ", n), Panel: "Door"}); err == nil {
					a.Notes = "changed"
					s.SaveJob(ctx, a)
				}
			}
		})
	}
	time.Sleep(100 * time.Millisecond) // lets the load begin; nothing depends on how far it comes
	snap := look(t, dir)
	out := filepath.Join(t.TempDir(), "b.tar")
	sum, err := backup.Write(ctx, out, "", snap, store.Blobs(dir), silent)
	if err != nil {
		t.Fatal(err)
	}
	time.Sleep(50 * time.Millisecond)
	want, err := backup.Sums(ctx, snap)
	if err != nil {
		t.Fatal(err)
	}
	stop()
	wg.Wait()
	later, err := backup.Sums(t.Context(), look(t, dir))
	if err != nil {
		t.Fatal(err)
	}
	if later["captures"] == want["captures"] {
		t.Error("nothing happened meanwhile: this was no test")
	}
	fresh := filepath.Join(t.TempDir(), "restored")
	if got, err := backup.Restore(t.Context(), out, "", fresh, silent); err != nil || fmt.Sprint(got) != fmt.Sprint(sum) {
		t.Fatalf("%+v, %v", got, err)
	}
	restored := look(t, fresh)
	got, err := backup.Sums(t.Context(), restored)
	if err != nil || len(got) < 8 {
		t.Fatal(got, err)
	}
	for table, h := range want {
		if got[table] != h {
			t.Errorf("records of %s differ", table)
		}
	}
	files := 0
	restored.Uses(t.Context(), func(u store.Use) error {
		files++
		if _, err := store.Blobs(fresh).Get(t.Context(), u.Hash); err != nil {
			t.Errorf("%s: %v", u.Name, err)
		}
		return nil
	})
	if files < 4 {
		t.Errorf("%d files", files)
	}
	// And it opens and goes on.
	again, err := store.Open(t.Context(), fresh)
	if err != nil {
		t.Fatal(err)
	}
	defer again.Close()
	if _, err := again.AddJob(t.Context(), job.Job{Vehicle: "Van 1", Panel: "Door"}); err != nil {
		t.Error(err)
	}
}

// TestEncrypted: a backup with a passphrase shows nothing of the workshop, restores the same, and opens with nothing else; one whose bytes
// were changed is refused.
func TestEncrypted(t *testing.T) {
	_, dir, _, _ := shop(t)
	const pass = "five words of some length"
	out := filepath.Join(t.TempDir(), "b.tar.age")
	snap := look(t, dir)
	if _, err := backup.Write(t.Context(), out, "short", snap, store.Blobs(dir), silent); err == nil || !strings.Contains(err.Error(), "16 letters") {
		t.Errorf("a short passphrase: %v", err)
	}
	sum, err := backup.Write(t.Context(), out, pass, snap, store.Blobs(dir), silent)
	if err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	for _, text := range []string{"Van 12", "manifest.json", "photophoto", "jobs"} {
		if bytes.Contains(data, []byte(text)) {
			t.Errorf("it shows %q", text)
		}
	}
	fresh := filepath.Join(t.TempDir(), "restored")
	if _, err := backup.Restore(t.Context(), out, "", fresh, silent); !errors.Is(err, backup.ErrLocked) {
		t.Errorf("without its passphrase: %v", err)
	}
	if _, err := backup.Restore(t.Context(), out, pass+"!", fresh, silent); err == nil || !strings.Contains(err.Error(), "does not open") {
		t.Errorf("with another passphrase: %v", err)
	}
	for _, at := range []int{300, len(data) / 2, len(data) - 1} {
		bad := bytes.Clone(data)
		bad[at] ^= 1
		path := filepath.Join(t.TempDir(), "bad.tar.age")
		if err := os.WriteFile(path, bad, 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := backup.Restore(t.Context(), path, pass, fresh, silent); err == nil {
			t.Errorf("restored though byte %d was changed", at)
		}
	}
	if got, err := backup.Restore(t.Context(), out, pass, fresh, silent); err != nil || fmt.Sprint(got) != fmt.Sprint(sum) {
		t.Fatalf("%+v, %v", got, err)
	}
	want, err := backup.Sums(t.Context(), snap)
	got, err2 := backup.Sums(t.Context(), look(t, fresh))
	if err := errors.Join(err, err2); err != nil || !maps.Equal(got, want) {
		t.Errorf("the records differ: %v", err)
	}
}

// TestDamagedBackups are refused, and leave nothing behind.
func TestDamagedBackups(t *testing.T) {
	_, dir, _, _ := shop(t)
	good, err := os.ReadFile(write(t, dir))
	if err != nil {
		t.Fatal(err)
	}
	bad := filepath.Join(t.TempDir(), "bad.tar")
	fresh := filepath.Join(t.TempDir(), "fresh")
	try := func(what string, data []byte) {
		t.Helper()
		if err := os.WriteFile(bad, data, 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := backup.Restore(t.Context(), bad, "", fresh, silent); err == nil {
			t.Errorf("%s: restored", what)
			os.RemoveAll(fresh)
		}
		if left, _ := filepath.Glob(fresh + "*"); len(left) > 0 {
			t.Fatalf("%s: left behind %v", what, left)
		}
	}
	for _, share := range []int{0, 10, 50, 90} {
		try(fmt.Sprintf("cut at %d %%", share), good[:len(good)*share/100])
	}
	for _, text := range []string{"photophoto", `"Van 12"`, "a scratch", `"tables_version"`, "blobs/"} {
		i := bytes.Index(good, []byte(text))
		if i < 0 {
			t.Fatalf("%q is not in the backup", text)
		}
		flipped := append([]byte(nil), good...)
		flipped[i+2] ^= 4
		try("flipped at "+text, flipped)
	}
	for _, name := range []string{"../out", "/etc/passwd", "blobs/../../x", "records/a/b.jsonl", "records/../x.jsonl", "blobs/" + strings.Repeat("g", 64)} {
		var b bytes.Buffer
		w := tar.NewWriter(&b)
		w.WriteHeader(&tar.Header{Name: name, Size: 1, Mode: 0o600})
		w.Write([]byte("x"))
		w.Close()
		try("named "+name, b.Bytes())
	}
	// A terabyte of nothing in 3 kB, by the records for files with holes.
	var b bytes.Buffer
	w := tar.NewWriter(&b)
	w.WriteHeader(&tar.Header{Name: "records/jobs.jsonl", Size: 1, Mode: 0o600, PAXRecords: map[string]string{"GNU.xparse.size": "1099511627776", "GNU.xparse.numblocks": "1", "GNU.xparse.map": "0,1"}})
	w.Write([]byte("x"))
	w.Close()
	try("holes", bytes.ReplaceAll(b.Bytes(), []byte("GNU.xparse"), []byte("GNU.sparse")))
	if err := os.MkdirAll(fresh, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(fresh, "mine.txt"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := backup.Restore(t.Context(), write(t, dir), "", fresh, silent); err == nil || !strings.Contains(err.Error(), "not empty") {
		t.Errorf("into a folder in use: %v", err)
	}
}

// examine looks a workshop over, two days from now.
func examine(t *testing.T, dir string) backup.Report {
	t.Helper()
	snap := look(t, dir)
	defer snap.Close()
	r, err := backup.Examine(t.Context(), snap, store.Blobs(dir), time.Now().Add(48*time.Hour), silent)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// TestDoctor finds each kind of damage, brings back what a backup has and clears what is of no use.
func TestDoctor(t *testing.T) {
	s, dir, _, c := shop(t)
	out := write(t, dir)
	if r := examine(t, dir); len(r.Findings) != 0 || r.Files != 4 {
		t.Fatalf("a sound workshop: %+v", r)
	}
	hash := func(data string) string { return blob.Hash([]byte(data)) }
	d := store.Blobs(dir)
	photo := blob.Hash(bytes.Repeat([]byte("photo"), 2000))
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	must(os.Truncate(d.Path(photo), 1000))
	must(os.WriteFile(d.Path(hash("another")), []byte("anothes"), 0o600))
	must(os.Remove(d.Path(hash("a scratch"))))
	must(os.WriteFile(filepath.Join(filepath.Dir(d.Path(photo)), "new-77"), []byte("half"), 0o600))
	must(os.WriteFile(filepath.Join(dir, "blobs", "holiday.jpg"), nil, 0o600))
	if _, err := blob.Put(t.Context(), d, []byte("never booked")); err != nil {
		t.Fatal(err)
	}
	r := examine(t, dir)
	got := map[string]string{}
	for _, f := range r.Findings {
		got[f.Code] = f.Where
		if f.Text == "" || f.Advice == "" {
			t.Errorf("%s without words", f.Code)
		}
	}
	for code, where := range map[string]string{"torn": "u.jpg of files " + c.ID, "altered": "v.jpg of files " + c.ID, "missing": "flaw.jpg of attachments", "cut-off": "new-77", "spare": hash("never booked")[2:], "foreign": "holiday.jpg"} {
		if !strings.Contains(got[code], where) {
			t.Errorf("%s: %q, want %q", code, got[code], where)
		}
	}
	if len(r.Findings) != 6 || !r.Harmed() || !r.Findings[2].Harm || r.Findings[3].Harm {
		t.Errorf("%+v", r.Findings)
	}
	if _, err := s.File(t.Context(), c.ID, "u.jpg"); !errors.Is(err, blob.ErrTorn) {
		t.Errorf("a torn photo was read: %v", err)
	}
	// A backup of a damaged workshop saves the rest and says what it lacks.
	snap := look(t, dir)
	sum, err := backup.Write(t.Context(), filepath.Join(t.TempDir(), "half.tar"), "", snap, d, silent)
	if err != nil || len(sum.Damaged) != 3 || sum.Files != 1 {
		t.Errorf("backup of a damaged workshop: %+v, %v", sum, err)
	}
	if n, err := r.BringBack(t.Context(), out, "", d); n != 3 || err != nil {
		t.Errorf("brought back %d, %v", n, err)
	}
	if n, err := r.Clear(t.Context(), d); n != 2 || err != nil {
		t.Errorf("cleared %d, %v", n, err)
	}
	if r = examine(t, dir); len(r.Findings) != 1 || r.Harmed() {
		t.Errorf("after the cure: %+v", r.Findings)
	}
}

// TestTornRecords: a database file with a spoiled page is found out.
func TestTornRecords(t *testing.T) {
	s, dir, j, _ := shop(t)
	for n := range 300 {
		if _, err := s.AddJob(t.Context(), job.Job{Vehicle: fmt.Sprint("Van ", n), Panel: "Door", Notes: strings.Repeat("note ", 100)}); err != nil {
			t.Fatal(err)
		}
	}
	s.Close()
	path := filepath.Join(dir, "workshop.db")
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	at := bytes.Index(data, []byte(j.ID))
	if at < 0 || len(data) < 20*4096 {
		t.Fatal("the database looks otherwise than this test thinks")
	}
	copy(data[at/4096*4096:], make([]byte, 64))
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	snap, err := store.Look(t.Context(), dir)
	if err != nil {
		return // refused in words is as good
	}
	defer snap.Close()
	r, err := backup.Examine(t.Context(), snap, store.Blobs(dir), time.Now(), silent)
	if err == nil && !r.Harmed() {
		t.Error("a spoiled page was not noticed")
	}
}

// TestRecompute: a capture's results come out of its photos again byte for byte, and a changed result is told.
func TestRecompute(t *testing.T) {
	ctx := t.Context()
	s, dir, j, _ := shop(t)
	src := os.DirFS("../inspection/testdata/one-ding")
	photos := map[string][]byte{}
	list, err := fs.ReadDir(src, ".")
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range list {
		if !e.IsDir() {
			if photos[e.Name()], err = fs.ReadFile(src, e.Name()); err != nil {
				t.Fatal(err)
			}
		}
	}
	// The photos tell where they were taken; nothing that is made of them does.
	for n, b := range photos {
		if filepath.Ext(n) == ".jpg" {
			photos[n] = hostile.WithPlace(b)
		}
	}
	c, err := s.AddCapture(ctx, j.ID, "before", photos)
	if err != nil {
		t.Fatal(err)
	}
	res, err := inspection.Run(ctx, s.Folder(ctx, c.ID), nil)
	if err != nil {
		t.Fatal(err)
	}
	files, err := res.Files()
	if err != nil {
		t.Fatal(err)
	}
	for n, b := range files {
		if bytes.Contains(b, []byte("PLACE-OF-HOME")) || bytes.Contains(b, []byte("Exif")) {
			t.Errorf("%s tells where the photos were taken", n)
		}
	}
	finish := func() backup.Recomputed {
		c.State = job.Measured
		if err := s.Finish(ctx, c, files); err != nil {
			t.Fatal(err)
		}
		snap := look(t, dir)
		defer snap.Close()
		r, err := backup.Recompute(ctx, snap, store.Blobs(dir), c.ID, func(string, float64) {})
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	if r := finish(); len(r.Differs) != 0 || len(r.Same) != 7 || r.HeightUM != 0 || r.Program != inspection.Program || r.MarksNow != 1 {
		t.Errorf("%+v", r)
	}
	// Heights altered afterwards.
	h := append([]byte(nil), files["height.f32"]...)
	for i := 0; i < len(h); i += 4 {
		if h[i+3] == 0xbf {
			h[i+2] ^= 8
		}
	}
	files["height.f32"] = h
	if r := finish(); fmt.Sprint(r.Differs) != "[height.f32]" || r.HeightUM == 0 {
		t.Errorf("%+v", r)
	}
}
