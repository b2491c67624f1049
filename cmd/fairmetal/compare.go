package main

import (
	"fmt"
	"os"
	"text/tabwriter"

	"fairmetal/compare"
	"fairmetal/inspection"
)

type compareCmd struct {
	Before string `arg:"" help:"Result folder of the earlier capture." type:"existingdir"`
	After  string `arg:"" help:"Result folder of the later capture." type:"existingdir"`
	JSON   bool   `name:"json" help:"Print JSON."`
}

// Run tells what happened between two captures.
func (c *compareCmd) Run(s streams) error {
	a, err := inspection.Load(os.DirFS(c.Before))
	if err != nil {
		return refused("result", err)
	}
	b, err := inspection.Load(os.DirFS(c.After))
	if err != nil {
		return refused("result", err)
	}
	p := compare.Panels(a.Side(), b.Side())
	if c.JSON {
		return printJSON(s.Out, p)
	}
	t := tabwriter.NewWriter(s.Out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "before\tafter\tx mm\ty mm\twas um\tis um\tstate\t")
	for _, k := range p.Changes {
		fmt.Fprintf(t, "%s\t%s\t%.0f\t%.0f\t%+.0f\t%+.0f\t%s\t\n", k.Before, k.After, k.XMM, k.YMM, k.WasUM, k.IsUM, k.State)
	}
	t.Flush()
	fmt.Fprintln(s.Out, p.Frames)
	fmt.Fprintf(s.Out, "%.0f cm2 in common, undamaged metal agrees within %.1f um rms; now %.0f um at the lowest, %+.0f um at the highest\n", p.CommonCM2, p.SoundUM, p.DeepestUM, p.HighestUM)
	return nil
}
