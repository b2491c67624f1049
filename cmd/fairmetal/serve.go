package main

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"path/filepath"
	"time"

	"fairmetal/door"
	"fairmetal/store"
	"fairmetal/web"
	"fairmetal/workshop"
)

type serveCmd struct {
	place
	Addr string `help:"Address to serve on; only this computer is answered." default:"127.0.0.1:8477"`

	Workers int `help:"Captures that this process measures at a time; 0 leaves it to workers elsewhere (shared workshop)." default:"1"`

	Network   bool     `help:"Answer the workshop's network too, with TLS and sign-in."`
	NetAddr   string   `help:"Address of the network's door." default:":8478" placeholder:"ADDR"`
	TrustAddr string   `help:"Address of the page that hands the workshop's certificate to phones." default:":8479" placeholder:"ADDR"`
	Name      []string `help:"More names that the network's door answers to." placeholder:"NAME"`
	Cert      string   `help:"Own certificate (PEM) instead of the workshop's authority." type:"existingfile" placeholder:"FILE"`
	Key       string   `help:"Its key (PEM)." type:"existingfile" placeholder:"FILE"`
}

// Run serves the web app on a workshop.
func (c *serveCmd) Run(ctx context.Context, s streams) error {
	st, err := c.open(ctx)
	if err != nil {
		return err
	}
	defer st.Close()
	w := workshop.New(st)
	w.Workers = c.Workers
	if c.Workers < 0 || c.Workers == 0 && !st.Shared() {
		return errors.New("a workshop in a folder measures for itself: give --workers 1 or more")
	}
	return serve(ctx, s, st, w, c)
}

// site is one listener with what it serves.
type site struct {
	net.Listener
	handler http.Handler
}

// serve runs app and measuring until ctx ends.
func serve(ctx context.Context, s streams, st *store.Store, w *workshop.Workshop, c *serveCmd) error {
	app, err := web.New(st, w)
	if err != nil {
		return err
	}
	l, err := listen(c.Addr)
	if err != nil {
		return err
	}
	d := door.New(st)
	d.HouseLang = func(ctx context.Context) string {
		set, err := w.Settings(ctx)
		if err != nil {
			return "" // the page itself tells when the records cannot be read
		}
		return set.House.Lang
	}
	watch(ctx, d, st, w)
	var sites []site
	if c.Network {
		if sites, err = c.network(d, app.DoorRoutes()); err != nil {
			l.Close()
			return err
		}
	}
	sites = append(sites, site{l, d.Loopback(app.DoorRoutes())})
	fmt.Fprintf(s.Out, "open http://%s in a browser on this computer; stop with Ctrl-C\n", l.Addr())
	if c.Network {
		fmt.Fprintf(s.Out, "on the network: %s; http://%s/door on this computer lets people and phones in\n", d.Address, l.Addr())
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	fail := make(chan error, 1+len(sites))
	go func() { fail <- w.Run(ctx) }()
	var servers []*http.Server
	for _, x := range sites {
		server := &http.Server{Handler: x.handler, ReadHeaderTimeout: 10 * time.Second, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 32 << 10,
			BaseContext: func(net.Listener) context.Context { return ctx }, ErrorLog: slog.NewLogLogger(slog.Default().Handler(), slog.LevelDebug)}
		servers = append(servers, server)
		go func() { fail <- server.Serve(x.Listener) }()
	}
	select {
	case <-ctx.Done():
	case err = <-fail:
	}
	cancel()
	quiet, done := context.WithTimeout(context.Background(), 5*time.Second)
	defer done()
	for _, server := range servers {
		server.Shutdown(quiet)
	}
	if errors.Is(err, http.ErrServerClosed) {
		err = nil
	}
	return err
}

// listen opens an address; where the port is taken any free one will do.
func listen(addr string) (net.Listener, error) {
	l, err := net.Listen("tcp", addr)
	if err == nil {
		return l, nil
	}
	host, _, splitErr := net.SplitHostPort(addr)
	if splitErr != nil {
		return nil, fmt.Errorf("cannot serve on %s (%w); give an address such as 127.0.0.1:8477", addr, err)
	}
	if l, err = net.Listen("tcp", net.JoinHostPort(host, "0")); err != nil {
		return nil, fmt.Errorf("cannot serve on %s (%w)", addr, err)
	}
	return l, nil
}

// network opens the door to the network: TLS under the workshop's own authority or a given certificate.
func (c *serveCmd) network(d *door.Door, routes []door.Route) (sites []site, err error) {
	names := append(c.Name, door.LocalNames()...)
	config := &tls.Config{MinVersion: tls.VersionTLS12, NextProtos: []string{"h2", "http/1.1"}}
	if c.Cert != "" || c.Key != "" {
		pair, err := tls.LoadX509KeyPair(c.Cert, c.Key)
		if err != nil {
			return nil, fmt.Errorf("the certificate cannot be used (%w); give --cert and --key together, both PEM", err)
		}
		config.Certificates = []tls.Certificate{pair}
	} else {
		if d.Trust, err = door.OpenAuthority(filepath.Join(c.Dir, "door"), names, time.Now); err != nil {
			return nil, err
		}
		config, names = d.Trust.TLS(), d.Trust.Names()
	}
	l, err := listen(c.NetAddr)
	if err != nil {
		return nil, err
	}
	sites = append(sites, site{tls.NewListener(l, config), nil})
	d.Address = "https://" + net.JoinHostPort(names[0], port(l))
	if d.Trust != nil {
		t, err := listen(c.TrustAddr)
		if err != nil {
			l.Close()
			return nil, err
		}
		d.Trust.Page = "http://" + net.JoinHostPort(names[0], port(t)) + "/trust"
		sites = append(sites, site{t, d.TrustOnly(routes)})
	}
	sites[0].handler = d.Network(routes, names)
	return sites, nil
}

func port(l net.Listener) string {
	_, p, err := net.SplitHostPort(l.Addr().String())
	if err != nil {
		return ""
	}
	return p
}
