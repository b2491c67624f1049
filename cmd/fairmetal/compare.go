package main

import (
	"errors"
	"fmt"
	"os"
	"text/tabwriter"

	"fairmetal/compare"
	"fairmetal/inspection"
	"fairmetal/offer"
	"fairmetal/rack"
)

type compareCmd struct {
	Before string `arg:"" help:"Result folder of the earlier capture." type:"existingdir"`
	After  string `arg:"" help:"Result folder of the later capture." type:"existingdir"`
	Round  int    `help:"The round of BEFORE's plan that was worked in between: says what the metal told. 0: none."`
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
	var story *compare.Story
	if c.Round > 0 {
		if story, err = c.tell(a, b, p); err != nil {
			return refused("round", err)
		}
	}
	if c.JSON {
		return printJSON(s.Out, struct {
			compare.Progress
			Story *compare.Story `json:"story,omitempty"`
		}{p, story})
	}
	t := tabwriter.NewWriter(s.Out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "before\tafter\tx mm\ty mm\twas um\tis um\tstate\t")
	height := func(um float64, least bool) string {
		if least {
			return "folded"
		}
		return fmt.Sprintf("%+.0f", um)
	}
	for _, k := range p.Changes {
		fmt.Fprintf(t, "%s\t%s\t%.0f\t%.0f\t%s\t%s\t%s\t\n", k.Before, k.After, k.XMM, k.YMM, height(k.WasUM, k.WasLeast), height(k.IsUM, k.IsLeast), k.State)
	}
	t.Flush()
	fmt.Fprintln(s.Out, p.Frames)
	fmt.Fprintf(s.Out, "%.0f cm2 in common, undamaged metal agrees within %.1f um rms; now %.0f um at the lowest, %+.0f um at the highest\n", p.CommonCM2, p.SoundUM, p.DeepestUM, p.HighestUM)
	if story != nil {
		fmt.Fprintln(s.Out, story.Made()+"; "+story.Says+"; plan the next round with --told and what --json prints")
		for _, t := range story.Warnings {
			fmt.Fprintln(s.Out, "warning: "+t)
		}
	}
	return nil
}

// tell asks what the round in between told about the metal.
func (c *compareCmd) tell(a, b *inspection.Stored, p compare.Progress) (*compare.Story, error) {
	if p.Alignment != nil && p.Alignment.Sure && p.Alignment.Moved {
		return nil, errors.New("the cards were moved in between: leave them where they lie from a round to the next capture")
	}
	made, err := readPlan(c.Before)
	if err != nil {
		return nil, err
	}
	if c.Round > len(made.Rounds) {
		return nil, fmt.Errorf("the plan has %d rounds; choose one of them", len(made.Rounds))
	}
	facts := offer.Facts{Material: made.Material, ThicknessMM: made.Thickness}
	panel, err := facts.Panel(a)
	if err != nil {
		return nil, err
	}
	story, err := compare.Tell(compare.Work{Forecast: made.Forecast, Panel: panel, Crown: facts.Crown(a), TempC: made.TempC, Rack: rack.Default(), Marks: b.Marks,
		Done: []compare.Done{{Round: made.Rounds[c.Round-1], Before: a.Surface, After: b.Surface}}})
	return &story, err
}
