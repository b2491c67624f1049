package backup

import (
	"archive/tar"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"fairmetal/blob"
	"fairmetal/store"
)

// Format of the archive.
const format = 1

// Manifest tells what an archive holds.
type Manifest struct {
	Format  int              `json:"format"`
	Program string           `json:"program"`
	Made    time.Time        `json:"made"`
	Version int64            `json:"tables_version"`
	Tables  []store.Table    `json:"tables"`
	Entries map[string]Entry `json:"entries"`
	// Damaged names what the records want and the workshop no longer had whole when the backup was made.
	Damaged []string `json:"damaged,omitempty"`
}

// Entry of an archive.
type Entry struct {
	Size    int64  `json:"size"`
	SHA256  string `json:"sha256"`
	Records int64  `json:"records,omitempty"`

	offset int64
}

// Names of entries.
const (
	manifestName = "manifest.json"
	recordsDir   = "records/"
	recordsExt   = ".jsonl"
	blobsDir     = "blobs/"
)

// maxManifest bounds what is read into memory: 250 bytes an entry for a million photos.
const maxManifest = 256 << 20

// archive is an open backup that was read through once.
type archive struct {
	Manifest
	file  *os.File
	plain *io.SectionReader // what the file holds
}

// unreadable is what is said of a file that is no whole backup.
func unreadable(path, format string, args ...any) error {
	return fmt.Errorf("%s is not a whole backup: %s; use another one", path, fmt.Sprintf(format, args...))
}

// open reads an archive through and checks every entry against the manifest.
func open(ctx context.Context, path, pass string) (*archive, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	a := &archive{file: f}
	if a.plain, err = unlock(f, pass); err == nil {
		err = a.check(ctx, path)
	}
	if err != nil {
		f.Close()
		return nil, err
	}
	return a, nil
}

func (a *archive) check(ctx context.Context, path string) error {
	found := map[string]Entry{}
	r := tar.NewReader(a.plain)
	whole := false
	for {
		h, err := r.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err == nil {
			err = ctx.Err()
		}
		if err != nil {
			return unreadable(path, "%v", err)
		}
		// An archive with holes promises more than it holds.
		if h.Size > a.plain.Size() {
			return unreadable(path, "%q is larger than all of it", h.Name)
		}
		if whole || h.Typeflag != tar.TypeReg || !sound(h.Name) {
			return unreadable(path, "%q does not belong into one", h.Name)
		}
		if h.Name == manifestName {
			if err := json.NewDecoder(io.LimitReader(r, maxManifest)).Decode(&a.Manifest); err != nil {
				return unreadable(path, "its list cannot be read (%v)", err)
			}
			whole = true
			continue
		}
		at, err := a.plain.Seek(0, io.SeekCurrent)
		if err != nil {
			return err
		}
		sum := sha256.New()
		n, err := io.Copy(sum, r)
		if err != nil {
			return unreadable(path, "%s ends early", h.Name)
		}
		found[h.Name] = Entry{Size: n, SHA256: hex.EncodeToString(sum.Sum(nil)), offset: at}
	}
	switch {
	case !whole:
		return unreadable(path, "its end is missing")
	case a.Format != format:
		return unreadable(path, "it has format %d, this program reads %d", a.Format, format)
	case len(found) != len(a.Entries):
		return unreadable(path, "it holds %d files, its list names %d", len(found), len(a.Entries))
	}
	for name, want := range a.Entries {
		got := found[name]
		if got.Size != want.Size || got.SHA256 != want.SHA256 {
			return unreadable(path, "%s was altered", name)
		}
		if hash, ok := strings.CutPrefix(name, blobsDir); ok && got.SHA256 != hash {
			return unreadable(path, "%s does not hold what its name says", name)
		}
		want.offset = got.offset
		a.Entries[name] = want
	}
	return nil
}

// sound tells whether an entry may have this name: nothing else is ever read or written.
func sound(name string) bool {
	if hash, ok := strings.CutPrefix(name, blobsDir); ok {
		return blob.Valid(hash)
	}
	if table, ok := strings.CutPrefix(name, recordsDir); ok {
		table, ok = strings.CutSuffix(table, recordsExt)
		return ok && table != "" && strings.Trim(table, "abcdefghijklmnopqrstuvwxyz_0123456789") == ""
	}
	return name == manifestName
}

// read opens an entry.
func (a *archive) read(name string) (io.Reader, bool) {
	e, ok := a.Entries[name]
	return io.NewSectionReader(a.plain, e.offset, e.Size), ok
}
