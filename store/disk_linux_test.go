package store_test

import (
	"bytes"
	"fmt"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

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

// TestDiskFull: what does not fit is refused in words, what was kept stays whole, and with space again the work goes on.
func TestDiskFull(t *testing.T) {
	ctx := t.Context()
	disk := smallDisk(t, "3m")
	dir := filepath.Join(disk, "shop")
	s, err := store.Open(ctx, dir)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { s.Close() }()
	j, err := s.AddJob(ctx, job.Job{Vehicle: "Van 12", Panel: "Roof"})
	if err != nil {
		t.Fatal(err)
	}
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

// TestReadOnlyDisk: refused in words at the start and, when it turns so under way, at each change; nothing is lost.
func TestReadOnlyDisk(t *testing.T) {
	ctx := t.Context()
	disk := smallDisk(t, "8m")
	dir := filepath.Join(disk, "shop")
	s, err := store.Open(ctx, dir)
	if err != nil {
		t.Fatal(err)
	}
	j, err := s.AddJob(ctx, job.Job{Vehicle: "Van 12", Panel: "Roof"})
	if err != nil {
		t.Fatal(err)
	}
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
	if s, err = store.Open(ctx, dir); err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if got, err := s.Job(ctx, j.ID); err != nil || got.Vehicle != "Van 12" {
		t.Errorf("%+v, %v", got, err)
	}
}
