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
	ctx, stop := untilAsked()
	code := newApp().run(ctx, os.Args[1:])
	stop()
	os.Exit(code)
}

// untilAsked is a context that is done when the program is asked to stop, also by the
// end of the terminal it was started in, unless nohup had it ignore that.
func untilAsked() (context.Context, context.CancelFunc) {
	asked := []os.Signal{os.Interrupt, syscall.SIGTERM}
	if !signal.Ignored(syscall.SIGHUP) {
		asked = append(asked, syscall.SIGHUP) // which Windows does not send
	}
	return signal.NotifyContext(context.Background(), asked...)
}
