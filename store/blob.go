package store

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"sort"

	"fairmetal/blob"
	"fairmetal/internal/memfs"
)

// kept is a file that is stored but not booked yet.
type kept struct {
	name, hash string
	size       int64
}

// Blobs is the store of photos and results in a workshop's folder.
func Blobs(dir string) blob.Disk { return blob.Disk{Dir: filepath.Join(dir, "blobs")} }

// keep writes files under their hashes. Whatever is kept and then not booked does no harm: nothing points to it.
func (s *Store) keep(ctx context.Context, files map[string][]byte) ([]kept, error) {
	names := make([]string, 0, len(files))
	for n := range files {
		names = append(names, n)
	}
	sort.Strings(names)
	var out []kept
	for _, n := range names {
		hash, err := blob.Put(ctx, s.blobs, files[n])
		if errors.Is(err, blob.ErrAway) {
			return nil, fmt.Errorf("%s cannot be stored (%w); try again in a minute, nothing was lost", n, err)
		}
		if err != nil {
			return nil, fmt.Errorf("%s cannot be stored (%w); free some space and try again, nothing was lost", n, err)
		}
		out = append(out, kept{name: n, hash: hash, size: int64(len(files[n]))})
	}
	return out, nil
}

// File reads one file of a capture and checks it against its hash.
func (s *Store) File(ctx context.Context, captureID, name string) ([]byte, error) {
	var hash string
	if err := s.row(ctx, "SELECT sha256 FROM files WHERE capture_id = ? AND name = ?", captureID, name).Scan(&hash); err != nil {
		return nil, missing(err)
	}
	return s.read(ctx, name, hash)
}

// read reads a kept file and checks it.
func (s *Store) read(ctx context.Context, name, hash string) ([]byte, error) {
	data, err := s.blobs.Get(ctx, hash)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
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
