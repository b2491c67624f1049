package backup

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"fairmetal/blob"
	"fairmetal/store"
)

// Restore makes a workshop of a backup in an empty folder, and reads it back: every record and every file must have the hash of the
// backup. A folder appears whole or not at all.
func Restore(ctx context.Context, path, pass, dir string, progress func(done float64)) (Summary, error) {
	if err := empty(dir); err != nil {
		return Summary{}, err
	}
	a, err := open(ctx, path, pass)
	if err != nil {
		return Summary{}, err
	}
	defer a.file.Close()
	dir = filepath.Clean(dir)
	part := dir + ".unfinished"
	if err := os.RemoveAll(part); err != nil {
		return Summary{}, err
	}
	if err := a.restore(ctx, part, progress); err != nil {
		os.RemoveAll(part)
		return Summary{}, fmt.Errorf("nothing was restored: %w", err)
	}
	if err := os.Remove(dir); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return Summary{}, err
	}
	if err := os.Rename(part, dir); err != nil {
		return Summary{}, err
	}
	return a.summary(), nil
}

// empty tells whether a folder is empty or not there yet.
func empty(dir string) error {
	list, err := os.ReadDir(dir)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	if len(list) > 0 {
		return fmt.Errorf("%s is not empty; restore into an empty folder, so that nothing is overwritten", dir)
	}
	return nil
}

// RestoreShared makes a shared workshop of a backup: its records in an empty database, its files among the blobs, and reads it back.
func RestoreShared(ctx context.Context, path, pass, address string, blobs blob.Store, progress func(done float64)) (Summary, error) {
	a, err := open(ctx, path, pass)
	if err != nil {
		return Summary{}, err
	}
	defer a.file.Close()
	if err := a.putBlobs(ctx, blobs, progress); err != nil {
		return Summary{}, err
	}
	if err := store.FillShared(ctx, address, a.Version, a.Tables, a.rows); err != nil {
		return Summary{}, err
	}
	snap, err := store.LookShared(ctx, address)
	if err != nil {
		return Summary{}, err
	}
	defer snap.Close()
	return a.summary(), a.compare(ctx, snap, blobs)
}

func (a *archive) restore(ctx context.Context, dir string, progress func(float64)) error {
	blobs := store.Blobs(dir)
	if err := a.putBlobs(ctx, blobs, progress); err != nil {
		return err
	}
	if err := store.Fill(ctx, dir, a.Version, a.Tables, a.rows); err != nil {
		return err
	}
	snap, err := store.Look(ctx, dir)
	if err != nil {
		return err
	}
	defer snap.Close()
	return a.compare(ctx, snap, blobs)
}

func (a *archive) putBlobs(ctx context.Context, blobs blob.Store, progress func(float64)) error {
	n := 0
	for name := range a.Entries {
		n++
		progress(float64(n) / float64(len(a.Entries)))
		hash, ok := strings.CutPrefix(name, blobsDir)
		if !ok {
			continue
		}
		r, _ := a.read(name)
		data, err := io.ReadAll(r)
		if err != nil {
			return err
		}
		if err := blobs.Put(ctx, hash, data); err != nil {
			return err
		}
	}
	return nil
}

// rows tells the records of a table.
func (a *archive) rows(t store.Table, f func(row []any) error) error {
	r, ok := a.read(recordsDir + t.Name + recordsExt)
	if !ok {
		return fmt.Errorf("the backup has no records of %s", t.Name)
	}
	return readRecords(r, t, f)
}

// compare reads a restored workshop back. Tables that a newer program changed on the way are left to its migrations.
func (a *archive) compare(ctx context.Context, snap *store.Snapshot, blobs blob.Store) error {
	if snap.Version == a.Version {
		sums, err := Sums(ctx, snap)
		if err != nil {
			return err
		}
		for _, t := range a.Tables {
			if want := a.Entries[recordsDir+t.Name+recordsExt]; sums[t.Name] != want.SHA256 {
				return fmt.Errorf("the records of %s read back otherwise than they were backed up; the disk may be failing", t.Name)
			}
		}
	}
	for name := range a.Entries {
		if hash, ok := strings.CutPrefix(name, blobsDir); ok {
			if _, err := blobs.Get(ctx, hash); err != nil {
				return fmt.Errorf("%s reads back otherwise than it was backed up (%w); the disk may be failing", name, err)
			}
		}
	}
	return nil
}
