package main

import (
	"fmt"
	"path/filepath"

	"fairmetal/scene"
)

type scenesCmd struct {
	Out   string  `arg:"" help:"Folder to make the scenes in."`
	Set   string  `help:"shifted, single, crossed or sweep." enum:"shifted,single,crossed,sweep" default:"shifted"`
	Shake float64 `help:"Wander of the camera between photos, px rms."`
	// Random asks for made-up panels instead of the fleet.
	Random int    `help:"Make this many panels at random instead of the fleet."`
	Gentle int    `help:"Make this many panels for single photos at random: marks up to the fold of the reflection."`
	Sharp  int    `help:"Make this many panels full of sharp marks at random."`
	Seed   uint64 `help:"Of the first made-up panel." default:"1"`
}

// gentleW is the width in px of gentle panels' photos: stripes of 9 to 20 px.
const gentleW = 1200

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
	if c.Sharp > 0 {
		list = nil
		for i := range c.Sharp {
			seed := c.Seed + uint64(i)
			list = append(list, scene.Named{Key: fmt.Sprintf("sharp-%03d", seed), Spec: scene.Sharp(seed)})
		}
	}
	if c.Gentle > 0 {
		list = nil
		for i := range c.Gentle {
			seed := c.Seed + uint64(i)
			list = append(list, scene.Named{Key: fmt.Sprintf("gentle-%03d", seed), Spec: scene.Gentle(seed, gentleW)})
		}
	}
	for _, n := range list {
		spec := n.Spec
		if c.Shake > 0 || c.Random+c.Gentle+c.Sharp == 0 {
			spec.Camera.ShakePX = c.Shake
		}
		switch {
		case c.Gentle > 0 && c.Set == "crossed":
			spec.Sets[0].Crossed, spec.Sets[0].Profile = true, "square"
		case c.Gentle > 0:
		case c.Random+c.Sharp > 0 && c.Set == "sweep":
			q := spec.Sets[0]
			spec.Sets = []scene.Set{{Kind: "sweep", Profile: q.Profile, FineMM: q.FineMM, Frames: 7 + int(spec.Seed%6)}}
		case c.Set == "crossed":
			spec.Sets = []scene.Set{{Kind: "single", Profile: "square", FineMM: 14, Crossed: true}}
		case c.Set == "single":
			spec.Sets = []scene.Set{{Kind: "single", Profile: "square", FineMM: 14}}
		case c.Set == "sweep":
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
