package main

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"text/tabwriter"

	"fairmetal/inspection"
	"fairmetal/offer"
	"fairmetal/plan"
	"fairmetal/quote"
)

type planCmd struct {
	facts
	Hits bool `help:"Print every hit, not only the first of each round."`
}

// Run plans the repair of a measured panel.
func (c *planCmd) Run(s streams) error {
	_, o, err := c.make(quote.DefaultRates())
	if err != nil {
		return err
	}
	files, err := o.Files()
	if err != nil {
		return err
	}
	for name := range files {
		if name != "plan.json" && name != "verdict.json" {
			delete(files, name)
		}
	}
	if err := inspection.Save(c.Dir, files); err != nil {
		return err
	}
	if c.JSON {
		return printJSON(s.Out, o.Plan)
	}
	printVerdict(s, o)
	printPlan(s, o.Plan, c.Hits)
	printPlanned(s, o)
	fmt.Fprintf(s.Out, "plan in %s\n", filepath.Join(c.Dir, "plan.json"))
	return nil
}

// readPlan reads the plan in a result folder.
func readPlan(dir string) (plan.Plan, error) {
	data, err := os.ReadFile(filepath.Join(dir, "plan.json"))
	if err != nil {
		return plan.Plan{}, fmt.Errorf("there is no plan.json in %s; run `fairmetal plan` first", dir)
	}
	var p plan.Plan
	if err := json.Unmarshal(data, &p); err != nil {
		return plan.Plan{}, fmt.Errorf("plan.json cannot be read (%w); plan again", err)
	}
	return p, nil
}

func printVerdict(s streams, o offer.Offer) {
	fmt.Fprintf(s.Out, "without paint: %s\n", o.Verdict.Answer)
	for _, r := range o.Verdict.Reasons {
		fmt.Fprintf(s.Out, "  %s\n", r.Text)
	}
	for _, m := range o.Verdict.Marks {
		for _, r := range m.Reasons {
			fmt.Fprintf(s.Out, "  %s: %s (%s)\n", m.ID, r.Text, r.Answer)
		}
	}
}

// printPlanned says whether the panel could be handed over if all hits landed as told.
func printPlanned(s streams, o offer.Offer) {
	if v := o.Basis.Planned; v != nil && len(o.Plan.Rounds) > 0 {
		fmt.Fprintf(s.Out, "  as planned the hand-over check says: %s, a line wobbles by %.1f mrad at (%.0f, %.0f) mm, the limit is %.1f\n", v.Answer, v.Worst.WobbleMRad, v.Worst.XMM, v.Worst.YMM, 2*v.Limits.SlopeMRad)
	}
}

func printPlan(s streams, p plan.Plan, all bool) {
	if p.Declined != "" {
		fmt.Fprintln(s.Out, "better not begun: "+p.Declined)
	}
	t := tabwriter.NewWriter(s.Out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "round\tstage\thits\tmin\tfirst hit")
	for i, r := range p.Rounds {
		fmt.Fprintf(t, "%d\t%s\t%d\t%.0f\t%s\n", i+1, r.Stage, len(r.Hits), r.Minutes, told(r.Hits[0]))
		for _, h := range r.Hits[1:] {
			if all {
				fmt.Fprintf(t, "\t\t\t\t%s\n", told(h))
			}
		}
	}
	t.Flush()
	f := p.Forecast
	fmt.Fprintf(s.Out, "forecast: %d hits (%d to %d in %.0f jobs of ten), %.0f min (%.0f to %.0f), worst left over %.0f um, film bent by %.1f %% of %.1f %%\n",
		f.Hits, f.HitsLow, f.HitsHigh, 10*f.Share, f.Minutes, f.MinLow, f.MinHigh, f.LeftUM, f.StrainPct, f.LimitPct)
	if p.Bound.Why != "" {
		fmt.Fprintln(s.Out, p.Bound.Why)
	}
	if len(p.Orders) > 0 {
		fmt.Fprintln(t, "working order\thits\tmin\tworst strain %\t")
		for _, o := range p.Orders {
			fmt.Fprintf(t, "%s\t%d\t%.0f\t%.1f\t%s\n", o.Name, o.Hits, o.Minutes, o.WorstPct, o.Note)
		}
	}
	if len(p.Influences) > 0 {
		fmt.Fprintln(t, "raising\tmoves\tby\tof what it is raised\t")
		for _, n := range p.Influences {
			fmt.Fprintf(t, "%s\t%s\t%+.0f um\t%+.1f %%\t\n", n.From, n.To, n.MovesUM, n.Percent)
		}
	}
	t.Flush()
	for _, g := range p.Groups {
		if len(g) > 1 {
			fmt.Fprintf(s.Out, "to be worked together: %v\n", g)
		}
	}
}

// told is a hit in a line.
func told(h plan.Hit) string {
	line := fmt.Sprintf("%s %s at (%.0f, %.0f) mm: ", h.Method, h.Tool, h.XMM, h.YMM)
	if h.Method != "tap" {
		line += fmt.Sprintf("under the tool to %+.0f um, ", h.LoadedUM)
	}
	line += fmt.Sprintf("from %+.0f to %+.0f um", h.FromUM, h.ToUM)
	if h.Method != "tap" {
		line += fmt.Sprintf(", about %.0f N", h.ForceN)
	}
	if h.Bar != "" {
		line += fmt.Sprintf(", %.0f N at the hand with %s", h.HandN, h.Bar)
	}
	switch {
	case h.Sharp:
		line += ", held from the other side, with the sharpest tip"
	case h.Held:
		line += ", held from the other side"
	}
	return line
}
