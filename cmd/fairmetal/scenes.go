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
	// Random asks for made-up panels instead of the fleet.
	Random int    `help:"Make this many panels at random instead of the fleet."`
	Seed   uint64 `help:"Of the first made-up panel." default:"1"`
}

// Run renders our own fleet, or panels made up at random, with truth, for the score table.
func (c *scenesCmd) Run(s streams) error {
	list := scene.Fleet()
	if c.Random > 0 {
		list = nil
		for i := range c.Random {
			seed := c.Seed + uint64(i)
			list = append(list, scene.Named{Key: fmt.Sprintf("random-%03d", seed), Spec: scene.Random(seed)})
		}
	}
	for _, n := range list {
		spec := n.Spec
		if c.Shake > 0 || c.Random == 0 {
			spec.Camera.ShakePX = c.Shake
		}
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
