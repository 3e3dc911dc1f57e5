package ledger

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// SpeakFor promises metal of a lot to a heat or a commission; no mass frees it.
type SpeakFor struct {
	Lot, For string
	Mass     Quantity `json:",omitzero"`
}

// SpeakFor records that metal of a lot is spoken for. It is a plan, so more
// than the lot has free is refused.
func (b *Book) SpeakFor(ctx context.Context, m Meta, c SpeakFor) (*Entry, error) {
	return b.write(ctx, m, KindSpeakFor, c, func(d *draft) error {
		l, have, err := d.lot("lot", c.Lot)
		if err != nil {
			return err
		}
		if err := needText("for", c.For, maxName); err != nil {
			return err
		}
		q, err := d.quantity("mass", c.Mass)
		if err != nil {
			return err
		}
		claim := Claim{For: c.For}
		same := func(x Claim) bool { return x.Heat() == claim.Heat() }
		before := slices.ContainsFunc(l.SpokenFor, same)
		l.SpokenFor = slices.DeleteFunc(l.SpokenFor, same)
		if q.Mass > 0 {
			free := have - l.spoken()
			if q.Mass, err = d.orAllOf(free, q.Mass, Weighing{Net: q}); err != nil {
				return err
			}
			if q.Mass > free {
				return badState("NOT_ENOUGH", "mass", q.text(), fmt.Sprintf("lot %s has only %s free", l.ID, d.words(free)))
			}
			claim.Mass = q.Mass
			if !before { // what stands already was asked about then
				if err := d.askClaimKnown(claim); err != nil {
					return err
				}
			}
			l.SpokenFor = append(l.SpokenFor, claim)
		}
		return d.putLot(l)
	})
}

// Heat is the heat that metal is spoken for, if it is for one: said by its number, as
// "heat 44", or by its full name.
func (c *Claim) Heat() string {
	if i := strings.LastIndex(c.For, "/heats/"); i >= 0 {
		return c.For[i+len("/heats/"):]
	}
	return strings.TrimPrefix(c.For, "heat ")
}

// askClaimKnown flags metal promised to what the book does not know, which keeps it from
// all heats that it does.
func (d *draft) askClaimKnown(c Claim) error {
	known, err := d.get(RecHeat, c.Heat(), &Heat{})
	if err != nil || known {
		return err
	}
	text := fmt.Sprintf("no heat or commission %q is in the book; metal that is kept for it is free for no other", c.For)
	if _, err := strconv.Atoi(c.Heat()); err == nil || c.Heat() != c.For {
		d.flag(FlagNotKnown, text)
		return nil
	}
	return d.askCommissionKnown(c.For, text)
}

// askCommissionKnown flags a commission that the book does not know, if it keeps any.
func (d *draft) askCommissionKnown(id, text string) error {
	if id == "" {
		return nil
	}
	if known, err := d.get(RecCommission, id, &Commission{}); err != nil || known {
		return err
	}
	some, err := d.Records(RecCommission, "", "", 1)
	if err == nil && len(some) > 0 {
		d.flag(FlagNotKnown, text)
	}
	return err
}

func notInACost(commission string) string {
	return fmt.Sprintf("no commission %q is in the book; what is cast for it would be in the cost of none", commission)
}

func (l *Lot) spoken() (m Mass) {
	for _, c := range l.SpokenFor {
		m += c.Mass
	}
	return m
}
