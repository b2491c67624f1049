package main

import (
	"context"
	"errors"
	"fmt"

	"fairmetal/backup"
)

type restoreCmd struct {
	Backup string `arg:"" help:"File that fairmetal backup wrote." type:"existingfile"`
	Dir    string `help:"Empty or new folder for the workshop." placeholder:"DIR"`
	Store  string `help:"Or an empty database for a shared workshop: postgres://USER@HOST/DATABASE." placeholder:"ADDRESS"`
	Blobs  string `help:"With --store: where photos and results go, s3://HOST:PORT/BUCKET or a folder." env:"FAIRMETAL_BLOBS" placeholder:"PLACE"`
	passphraseFile
	JSON bool `name:"json" help:"Print JSON."`
}

// Run makes a workshop of a backup.
func (c *restoreCmd) Run(ctx context.Context, s streams) error {
	b := newBar(s.Err)
	sum, where, err := c.restore(ctx, func(done float64) { b.set("restoring", done) })
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
	fmt.Fprintf(s.Out, "the workshop is there: %d records and %d files, every one read back and compared. Open it with fairmetal serve %s\n", sum.Records, sum.Files, where)
	return nil
}

func (c *restoreCmd) restore(ctx context.Context, progress func(float64)) (sum backup.Summary, where string, err error) {
	pass, err := c.read()
	if err != nil {
		return sum, "", err
	}
	switch {
	case (c.Dir == "") == (c.Store == ""):
		return sum, "", errors.New("give either --dir for a folder or --store with --blobs for a shared workshop")
	case c.Dir != "":
		sum, err = backup.Restore(ctx, c.Backup, pass, c.Dir, progress)
		return sum, "--dir " + c.Dir, err
	}
	files, err := place{Store: c.Store, Blobs: c.Blobs}.files(ctx)
	if err != nil {
		return sum, "", err
	}
	sum, err = backup.RestoreShared(ctx, c.Backup, pass, c.Store, files, progress)
	return sum, "--store … --blobs …, as given here", err
}
