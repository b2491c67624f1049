package blob

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"fairmetal/internal/whole"
)

// Disk keeps blobs as files of a folder, spread over 256 folders by the first two digits of the hash.
type Disk struct {
	Dir string
}

// Unfinished tells whether i is an upload that was cut off.
func (i Info) Unfinished() bool { return strings.HasPrefix(filepath.Base(i.Name), whole.Unfinished) }

// Path is where a blob lies.
func (d Disk) Path(hash string) string { return filepath.Join(d.Dir, hash[:2], hash[2:]) }

// Put writes to a temporary file, syncs it, renames it, and syncs the folders. A file that is there already is trusted only when it
// still holds its hash.
func (d Disk) Put(ctx context.Context, hash string, data []byte) error {
	if old, err := os.ReadFile(d.Path(hash)); err == nil && Hash(old) == hash {
		return nil
	}
	dir := filepath.Dir(d.Path(hash))
	if _, err := os.Stat(dir); err != nil {
		if err := os.MkdirAll(dir, 0o700); err != nil {
			return err
		}
		whole.SyncDir(d.Dir)
	}
	return whole.Write(d.Path(hash), data)
}

// Get reads a blob and checks it.
func (d Disk) Get(ctx context.Context, hash string) ([]byte, error) {
	if !Valid(hash) {
		return nil, ErrMissing
	}
	data, err := os.ReadFile(d.Path(hash))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, d.missing()
	}
	if err != nil {
		return nil, away(err)
	}
	if Hash(data) != hash {
		return nil, ErrTorn
	}
	return data, nil
}

// missing tells whether a blob is missing or all of them are: a folder that is not there, or is empty, is a disk that is not connected.
func (d Disk) missing() error {
	f, err := os.Open(d.Dir)
	if err != nil {
		return away(err)
	}
	defer f.Close()
	if _, err := f.Readdirnames(1); err != nil {
		return away(fmt.Errorf("%s is empty; connect its disk", d.Dir))
	}
	return ErrMissing
}

// List walks the folder.
func (d Disk) List(ctx context.Context, f func(Info) error) error {
	return filepath.WalkDir(d.Dir, func(path string, e fs.DirEntry, err error) error {
		if errors.Is(err, fs.ErrNotExist) {
			return nil // renamed or removed meanwhile
		}
		if err == nil {
			err = ctx.Err()
		}
		if err != nil || e.IsDir() {
			return err
		}
		st, err := e.Info()
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		if err != nil {
			return err
		}
		i := Info{Name: path, Size: st.Size(), Changed: st.ModTime()}
		if h := filepath.Base(filepath.Dir(path)) + filepath.Base(path); Valid(h) && d.Path(h) == path && st.Mode().IsRegular() {
			i.Hash = h
		}
		return f(i)
	})
}

// Remove deletes a file that List told.
func (d Disk) Remove(ctx context.Context, i Info) error { return os.Remove(i.Name) }
