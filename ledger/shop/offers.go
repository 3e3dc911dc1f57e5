package shop

import (
	"cmp"
	"context"
	"math"
	"slices"
	"sync"

	"example.org/remelt/ledger"
)

// OfferQuery narrows a list of offers; empty fields do not.
type OfferQuery struct {
	Parent string // "alloy/C87300", "supply/borax"
	Party  string
	Day    string // those that hold on it, as [ledger.Current] has it
	After  string // the last id of the page before
	Limit  int
}

// Offers lists offers by ascending id. next is the id after which the list goes on, ""
// at its end; see [ledger.Look].
func (s *Shop) Offers(ctx context.Context, q OfferQuery) (out []ledger.Stamped[ledger.Offer], next string, err error) {
	if q.Day != "" {
		if err := ledger.CheckDay("day", q.Day); err != nil {
			return nil, "", err
		}
	}
	err = s.view(ctx, func(r ledger.Reader) error {
		holds := func(*ledger.Offer) bool { return true }
		if q.Day != "" {
			if holds, err = s.replaces.on(r, q.Day); err != nil {
				return err
			}
		}
		out, next, err = ledger.PageIn(r, ledger.RecOffer, q.Parent, q.After, q.Limit, func(o ledger.Offer) bool {
			return (q.Party == "" || o.Party == q.Party) && holds(&o)
		})
		return err
	})
	return out, next, err
}

// replacements are which offer replaces which, kept between questions: that of a party
// for an item which is from a later day, or of the same day was written later. The one
// rule: they hold as of their tail.
type replacements struct {
	mu sync.Mutex
	tail
	of map[string][]offerStart // party and item → in the order in which they replace each other
}

type offerStart struct {
	from  string // the day
	entry int64  // that wrote it
}

func (a offerStart) compare(b offerStart) int {
	return cmp.Or(cmp.Compare(a.from, b.from), cmp.Compare(a.entry, b.entry))
}

// on gives what tells whether an offer holds on a day, at the moment that r reads.
func (k *replacements) on(r ledger.Reader, day string) (func(*ledger.Offer) bool, error) {
	head, err := r.Head()
	if err != nil {
		return nil, err
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.of != nil && k.find(head) == momentForgotten {
		k = &replacements{} // all is read anew, for this question
	}
	if err := k.catchUp(r, head); err != nil {
		k.of = nil // an entry may be half taken in
		return nil, err
	}
	known := k.of // also when all is read anew meanwhile, for others
	return func(o *ledger.Offer) bool {
		if !o.Holds(day) {
			return false
		}
		k.mu.Lock()
		defer k.mu.Unlock()
		all := known[offerOf(o)]
		n, _ := slices.BinarySearchFunc(all, offerStart{day, math.MaxInt64}, offerStart.compare)
		for n--; n >= 0 && all[n].entry > head.Seq; n-- { // another reader has brought later ones
		}
		return n >= 0 && all[n].entry == o.Entry
	}, nil
}

func offerOf(o *ledger.Offer) string { return o.Party + "/" + o.Item() }

// catchUp takes in the entries up to r's moment, or reads all offers.
func (k *replacements) catchUp(r ledger.Reader, head ledger.Head) error {
	if k.of != nil {
		switch k.find(head) {
		case momentKnown:
			return nil
		case momentLater:
			if followed, err := k.follow(r, head, k.takeIn); err != nil || followed {
				return err
			}
		case momentForgotten, momentForeign:
		}
	}
	k.begin(head)
	k.of = map[string][]offerStart{}
	all, err := kept{r}.records(ledger.RecOffer, "")
	if err != nil {
		return err
	}
	for _, rec := range all {
		if err := k.take(rec); err != nil {
			return err
		}
	}
	return nil
}

// takeIn takes in the next entry of the log.
func (k *replacements) takeIn(e *ledger.Entry) error {
	for _, rec := range e.Records {
		if rec.Kind == ledger.RecOffer {
			if err := k.take(rec); err != nil {
				return err
			}
		}
	}
	return nil
}

// take takes in an offer. Once written nothing of it changes but that it is withdrawn.
func (k *replacements) take(rec ledger.Record) error {
	var o ledger.Offer
	if err := rec.Into(&o); err != nil {
		return err
	}
	all := k.of[offerOf(&o)]
	start := offerStart{o.From, o.Entry}
	if at, known := slices.BinarySearchFunc(all, start, offerStart.compare); !known {
		k.of[offerOf(&o)] = slices.Insert(all, at, start)
	}
	return nil
}
