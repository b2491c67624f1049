package main

import (
	"context"
	"fmt"
	"time"

	"fairmetal/backup"
)

type backupCmd struct {
	place
	passphraseFile
	Out  string `help:"File to write; left out: fairmetal-DATE.tar here." placeholder:"FILE"`
	JSON bool   `name:"json" help:"Print JSON."`
}

// Run backs the workshop up into one file.
func (c *backupCmd) Run(ctx context.Context, s streams) error {
	pass, err := c.read()
	if err != nil {
		return err
	}
	if c.Out == "" {
		c.Out = "fairmetal-" + time.Now().Format("2006-01-02-1504") + ".tar"
		if pass != "" {
			c.Out += ".age"
		}
	}
	snap, files, err := c.look(ctx)
	if err != nil {
		return err
	}
	defer snap.Close()
	b := newBar(s.Err)
	sum, err := backup.Write(ctx, c.Out, pass, snap, files, func(done float64) { b.set("writing "+c.Out, done) })
	b.end()
	if err != nil {
		return err
	}
	for _, d := range sum.Damaged {
		fmt.Fprintf(s.Err, "warning: left out, as the workshop has it no more: %s\n", d)
	}
	if c.JSON {
		return printJSON(s.Out, sum)
	}
	keep := "Keep it on another disk: it holds customers' names and photos, and is not encrypted (--passphrase-file)."
	if pass != "" {
		keep = "Keep it on another disk, and the passphrase elsewhere: without it nobody can restore this."
	}
	fmt.Fprintf(s.Out, "%s holds %d records and %d files, %.1f MB; read back and checked. %s\n", c.Out, sum.Records, sum.Files, float64(sum.Bytes)/1e6, keep)
	return nil
}
