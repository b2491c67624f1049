package store

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"

	"fairmetal/blob"
	"fairmetal/internal/pgtest"
	"fairmetal/job"
)

func open(t *testing.T, dir string) *Store {
	t.Helper()
	s, err := Open(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

// both runs a test on either engine: an empty folder, and an empty schema of a PostgreSQL server.
func both(t *testing.T, test func(t *testing.T, s *Store)) {
	t.Run("folder", func(t *testing.T) { test(t, open(t, t.TempDir())) })
	t.Run("shared", func(t *testing.T) {
		s, err := OpenShared(t.Context(), pgtest.Schema(t), Blobs(t.TempDir()))
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { s.Close() })
		test(t, s)
	})
}

func TestJobsAndCaptures(t *testing.T) {
	ctx := t.Context()
	dir := t.TempDir()
	s := open(t, dir)
	j, err := s.AddJob(ctx, job.Job{Vehicle: " Van 12 ", Panel: "Roof"})
	if err != nil || j.Number != 1 || j.Vehicle != "Van 12" || j.Step != job.Arrive {
		t.Fatalf("%+v, %v", j, err)
	}
	c, err := s.AddCapture(ctx, j.ID, "before", map[string][]byte{"capture.json": []byte("{}"), "u.jpg": []byte("photo")})
	if err != nil {
		t.Fatal(err)
	}
	if n, err := s.NextQueued(ctx); err != nil || n.ID != c.ID {
		t.Fatalf("%+v, %v", n, err)
	}
	if err := s.SetProgress(ctx, c.ID, "decoding", 0.3); err != nil {
		t.Fatal(err)
	}
	if _, err := s.NextQueued(ctx); !errors.Is(err, ErrNotFound) {
		t.Fatalf("a capture under way is queued: %v", err)
	}
	// A new process takes up what was cut off.
	s.Close()
	s = open(t, dir)
	if _, err := s.Rescue(ctx, 0); err != nil {
		t.Fatal(err)
	}
	if n, err := s.NextQueued(ctx); err != nil || n.ID != c.ID {
		t.Fatalf("%+v, %v", n, err)
	}
	c.State, c.Marks, c.DeepUM = job.Measured, 3, 410
	if err := s.Finish(ctx, c, map[string][]byte{"surface.json": []byte(`{"a":1}`)}); err != nil {
		t.Fatal(err)
	}
	got, err := s.Capture(ctx, c.ID)
	if err != nil || got.State != job.Measured || got.Marks != 3 || got.Progress != 1 {
		t.Errorf("%+v, %v", got, err)
	}
	data, err := fs.ReadFile(s.Folder(ctx, c.ID), "u.jpg")
	if err != nil || string(data) != "photo" {
		t.Errorf("%q, %v", data, err)
	}
	if _, err := fs.ReadFile(s.Folder(ctx, c.ID), "../workshop.db"); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a way out of the folder: %v", err)
	}
}

func TestRefusals(t *testing.T) { both(t, testRefusals) }

func testRefusals(t *testing.T, s *Store) {
	ctx := t.Context()
	var f *job.FieldError
	if _, err := s.AddJob(ctx, job.Job{Panel: "Roof"}); !errors.As(err, &f) || f.Field != "vehicle" {
		t.Errorf("a job without a vehicle: %v", err)
	}
	if _, err := s.AddCapture(ctx, "nobody", "x", nil); !errors.Is(err, ErrNotFound) {
		t.Errorf("a capture without a job: %v", err)
	}
	if err := s.SaveJob(ctx, job.Job{ID: "nobody", Vehicle: "v", Panel: "p"}); !errors.Is(err, ErrNotFound) {
		t.Errorf("saving nothing: %v", err)
	}
}

// TestSecondProcessIsRefused in plain words.
func TestSecondProcessIsRefused(t *testing.T) {
	dir := t.TempDir()
	open(t, dir)
	if s, err := Open(t.Context(), dir); !errors.Is(err, ErrHeld) {
		if s != nil {
			s.Close()
		}
		t.Errorf("a second store on the same folder: %v", err)
	}
}

// TestTornBlob is noticed when it is read.
func TestTornBlob(t *testing.T) {
	ctx := t.Context()
	dir := t.TempDir()
	s := open(t, dir)
	j, err := s.AddJob(ctx, job.Job{Vehicle: "Van", Panel: "Door"})
	if err != nil {
		t.Fatal(err)
	}
	c, err := s.AddCapture(ctx, j.ID, "", map[string][]byte{"u.jpg": []byte("a photo of some length")})
	if err != nil {
		t.Fatal(err)
	}
	err = filepath.WalkDir(filepath.Join(dir, "blobs"), func(p string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			err = os.WriteFile(p, []byte("a photo of"), 0o600)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.File(ctx, c.ID, "u.jpg"); !errors.Is(err, blob.ErrTorn) {
		t.Errorf("a torn file was read: %v", err)
	}
}

// TestFullFolder: a blob that cannot be written leaves no record.
func TestFullFolder(t *testing.T) {
	ctx := context.Background()
	dir := t.TempDir()
	s := open(t, dir)
	j, err := s.AddJob(ctx, job.Job{Vehicle: "Van", Panel: "Door"})
	if err != nil {
		t.Fatal(err)
	}
	// A file where the blobs' folder should be stands for a disk that takes nothing.
	if err := os.RemoveAll(filepath.Join(dir, "blobs")); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "blobs"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := s.AddCapture(ctx, j.ID, "", map[string][]byte{"u.jpg": []byte("x")}); err == nil {
		t.Fatal("stored on a disk that takes nothing")
	}
	if cs, err := s.Captures(ctx, j.ID); err != nil || len(cs) != 0 {
		t.Errorf("left behind: %+v, %v", cs, err)
	}
}
