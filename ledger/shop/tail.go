package shop

import "example.org/remelt/ledger"

// tail is the end of a log up to which something holds that is kept between questions:
// how it is known to be of the same book still, and brought up to date by the entries
// that are new since, by whichever server they were written.
type tail struct {
	seq    int64
	hashes []ledger.Hash // of the last entries up to seq, to know the book by
}

// Bounds: of the entries that are read to catch up, beyond which all is read anew, and of
// how far back a moment is known.
const (
	mostNew    = 1024
	mostHashes = 4096
)

// moment is how a reader's moment stands to a tail.
type moment int

const (
	momentLater     moment = iota // the tail has to catch up
	momentKnown                   // the tail's, or one before it
	momentForgotten               // too far before it
	momentForeign                 // of another book under the same name
)

func (t *tail) find(head ledger.Head) moment {
	back, n := t.seq-head.Seq, int64(len(t.hashes))
	switch {
	case back < 0:
		return momentLater
	case back >= n:
		return momentForgotten
	case t.hashes[n-1-back] == head.Hash:
		return momentKnown
	}
	return momentForeign
}

func (t *tail) begin(head ledger.Head) { t.seq, t.hashes = head.Seq, []ledger.Hash{head.Hash} }

// follow takes in the entries up to the head that r reads. It does not when there are
// too many, or when they do not follow: then all is to begin anew. After an error an
// entry may be half taken in.
func (t *tail) follow(r ledger.Reader, head ledger.Head, take func(*ledger.Entry) error) (followed bool, err error) {
	if t.seq == 0 || head.Seq-t.seq > mostNew {
		return false, nil
	}
	log, err := r.Log(t.seq-1, mostNew+1) // the last one again, to see that it is the same
	if err != nil {
		return false, err
	}
	if len(log) == 0 || log[0].Hash != t.hashes[len(t.hashes)-1] {
		return false, nil
	}
	for _, sealed := range log[1:] {
		e, err := sealed.Open()
		if err != nil {
			return false, err
		}
		if err := take(e); err != nil {
			return false, err
		}
		t.add(sealed.Seq, sealed.Hash)
	}
	return true, nil
}

// add moves the tail on to the next entry.
func (t *tail) add(seq int64, hash ledger.Hash) {
	t.seq, t.hashes = seq, append(t.hashes, hash)
	if n := len(t.hashes); n > mostHashes {
		t.hashes = append(t.hashes[:0], t.hashes[n-mostHashes/2:]...)
	}
}

// still tells whether the tail is of the book that r reads: at its moment, before it, or
// a little after it, when another reader was faster.
func (t *tail) still(r ledger.Reader) (bool, error) {
	head, err := r.Head()
	if err != nil || t.seq == 0 {
		return true, err
	}
	if at := t.find(head); at != momentLater {
		return at == momentKnown, nil
	}
	last, err := r.Log(t.seq-1, 1)
	return len(last) == 1 && last[0].Hash == t.hashes[len(t.hashes)-1], err
}
