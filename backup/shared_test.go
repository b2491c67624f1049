package backup_test

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"fairmetal/backup"
	"fairmetal/internal/pgtest"
	"fairmetal/job"
	"fairmetal/store"
)

func TestMain(m *testing.M) {
	code := m.Run()
	pgtest.Stop()
	os.Exit(code)
}

// TestFromFolderToShared: a workshop outgrows its laptop, and goes back: the records keep their hashes over both ways.
func TestFromFolderToShared(t *testing.T) {
	ctx := t.Context()
	_, dir, j, _ := shop(t)
	want, err := backup.Sums(ctx, look(t, dir))
	if err != nil {
		t.Fatal(err)
	}
	address, blobs := pgtest.Schema(t), store.Blobs(filepath.Join(t.TempDir(), "blobs"))
	there := write(t, dir)
	if _, err := backup.RestoreShared(ctx, there, "", address, blobs, silent); err != nil {
		t.Fatal(err)
	}
	if _, err := backup.RestoreShared(ctx, there, "", address, blobs, silent); err == nil {
		t.Error("restored over a workshop in use")
	}
	s, err := store.OpenShared(ctx, address, blobs)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if got, err := s.Job(ctx, j.ID); err != nil || got.Vehicle != "Van 12" || got.FilmUM != j.FilmUM {
		t.Errorf("%+v, %v", got, err)
	}
	snap, err := store.LookShared(ctx, address)
	if err != nil {
		t.Fatal(err)
	}
	defer snap.Close()
	// What happens meanwhile is not in it.
	if _, err := s.AddJob(ctx, job.Job{Vehicle: "Van 13", Panel: "Door"}); err != nil {
		t.Fatal(err)
	}
	back := filepath.Join(t.TempDir(), "back.tar")
	if _, err := backup.Write(ctx, back, "", snap, blobs, silent); err != nil {
		t.Fatal(err)
	}
	home := filepath.Join(t.TempDir(), "home")
	if _, err := backup.Restore(ctx, back, "", home, silent); err != nil {
		t.Fatal(err)
	}
	got, err := backup.Sums(ctx, look(t, home))
	if err != nil || fmt.Sprint(got) != fmt.Sprint(want) {
		t.Errorf("the records changed on the way: %v, want %v, %v", got, want, err)
	}
}
