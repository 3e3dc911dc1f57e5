package server

import (
	"os"
	"runtime/debug"
)

// How garbage is collected by a server. Its live heap is some ten megabytes, over
// which the usual pace would collect it many times a second under load: a sixth of
// a weigh-in's processor time. So it is let grow, and near the bound it is collected
// as often as that needs.
const (
	garbagePercent = 400
	memoryBound    = 256 << 20 // bytes; a larger live heap may pass it
)

// PaceGarbage sets how the program collects its garbage, unless the environment
// (GOGC, GOMEMLIMIT) says so.
func PaceGarbage() {
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(garbagePercent)
	}
	if os.Getenv("GOMEMLIMIT") == "" {
		debug.SetMemoryLimit(memoryBound)
	}
}
