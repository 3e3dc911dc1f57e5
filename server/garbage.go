package server

import (
	"context"
	"os"
	"runtime/debug"
	gauges "runtime/metrics"
	"time"
)

// How garbage is collected by a server. Its live heap is some ten megabytes, over
// which the usual pace would collect it many times a second under load: a sixth of
// a weigh-in's processor time. So it is let grow, and near the bound it is collected
// as often as that needs.
const (
	garbagePercent = 400
	memoryBound    = 160 << 20 // bytes, of all that Go keeps; SQLite and the program take some 90 MiB more
)

// PaceGarbage sets how the program collects its garbage until ctx is done, unless the
// environment (GOGC, GOMEMLIMIT) says so.
func PaceGarbage(ctx context.Context) {
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(garbagePercent)
	}
	if os.Getenv("GOMEMLIMIT") != "" {
		return
	}
	debug.SetMemoryLimit(memoryBound)
	go func() {
		tick := time.NewTicker(time.Second)
		defer tick.Stop()
		live := []gauges.Sample{{Name: "/gc/heap/live:bytes"}}
		for {
			select {
			case <-ctx.Done():
				return
			case <-tick.C:
				gauges.Read(live)
				if bound := memoryFor(live[0].Value.Uint64()); bound != debug.SetMemoryLimit(-1) {
					debug.SetMemoryLimit(bound)
				}
			}
		}
	}()
}

// memoryFor is the bound while so much is in use. A bound below that would not make it
// less: the collector would run without pause, and take half of the processors.
func memoryFor(live uint64) int64 {
	const step = 8 << 20
	return max(memoryBound, int64((live+live/8+3*step)/step*step)) //nolint:gosec // no machine has so much
}
