package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"fairmetal/demo"
	"fairmetal/job"
	"fairmetal/store"
	"fairmetal/workshop"

	"fairmetal/inspection"
)

type demoCmd struct {
	Dir  string `help:"Folder of the demo workshop; it is kept and shown again next time." default:"demo-workshop" placeholder:"DIR"`
	Once bool   `help:"Do all but serve the web app."`
	Addr string `help:"Address to serve on." default:"127.0.0.1:8477"`
}

// Run makes the demo workshop if need be, prints what it measured and serves it.
func (c *demoCmd) Run(ctx context.Context, s streams) error {
	st, err := store.Open(ctx, c.Dir)
	if err != nil {
		return err
	}
	defer st.Close()
	w := workshop.New(st)
	made, err := c.fill(ctx, s, st, w)
	if errors.Is(err, context.Canceled) {
		return nil
	}
	if err != nil {
		return err
	}
	for _, m := range made {
		if err := printMade(ctx, s, st, m); err != nil {
			return err
		}
	}
	dir, err := filepath.Abs(c.Dir)
	if err != nil {
		dir = c.Dir
	}
	fmt.Fprintf(s.Out, "\nthe demo workshop lies in %s\n", dir)
	if c.Once {
		return nil
	}
	return serve(ctx, s, st, w, &serveCmd{place: place{Dir: c.Dir}, Addr: c.Addr})
}

// fill makes the workshop's content unless it is there already.
func (c *demoCmd) fill(ctx context.Context, s streams, st *store.Store, w *workshop.Workshop) ([]demo.Made, error) {
	jobs, err := st.Jobs(ctx, 100)
	if err != nil {
		return nil, err
	}
	if len(jobs) == 0 {
		if err := st.SaveSetting(ctx, workshop.HouseSetting, 0, demo.House()); err != nil {
			return nil, err
		}
		fmt.Fprintln(s.Out, "making the demo workshop: five delivery vans, seven captures")
		b := newBar(s.Err)
		made, err := demo.Fill(ctx, w, st, b.set)
		b.end()
		if err != nil {
			// Half a demo is no demo: the next start makes it anew.
			st.Close()
			os.RemoveAll(c.Dir)
		}
		return made, err
	}
	var made []demo.Made
	for i := len(jobs) - 1; i >= 0; i-- {
		cs, err := st.Captures(ctx, jobs[i].ID)
		if err != nil {
			return nil, err
		}
		for _, k := range cs {
			made = append(made, demo.Made{Job: jobs[i], Capture: k})
		}
	}
	return made, nil
}

// printMade prints marks, plan and price of one capture.
func printMade(ctx context.Context, s streams, st *store.Store, m demo.Made) error {
	fmt.Fprintf(s.Out, "\n%s, %s: %s\n", m.Job.Vehicle, m.Job.Panel, m.Capture.Title)
	if m.Capture.State != job.Measured {
		fmt.Fprintf(s.Out, "  %s %s\n", m.Capture.State, m.Capture.Message)
		return nil
	}
	folder := st.Folder(ctx, m.Capture.ID)
	stored, err := inspection.Load(folder)
	if err != nil {
		return err
	}
	printMarks(s.Out, stored.Marks)
	o, err := workshop.Offer(folder)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	fmt.Fprintf(s.Out, "  without paint: %s\n", o.Verdict.Answer)
	f := o.Plan.Forecast
	switch {
	case o.Quote.Answer == "declined":
		fmt.Fprintf(s.Out, "  declined: %s\n", o.Quote.Reasons[0])
	case f.Hits == 0:
		fmt.Fprintln(s.Out, "  nothing left to do")
	default:
		fmt.Fprintf(s.Out, "  plan: %d hits (%d to %d) in %d rounds, %.0f min at the metal\n", f.Hits, f.HitsLow, f.HitsHigh, len(o.Plan.Rounds), f.Minutes)
		fmt.Fprintf(s.Out, "  price: %.1f h (%.1f to %.1f), %.2f %s with tax\n", o.Quote.Hours, o.Quote.HoursLow, o.Quote.HoursHigh, float64(o.Quote.TotalMinor)/100, o.Quote.Currency)
	}
	printPlanned(s, o)
	return nil
}
