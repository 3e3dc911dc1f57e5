package ledger

import (
	"fmt"
	"slices"
)

// Sums returns what the entry's accounts hold after it, each once; before tells
// what one held. The entry counts as a whole: what one posting takes another of
// the same entry may bring. Every store asks here before it adds an entry.
//
// Errors: ErrCorrupt when an account with a floor would go below zero or a sum
// does not fit; and those of before.
func (e *Entry) Sums(before func(Account) (Mass, error)) ([]KeptBalance, error) {
	sums := make([]KeptBalance, 0, len(e.Postings))
	for _, p := range e.Postings {
		i := slices.IndexFunc(sums, func(s KeptBalance) bool { return s.Account == p.Account })
		if i < 0 {
			m, err := before(p.Account)
			if err != nil {
				return nil, err
			}
			i = len(sums)
			sums = append(sums, KeptBalance{p.Account, m})
		}
		m, err := sums[i].Mass.Add(p.Mass)
		if err != nil {
			return nil, RefuseAppend("balance of %s does not fit in 64 bits", p.Account)
		}
		sums[i].Mass = m
	}
	for _, s := range sums {
		if s.Mass < 0 && s.Account.HasFloor() {
			return nil, RefuseAppend("entry %d would take %s to %d mg", e.Seq, s.Account, s.Mass)
		}
	}
	return sums, nil
}

// RefuseAppend is the error of a store that is given an entry it cannot keep.
func RefuseAppend(format string, args ...any) error {
	return &Error{Class: ErrCorrupt, Reason: "APPEND_REFUSED", Want: fmt.Sprintf(format, args...)}
}
