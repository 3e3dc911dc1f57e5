package shop

import (
	"sync"

	"example.org/remelt/ledger"
)

// balances are those of heats as the book is now, kept between questions. One holds until
// an entry comes that is about what it was reckoned from: its heat (with its molds,
// castings and readings, whose parent it is), a lot of its metal, a scale, the shop's own
// settings. What a balance shares with others nobody may change.
type balances struct {
	mu   sync.Mutex
	seq  int64       // all that are kept hold as of this entry
	hash ledger.Hash // of it
	of   map[string]HeatBalance
	uses map[string]map[string]bool // subject → heats whose balances look at it
}

// heatBalance reckons a heat's balance, or recalls it if it is that of now.
func (s *Shop) heatBalance(r ledger.Reader, heat string, at AsOf) (HeatBalance, error) {
	if _, ok := r.(*reading); !ok || !at.IsNow() {
		out, _, err := s.reckonBalance(r, heat, at)
		return out, err
	}
	b := &s.balances
	b.mu.Lock()
	defer b.mu.Unlock()
	current, err := b.catchUp(r)
	if err != nil {
		b.of = nil // an entry may be half looked at
		return HeatBalance{}, err
	}
	if out, known := b.of[heat]; known && current {
		return out, nil
	}
	out, lots, err := s.reckonBalance(r, heat, at)
	if err != nil || !current {
		return out, err
	}
	b.of[heat] = out
	for _, subject := range append(lots, ledger.OfHeat(heat)) {
		if b.uses[subject] == nil {
			b.uses[subject] = map[string]bool{}
		}
		b.uses[subject][heat] = true
	}
	return out, nil
}

// catchUp forgets the balances that entries are about which are new to r. It says whether
// those that are kept are of the moment that r reads, and not of a later one.
func (b *balances) catchUp(r ledger.Reader) (current bool, err error) {
	head, err := r.Head()
	if err != nil || head.Seq < b.seq {
		return false, err
	}
	if b.of == nil || head.Seq == b.seq && head.Hash != b.hash {
		b.clear(head)
		return true, nil
	}
	if head.Seq == b.seq {
		return true, nil
	}
	whole := false
	err = eachEntryAfter(r, max(b.seq-1, 0), func(e *ledger.Entry) error {
		if e.Seq == b.seq { // still the same book?
			whole = e.Hash != b.hash
		} else {
			whole = b.forget(e)
		}
		if whole {
			return errStop
		}
		return nil
	})
	if whole {
		b.clear(head)
	}
	b.seq, b.hash = head.Seq, head.Hash
	return true, err
}

func (b *balances) clear(head ledger.Head) {
	b.seq, b.hash, b.of, b.uses = head.Seq, head.Hash, map[string]HeatBalance{}, map[string]map[string]bool{}
}

// forget drops what an entry is about; whole says that it is about everything.
func (b *balances) forget(e *ledger.Entry) (whole bool) {
	for _, rec := range e.Records {
		if rec.Kind == ledger.RecScale || rec.Kind == ledger.RecShop {
			return true
		}
	}
	for _, subject := range e.Subjects() {
		for heat := range b.uses[subject] {
			delete(b.of, heat)
		}
		delete(b.uses, subject)
	}
	return false
}
