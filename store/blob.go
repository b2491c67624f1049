package store

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sort"

	"fairmetal/internal/memfs"
)

// blob is a kept file.
type blob struct {
	name, hash string
	size       int64
}

func (s *Store) blobPath(hash string) string {
	return filepath.Join(s.dir, "blobs", hash[:2], hash[2:])
}

// keep writes files under their hashes. Whatever is kept and then not booked does no harm: nothing points to it.
func (s *Store) keep(files map[string][]byte) ([]blob, error) {
	names := make([]string, 0, len(files))
	for n := range files {
		names = append(names, n)
	}
	sort.Strings(names)
	var out []blob
	for _, n := range names {
		h := sha256.Sum256(files[n])
		b := blob{name: n, hash: hex.EncodeToString(h[:]), size: int64(len(files[n]))}
		if err := s.put(b.hash, files[n]); err != nil {
			return nil, fmt.Errorf("%s cannot be stored (%w); free some space and try again, nothing was lost", n, err)
		}
		out = append(out, b)
	}
	return out, nil
}

// put writes one blob: temporary file, sync, rename, sync of the folder.
func (s *Store) put(hash string, data []byte) error {
	path := s.blobPath(hash)
	if st, err := os.Stat(path); err == nil && st.Size() == int64(len(data)) {
		return nil
	}
	dir := filepath.Dir(path)
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	f, err := os.CreateTemp(dir, "new-*")
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
	if d, err := os.Open(dir); err == nil {
		d.Sync() // not every system can sync a folder
		d.Close()
	}
	return nil
}

// ErrTorn says that a stored file is not what was stored.
var ErrTorn = errors.New("a stored file was altered or torn; restore it from a backup")

// File reads one file of a capture and checks it against its hash.
func (s *Store) File(ctx context.Context, captureID, name string) ([]byte, error) {
	var hash string
	if err := s.row(ctx, "SELECT sha256 FROM files WHERE capture_id = ? AND name = ?", captureID, name).Scan(&hash); err != nil {
		return nil, missing(err)
	}
	return s.read(name, hash)
}

// read reads a kept file and checks it.
func (s *Store) read(name, hash string) ([]byte, error) {
	data, err := os.ReadFile(s.blobPath(hash))
	if err != nil {
		return nil, fmt.Errorf("%s is missing from the workshop's folder (%w); restore it from a backup", name, err)
	}
	if h := sha256.Sum256(data); hex.EncodeToString(h[:]) != hash {
		return nil, fmt.Errorf("%s: %w", name, ErrTorn)
	}
	return data, nil
}

// Files lists a capture's files by name.
func (s *Store) Files(ctx context.Context, captureID string) ([]string, error) {
	rows, err := s.query(ctx, "SELECT name FROM files WHERE capture_id = ? ORDER BY name", captureID)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []string
	for rows.Next() {
		var n string
		if err := rows.Scan(&n); err != nil {
			return nil, err
		}
		out = append(out, n)
	}
	return out, rows.Err()
}

// Folder shows a capture's files as a file system.
func (s *Store) Folder(ctx context.Context, captureID string) fs.FS {
	return folder{ctx, s, captureID}
}

type folder struct {
	ctx context.Context
	s   *Store
	id  string
}

func (f folder) Open(name string) (fs.File, error) {
	data, err := f.s.File(f.ctx, f.id, name)
	if err != nil {
		if errors.Is(err, ErrNotFound) {
			err = fs.ErrNotExist
		}
		return nil, &fs.PathError{Op: "open", Path: name, Err: err}
	}
	return memfs.File(name, data), nil
}
