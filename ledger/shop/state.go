package shop

import "example.org/remelt/ledger"

// state is what a position is made of.
type state interface {
	holdings(kind ledger.AccountKind, rec ledger.RecordKind) ([]*held, error) // in any order
	records(kind ledger.RecordKind, parent string) ([]*thing, error)
	balance(a ledger.Account) (ledger.Mass, error)
	lastIn(crucible string) (lastHeat, error)
	owner(heat string) (string, error)
}

// held is what an account holds, and the record of what it is.
type held struct {
	ref  string
	mass ledger.Mass
	*thing
}

// thing is a record whose content is decoded once; without a Body there is none.
type thing struct {
	ledger.Record
	value any
}

// content is what a record says, or otherwise where there is none. It is shared:
// nobody may change it.
func content[T any](t *thing, otherwise *T) (*T, error) {
	if t.Body == nil && otherwise != nil { // as of a happened date its making may lie later
		return otherwise, nil
	}
	if v, ok := t.value.(*T); ok {
		return v, nil
	}
	v := new(T)
	if err := t.Into(v); err != nil {
		return nil, err
	}
	t.value = v
	return v, nil
}

// lastHeat is the heat that was melted last in a crucible.
type lastHeat struct {
	id     string
	alloy  string
	owner  string
	opened int64
}

// plain is a state read for one question.
type plain struct{ source }

func (p plain) holdings(kind ledger.AccountKind, rec ledger.RecordKind) ([]*held, error) {
	all, err := p.source.holdings(kind, rec)
	out := make([]*held, len(all))
	for i, h := range all {
		out[i] = &held{ref: h.Account.Ref(), mass: h.Mass, thing: &thing{Record: h.Record}}
	}
	return out, err
}

func (p plain) records(kind ledger.RecordKind, parent string) ([]*thing, error) {
	all, err := p.source.records(kind, parent)
	out := make([]*thing, len(all))
	for i, r := range all {
		out[i] = &thing{Record: r}
	}
	return out, err
}

// lastIn looks at all heats.
func (p plain) lastIn(crucible string) (lastHeat, error) {
	last := lastHeat{alloy: ledger.UnknownAlloy, opened: -1}
	heats, err := p.source.records(ledger.RecHeat, "")
	if err != nil {
		return last, err
	}
	for _, r := range heats {
		var h ledger.Heat
		if err := r.Into(&h); err != nil {
			return last, err
		}
		if t := h.Opened.Unix(); h.Crucible == crucible && !h.Opened.IsZero() && t > last.opened {
			last = lastHeat{h.ID, h.Alloy, h.Owner, t}
		}
	}
	return last, nil
}
