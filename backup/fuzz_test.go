package backup

import (
	"archive/tar"
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"fairmetal/blob"
	"fairmetal/store"
)

// FuzzOpen reads backups that somebody else wrote: an error, or an archive whose every entry is what its list says.
func FuzzOpen(f *testing.F) {
	// A whole backup of one table with one record and one blob.
	m := Manifest{Format: format, Version: 1, Tables: []store.Table{{Name: "jobs", Columns: []store.Column{{Name: "id", Type: "text", Key: true}}}}, Entries: map[string]Entry{}}
	var b bytes.Buffer
	w := &writer{tar: tar.NewWriter(&b), m: m}
	for name, data := range map[string]string{recordsDir + "jobs" + recordsExt: "[\"a\"]\n", blobsDir + blob.Hash([]byte("photo")): "photo"} {
		if err := w.entry(name, []byte(data), 1); err != nil {
			f.Fatal(err)
		}
	}
	if err := w.end(); err != nil {
		f.Fatal(err)
	}
	good := b.Bytes()
	f.Add(good)
	f.Add(good[:512])
	f.Add([]byte{})
	path := filepath.Join(f.TempDir(), "in.tar")
	f.Fuzz(func(t *testing.T, data []byte) {
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		a, err := open(t.Context(), path, "")
		if err != nil {
			if bytes.Equal(data, good) {
				t.Errorf("a whole backup is refused: %v", err)
			}
			return
		}
		defer a.file.Close()
		for name := range a.Entries {
			if !sound(name) {
				t.Errorf("an entry is called %q", name)
			}
		}
	})
}

// FuzzRecord reads lines of records: an error, or a record that is written again as one line that reads the same.
func FuzzRecord(f *testing.F) {
	f.Add([]byte(`["a", 1, 0.1, {"base64":"AAE="}]`))
	f.Add([]byte(`[null, null, null, null]`))
	f.Add([]byte(`["\ud800", -9223372036854775808, 1e308, {"base64":""}]`))
	f.Add([]byte(`[[[[`))
	t4 := store.Table{Name: "t", Columns: []store.Column{{Name: "a", Type: "text"}, {Name: "b", Type: "integer"}, {Name: "c", Type: "real"}, {Name: "d", Type: "blob"}}}
	f.Fuzz(func(t *testing.T, line []byte) {
		row, err := parseRecord(line, t4)
		if err != nil {
			return
		}
		var once, twice bytes.Buffer
		if err := appendRecord(&once, row); err != nil {
			t.Fatal(err)
		}
		if bytes.Count(once.Bytes(), []byte("\n")) != 1 {
			t.Errorf("%q is not one line", once.String())
		}
		again, err := parseRecord(once.Bytes(), t4)
		if err == nil {
			err = appendRecord(&twice, again)
		}
		if err != nil || !bytes.Equal(once.Bytes(), twice.Bytes()) {
			t.Errorf("%q reads back as %q, %v", once.String(), twice.String(), err)
		}
	})
}
