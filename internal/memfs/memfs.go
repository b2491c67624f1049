// Package memfs shows files in memory as a read-only folder.
package memfs

import (
	"bytes"
	"io/fs"
	"time"
)

// FS is a flat folder: file names to contents.
type FS map[string][]byte

// Open implements fs.FS.
func (m FS) Open(name string) (fs.File, error) {
	data, ok := m[name]
	if !ok {
		return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrNotExist}
	}
	return File(name, data), nil
}

// File is an open file of the given contents.
func File(name string, data []byte) fs.File { return &open{name, bytes.NewReader(data)} }

type open struct {
	name string
	*bytes.Reader
}

func (o *open) Stat() (fs.FileInfo, error) { return info{o.name, o.Reader.Size()}, nil }
func (o *open) Close() error               { return nil }

type info struct {
	name string
	size int64
}

func (i info) Name() string       { return i.name }
func (i info) Size() int64        { return i.size }
func (i info) Mode() fs.FileMode  { return 0o444 }
func (i info) ModTime() time.Time { return time.Time{} }
func (i info) IsDir() bool        { return false }
func (i info) Sys() any           { return nil }
