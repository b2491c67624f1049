package main

import (
	"archive/zip"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"runtime"
	"runtime/debug"
	"time"

	"fairmetal/backup"
	"fairmetal/inspection"
)

type supportCmd struct {
	place
	Out string `help:"File to write." default:"fairmetal-support.zip" placeholder:"FILE"`
}

// system is what the program runs on.
type system struct {
	Program string            `json:"program"`
	Go      string            `json:"go"`
	System  string            `json:"system"`
	Cores   int               `json:"cores"`
	Modules map[string]string `json:"modules"`
}

// contents counts what a workshop holds; no text that a person wrote is in it.
type contents struct {
	Shared   bool             `json:"shared"`
	Version  int64            `json:"tables_version"`
	Records  map[string]int64 `json:"records"`
	Captures map[string]int64 `json:"captures"` // by state
	Trail    map[string]int64 `json:"trail"`    // by what was done
}

// Run writes the bundle.
func (c *supportCmd) Run(ctx context.Context, s streams) error {
	files := map[string]any{}
	sys := system{Program: inspection.Program, Go: runtime.Version(), System: runtime.GOOS + "/" + runtime.GOARCH, Cores: runtime.NumCPU(), Modules: map[string]string{}}
	if info, ok := debug.ReadBuildInfo(); ok {
		for _, m := range info.Deps {
			sys.Modules[m.Path] = m.Version
		}
	}
	files["system.json"] = sys
	snap, blobs, err := c.look(ctx)
	if err != nil {
		return err
	}
	defer snap.Close()
	in := contents{Shared: c.Store != "", Version: snap.Version, Records: map[string]int64{}, Captures: map[string]int64{}, Trail: map[string]int64{}}
	for _, t := range snap.Tables {
		state, what := -1, -1
		switch t.Name {
		case "captures":
			state = t.At("state")
		case "entries":
			what = t.At("what")
		}
		err := snap.Rows(ctx, t, func(row []any) error {
			in.Records[t.Name]++
			if state >= 0 {
				in.Captures[fmt.Sprint(row[state])]++
			}
			if what >= 0 {
				in.Trail[fmt.Sprint(row[what])]++
			}
			return nil
		})
		if err != nil {
			return err
		}
	}
	files["contents.json"] = in
	b := newBar(s.Err)
	r, err := backup.Examine(ctx, snap, blobs, time.Now(), func(done float64) { b.set("reading every file", done) })
	b.end()
	if err != nil {
		return err
	}
	// Codes alone: names of files may tell of people.
	findings := map[string]int{}
	for _, f := range r.Findings {
		findings[f.Code]++
	}
	files["doctor.json"] = map[string]any{"files": r.Files, "bytes": r.Bytes, "findings": findings}
	if err := writeBundle(c.Out, files); err != nil {
		return err
	}
	fmt.Fprintf(s.Out, "%s holds versions and counts, no names, no notes, no photos: look into it before you send it\n", c.Out)
	return nil
}

func writeBundle(path string, files map[string]any) error {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_WRONLY|os.O_EXCL, 0o600)
	if err != nil {
		return fmt.Errorf("the bundle cannot be written (%w); give another name with --out", err)
	}
	z := zip.NewWriter(f)
	for _, name := range []string{"system.json", "contents.json", "doctor.json"} {
		w, err := z.Create(name)
		if err == nil {
			e := json.NewEncoder(w)
			e.SetIndent("", " ")
			err = e.Encode(files[name])
		}
		if err != nil {
			f.Close()
			return err
		}
	}
	if err := z.Close(); err != nil {
		f.Close()
		return err
	}
	return f.Close()
}
