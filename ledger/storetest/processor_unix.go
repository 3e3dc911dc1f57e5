//go:build unix

package storetest

import (
	"syscall"
	"time"
)

// ProcessorTime is what this process has used of the processors, for benchmarks on
// machines that have other work too; 0 where that cannot be told.
func ProcessorTime() time.Duration {
	var u syscall.Rusage
	_ = syscall.Getrusage(syscall.RUSAGE_SELF, &u) // zeros, and nobody takes the figure for one
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
