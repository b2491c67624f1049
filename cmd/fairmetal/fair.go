package main

import (
	"fmt"
	"os"
	"text/tabwriter"

	"fairmetal/fair"
	"fairmetal/inspection"
	"fairmetal/tracing"
)

type fairCmd struct {
	Dir   string `arg:"" help:"Result folder of fairmetal measure." type:"existingdir"`
	Paint string `help:"How plainly the paint shows a wobble: black, dark, mid or pale." enum:"black,dark,mid,pale" default:"black"`
	JSON  bool   `name:"json" help:"Print JSON."`
}

// Run is the hand-over check: no reflected line may wobble from any side.
func (c *fairCmd) Run(s streams) error {
	r, err := inspection.Load(os.DirFS(c.Dir))
	if err != nil {
		return refused("result", err)
	}
	v, err := fair.Judge(r.Surface, fair.DefaultLimits(fair.Paint(c.Paint)))
	if err != nil {
		return refused("fair", err)
	}
	if c.JSON {
		return printJSON(s.Out, v)
	}
	fmt.Fprintf(s.Out, "fair on %s paint: %s\n", c.Paint, v.Answer)
	for _, t := range v.Reasons {
		fmt.Fprintln(s.Out, "  "+t)
	}
	w := tabwriter.NewWriter(s.Out, 0, 0, 2, ' ', tabwriter.AlignRight)
	for i, f := range v.Flaws {
		if i == 0 {
			fmt.Fprintln(w, "flaw at x mm\ty mm\twidth mm\theight um\tslope mrad\tfair\t")
		}
		fmt.Fprintf(w, "%.0f\t%.0f\t%.0f\t%.0f\t%.1f\t%s\t\n", f.XMM, f.YMM, f.WidthMM, f.HeightUM, f.SlopeMRad, f.Answer)
	}
	return w.Flush()
}

type tracingCmd struct {
	Dir   string `arg:"" help:"Result folder with a plan (fairmetal plan)." type:"existingdir"`
	Round int    `help:"Which round of the plan." default:"1"`
	Paper string `help:"A4, A3 or letter." enum:"A4,A3,letter" default:"A4"`
	Out   string `help:"PDF to write." required:""`
}

// Run draws a round of hits at true size, to lay over the panel.
func (c *tracingCmd) Run(s streams) error {
	r, err := inspection.Load(os.DirFS(c.Dir))
	if err != nil {
		return refused("result", err)
	}
	p, err := readPlan(c.Dir)
	if err != nil {
		return refused("plan", err)
	}
	if c.Round < 1 || c.Round > len(p.Rounds) {
		return refused("round", fmt.Errorf("the plan has %d rounds; ask for one of them", len(p.Rounds)))
	}
	round := p.Rounds[c.Round-1]
	t := tracing.Round{Panel: r.Capture.Panel.Name, Title: round.Title}
	for _, h := range round.Hits {
		t.Hits = append(t.Hits, tracing.Hit{N: h.N, XMM: h.XMM, YMM: h.YMM, Kind: h.Method, Lines: []string{h.Tool, fmt.Sprintf("%+.0f um", h.SetUM)}})
	}
	for _, k := range r.Cards {
		t.Cards = append(t.Cards, tracing.Card{Letter: k.Letter, Symbol: k.OutlineMM})
	}
	for _, m := range r.Marks {
		t.Marks = append(t.Marks, tracing.Outline{Name: m.ID, MM: m.OutlineMM})
	}
	pdf, err := tracing.PDF(t, c.Paper)
	if err != nil {
		return refused("tracing", err)
	}
	if err := os.WriteFile(c.Out, pdf, 0o644); err != nil {
		return fmt.Errorf("%s cannot be written (%w); choose another place", c.Out, err)
	}
	fmt.Fprintln(s.Out, c.Out)
	return nil
}
