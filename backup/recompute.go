package backup

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"sort"

	"fairmetal/blob"
	"fairmetal/inspection"
	"fairmetal/internal/memfs"
	"fairmetal/store"
)

// Recomputed tells how a capture's results compare with what its photos give today.
type Recomputed struct {
	Capture string   `json:"capture"`
	Program string   `json:"program"` // that measured it
	Now     string   `json:"now"`     // this program
	Same    []string `json:"same"`    // results that came out byte for byte
	Differs []string `json:"differs"`
	// HeightUM is the largest difference of height in any cell; NaN-free: cells that only one of both knows count in Cells.
	HeightUM   float64 `json:"height_um"`
	Cells      int     `json:"cells"`
	MarksThen  int     `json:"marks_then"`
	MarksNow   int     `json:"marks_now"`
	DeepestUM  float64 `json:"deepest_um"`
	DeepestNow float64 `json:"deepest_now_um"`
}

// measured are the results that follow from the photos alone; prices follow from the rates of the day.
var measured = []string{"heat.png", "height.f32", "marks.json", "overlay.png", "photo.jpg", "sigma.f32", "surface.json"}

// Recompute measures a capture again from its stored photos and compares.
func Recompute(ctx context.Context, snap *store.Snapshot, blobs blob.Store, capture string, progress inspection.Progress) (Recomputed, error) {
	r := Recomputed{Capture: capture, Now: inspection.Program}
	f := folder{ctx: ctx, blobs: blobs, files: map[string]string{}}
	err := snap.Uses(ctx, func(u store.Use) error {
		if u.Table == "files" && u.Owner == capture {
			f.files[u.Name] = u.Hash
		}
		return nil
	})
	if err != nil {
		return r, err
	}
	if len(f.files) == 0 {
		return r, fmt.Errorf("there is no capture %q; fairmetal doctor --json lists them by the files' owners", capture)
	}
	then, err := inspection.Load(f)
	if err != nil {
		return r, err
	}
	r.Program, r.MarksThen = then.Program, len(then.Marks)
	res, err := inspection.Run(ctx, f, progress)
	if err != nil {
		return r, err
	}
	files, err := res.Files()
	if err != nil {
		return r, err
	}
	now, err := inspection.Load(memfs.FS(files))
	if err != nil {
		return r, err
	}
	for _, name := range measured {
		old, err := fs.ReadFile(f, name)
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return r, err
		}
		if err == nil && bytes.Equal(old, files[name]) {
			r.Same = append(r.Same, name)
		} else {
			r.Differs = append(r.Differs, name)
		}
	}
	sort.Strings(r.Differs)
	r.MarksNow = len(now.Marks)
	for _, m := range then.Marks {
		r.DeepestUM = math.Max(r.DeepestUM, m.DepthUM)
	}
	for _, m := range now.Marks {
		r.DeepestNow = math.Max(r.DeepestNow, m.DepthUM)
	}
	r.heights(then, now)
	return r, nil
}

func (r *Recomputed) heights(then, now *inspection.Stored) {
	if then.Grid != now.Grid {
		r.Cells = max(then.Grid.Len(), now.Grid.Len())
		return
	}
	for i, a := range then.Surface.Height {
		b := now.Surface.Height[i]
		d := math.Abs(float64(a-b)) * 1000
		switch {
		case a != a && b != b:
		case a != a || b != b:
			r.Cells++
		case d > r.HeightUM:
			r.HeightUM = d
		}
	}
}

// folder shows a capture's files as they lie in the workshop.
type folder struct {
	ctx   context.Context
	blobs blob.Store
	files map[string]string
}

// Open implements fs.FS.
func (f folder) Open(name string) (fs.File, error) {
	hash, ok := f.files[name]
	if !ok {
		return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrNotExist}
	}
	data, err := f.blobs.Get(f.ctx, hash)
	if err != nil {
		return nil, &fs.PathError{Op: "open", Path: name, Err: err}
	}
	return memfs.File(name, data), nil
}
