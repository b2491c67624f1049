package main

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"fairmetal/backup"
)

type doctorCmd struct {
	place
	passphraseFile
	Clear     bool   `help:"Take away cut-off uploads and files that no record names."`
	From      string `help:"Bring missing and damaged files back from this backup." type:"existingfile" placeholder:"BACKUP"`
	Recompute string `help:"Measure this capture again from its photos and compare." placeholder:"CAPTURE"`
	JSON      bool   `name:"json" help:"Print JSON."`
}

// errHarm makes the exit code tell a script that something is lost.
var errHarm = errors.New("the workshop has losses, see above")

// Run looks the workshop over.
func (c *doctorCmd) Run(ctx context.Context, s streams) error {
	if c.Clear || c.From != "" {
		// Whoever changes something holds the workshop.
		st, err := c.open(ctx)
		if err != nil {
			return err
		}
		defer st.Close()
	}
	snap, blobs, err := c.look(ctx)
	if err != nil {
		return err
	}
	defer snap.Close()
	b := newBar(s.Err)
	if c.Recompute != "" {
		r, err := backup.Recompute(ctx, snap, blobs, c.Recompute, b.set)
		b.end()
		if err != nil {
			return err
		}
		return c.printRecomputed(s, r)
	}
	r, err := backup.Examine(ctx, snap, blobs, time.Now(), func(done float64) { b.set("reading every file", done) })
	b.end()
	if err != nil {
		return err
	}
	if c.From != "" {
		pass, err := c.read()
		if err != nil {
			return err
		}
		n, err := r.BringBack(ctx, c.From, pass, blobs)
		if err != nil {
			return err
		}
		fmt.Fprintf(s.Err, "brought back from %s: %d\n", c.From, n)
	}
	if c.Clear {
		n, err := r.Clear(ctx, blobs)
		if err != nil {
			return err
		}
		fmt.Fprintf(s.Err, "taken away: %d\n", n)
	}
	if c.JSON {
		err = printJSON(s.Out, r)
	} else {
		for _, f := range r.Findings {
			fmt.Fprintf(s.Out, "%-10s %s\n           %s; %s\n", f.Code, f.Where, f.Text, f.Advice)
		}
		fmt.Fprintf(s.Out, "%d records, %d files whole (%.1f MB)", r.Records, r.Files, float64(r.Bytes)/1e6)
		if !r.Harmed() {
			fmt.Fprint(s.Out, "; nothing is missing")
		}
		fmt.Fprintln(s.Out)
	}
	if err == nil && r.Harmed() {
		err = errHarm
	}
	return err
}

func (c *doctorCmd) printRecomputed(s streams, r backup.Recomputed) error {
	if c.JSON {
		return printJSON(s.Out, r)
	}
	fmt.Fprintf(s.Out, "capture %s, measured by %s, measured again by %s\n", r.Capture, r.Program, r.Now)
	if len(r.Differs) == 0 {
		fmt.Fprintf(s.Out, "the same to the last byte: %s\n", strings.Join(r.Same, ", "))
		return nil
	}
	fmt.Fprintf(s.Out, "the same: %s\nother:    %s\n", strings.Join(r.Same, ", "), strings.Join(r.Differs, ", "))
	fmt.Fprintf(s.Out, "heights differ by %.2f um at most, %d cells are known to one of both only; marks %d, now %d; deepest %.0f um, now %.0f um\n", r.HeightUM, r.Cells, r.MarksThen, r.MarksNow, r.DeepestUM, r.DeepestNow)
	return nil
}
