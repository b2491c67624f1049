// Package whole writes files that are there whole or not at all, and are still there after a power cut.
package whole

import (
	"os"
	"path/filepath"
)

// Unfinished begins the names of files that are being written.
const Unfinished = "new-"

// Write writes a file for this user alone: to a temporary file beside it, synced, renamed, the folder synced.
func Write(path string, data []byte) error {
	f, err := os.CreateTemp(filepath.Dir(path), Unfinished+"*")
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	if err == nil {
		err = f.Sync()
	}
	if e := f.Close(); err == nil {
		err = e
	}
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		os.Remove(f.Name())
		return err
	}
	SyncDir(filepath.Dir(path))
	return nil
}

// SyncDir makes new names in a folder last. Not every system can sync a folder; those that cannot do it by themselves.
func SyncDir(dir string) {
	if d, err := os.Open(dir); err == nil {
		d.Sync()
		d.Close()
	}
}
