package client

import (
	"testing"
	"time"
)

// Each wait is up to twice the one before, is never the same for all clients, and
// is as long as the server asks.
func TestWaits(t *testing.T) {
	a := again{first: 100 * time.Millisecond}
	for done, most := range map[int]time.Duration{
		1: 100 * time.Millisecond, 2: 200 * time.Millisecond, 4: 800 * time.Millisecond, 60: longestWait,
	} {
		low, high := most, time.Duration(0)
		for range 500 {
			w := a.wait(&Fault{}, done)
			low, high = min(low, w), max(high, w)
		}
		if low < most/2 || high > most || high-low < most/4 {
			t.Errorf("after %d tries waits are %v to %v, want them spread over %v to %v", done, low, high, most/2, most)
		}
	}
	if w := a.wait(&Fault{RetryAfter: time.Second}, 1); w < time.Second {
		t.Errorf("waits %v where the server asked for 1 s", w)
	}
}
