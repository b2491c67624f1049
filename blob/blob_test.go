package blob_test

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"

	"fairmetal/blob"
)

// suite is what every store of blobs must do.
func suite(t *testing.T, s blob.Store, damage func(t *testing.T, hash string, data []byte)) {
	ctx := t.Context()
	data := bytes.Repeat([]byte("a photo of some length "), 1000)
	h, err := blob.Put(ctx, s, data)
	if err != nil {
		t.Fatal(err)
	}
	if got, err := s.Get(ctx, h); err != nil || !bytes.Equal(got, data) {
		t.Fatalf("%d bytes, %v", len(got), err)
	}
	if _, err := s.Get(ctx, blob.Hash([]byte("never stored"))); !errors.Is(err, blob.ErrMissing) {
		t.Errorf("missing: %v", err)
	}
	for _, name := range []string{"", "..", "../../etc/passwd", h[:63] + "/", h + "0"} {
		if _, err := s.Get(ctx, name); !errors.Is(err, blob.ErrMissing) {
			t.Errorf("%q: %v", name, err)
		}
	}
	flipped := append([]byte(nil), data...)
	flipped[len(flipped)/2] ^= 1
	for what, bad := range map[string][]byte{"torn": data[:len(data)/2], "empty": {}, "flipped": flipped, "longer": append(flipped, 'x')} {
		damage(t, h, bad)
		if _, err := s.Get(ctx, h); !errors.Is(err, blob.ErrTorn) {
			t.Errorf("%s: %v", what, err)
		}
		// The same photo sent again repairs it.
		if err := s.Put(ctx, h, data); err != nil {
			t.Fatal(err)
		}
		if got, err := s.Get(ctx, h); err != nil || !bytes.Equal(got, data) {
			t.Errorf("%s, sent again: %v", what, err)
		}
	}
	var listed []blob.Info
	if err := s.List(ctx, func(i blob.Info) error { listed = append(listed, i); return nil }); err != nil || len(listed) != 1 || listed[0].Hash != h || listed[0].Size != int64(len(data)) {
		t.Fatalf("%+v, %v", listed, err)
	}
	if err := s.Remove(ctx, listed[0]); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Get(ctx, h); !errors.Is(err, blob.ErrMissing) {
		t.Errorf("removed: %v", err)
	}
}

func TestDisk(t *testing.T) {
	d := blob.Disk{Dir: t.TempDir()}
	suite(t, d, func(t *testing.T, hash string, data []byte) {
		if err := os.WriteFile(d.Path(hash), data, 0o600); err != nil {
			t.Fatal(err)
		}
	})
}

// TestDiskAway: a folder that is not there, cannot be read or holds nothing is a disk that is not connected. Nothing is said of the blobs.
func TestDiskAway(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	for _, d := range []blob.Disk{{Dir: filepath.Join(dir, "none")}, {Dir: t.TempDir()}, {Dir: file}} {
		if _, err := d.Get(t.Context(), blob.Hash(nil)); !errors.Is(err, blob.ErrAway) || errors.Is(err, blob.ErrMissing) || errors.Is(err, fs.ErrNotExist) {
			t.Errorf("%s: %v", d.Dir, err)
		}
	}
}

// TestDiskList tells blobs from cut-off uploads and foreign files.
func TestDiskList(t *testing.T) {
	d := blob.Disk{Dir: t.TempDir()}
	h, err := blob.Put(t.Context(), d, []byte("photo"))
	if err != nil {
		t.Fatal(err)
	}
	for _, n := range []string{filepath.Join(d.Dir, h[:2], "new-123"), filepath.Join(d.Dir, "notes.txt"), filepath.Join(d.Dir, h)} {
		if err := os.WriteFile(n, nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	blobs, cut, foreign := 0, 0, 0
	d.List(t.Context(), func(i blob.Info) error {
		switch {
		case i.Hash == h:
			blobs++
		case i.Unfinished():
			cut++
		default:
			foreign++
		}
		return nil
	})
	if blobs != 1 || cut != 1 || foreign != 2 {
		t.Errorf("%d blobs, %d cut off, %d foreign", blobs, cut, foreign)
	}
}
