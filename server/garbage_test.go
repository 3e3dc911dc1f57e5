package server

import "testing"

// The bound stays where it is while less is in use, and is well above what is.
func TestMemoryFor(t *testing.T) {
	for _, mb := range []uint64{0, 10, 100} {
		if got := memoryFor(mb << 20); got != memoryBound {
			t.Errorf("%d MiB in use: %d", mb, got)
		}
	}
	for mb := uint64(125); mb < 20_000; mb += 7 {
		if got := uint64(memoryFor(mb << 20)); got < (mb*9/8+16)<<20 || got > (mb*9/8+24)<<20 {
			t.Errorf("%d MiB in use: %d MiB", mb, got>>20)
		}
	}
}
