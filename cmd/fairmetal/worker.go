package main

import (
	"context"
	"errors"
	"fmt"

	"fairmetal/workshop"
)

type workerCmd struct {
	place
	Workers int `help:"Captures measured at a time; each uses all of this computer." default:"1"`
}

// Run measures the captures of a shared workshop until it is stopped.
func (c *workerCmd) Run(ctx context.Context, s streams) error {
	if c.Store == "" {
		return errors.New("a worker needs a shared workshop: give --store and --blobs, as fairmetal serve has them")
	}
	if c.Workers < 1 {
		return errors.New("a worker measures one capture at a time or more: give --workers 1")
	}
	st, err := c.open(ctx)
	if err != nil {
		return err
	}
	defer st.Close()
	w := workshop.New(st)
	w.Workers = c.Workers
	fmt.Fprintln(s.Out, "measuring what waits in the shared workshop; stop with Ctrl-C")
	return w.Run(ctx)
}
