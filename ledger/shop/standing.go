package shop

import (
	"errors"
	"sync"

	"example.org/remelt/ledger"
)

// standing is what a stock is made of, kept between questions and brought up to date by
// the entries that are new since. The one rule: everything in it holds as of its tail. An
// answer given once is shared: nobody may change one.
type standing struct {
	mu sync.Mutex
	tail
	here   map[ledger.AccountKind]map[string]*held
	lists  map[list][]*thing // records of a kind and parent, as they were asked for
	heels  map[string]lastHeat
	owners map[string]string // of the heats of castings
	answer Stock
}

type list struct {
	kind   ledger.RecordKind
	parent string
}

// mostHeld bounds what is kept, at some 1 kB each.
const mostHeld = 50_000

// recordOf are the accounts that count, and the kind of record of what holds them.
var recordOf = map[ledger.AccountKind]ledger.RecordKind{
	ledger.OfLot: ledger.RecLot, ledger.InHeat: ledger.RecHeat, ledger.InMolds: ledger.RecHeat, ledger.Heel: ledger.RecPot,
	ledger.OfCasting: ledger.RecCasting, ledger.InSupply: ledger.RecSupply,
}

// stock is the stock at the moment that r reads, or at a later one that another reader
// has brought. It is not known when the moment is too far back, or another book's.
func (s *standing) stock(r ledger.Reader) (out Stock, known bool, err error) {
	head, err := r.Head()
	if err != nil {
		return out, false, err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.here != nil {
		switch s.find(head) {
		case momentKnown:
			return s.answer, true, nil
		case momentForgotten:
			return out, false, nil
		case momentForeign:
			s.here = nil
		case momentLater:
		}
	}
	now := &standingNow{standing: s, r: r}
	if err := now.catchUp(head); err != nil {
		s.here = nil // an entry may be half taken in
		return out, false, err
	}
	out, err = reckonStock(now)
	out.Seq = head.Seq
	if s.answer = out; err != nil || s.size() > mostHeld {
		s.here = nil
	}
	return out, true, err
}

func (s *standing) size() (n int) {
	for _, held := range s.here {
		n += len(held)
	}
	for _, things := range s.lists {
		n += len(things)
	}
	return n + len(s.owners)
}

// standingNow is a standing in the hands of a reader of its moment, from which it gets
// what it does not have.
type standingNow struct {
	*standing
	r ledger.Reader
}

// catchUp takes in the entries up to r's moment, or reads all anew.
func (s *standingNow) catchUp(head ledger.Head) error {
	if s.here == nil {
		return s.begin(head)
	}
	if followed, err := s.follow(s.r, head, s.apply); err != nil || followed {
		return err
	}
	return s.begin(head)
}

func (s *standingNow) begin(head ledger.Head) error {
	s.tail.begin(head)
	s.here, s.lists, s.heels = map[ledger.AccountKind]map[string]*held{}, map[list][]*thing{}, map[string]lastHeat{}
	s.owners = map[string]string{}
	for kind, rec := range recordOf {
		all, err := plain{kept{s.r}}.holdings(kind, rec)
		if err != nil {
			return err
		}
		s.here[kind] = make(map[string]*held, len(all))
		for _, h := range all {
			s.here[kind][h.ref] = h
		}
	}
	return nil
}

func (s *standing) apply(e *ledger.Entry) error {
	for _, p := range e.Postings {
		if here := s.here[p.Account.Kind()]; here != nil {
			s.post(here, p)
		}
	}
	for _, rec := range e.Records {
		for kind, of := range recordOf {
			if h := s.here[kind][rec.ID]; of == rec.Kind && h != nil {
				h.thing = &thing{Record: rec}
			}
		}
		for l, things := range s.lists {
			if l.kind == rec.Kind && (l.parent == "" || l.parent == rec.Parent || has(things, rec.ID)) {
				delete(s.lists, l)
			}
		}
		if err := s.melted(rec); err != nil {
			return err
		}
	}
	return nil
}

func (s *standing) post(here map[string]*held, p ledger.Posting) {
	ref := p.Account.Ref()
	h := here[ref]
	if h == nil {
		h = &held{ref: ref}
		here[ref] = h
	}
	if h.mass += p.Mass; h.mass != 0 {
		return
	}
	delete(here, ref)
	if heat := p.Account.Heat(); heat != "" {
		delete(s.lists, list{ledger.RecMold, ledger.OfHeat(heat)})
		delete(s.lists, list{ledger.RecCasting, ledger.OfHeat(heat)})
	}
}

func has(things []*thing, id string) bool {
	for _, t := range things {
		if t.ID == id {
			return true
		}
	}
	return false
}

// melted follows which heat was the last in a crucible that has a heel.
func (s *standing) melted(rec ledger.Record) error {
	if rec.Kind != ledger.RecHeat || len(s.heels) == 0 {
		return nil
	}
	var h ledger.Heat
	if err := rec.Into(&h); err != nil {
		return err
	}
	for crucible, last := range s.heels {
		if last.id == h.ID || h.Crucible == crucible && !h.Opened.IsZero() && h.Opened.Unix() >= last.opened {
			delete(s.heels, crucible) // to be looked for again
		}
	}
	return nil
}

func (s *standingNow) holdings(kind ledger.AccountKind, rec ledger.RecordKind) ([]*held, error) {
	out := make([]*held, 0, len(s.here[kind]))
	for ref, h := range s.here[kind] {
		if h.thing == nil {
			r, _, err := s.r.Record(rec, ref)
			if err != nil {
				return nil, err
			}
			h.thing = &thing{Record: r}
		}
		out = append(out, h)
	}
	return out, nil
}

func (s *standingNow) records(kind ledger.RecordKind, parent string) ([]*thing, error) {
	l := list{kind, parent}
	if known, ok := s.lists[l]; ok {
		return known, nil
	}
	things, err := plain{kept{s.r}}.records(kind, parent)
	if err == nil {
		s.lists[l] = things
	}
	return things, err
}

func (s *standingNow) balance(a ledger.Account) (ledger.Mass, error) {
	here, ok := s.here[a.Kind()]
	if !ok {
		return 0, errors.New("not kept: " + string(a))
	}
	if h := here[a.Ref()]; h != nil {
		return h.mass, nil
	}
	return 0, nil
}

func (s *standingNow) lastIn(crucible string) (last lastHeat, err error) {
	last, known := s.heels[crucible]
	if known {
		return last, nil
	}
	if last, err = (plain{kept{s.r}}).lastIn(crucible); err == nil {
		s.heels[crucible] = last
	}
	return last, err
}

// owner is asked for each casting that is here. What is kept holds for ever.
func (s *standingNow) owner(heat string) (string, error) {
	owner, known := s.owners[heat]
	if known {
		return owner, nil
	}
	owner, err := kept{s.r}.owner(heat)
	if err == nil {
		s.owners[heat] = owner
	}
	return owner, err
}
