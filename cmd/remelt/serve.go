package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/spf13/cobra"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/sqlite"
	"example.org/remelt/server"
)

// serveFlags are those of remelt serve.
type serveFlags struct {
	demo           bool
	db, http, grpc string
	hosts          []string

	backupTo    string
	backupEvery time.Duration
	backupKeep  int

	cert, key, url string
	proxy          bool

	metrics string
	pprof   bool
	traces  string
}

func (a *app) serveCommand() *cobra.Command {
	v := &serveFlags{}
	c := &cobra.Command{
		Use:   "serve",
		Short: "Keep the book: gRPC, REST and a page of the stock",
		Long: `Keep the book in one file and serve it over gRPC and REST, with a page of the stock.

--db may also be the URL of a PostgreSQL database, such as postgres://user@host/name,
which any number of servers may share; a file has one. A password is better kept in
~/.pgpass or PGPASSWORD than in the URL.

A file is verified before it is served, as by remelt verify; a damaged one is not
served. One of more than 32 MB, some 75 000 entries, is served at once and verified
meanwhile, which its pages say; if it is damaged the server stops, and leaves
FILE.verify-first beside it, so that the next start verifies before it serves. A file
is open to one server at a time.

With --backup-to it makes a copy of all books every --backup-every, while it works,
verifies it, and then removes the oldest beyond --backup-keep. A start makes one if
the newest is older than that. remelt restore puts one in place, here or elsewhere.

With --demo it serves a year of an invented shop, in a temporary file unless --db
names one. With --shop it opens a book for that shop if the file has none.

A shop to which nobody can sign in yet is open to whoever reaches the server, so
the addresses are those of this machine. The link it prints makes the first person,
who manages the shop; from then on everybody signs in. To be reached from other
machines it needs that, and TLS: a certificate (remelt tls init makes one), or a
proxy in front of it.`,
		Example: "  remelt serve --demo\n  remelt serve --db remelt.db --shop harrow\n" +
			"  remelt serve --http :8443 --grpc :9443 --tls-cert server.pem --tls-key server.key --host foundry.local",
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			for _, name := range []string{"backup-every", "backup-keep"} {
				if c.Flags().Changed(name) && v.backupTo == "" {
					return usagef("--%s: say with --backup-to where to make backups; without it none are made", name)
				}
			}
			return a.serve(c.Context(), v, c.Flags().Changed("db"))
		},
	}
	f := c.Flags()
	f.BoolVar(&v.demo, "demo", false, "serve a year of an invented shop")
	f.StringVar(&v.db, "db", "remelt.db", "the file of the book, or the URL of a PostgreSQL database")
	f.StringVar(&v.http, "http", "127.0.0.1:8080", "address for REST and the page; port 0 takes a free one")
	f.StringVar(&v.grpc, "grpc", "127.0.0.1:9090", "address for gRPC; port 0 takes a free one")
	f.StringArrayVar(&v.hosts, "host", nil, "a further name under which the HTTP address may be called; may be said more than once")
	f.StringVar(&v.backupTo, "backup-to", "", "a folder for regular backups, best on another disk")
	f.DurationVar(&v.backupEvery, "backup-every", 24*time.Hour, "how often to make one")
	f.IntVar(&v.backupKeep, "backup-keep", 14, "how many of them to keep")
	f.StringVar(&v.cert, "tls-cert", "", "file of the certificate for both addresses, in PEM; read again when it changes")
	f.StringVar(&v.key, "tls-key", "", "file of its key")
	f.BoolVar(&v.proxy, "behind-proxy", false, "a proxy in front of it speaks TLS with those outside, and adds X-Forwarded-For")
	f.StringVar(&v.url, "url", "", "address of the pages as others see it, for the links to them")
	f.StringVar(&v.metrics, "metrics", "", "address for Prometheus metrics and the state of health, such as 127.0.0.1:9100; off unless said")
	f.BoolVar(&v.pprof, "pprof", false, "profiles too, at the address for metrics, which must be of this machine")
	f.StringVar(&v.traces, "traces", "", "where to send traces: stdout, or the URL of an OTLP collector; nowhere unless said")
	noFiles(c, "metrics", "traces", "http", "grpc", "host", "url", "backup-every", "backup-keep")
	return c
}

func (a *app) serve(ctx context.Context, v *serveFlags, dbGiven bool) error {
	server.PaceGarbage(ctx)
	if v.demo && !dbGiven {
		dir, err := os.MkdirTemp("", "remelt-demo-")
		if err != nil {
			return err
		}
		defer os.RemoveAll(dir)
		v.db = filepath.Join(dir, "demo.db")
	}
	log := slog.New(slog.NewJSONHandler(a.err, nil))
	if onTerminal(a.err) {
		log = slog.New(slog.NewTextHandler(a.err, nil))
	}
	if v.demo && isDatabase(v.db) {
		return usagef("--demo keeps its invented figures in a file, not in a database")
	}
	if v.demo {
		if err := a.prepareDemo(ctx, v.db); err != nil {
			return err
		}
	}
	store, err := openStore(ctx, v.db)
	if err != nil {
		return unlessStopped(ctx, err)
	}
	var unverified *check
	if file, ok := store.(*sqlite.Store); ok {
		if unverified, err = verifyFirst(ctx, file, log); err != nil {
			return errors.Join(unlessStopped(ctx, err), notServed(store))
		}
	}
	if a.shop != "" && !v.demo {
		if err := openBook(ctx, store, a.shop); err != nil {
			return errors.Join(unlessStopped(ctx, err), notServed(store))
		}
	}
	running, stop := context.WithCancel(ctx)
	var regular sync.WaitGroup
	defer regular.Wait()
	defer stop()
	var regularly *backups
	if v.backupTo != "" {
		if regularly, err = newBackups(v, store, log, a.now); err != nil {
			return errors.Join(err, notServed(store))
		}
	}
	server.LogLibraries(log)
	config := server.Config{Store: store, GRPC: v.grpc, HTTP: v.http, Hosts: v.hosts, Log: log, Version: version(), Backup: backupOf(store),
		CertFile: v.cert, KeyFile: v.key, BehindProxy: v.proxy, URL: v.url}
	if unverified != nil {
		config.Beside, config.Verifying = unverified.rest, unverified.progress
	}
	counted, endTraces, err := v.see(ctx, a.out, &config)
	if err != nil {
		return errors.Join(err, notServed(store))
	}
	defer endTraces()
	s, err := server.New(config)
	if err != nil {
		return errors.Join(err, notServed(store))
	}
	if counted != nil {
		defer counted.serve(v.pprof, s.Why, s.Ready)()
	}
	if isDatabase(v.db) {
		v.db = storeName(store)
	}
	a.tellServing(v, s, !dbGiven)
	if counted != nil {
		fmt.Fprintf(a.out, "Metrics: http://%s/metrics\n\n", counted.on.Addr())
	}
	if err := a.tellSignIn(ctx, v, store, s); err != nil {
		return errors.Join(unlessStopped(ctx, err), s.Run(cancelled())) // gives everything back
	}
	if regularly != nil {
		if counted != nil {
			counted.registry.MustRegister(regularly.last, regularly.failed)
		}
		regular.Go(func() { regularly.run(running) })
	}
	return s.Run(ctx)
}

// unlessStopped is nothing when it was asked to stop meanwhile, which is no failure;
// what is wrong with the file is one all the same.
func unlessStopped(ctx context.Context, err error) error {
	if ctx.Err() != nil && !errors.Is(err, ledger.ErrCorrupt) && !errors.Is(err, ledger.ErrForeignFile) {
		return nil
	}
	return err
}

// notServed closes a store that was not served after all. A file that this start made
// goes again: it holds nothing and would stand in the way of a backup.
func notServed(store ledger.Store) error {
	if file, ok := store.(*sqlite.Store); ok {
		return file.Unmake()
	}
	return store.Close()
}

// openBook opens a shop's book in a store that has none of it.
func openBook(ctx context.Context, store ledger.Store, id string) error {
	ids, err := store.Shops(ctx)
	if err != nil || slices.Contains(ids, id) {
		return err
	}
	_, err = (&ledger.Book{Store: store, Shop: id}).OpenBook(ctx, ledger.Meta{Who: userName(), Device: hostName()}, ledger.Shop{Name: id})
	return err
}

func (a *app) tellServing(v *serveFlags, s *server.Server, temporary bool) {
	kept := "file    "
	if isDatabase(v.db) {
		kept = "database"
	}
	fmt.Fprintf(a.out, "The metal book is served:\n\n  page and REST  %s\n  gRPC           %s\n  %s       %s\n\n", s.URL(), s.GRPCAddr(), kept, v.db)
	if v.proxy && v.url == "" && len(v.hosts) == 0 {
		fmt.Fprint(a.out, "  Links show the address that the proxy calls; say with --url what others see.\n\n")
	}
	if v.demo {
		where := "in " + v.db
		if temporary {
			where = "in a temporary file that is gone when this stops"
		}
		fmt.Fprintf(a.out, "%s\n  Invented people and figures, %s.\n  Try in another window:\n\n    remelt stock%s\n    remelt heat list%[3]s\n\n",
			a.strong("DEMO, NOT FOR A REAL SHOP"), where, serverHint(s))
	}
}

// tellSignIn says of each shop whether everybody signs in to it, and how to be the
// first.
func (a *app) tellSignIn(ctx context.Context, v *serveFlags, store ledger.Store, s *server.Server) error {
	shops, err := store.Shops(ctx)
	if err != nil {
		return err
	}
	var open, links []string
	for _, id := range shops {
		link, err := s.OwnerLink(ctx, id)
		switch {
		case errors.Is(err, ledger.ErrUnavailable) && link != "" && ctx.Err() == nil: // what is there can be read all the same
			open, links = append(open, id), append(links, fmt.Sprintf("%s: no link could be made (%v); start it again when that is mended", id, err))
		case err != nil:
			return err
		case link != "":
			open, links = append(open, id), append(links, link)
		}
	}
	switch {
	case len(shops) > 0 && len(open) == 0:
		fmt.Fprintf(a.out, "Everybody signs in: %s/sign-in\n", s.URL())
	case len(open) < len(shops):
		fmt.Fprintf(a.out, "Everybody signs in, except to %s: %s/sign-in\n\n%s TO %[1]s\n  Whoever can reach these addresses can read and write everything of it.\n",
			strings.Join(open, ", "), s.URL(), a.strong("NO SIGN-IN"))
	default:
		fmt.Fprintf(a.out, "%s\n  Whoever can reach these addresses can read and write everything.\n", a.strong("NO SIGN-IN"))
	}
	if len(links) > 0 && !v.demo {
		fmt.Fprintf(a.out, "  To make everybody sign in, be the first; this link works once, for a day:\n\n    %s\n", strings.Join(links, "\n    "))
	}
	fmt.Fprint(a.out, "\nStop it with Ctrl-C.\n")
	return nil
}

func cancelled() context.Context {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	return ctx
}

func serverHint(s *server.Server) string {
	if s.GRPCAddr() == "127.0.0.1:9090" {
		return ""
	}
	return " --server " + s.GRPCAddr()
}
