package main

import (
	"errors"
	"fmt"
	"text/tabwriter"

	"fairmetal/rehearse"
)

type rehearseCmd struct {
	Cases    int    `help:"How many panels." default:"10"`
	Seed     uint64 `help:"Of the first panel; it decides everything." default:"1"`
	Strategy string `help:"staged (the planner's own), one (mark after mark to the end) or deepest (always the deepest point)." enum:"staged,one,deepest" default:"staged"`
	JSON     bool   `name:"json" help:"Print JSON."`
}

// Run works made-up panels with metal and hands that are not as planned.
func (c *rehearseCmd) Run(s streams) error {
	if c.Cases < 1 || c.Cases > 10000 {
		return refused("cases", errors.New("ask for 1 to 10000 cases"))
	}
	cases, sum, err := rehearse.Run(c.Cases, c.Seed, c.Strategy)
	if err != nil {
		return err
	}
	if c.JSON {
		return printJSON(s.Out, struct {
			Cases []rehearse.Case `json:"cases"`
			Sum   rehearse.Sum    `json:"sum"`
		}{cases, sum})
	}
	w := tabwriter.NewWriter(s.Out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, "seed\tmaterial\tpaint\tmarks\tdeepest um\toutcome\thits\tforecast\trounds\tstrain %\tlimit %\tleft um\twobble mrad\thand-over check\tminutes\t")
	for _, k := range cases {
		out := "not fair"
		switch {
		case k.Declined:
			out = "declined"
		case k.Fair:
			out = "fair"
		}
		fmt.Fprintf(w, "%d\t%s\t%s\t%d\t%.0f\t%s\t%d\t%d-%d\t%d\t%.1f\t%.1f\t%.0f\t%.1f\t%s\t%.0f\t\n", k.Seed, k.Material, k.Paint, k.Marks, k.DeepestUM, out, k.Hits, k.HitsLow, k.HitsHigh, k.Rounds, k.StrainPct, k.LimitPct, k.LeftUM, k.WobbleMRad, k.FairCheck, k.Minutes)
	}
	w.Flush()
	fmt.Fprintf(s.Out, "%d cases: %d declined, %d fair, %d of them within the forecast, %d ended worse, %d over the film's strain; %d hits, %.0f min\n",
		sum.Cases, sum.Declined, sum.Fair, sum.InRange, sum.Worse, sum.OverStrain, sum.Hits, sum.Minutes)
	return nil
}
