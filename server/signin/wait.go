package signin

import (
	"fmt"
	"sync"
	"time"

	"example.org/remelt/ledger"
)

// waits makes who tries wrongly wait, longer each time: by person, so that one
// password is not tried out from many addresses, and by address, so that many
// are not tried out from one.
type waits struct {
	now func() time.Time
	mu  sync.Mutex
	all map[string]tries
}

type tries struct {
	wrong int
	last  time.Time
	until time.Time
}

const (
	freeForPerson  = 4                // wrong tries before waiting begins: people mistype
	freeForAddress = 20               // a shop's phones may share one
	longestWait    = 15 * time.Minute // nobody is shut out for longer by somebody else's tries
	forgotten      = time.Hour        // after so long without a wrong try
	mostTries      = 10_000           // remembered
)

// ask refuses a key that has to wait.
func (w *waits) ask(keys ...string) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, k := range keys {
		if wait := w.all[k].until.Sub(w.now()); wait > 0 {
			wait = wait.Round(time.Second) + time.Second
			return &ledger.Error{Class: ledger.ErrTooMany, Reason: "TOO_MANY_TRIES", After: wait,
				Want: fmt.Sprintf("too many wrong tries; try again in %s", wait)}
		}
	}
	return nil
}

// wrong counts a wrong try.
func (w *waits) wrong(key string, free int) {
	w.mu.Lock()
	defer w.mu.Unlock()
	now := w.now()
	if len(w.all) >= mostTries {
		for k, t := range w.all {
			if now.Sub(t.last) > forgotten {
				delete(w.all, k)
			}
		}
		if len(w.all) >= mostTries { // somebody makes them up; those who wait are not let off
			return
		}
	}
	t := w.all[key]
	if now.Sub(t.last) > forgotten {
		t = tries{}
	}
	t.wrong, t.last = t.wrong+1, now
	if over := t.wrong - free; over > 0 {
		t.until = now.Add(min(longestWait, time.Second<<min(over, 20)))
	}
	w.all[key] = t
}

// right forgets the wrong tries of a key.
func (w *waits) right(key string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	delete(w.all, key)
}

// pardon takes one wrong try of a key back, which was none.
func (w *waits) pardon(key string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if t := w.all[key]; t.wrong > 0 {
		t.wrong, t.until = t.wrong-1, time.Time{}
		w.all[key] = t
	}
}
