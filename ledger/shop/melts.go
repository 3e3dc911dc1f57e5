package shop

import (
	"slices"
	"strings"
	"sync"
	"unicode"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/alloy"
)

// melts are what the cautions of heats follow from, kept between questions: each write
// about a heat is answered with them. The one rule: everything in it holds as of its
// tail, what the entries of a heat say of it and what the things that it is made of say
// of themselves.
type melts struct {
	mu sync.Mutex
	tail
	of     map[string]*melt
	things map[string]*thing // lots, supplies and crucibles by kind and id, as they were asked for

	// What went in held, as it was asked for; all of it is asked anew when an entry changes
	// what earlier ones mean. forgot counts how often.
	held   map[heldQuestion]heldContent
	forgot int64
}

// Bounds of what is kept: of heats, at some 1 kB each, and of things.
const (
	mostMelts  = 1000
	mostThings = 20_000
)

// melt is what the entries about a heat say that calls for cautions.
type melt struct {
	heat  ledger.Heat
	steps []step
}

// step is what one entry says. What was reversed did not happen, and calls for nothing.
type step struct {
	seq       int64
	charged   ledger.Mass
	lots      []string // that went in, in order
	heels     []string // crucibles whose heels went in
	additions []ledger.Addition
	dirty     bool
	skimmed   bool
}

// take takes in an entry about heat id.
func (m *melt) take(id string, e *ledger.Entry) error {
	x := step{seq: e.Seq, skimmed: e.Kind == ledger.KindSkim}
	for _, rec := range e.Records {
		switch {
		case rec.Kind == ledger.RecHeat && rec.ID == id:
			m.heat = ledger.Heat{}
			if err := rec.Into(&m.heat); err != nil {
				return err
			}
		case rec.Kind == ledger.RecAddition:
			var a ledger.Addition
			if err := rec.Into(&a); err != nil {
				return err
			}
			x.additions = append(x.additions, a)
		}
	}
	if e.Reverses != 0 {
		m.steps = slices.DeleteFunc(m.steps, func(x step) bool { return x.seq == e.Reverses })
		return nil
	}
	for _, flag := range e.Flags {
		x.dirty = x.dirty || flag.Code == ledger.FlagUnclean
	}
	if e.Kind == ledger.KindCharge {
		for _, p := range e.Postings {
			switch ref := p.Account.Ref(); p.Account.Kind() {
			case ledger.InHeat:
				if ref == id {
					x.charged += p.Mass
				}
			case ledger.OfLot:
				x.lots = append(x.lots, ref)
			case ledger.Heel:
				x.heels = append(x.heels, ref)
			}
		}
	}
	if x.charged != 0 || x.lots != nil || x.additions != nil || x.dirty || x.skimmed {
		m.steps = append(m.steps, x)
	}
	return nil
}

// facts are what calls for cautions of a heat at the moment that r reads, or at a later
// one that another reader has brought. A drafted entry, if not nil, is taken as recorded.
func (s *melts) facts(r ledger.Reader, heat string, drafted *ledger.Entry, table alloy.Table) (f meltFacts, err error) {
	head, err := r.Head()
	if err != nil {
		return f, err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	now := &meltsNow{melts: s, r: r}
	if err := now.catchUp(head); err != nil {
		s.of = nil // an entry may be half taken in
		return f, err
	}
	f.forgot, f.keep = now.forgot, now.keep && drafted == nil
	if drafted != nil {
		now = &meltsNow{melts: &melts{}, r: r} // what is not recorded is not kept
	}
	m, err := now.melt(heat)
	if err == nil && drafted != nil {
		err = m.take(heat, drafted)
	}
	if err != nil {
		return f, err
	}
	return f, now.factsOf(&f, m, table)
}

// meltFacts are what calls for cautions of a heat. What went in is to be asked for what
// it held where that is not known yet.
type meltFacts struct {
	alloy.Facts
	parts  []heldPart
	forgot int64 // as it was when they were put together
	keep   bool  // what was asked is kept
}

// remember keeps what was asked for, unless what it follows from has changed.
func (s *melts) remember(f *meltFacts, held map[heldQuestion]heldContent) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if !f.keep || f.forgot != s.forgot {
		return
	}
	if len(s.held) >= mostThings || s.held == nil {
		s.held = map[heldQuestion]heldContent{}
	}
	for q, content := range held {
		s.held[q] = content
	}
}

// forget forgets what was held.
func (s *melts) forget() { s.held, s.forgot = nil, s.forgot+1 }

// meltsNow is melts in the hands of a reader, from which it gets what it does not have.
type meltsNow struct {
	*melts
	r    ledger.Reader
	keep bool // what is read: r's moment is the tail's
}

// catchUp takes in the entries up to r's moment, or begins anew.
func (s *meltsNow) catchUp(head ledger.Head) error {
	stands := momentForeign
	if s.of != nil {
		stands = s.find(head)
	}
	switch stands {
	case momentKnown:
		s.keep = head.Seq == s.seq
		return nil
	case momentForgotten:
		s.melts = &melts{} // and all is read anew, for this question
		return nil
	case momentLater:
		if followed, err := s.follow(s.r, head, s.takeIn); err != nil || followed {
			s.keep = true
			return err
		}
	case momentForeign:
	}
	s.tail.begin(head)
	s.of, s.things, s.keep = map[string]*melt{}, map[string]*thing{}, true
	s.forget()
	return nil
}

// takeIn takes in the next entry of the log.
func (s *melts) takeIn(e *ledger.Entry) error {
	if e.Reverses != 0 || e.Kind == ledger.KindIdentify || e.Kind == ledger.KindAssign {
		s.forget()
	}
	for _, subject := range e.Subjects() {
		id, isHeat := strings.CutPrefix(subject, ledger.OfHeat(""))
		if m := s.of[id]; isHeat && m != nil {
			if err := m.take(id, e); err != nil {
				return err
			}
		}
	}
	for _, rec := range e.Records {
		if of := string(rec.Kind) + "/" + rec.ID; s.things[of] != nil {
			s.things[of] = &thing{Record: rec}
		}
	}
	return nil
}

// melt is what the entries about a heat say.
func (s *meltsNow) melt(heat string) (*melt, error) {
	if m := s.of[heat]; m != nil {
		return m, nil
	}
	entries, err := historyOf(s.r, ledger.OfHeat(heat), AsOf{})
	if err != nil {
		return nil, err
	}
	m := &melt{}
	for _, e := range entries {
		if err := m.take(heat, e); err != nil {
			return nil, err
		}
	}
	if s.keep {
		if len(s.of) >= mostMelts {
			clear(s.of)
		}
		s.of[heat] = m
	}
	return m, nil
}

// thing is a record as it is; without a body when there is none.
func (s *meltsNow) thing(kind ledger.RecordKind, id string) (*thing, error) {
	of := string(kind) + "/" + id
	if t := s.things[of]; t != nil {
		return t, nil
	}
	rec, _, err := s.r.Record(kind, id)
	t := &thing{Record: rec}
	if err == nil && s.keep {
		if len(s.things) >= mostThings {
			clear(s.things)
		}
		s.things[of] = t
	}
	return t, err
}

// factsOf puts together what the entries say and what the things say.
func (s *meltsNow) factsOf(f *meltFacts, m *melt, table alloy.Table) error {
	f.Melt, f.Investment = true, m.heat.State == ledger.Late
	charged := ledger.Mass(0)
	add := func(id string) {
		a, err := table.Find(id)
		if err == nil && !slices.ContainsFunc(f.Alloys, func(b alloy.Alloy) bool { return b.ID == a.ID }) {
			f.Alloys = append(f.Alloys, a)
		}
	}
	went := func(name string, a ledger.Account, at int64) {
		q := heldQuestion{string(a), at}
		f.parts = append(f.parts, heldPart{name: name, heldQuestion: q, held: s.held[q]})
	}
	for _, x := range m.steps {
		charged += x.charged
		f.Dirty, f.Wet, f.Skimmings = f.Dirty || x.dirty, f.Wet || x.dirty, f.Skimmings || x.skimmed
		for _, id := range x.lots {
			lot, err := known(s, ledger.RecLot, id, &ledger.Lot{})
			if err != nil {
				return err
			}
			add(lot.Alloy)
			went("lot "+id, ledger.Acct(ledger.OfLot, id), x.seq)
		}
		for _, id := range x.heels {
			went("the heel of crucible "+id, ledger.Acct(ledger.Heel, id), x.seq)
		}
		for _, a := range x.additions {
			supply, err := known(s, ledger.RecSupply, a.Supply, &ledger.Supply{})
			if err != nil {
				return err
			}
			f.Degasser = f.Degasser || chlorine(a, supply)
			if holds := mindedIn(supply); holds != nil {
				f.parts = append(f.parts, heldPart{name: "the addition of " + supply.Name, held: holds})
			}
		}
	}
	add(m.heat.Alloy)
	if m.heat.Crucible == "" {
		return nil
	}
	pot, err := known(s, ledger.RecPot, m.heat.Crucible, &ledger.Pot{})
	if err != nil {
		return err
	}
	f.Fill = filled(pot, m.heat.Alloy, max(charged, m.heat.Charge), table)
	return nil
}

// filled is what part of what a crucible holds of an alloy's melt so much is; 0 not known.
func filled(pot *ledger.Pot, id string, m ledger.Mass, table alloy.Table) float64 {
	holds := pot.Holds(Metals{table}.MeltDensity(id))
	if holds == 0 {
		return 0
	}
	return m.Kg() / holds.Kg()
}

// known is what a thing says of itself, or none where there is no such thing.
func known[T any](s *meltsNow, kind ledger.RecordKind, id string, none *T) (*T, error) {
	t, err := s.thing(kind, id)
	if err != nil {
		return nil, err
	}
	return content(t, none)
}

// chlorine says whether an addition may give off chlorine, as some degassers do. Which
// do is said by the item's name, purpose or caution; inert gas and nitrogen tablets do not.
func chlorine(a ledger.Addition, s *ledger.Supply) bool {
	said := strings.ToLower(a.Purpose + " " + s.Purpose + " " + s.Name + " " + s.Caution)
	inert := strings.Contains(said, "nitrogen") || strings.Contains(said, "argon") || strings.Contains(said, "inert")
	return strings.Contains(said, "chlor") || strings.Contains(said, "degas") && !inert
}

// mindedMetals are what the elements that cautions follow from are called.
var mindedMetals = map[string]string{"zinc": "Zn", "lead": "Pb", "beryllium": "Be", "magnesium": "Mg"}

// mindedIn is what an item that becomes part of the melt holds of the elements that
// cautions follow from, as its name says; nil when it says nothing.
func mindedIn(s *ledger.Supply) heldContent {
	if s.MetalPPM == 0 {
		return nil
	}
	for _, word := range strings.FieldsFunc(strings.ToLower(s.Name), func(r rune) bool { return !unicode.IsLetter(r) }) {
		if e := mindedMetals[word]; e != "" {
			return heldContent{e: 100 * part(s.MetalPPM)}
		}
	}
	return nil
}
