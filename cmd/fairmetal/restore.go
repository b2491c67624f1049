package main

import (
	"context"
	"fmt"

	"fairmetal/backup"
)

type restoreCmd struct {
	Backup string `arg:"" help:"File that fairmetal backup wrote." type:"existingfile"`
	Dir    string `help:"Empty or new folder for the workshop." required:"" placeholder:"DIR"`
	JSON   bool   `name:"json" help:"Print JSON."`
}

// Run makes a workshop of a backup.
func (c *restoreCmd) Run(ctx context.Context, s streams) error {
	b := newBar(s.Err)
	sum, err := backup.Restore(ctx, c.Backup, c.Dir, func(done float64) { b.set("restoring", done) })
	b.end()
	if err != nil {
		return err
	}
	for _, d := range sum.Damaged {
		fmt.Fprintf(s.Err, "warning: not in the backup, as the workshop had it no more: %s\n", d)
	}
	if c.JSON {
		return printJSON(s.Out, sum)
	}
	fmt.Fprintf(s.Out, "%s holds the workshop: %d records and %d files, every one read back and compared. Open it with fairmetal serve --dir %s\n", c.Dir, sum.Records, sum.Files, c.Dir)
	return nil
}
