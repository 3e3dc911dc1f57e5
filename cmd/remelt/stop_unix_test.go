//go:build unix

package main

import (
	"os"
	"os/signal"
	"syscall"
	"testing"
)

// The end of a terminal stops the program in order, as SIGTERM does; one that nohup
// started goes on (POSIX.1, nohup: SIGHUP is ignored).
func TestEndOfTheTerminal(t *testing.T) {
	ctx, stop := untilAsked()
	if err := syscall.Kill(os.Getpid(), syscall.SIGHUP); err != nil {
		t.Fatal(err)
	}
	<-ctx.Done()
	stop()

	signal.Ignore(syscall.SIGHUP)
	defer signal.Reset(syscall.SIGHUP)
	ctx, stop = untilAsked()
	defer stop()
	for _, s := range []syscall.Signal{syscall.SIGHUP, syscall.SIGTERM} {
		if ctx.Err() != nil {
			t.Fatal("it stops though SIGHUP is ignored")
		}
		if err := syscall.Kill(os.Getpid(), s); err != nil {
			t.Fatal(err)
		}
	}
	<-ctx.Done()
}
