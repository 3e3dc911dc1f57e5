package ledger

import (
	"context"
	"time"
)

// Store keeps the books of any number of shops. It holds no rules: it appends
// sealed entries, keeps what can be derived from them current, and answers by
// key. The memory store is the executable specification; every store passes
// the one suite in package storetest.
//
// Keeping means: when Append is given an entry, then in the same transaction
// the entry is added to the shop's log; each posting is added to its account's
// balance; each record replaces the current record of its kind and id; the
// request id points to the entry; and each of the entry's Subjects points to it.
//
// Errors a caller can act on are *Error: ErrUnavailable when nothing was
// recorded and trying again may work, ErrCorrupt when stored data contradicts
// itself. Other errors mean the outcome is unknown: ask again with the same
// request id.
type Store interface {
	// Update runs fn in a serializable transaction on one shop's book and
	// returns once what fn appended is durable (promise 6). fn may run several
	// times, also on a Tx that does not know everything and whose outcome is
	// thrown away, and must have no effect outside the Tx: what its last run
	// returned is what counts. When that is an error nothing it appended is kept
	// and Update returns it. Concurrent Updates of a shop behave as if run one
	// after another.
	Update(ctx context.Context, shop string, fn func(Tx) error) error

	// View runs fn on a consistent snapshot of one shop's book. It does not
	// block writers and is not blocked by them. A shop never written to is an
	// empty book.
	View(ctx context.Context, shop string, fn func(Reader) error) error

	// Shops lists the ids of all shops that have an entry, in ascending order.
	Shops(ctx context.Context) ([]string, error)

	Secrets

	// Close waits for running transactions and releases the store.
	Close() error
}

// Tx is a Reader that sees its own appends.
type Tx interface {
	Reader

	// Append adds a sealed entry. Its Seq must be the head's plus one; entry
	// is the decoded form of s.Bytes. It refuses, with ErrCorrupt, an entry
	// out of order, a request id already used, and a posting that would take
	// an account with a floor below zero: the rules above it should have.
	Append(s Sealed, entry *Entry) error
}

// Reader reads one shop's book. Strings compare by bytes. What it returns
// belongs to the caller.
type Reader interface {
	// Head returns the last entry's number, hash and recording time; the zero
	// Head for an empty book.
	Head() (Head, error)

	// Log returns up to limit sealed entries with Seq > after, ascending.
	Log(after int64, limit int) ([]Sealed, error)

	// History returns up to limit sealed entries about a subject (see
	// Entry.Subjects) with Seq < before, newest first; before 0 means from the end.
	History(subject string, before int64, limit int) ([]Sealed, error)

	// ByRequest returns the entry recorded for a request id.
	ByRequest(id RequestID) (s Sealed, found bool, err error)

	// Balance returns the sum of an account's postings; 0 if it has none.
	Balance(a Account) (Mass, error)

	// Holdings returns up to limit accounts of a kind whose balance is not
	// zero, with ref > after, ascending by ref, each with the current record
	// of the same ref and of kind withRecord (nil Body when there is none).
	Holdings(kind AccountKind, withRecord RecordKind, after string, limit int) ([]Holding, error)

	// Record returns the current record of a kind and id.
	Record(kind RecordKind, id string) (r Record, found bool, err error)

	// Records returns up to limit current records of a kind with id > after,
	// ascending by id; of one parent only, unless parent is "".
	Records(kind RecordKind, parent, after string, limit int) ([]Record, error)

	// CountRecords returns how many records of a kind were ever made.
	CountRecords(kind RecordKind) (int64, error)

	// Kept calls fn with everything the store keeps beside the log, in any
	// order, so that Verify can compare it with the log. It stops at fn's error.
	Kept(fn func(Kept) error) error
}

// Head is the end of a shop's chain.
type Head struct {
	Seq      int64
	Hash     Hash
	Recorded time.Time
}

// Sealed is an entry as stored: its number, canonical bytes and hash.
type Sealed struct {
	Seq   int64
	Bytes []byte
	Hash  Hash
}

// Open decodes the entry and attaches its hash.
func (s Sealed) Open() (*Entry, error) {
	e, err := Decode(s.Bytes)
	if err != nil {
		return nil, err
	}
	e.Hash = s.Hash
	for i := range e.Records {
		e.Records[i].Seq = e.Seq
	}
	return e, nil
}

// Holding is an account that holds something.
type Holding struct {
	Account Account
	Mass    Mass
	Record  Record
}

// Kept is one thing kept beside the log; exactly one field is set.
type Kept struct {
	Balance *KeptBalance
	Record  *Record
	Request *KeptRequest
	Touch   *Touch
	Count   *KeptCount
}

// KeptBalance is an account's kept balance, zero ones included.
type KeptBalance struct {
	Account Account
	Mass    Mass
}

// KeptRequest is a used request id and the entry it made.
type KeptRequest struct {
	ID  RequestID
	Seq int64
}

// Touch says that an entry is about a subject.
type Touch struct {
	Subject string
	Seq     int64
}

// KeptCount is how many records of a kind were made.
type KeptCount struct {
	Kind RecordKind
	N    int64
}
