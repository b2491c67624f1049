package main

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"fairmetal/export"
	"fairmetal/inspection"
)

type exportCmd struct {
	Dir   string  `arg:"" help:"Result folder of fairmetal measure." type:"existingdir"`
	Out   string  `help:"File to write: its ending (.x3p, .tif, .ply, .stl, .csv) tells the format." required:""`
	Scale float64 `help:"Times the heights in a mesh." default:"1"`
}

// Run writes the surface for other programs.
func (c *exportCmd) Run(s streams) error {
	r, err := inspection.Load(os.DirFS(c.Dir))
	if err != nil {
		return refused("result", err)
	}
	var b bytes.Buffer
	switch strings.ToLower(filepath.Ext(c.Out)) {
	case ".x3p":
		err = export.X3P(&b, r.Surface, r.Program, time.Now())
	case ".tif", ".tiff":
		err = export.TIFF(&b, r.Surface, r.Program)
	case ".ply":
		err = export.PLY(&b, r.Surface, c.Scale)
	case ".stl":
		err = export.STL(&b, r.Surface, c.Scale)
	case ".csv":
		err = export.CSV(&b, r.Surface)
	default:
		return refused("format", errors.New("the file's ending must be .x3p, .tif, .ply, .stl or .csv"))
	}
	if err != nil {
		return err
	}
	if err := os.WriteFile(c.Out, b.Bytes(), 0o644); err != nil {
		return fmt.Errorf("%s cannot be written (%w); choose another place", c.Out, err)
	}
	fmt.Fprintf(s.Out, "%s, %d kB\n", c.Out, b.Len()/1000)
	return nil
}
