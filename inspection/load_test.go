package inspection

import (
	"io/fs"
	"os"
	"testing"

	"fairmetal/internal/memfs"
)

// FuzzLoad reads result folders that somebody else wrote: an error, or a surface of the size that its grid tells.
func FuzzLoad(f *testing.F) {
	four := []byte{0, 0, 0, 0, 0, 0, 0xc0, 0x7f, 0, 0, 0x80, 0x7f, 1, 2, 3, 4}
	f.Add([]byte(`{"grid":{"cols":2,"rows":2,"pitch_mm":0.5}}`), four, []byte(`{"marks":[{"id":"M1","kind":"round"}]}`))
	f.Add([]byte(`{"grid":{"cols":20000,"rows":20000,"pitch_mm":1e-9}}`), []byte{}, []byte(`{}`))
	f.Add([]byte(`{"grid":{"cols":4294967296,"rows":4294967296,"pitch_mm":1}}`), four, []byte(`{`))
	f.Add([]byte(`[[[[`), four, []byte(`null`))
	f.Fuzz(func(t *testing.T, doc, heights, marks []byte) {
		s, err := Load(memfs.FS{"surface.json": doc, "height.f32": heights, "sigma.f32": heights, "marks.json": marks})
		if err != nil {
			if s != nil {
				t.Error("an error and a surface")
			}
			return
		}
		if len(s.Surface.Height) != s.Grid.Len() || 4*s.Grid.Len() != len(heights) {
			t.Errorf("%d heights for a grid of %d", len(s.Surface.Height), s.Grid.Len())
		}
	})
}

// TestLoadMissing: each missing file is named.
func TestLoadMissing(t *testing.T) {
	if _, err := Load(os.DirFS(t.TempDir())); err == nil {
		t.Error("an empty folder was read")
	}
	var folder fs.FS = memfs.FS{"surface.json": []byte(`{"grid":{"cols":1,"rows":1,"pitch_mm":1}}`)}
	if _, err := Load(folder); err == nil {
		t.Error("a folder without heights was read")
	}
}
