package main

import (
	"fmt"
	"path/filepath"

	"fairmetal/scene"
)

type scenesCmd struct {
	Out   string  `arg:"" help:"Folder to make the scenes in."`
	Set   string  `help:"shifted, single or sweep." enum:"shifted,single,sweep" default:"shifted"`
	Shake float64 `help:"Wander of the camera between photos, px rms."`
}

// Run renders our own fleet with truth, for the score table.
func (c *scenesCmd) Run(s streams) error {
	for _, n := range scene.Fleet() {
		spec := n.Spec
		spec.Camera.ShakePX = c.Shake
		switch c.Set {
		case "single":
			spec.Sets = []scene.Set{{Kind: "single", Profile: "square", FineMM: 14}}
		case "sweep":
			spec.Sets = []scene.Set{{Kind: "sweep", FineMM: 16, Frames: 9}}
		}
		made, err := scene.Render(spec, nil)
		if err != nil {
			return err
		}
		if err := made.WriteDir(filepath.Join(c.Out, n.Key), true); err != nil {
			return fmt.Errorf("%s cannot be written (%w); choose another folder", n.Key, err)
		}
		fmt.Fprintln(s.Out, n.Key)
	}
	return nil
}
