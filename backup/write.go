package backup

import (
	"archive/tar"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"fairmetal/blob"
	"fairmetal/inspection"
	"fairmetal/internal/whole"
	"fairmetal/store"
)

// Summary tells what a backup holds.
type Summary struct {
	Records int64    `json:"records"`
	Files   int      `json:"files"`
	Bytes   int64    `json:"bytes"`
	Damaged []string `json:"damaged"` // named by the records, but missing or torn in the workshop
}

// Write backs up the records of a snapshot and the blobs that they name into a new file, encrypted where a
// passphrase is given, and reads it through again.
func Write(ctx context.Context, path, pass string, snap *store.Snapshot, blobs blob.Store, progress func(done float64)) (Summary, error) {
	var s Summary
	if _, err := os.Stat(path); err == nil {
		return s, fmt.Errorf("%s is there already; choose another name, so that no older backup is lost", path)
	} else if !errors.Is(err, fs.ErrNotExist) {
		return s, err
	}
	part := path + ".unfinished"
	f, err := os.OpenFile(part, os.O_CREATE|os.O_WRONLY|os.O_TRUNC, 0o600)
	if err != nil {
		return s, fmt.Errorf("the backup cannot be written (%w); choose another place", err)
	}
	defer os.Remove(part)
	out, err := lock(f, pass)
	if err != nil {
		f.Close()
		return s, err
	}
	w := &writer{tar: tar.NewWriter(out), m: Manifest{Format: format, Program: inspection.Program, Made: time.Now().UTC().Truncate(time.Second), Version: snap.Version, Tables: snap.Tables, Entries: map[string]Entry{}}}
	err = w.all(ctx, snap, blobs, progress)
	if err == nil {
		err = out.Close()
	}
	if err == nil {
		err = f.Sync()
	}
	if e := f.Close(); err == nil {
		err = e
	}
	if err != nil {
		return s, fmt.Errorf("the backup could not be written (%w); nothing was changed, free some space and try again", err)
	}
	a, err := open(ctx, part, pass)
	if err != nil {
		return s, fmt.Errorf("the backup was written but reads back wrong; the disk may be failing: %w", err)
	}
	a.file.Close()
	if err := os.Rename(part, path); err != nil {
		return s, err
	}
	whole.SyncDir(filepath.Dir(path))
	return a.summary(), nil
}

func (m Manifest) summary() Summary {
	s := Summary{Damaged: m.Damaged}
	for name, e := range m.Entries {
		s.Records += e.Records
		s.Bytes += e.Size
		if blob.Valid(name[len(name)-min(len(name), 64):]) {
			s.Files++
		}
	}
	return s
}

type writer struct {
	tar *tar.Writer
	m   Manifest
}

func (w *writer) all(ctx context.Context, snap *store.Snapshot, blobs blob.Store, progress func(float64)) error {
	for _, t := range snap.Tables {
		if err := w.table(ctx, snap, t); err != nil {
			return err
		}
	}
	var uses []store.Use
	if err := snap.Uses(ctx, func(u store.Use) error { uses = append(uses, u); return nil }); err != nil {
		return err
	}
	for i, u := range uses {
		progress(float64(i) / float64(len(uses)))
		name := blobsDir + u.Hash
		if _, ok := w.m.Entries[name]; ok {
			continue
		}
		data, err := blobs.Get(ctx, u.Hash)
		switch {
		case errors.Is(err, blob.ErrMissing), errors.Is(err, blob.ErrTorn):
			// The rest is worth saving.
			w.m.Damaged = append(w.m.Damaged, fmt.Sprintf("%s of %s %s: %v", u.Name, u.Table, u.Owner, err))
			continue
		case err != nil:
			return err
		}
		if err := w.entry(name, data, 0); err != nil {
			return err
		}
	}
	return w.end()
}

// end writes the manifest, which closes the archive.
func (w *writer) end() error {
	list, err := json.MarshalIndent(w.m, "", " ")
	if err != nil {
		return err
	}
	if err := w.add(manifestName, int64(len(list)), bytes.NewReader(list)); err != nil {
		return err
	}
	return w.tar.Close()
}

// table writes the records of a table; they are gathered first, as an archive wants their size.
func (w *writer) table(ctx context.Context, snap *store.Snapshot, t store.Table) error {
	var b bytes.Buffer
	n := int64(0)
	err := snap.Rows(ctx, t, func(row []any) error {
		n++
		return appendRecord(&b, row)
	})
	if err != nil {
		return err
	}
	return w.entry(recordsDir+t.Name+recordsExt, b.Bytes(), n)
}

func (w *writer) entry(name string, data []byte, records int64) error {
	w.m.Entries[name] = Entry{Size: int64(len(data)), SHA256: blob.Hash(data), Records: records}
	return w.add(name, int64(len(data)), bytes.NewReader(data))
}

func (w *writer) add(name string, size int64, r io.Reader) error {
	if err := w.tar.WriteHeader(&tar.Header{Name: name, Mode: 0o600, Size: size, ModTime: w.m.Made, Format: tar.FormatPAX}); err != nil {
		return err
	}
	_, err := io.Copy(w.tar, r)
	return err
}
