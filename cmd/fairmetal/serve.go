package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"time"

	"fairmetal/store"
	"fairmetal/web"
	"fairmetal/workshop"
)

type serveCmd struct {
	Dir  string `help:"Folder of the workshop." default:"workshop" placeholder:"DIR"`
	Addr string `help:"Address to serve on; only this computer is answered." default:"127.0.0.1:8477"`
}

// Run serves the web app on a workshop.
func (c *serveCmd) Run(ctx context.Context, s streams) error {
	st, err := store.Open(ctx, c.Dir)
	if err != nil {
		return err
	}
	defer st.Close()
	return serve(ctx, s, st, workshop.New(st), c.Addr)
}

// serve runs app and measuring until ctx ends.
func serve(ctx context.Context, s streams, st *store.Store, w *workshop.Workshop, addr string) error {
	app, err := web.New(st, w)
	if err != nil {
		return err
	}
	l, err := net.Listen("tcp", addr)
	if err != nil {
		// The usual port is taken: any free one will do.
		host, _, splitErr := net.SplitHostPort(addr)
		if splitErr != nil {
			return fmt.Errorf("cannot serve on %s (%w); give an address such as 127.0.0.1:8477", addr, err)
		}
		if l, err = net.Listen("tcp", net.JoinHostPort(host, "0")); err != nil {
			return fmt.Errorf("cannot serve on %s (%w)", addr, err)
		}
	}
	server := &http.Server{Handler: app.Handler(), ReadHeaderTimeout: 10 * time.Second, BaseContext: func(net.Listener) context.Context { return ctx }}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	fail := make(chan error, 2)
	go func() { fail <- w.Run(ctx) }()
	go func() { fail <- server.Serve(l) }()
	fmt.Fprintf(s.Out, "open http://%s in a browser on this computer; stop with Ctrl-C\n", l.Addr())
	select {
	case <-ctx.Done():
	case err = <-fail:
	}
	cancel()
	quiet, done := context.WithTimeout(context.Background(), 5*time.Second)
	defer done()
	server.Shutdown(quiet)
	if errors.Is(err, http.ErrServerClosed) {
		err = nil
	}
	return err
}
