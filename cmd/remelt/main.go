// Command remelt is the metal book of a casting shop: the server that keeps it
// (remelt serve), and the commands of the day that talk to that server.
//
// A command prints a table for people, or with -o json what the API answered for
// programs; it names what was wrong in one sentence and says by its exit status
// what kind of trouble it was (remelt help exit). It keeps nothing of its own,
// guesses no unit and no weight, and never says that a charge is safe.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
	_ "time/tzdata" // time zones also where the machine has none
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := newApp().run(ctx, os.Args[1:])
	stop()
	os.Exit(code)
}
