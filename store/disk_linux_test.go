package store_test

import (
	"bytes"
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"fairmetal/blob"
	"fairmetal/job"
	"fairmetal/store"
)

// smallDisk mounts a file system in memory of a size, or skips.
func smallDisk(t *testing.T, size string) string {
	t.Helper()
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size="+size); err != nil {
		t.Skipf("no small file system can be mounted here (%v): full and read-only disks were not tried", err)
	}
	t.Cleanup(func() { syscall.Unmount(dir, syscall.MNT_DETACH) })
	return dir
}

// smallShop is a workshop with one job on such a disk, and its folder.
func smallShop(t *testing.T, size string) (disk, dir string, s *store.Store, j job.Job) {
	t.Helper()
	disk = smallDisk(t, size)
	dir = filepath.Join(disk, "shop")
	s, err := store.Open(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	if j, err = s.AddJob(t.Context(), job.Job{Vehicle: "Van 12", Panel: "Roof"}); err != nil {
		t.Fatal(err)
	}
	return disk, dir, s, j
}

// TestDiskFull: what does not fit is refused in words, what was kept stays whole, and with space again the work goes on.
func TestDiskFull(t *testing.T) {
	ctx := t.Context()
	disk, dir, s, j := smallShop(t, "3m")
	defer func() { s.Close() }()
	kept := map[string]string{} // capture: hash
	photo := func(n int) []byte { return bytes.Repeat(fmt.Appendf(nil, "%08d", n), 25_000) }
	var refusal error
	for n := 0; refusal == nil; n++ {
		c, err := s.AddCapture(ctx, j.ID, "c", map[string][]byte{"u.jpg": photo(n)})
		if err == nil {
			kept[c.ID] = blob.Hash(photo(n))
		}
		refusal = err
	}
	if !strings.Contains(refusal.Error(), "free some space") || len(kept) == 0 {
		t.Errorf("%d kept, then %v", len(kept), refusal)
	}
	// The records themselves meet the full disk too.
	edits := 0
	for n := range 3000 {
		now, err := s.Job(ctx, j.ID)
		if err != nil {
			t.Fatal(err)
		}
		now.Notes = strings.Repeat(fmt.Sprint(n%10), 4000)
		if err := s.SaveJob(ctx, now); err != nil {
			break
		}
		edits++
	}
	if edits == 3000 {
		t.Error("the disk never filled up: this was no test")
	}
	check := func() {
		t.Helper()
		list, err := s.Captures(ctx, j.ID)
		if err != nil || len(list) != len(kept) {
			t.Fatalf("%d captures, %d were kept: %v", len(list), len(kept), err)
		}
		for _, c := range list {
			if data, err := s.File(ctx, c.ID, "u.jpg"); err != nil || blob.Hash(data) != kept[c.ID] {
				t.Errorf("a kept photo is lost: %v", err)
			}
		}
		if now, err := s.Job(ctx, j.ID); err != nil || now.Rev != int64(edits)+1 {
			t.Errorf("revision %d after %d edits, %v", now.Rev, edits, err)
		}
	}
	check()
	if err := syscall.Mount("tmpfs", disk, "tmpfs", syscall.MS_REMOUNT, "size=32m"); err != nil {
		t.Fatal(err)
	}
	c, err := s.AddCapture(ctx, j.ID, "c", map[string][]byte{"u.jpg": photo(999)})
	if err != nil {
		t.Fatalf("with space again: %v", err)
	}
	kept[c.ID] = blob.Hash(photo(999))
	check()
	s.Close()
	if s, err = store.Open(ctx, dir); err != nil {
		t.Fatal(err)
	}
	check()
	sound(t, dir)
}

// TestDiskFullMeasuring: results that do not fit are not booked in part, and fit once there is space.
func TestDiskFullMeasuring(t *testing.T) {
	ctx := t.Context()
	disk, dir, s, j := smallShop(t, "3m")
	defer func() { s.Close() }()
	c, err := s.AddCapture(ctx, j.ID, "c", map[string][]byte{"u.jpg": []byte("photo")})
	if err == nil {
		c, err = s.Claim(ctx, c.ID, "a", time.Minute)
	}
	if err != nil {
		t.Fatal(err)
	}
	c.State, c.Marks, c.Sizes = job.Measured, 1, []job.Size{{ID: "M1", Kind: "round"}}
	results := map[string][]byte{"a.json": []byte("{}"), "height.f32": bytes.Repeat([]byte("12345678"), 600_000)}
	held := store.Holding(ctx, "a")
	if err := s.Finish(held, c, results); !errors.Is(err, syscall.ENOSPC) || !strings.Contains(err.Error(), "free some space") {
		t.Errorf("finished on a full disk: %v", err)
	}
	look := func(state job.State, step job.Step, files int) {
		t.Helper()
		now, err := s.Capture(ctx, c.ID)
		list, err2 := s.Files(ctx, c.ID)
		at, err3 := s.Job(ctx, j.ID)
		if err := errors.Join(err, err2, err3); err != nil || now.State != state || len(list) != files || at.Step != step {
			t.Errorf("%s with %v, the job at %s, %v", now.State, list, at.Step, err)
		}
	}
	look(job.Measuring, job.Arrive, 1)
	if _, err := s.Release(ctx, c.ID, "a", "full"); err != nil {
		t.Errorf("not put back: %v", err)
	}
	look(job.Queued, job.Arrive, 1)
	if err := syscall.Mount("tmpfs", disk, "tmpfs", syscall.MS_REMOUNT, "size=32m"); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Claim(ctx, c.ID, "a", time.Minute); err != nil {
		t.Fatal(err)
	}
	if err := s.Finish(held, c, results); err != nil {
		t.Fatal(err)
	}
	look(job.Measured, job.Offer, 3)
	s.Close()
	sound(t, dir)
	if s, err = store.Open(ctx, dir); err != nil {
		t.Fatal(err)
	}
}

// TestReadOnlyUnderWay: records that take nothing any more while the workshop is open. Each kind of change is refused in words and nothing
// of it is kept; then the work goes on.
func TestReadOnlyUnderWay(t *testing.T) {
	ctx := t.Context()
	dir := t.TempDir()
	s, err := store.Open(ctx, dir)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	j, err := s.AddJob(ctx, job.Job{Vehicle: "Van 12", Panel: "Roof"})
	if err != nil {
		t.Fatal(err)
	}
	c, err := s.AddCapture(ctx, j.ID, "c", map[string][]byte{"u.jpg": []byte("photo")})
	if err != nil {
		t.Fatal(err)
	}
	done := c
	done.State, done.Marks = job.Measured, 1
	changes := map[string]func() error{
		"job":  func() error { _, err := s.AddJob(ctx, job.Job{Vehicle: "Van 13", Panel: "Door"}); return err },
		"edit": func() error { n := j; n.Notes = "x"; return s.SaveJob(ctx, n) },
		"upload": func() error {
			_, err := s.AddCapture(ctx, j.ID, "d", map[string][]byte{"v.jpg": []byte("more")})
			return err
		},
		"claim":   func() error { _, err := s.Claim(ctx, c.ID, "a", time.Minute); return err },
		"measure": func() error { return s.Finish(ctx, done, map[string][]byte{"surface.json": []byte("{}")}) },
	}
	// The driver's one connection answers as SQLite does on a disk that turned read-only.
	only := func(v int) {
		t.Helper()
		if _, err := s.Database().ExecContext(ctx, fmt.Sprintf("PRAGMA query_only = %d", v)); err != nil {
			t.Fatal(err)
		}
	}
	only(1)
	for what, change := range changes {
		if err := change(); err == nil || !strings.Contains(err.Error(), "nothing was lost") {
			t.Errorf("%s: %v", what, err)
		}
	}
	jobs, err := s.Jobs(ctx, 10)
	captures, err2 := s.Captures(ctx, j.ID)
	files, err3 := s.Files(ctx, c.ID)
	if err := errors.Join(err, err2, err3); err != nil || len(jobs) != 1 || jobs[0].Rev != j.Rev || len(captures) != 1 || captures[0].State != job.Queued || len(files) != 1 {
		t.Errorf("something was kept: %+v, %+v, %v, %v", jobs, captures, files, err)
	}
	only(0)
	for _, what := range []string{"edit", "upload", "claim", "measure", "job"} {
		if err := changes[what](); err != nil {
			t.Errorf("%s, with a sound disk again: %v", what, err)
		}
	}
	sound(t, dir)
}

// TestReadOnlyDisk: refused in words at the start and, when it turns so under way, at each change; nothing is lost.
func TestReadOnlyDisk(t *testing.T) {
	ctx := t.Context()
	disk, dir, s, j := smallShop(t, "8m")
	s.Close()
	remount := func(flags uintptr) {
		t.Helper()
		if err := syscall.Mount("tmpfs", disk, "tmpfs", syscall.MS_REMOUNT|flags, ""); err != nil {
			t.Fatal(err)
		}
	}
	remount(syscall.MS_RDONLY)
	if _, err := store.Open(ctx, dir); err == nil || !strings.Contains(err.Error(), "cannot be written") {
		t.Errorf("opened on a disk that takes nothing: %v", err)
	}
	if _, err := store.Open(ctx, filepath.Join(disk, "new")); err == nil || !strings.Contains(err.Error(), "choose another") {
		t.Errorf("made on a disk that takes nothing: %v", err)
	}
	remount(0)
	s, err := store.Open(ctx, dir)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if got, err := s.Job(ctx, j.ID); err != nil || got.Vehicle != "Van 12" {
		t.Errorf("%+v, %v", got, err)
	}
}
