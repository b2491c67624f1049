package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"text/tabwriter"

	"fairmetal/inspection"
	"fairmetal/mark"
)

type measureCmd struct {
	Capture string `arg:"" help:"Folder with capture.json and its photos." type:"existingdir"`
	Out     string `help:"Folder for the result." required:"" placeholder:"DIR"`
	Twin    string `help:"Result folder of the undamaged other side of the vehicle, its cards laid as in a mirror: it lends the form where a fill cannot bridge the damage." type:"existingdir" placeholder:"DIR"`
	JSON    bool   `name:"json" help:"Print the marks as JSON."`
}

// Run measures one capture.
func (c *measureCmd) Run(ctx context.Context, s streams) error {
	var twin *inspection.Stored
	if c.Twin != "" {
		var err error
		if twin, err = inspection.Load(os.DirFS(c.Twin)); err != nil {
			return refused("twin", err)
		}
	}
	bar := newBar(s.Err)
	res, err := inspection.RunTwin(ctx, os.DirFS(c.Capture), twin, bar.set)
	bar.end()
	if err != nil {
		return err
	}
	files, err := res.Files()
	if err != nil {
		return err
	}
	if err := inspection.Save(c.Out, files); err != nil {
		return err
	}
	for _, n := range res.Notices {
		fmt.Fprintf(s.Err, "%s: %v\n", n.Severity, n)
	}
	if c.JSON {
		marks := res.Marks
		if marks == nil {
			marks = []mark.Mark{}
		}
		return printJSON(s.Out, map[string]any{"marks": marks, "notices": res.Notices, "quality": res.Quality, "checks": res.Checks()})
	}
	printMarks(s.Out, res.Marks)
	if t := res.Twin; t != nil {
		fmt.Fprintf(s.Out, "form from the twin %q: undamaged metal within %.1f um over it, %.1f um over a smooth fill\n", t.Name, t.SpreadUM, t.WithoutUM)
	}
	printChecks(s.Out, res.Checks())
	fmt.Fprintf(s.Out, "measured %.0f cm2, undamaged metal within %.1f um; result in %s\n", res.Quality.MeasuredCM2, res.Quality.SpreadUM, c.Out)
	return nil
}

// printChecks prints the self-check: how many points hold, and those that do not.
func printChecks(w io.Writer, list []inspection.Check) {
	good := 0
	for _, c := range list {
		if c.OK {
			good++
		}
	}
	fmt.Fprintf(w, "self-check: %d of %d points hold\n", good, len(list))
	for _, c := range list {
		if !c.OK {
			fmt.Fprintf(w, "  %s: %s (limit %g)\n", c.Code, c.Text, c.Limit)
		}
	}
}

// printMarks prints the marks as a table.
func printMarks(w io.Writer, marks []mark.Mark) {
	if len(marks) == 0 {
		fmt.Fprintln(w, "no marks")
		return
	}
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "mark\tkind\tx mm\ty mm\tlength mm\twidth mm\tdepth um\t+-\tcrown um\t")
	for _, m := range marks {
		depth := fmt.Sprintf("%.0f", m.DepthUM)
		if m.Folded {
			depth = "folded"
		}
		fmt.Fprintf(t, "%s\t%s\t%.1f\t%.1f\t%.1f\t%.1f\t%s\t%.1f\t%.0f\t\n", m.ID, m.Kind, m.XMM, m.YMM, m.LengthMM, m.WidthMM, depth, m.DepthSigmaUM, m.CrownUM)
	}
	t.Flush()
}

// bar is a progress line on a terminal; nothing elsewhere.
type bar struct {
	w    io.Writer
	live bool
	last string
}

func newBar(w io.Writer) *bar {
	f, ok := w.(*os.File)
	live := false
	if ok {
		if st, err := f.Stat(); err == nil {
			live = st.Mode()&os.ModeCharDevice != 0
		}
	}
	return &bar{w: w, live: live}
}

func (b *bar) set(step string, done float64) {
	if !b.live {
		return
	}
	const width = 24
	n := int(done*width + 0.5)
	line := fmt.Sprintf("\r[%s%s] %3.0f %%  %s", repeat('#', n), repeat('.', width-n), 100*done, step)
	pad := max(0, len(b.last)-len(line))
	fmt.Fprint(b.w, line, string(repeat(' ', pad)))
	b.last = line
}

func (b *bar) end() {
	if b.live && b.last != "" {
		fmt.Fprint(b.w, "\r", string(repeat(' ', len(b.last))), "\r")
	}
}

func repeat(r byte, n int) string {
	out := make([]byte, max(0, n))
	for i := range out {
		out[i] = r
	}
	return string(out)
}
