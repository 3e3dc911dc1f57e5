package ledger

import "sync"

// LogReader reads a log, as Reader does.
type LogReader interface {
	Log(after int64, limit int) ([]Sealed, error)
}

// Walker is a Reader that can read all its log faster than batch by batch.
type Walker interface {
	// Entries reads the log once from its beginning, as Log does, and sees to it that
	// what leads to an entry leads to it.
	Entries() (LogReader, error)
}

// ReadAhead reads the log of r after an entry, a batch at each call of next, and the
// batch after it meanwhile: reading is a good half of the work. A batch of fewer than
// Batch entries is the last. Nothing else may ask r anything until stop, which may be
// called again, has returned.
func ReadAhead(r LogReader, after int64) (next func() ([]Sealed, error), stop func()) {
	type batch struct {
		log []Sealed
		err error
	}
	batches, enough, done := make(chan batch, 1), make(chan struct{}), make(chan struct{})
	go func() {
		defer close(done)
		for {
			log, err := r.Log(after, Batch)
			select {
			case batches <- batch{log, err}:
			case <-enough:
				return
			}
			if err != nil || len(log) < Batch {
				return
			}
			after = log[len(log)-1].Seq
		}
	}()
	next = func() ([]Sealed, error) {
		b := <-batches
		return b.log, b.err
	}
	return next, sync.OnceFunc(func() {
		close(enough)
		<-done
	})
}

// Batch is how many entries ReadAhead reads at a time.
const Batch = 1024
