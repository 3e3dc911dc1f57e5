package memory

import (
	"slices"
	"sync"
	"time"

	"example.org/remelt/ledger"
)

// book is one shop's log and what is kept beside it.
type book struct {
	turn chan struct{} // filled by the one transaction that may write

	mu       sync.RWMutex // guards everything below; writers also hold turn
	n        int64        // the last committed entry
	log      []ledger.Sealed
	recorded []time.Time // of each entry in log
	balances history[ledger.Account, ledger.Mass]
	records  history[recordKey, ledger.Record]
	made     history[ledger.RecordKind, int64]
	requests history[ledger.RequestID, int64]
	touches  history[string, int64] // each version is one entry about the subject
}

type recordKey struct {
	kind ledger.RecordKind
	id   string
}

func newBook() *book {
	return &book{
		turn:     make(chan struct{}, 1),
		balances: history[ledger.Account, ledger.Mass]{},
		records:  history[recordKey, ledger.Record]{},
		made:     history[ledger.RecordKind, int64]{},
		requests: history[ledger.RequestID, int64]{},
		touches:  history[string, int64]{},
	}
}

func (b *book) committed() int64 {
	b.mu.RLock()
	defer b.mu.RUnlock()
	return b.n
}

func (b *book) commit(n int64) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.n = n
}

// append adds an entry, or says why not and changes nothing.
func (b *book) append(s ledger.Sealed, e *ledger.Entry) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	last := int64(len(b.log))
	if s.Seq != last+1 || e.Seq != s.Seq {
		return ledger.RefuseAppend("entry %d does not follow entry %d", s.Seq, last)
	}
	if seq, used := b.requests.asOf(e.Request, last); used {
		return ledger.RefuseAppend("request id %s was used for entry %d", e.Request, seq)
	}
	sums, err := e.Sums(func(a ledger.Account) (ledger.Mass, error) {
		m, _ := b.balances.asOf(a, last)
		return m, nil
	})
	if err != nil {
		return err
	}

	b.log = append(b.log, cloneSealed(s))
	b.recorded = append(b.recorded, e.Recorded)
	b.requests.set(e.Request, s.Seq, s.Seq)
	for _, sum := range sums {
		b.balances.set(sum.Account, s.Seq, sum.Mass)
	}
	for _, r := range e.Records {
		key := recordKey{r.Kind, r.ID}
		if _, known := b.records.asOf(key, s.Seq); !known {
			n, _ := b.made.asOf(r.Kind, s.Seq)
			b.made.set(r.Kind, s.Seq, n+1)
		}
		r.Seq = s.Seq
		b.records.set(key, s.Seq, cloneRecord(r))
	}
	for _, subject := range e.Subjects() {
		b.touches.set(subject, s.Seq, s.Seq)
	}
	return nil
}

// dropAfterCommitted undoes what a transaction that failed appended.
func (b *book) dropAfterCommitted() {
	b.mu.Lock()
	defer b.mu.Unlock()
	if int64(len(b.log)) == b.n {
		return
	}
	b.log = slices.Delete(b.log, int(b.n), len(b.log))
	b.recorded = slices.Delete(b.recorded, int(b.n), len(b.recorded))
	b.balances.dropAfter(b.n)
	b.records.dropAfter(b.n)
	b.made.dropAfter(b.n)
	b.requests.dropAfter(b.n)
	b.touches.dropAfter(b.n)
}

// history keeps every value a key ever had, oldest first, each with the number
// of the entry since which it holds.
type history[K comparable, V any] map[K][]version[V]

type version[V any] struct {
	since int64
	value V
}

// asOf returns the value of k after entry n.
func (h history[K, V]) asOf(k K, n int64) (v V, found bool) {
	versions := h[k]
	for i := len(versions) - 1; i >= 0; i-- {
		if versions[i].since <= n {
			return versions[i].value, true
		}
	}
	return v, false
}

// set makes v the value of k from entry n on.
func (h history[K, V]) set(k K, n int64, v V) {
	versions := h[k]
	if last := len(versions) - 1; last >= 0 && versions[last].since == n {
		versions[last].value = v
		return
	}
	h[k] = append(versions, version[V]{n, v})
}

// dropAfter forgets what came after entry n.
func (h history[K, V]) dropAfter(n int64) {
	for k, versions := range h {
		keep := len(versions)
		for keep > 0 && versions[keep-1].since > n {
			keep--
		}
		switch keep {
		case len(versions):
		case 0:
			delete(h, k)
		default:
			h[k] = versions[:keep]
		}
	}
}
