package signin

import (
	"crypto/sha256"
	"sync"
	"time"
)

// known remembers for a moment who sent which credential: asking the book at each
// call costs a good part of what a server can write. What this server records of people
// and tokens ends it at once, on another server that shares the store a moment later.
type known struct {
	mu   sync.Mutex
	ends int                               // how often it was ended
	all  map[[sha256.Size]byte]knownCaller // by the digest of the credential
}

type knownCaller struct {
	Caller
	asked time.Time // by the machine's clock
	good  time.Time // until when, by the server's
}

const (
	knownFor  = time.Second
	mostKnown = 10_000 // credentials that are good are not made up
)

func (k *known) get(sent string, now time.Time) (Caller, bool) {
	k.mu.Lock()
	defer k.mu.Unlock()
	c, found := k.all[sha256.Sum256([]byte(sent))]
	return c.Caller, found && time.Since(c.asked) < knownFor && now.Before(c.good)
}

// now is how often it was ended, to say with what is looked up from here on.
func (k *known) now() int {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.ends
}

// put remembers a caller, unless it was ended since they began to be looked up.
func (k *known) put(sent string, c Caller, asked, good time.Time, ends int) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if ends != k.ends {
		return
	}
	if len(k.all) >= mostKnown {
		clear(k.all)
	}
	k.all[sha256.Sum256([]byte(sent))] = knownCaller{c, asked, good}
}

// end forgets everybody.
func (k *known) end() {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.ends++
	clear(k.all)
}
