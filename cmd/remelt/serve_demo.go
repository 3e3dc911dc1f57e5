package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"slices"
	"strings"
	"sync"
	"time"

	"example.org/remelt/client"
	"example.org/remelt/ledger/sqlite"
	"example.org/remelt/server"
	"example.org/remelt/server/demo"
)

// prepareDemo makes the demo year in a file that has no book yet. It is made
// through the API of a server of its own, whose clock keeps to the year; the
// server that people meet later has the real time and the whole year.
//
// A new file appears under its name only when the year is whole, so that a start
// that was broken off is not served as a shop later.
func (a *app) prepareDemo(ctx context.Context, path string) error {
	if _, err := os.Stat(path); err == nil {
		return a.seedDemo(ctx, path)
	}
	making := path + ".making"
	removeBook(making)
	defer removeBook(making)
	if err := a.seedDemo(ctx, making); err != nil {
		return err
	}
	return os.Rename(making, path)
}

// removeBook removes a book's file and what lies beside it.
func removeBook(path string) {
	for _, suffix := range []string{"", "-wal", "-shm", ".lock", ".head"} {
		_ = os.Remove(path + suffix)
	}
}

func (a *app) seedDemo(ctx context.Context, path string) error {
	store, err := sqlite.Open(ctx, path, sqlite.Options{})
	if err != nil {
		return err
	}
	shop := a.shop
	if shop == "" {
		shop = "harrow"
	}
	ids, err := store.Shops(ctx)
	switch {
	case err != nil:
		return errors.Join(err, store.Close())
	case slices.Contains(ids, shop):
		fmt.Fprintf(a.err, "%s has a book of shop %s already; it is served as it is\n", path, shop)
		return store.Close()
	case len(ids) > 0:
		return errors.Join(usagef("--demo: %s holds the books of %s; invented figures do not belong beside them", path, strings.Join(ids, ", ")), store.Close())
	}
	fmt.Fprintln(a.err, "making a year of an invented shop …")
	clock := &movedClock{}
	s, err := server.New(server.Config{Store: store, GRPC: "127.0.0.1:0", HTTP: "127.0.0.1:0", Now: clock.now, NoReflection: true,
		Log: slog.New(slog.NewTextHandler(io.Discard, nil))})
	if err != nil {
		return errors.Join(err, store.Close())
	}
	running, stop := context.WithCancel(ctx)
	defer stop()
	ended := make(chan error, 1)
	go func() { ended <- s.Run(running) }()
	c, err := client.Dial(client.Config{Address: s.GRPCAddr()})
	if err == nil {
		var made demo.Report
		made, err = demo.Seed(ctx, c.Conn, demo.Options{Shop: shop, End: a.now(), Clock: clock.move})
		_ = c.Close()
		if err == nil {
			fmt.Fprintf(a.err, "%d heats, %d entries\n", made.Heats, made.Writes)
		}
	}
	stop()
	return errors.Join(err, <-ended)
}

// movedClock stands where it was moved to.
type movedClock struct {
	mu sync.Mutex
	at time.Time
}

func (c *movedClock) now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.at
}

func (c *movedClock) move(at time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.at = at
}
