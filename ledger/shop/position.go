package shop

import (
	"context"
	"slices"
	"strings"

	"example.org/remelt/ledger"
)

// Position is what metal is here, of one alloy and one owner. The amounts of
// lots do not overlap: a lot is usable, to be cleaned, set apart, or skimmings.
type Position struct {
	Alloy string
	Owner string // customer whose own metal it is; empty for the shop's

	Usable    ledger.Mass // clean metal of known alloy, spoken for included
	SpokenFor ledger.Mass // of Usable, promised to heats and commissions
	ToClean   ledger.Mass // by its dirty weight less the dirt
	SetApart  ledger.Mass
	Skimmings ledger.Mass // metal taken to be trapped in skimmings

	InCrucible ledger.Mass // heats being melted, and heels
	InMolds    ledger.Mass // poured and not weighed back; negative when more came back
	Expected   ledger.Mass // of InMolds, what should come back as gating, by the plans
	Castings   ledger.Mass // castings in the shop

	ByForm map[ledger.Form]ledger.Mass // the usable metal, by form
	Lots   int
}

// Here is all metal in the shop that is not a casting.
func (p Position) Here() ledger.Mass {
	return p.Usable + p.ToClean + p.SetApart + p.Skimmings + p.InCrucible + p.InMolds
}

// SupplyLine is what is on the shelf of a supply item.
type SupplyLine struct {
	ledger.Supply
	Amount ledger.Mass // milligrams, or pieces
	Low    bool
}

// Stock is the whole position of a shop.
type Stock struct {
	AsOf      AsOf
	Seq       int64 // the last entry it was reckoned from
	Positions []Position
	Supplies  []SupplyLine
	Total     Position
}

type posKey struct{ alloy, owner string }

// Stock reckons what is here, now or at a past moment. alloyFilter narrows it
// to one alloy; "" is all.
func (s *Shop) Stock(ctx context.Context, at AsOf, alloyFilter string) (out Stock, err error) {
	if alloyFilter != "" {
		if alloyFilter, _, err = s.ResolveAlloy(ctx, alloyFilter); err != nil {
			return out, err
		}
	}
	err = s.view(ctx, func(r ledger.Reader) error {
		out = Stock{AsOf: at}
		head, err := r.Head()
		if err != nil {
			return err
		}
		out.Seq = head.Seq
		st, err := stateAt(r, at)
		if err != nil {
			return err
		}
		if f, ok := st.(*folded); ok {
			out.Seq = f.seq
		}
		by := map[posKey]*Position{}
		for _, add := range []func(state, map[posKey]*Position) error{addLots, addHeats, addCastings} {
			if err := add(st, by); err != nil {
				return err
			}
		}
		for k, p := range by {
			if alloyFilter == "" || k.alloy == alloyFilter {
				out.Positions = append(out.Positions, *p)
				out.Total.add(p)
			}
		}
		slices.SortFunc(out.Positions, func(a, b Position) int {
			return strings.Compare(a.Alloy+"\x00"+a.Owner, b.Alloy+"\x00"+b.Owner)
		})
		out.Supplies, err = supplies(st)
		return err
	})
	return out, err
}

func (p *Position) add(q *Position) {
	p.Usable += q.Usable
	p.SpokenFor += q.SpokenFor
	p.ToClean += q.ToClean
	p.SetApart += q.SetApart
	p.Skimmings += q.Skimmings
	p.InCrucible += q.InCrucible
	p.InMolds += q.InMolds
	p.Expected += q.Expected
	p.Castings += q.Castings
	p.Lots += q.Lots
	if p.ByForm == nil {
		p.ByForm = map[ledger.Form]ledger.Mass{}
	}
	for f, m := range q.ByForm {
		p.ByForm[f] += m
	}
}

func at(by map[posKey]*Position, alloy, owner string) *Position {
	k := posKey{alloy, owner}
	if by[k] == nil {
		by[k] = &Position{Alloy: alloy, Owner: owner, ByForm: map[ledger.Form]ledger.Mass{}}
	}
	return by[k]
}

func addLots(st state, by map[posKey]*Position) error {
	lots, err := st.holdings(ledger.OfLot, ledger.RecLot)
	if err != nil {
		return err
	}
	for _, h := range lots {
		v := ledger.LotView{Mass: h.Mass}
		if h.Record.Body == nil { // as of a happened date its making may lie later
			v.Alloy, v.Condition = ledger.UnknownAlloy, ledger.SetApart
		} else if err := h.Record.Into(&v.Lot); err != nil {
			return err
		}
		p := at(by, v.Alloy, v.Owner)
		p.Lots++
		switch {
		case v.Form == ledger.Skimmings:
			p.Skimmings += h.Mass
		case v.Usable():
			p.Usable += h.Mass
			p.SpokenFor += h.Mass - v.Free()
			p.ByForm[v.Form] += h.Mass
		case v.Condition == ledger.ToClean:
			p.ToClean += h.Mass
		default:
			p.SetApart += h.Mass
		}
	}
	return nil
}

func addHeats(st state, by map[posKey]*Position) error {
	for _, kind := range []ledger.AccountKind{ledger.InHeat, ledger.InMolds} {
		held, err := st.holdings(kind, ledger.RecHeat)
		if err != nil {
			return err
		}
		for _, h := range held {
			var heat ledger.Heat
			if h.Record.Body == nil {
				heat.Alloy = ledger.UnknownAlloy
			} else if err := h.Record.Into(&heat); err != nil {
				return err
			}
			p := at(by, heat.Alloy, heat.Owner)
			if kind == ledger.InHeat {
				p.InCrucible += h.Mass
				continue
			}
			p.InMolds += h.Mass
			expected, err := expectedBack(st, heat.ID, h.Mass)
			if err != nil {
				return err
			}
			p.Expected += expected
		}
	}
	heels, err := st.holdings(ledger.Heel, ledger.RecPot)
	if err != nil {
		return err
	}
	for _, h := range heels { // which alloy: that of the last heat in the crucible
		a, err := lastAlloyIn(st, h.Account.Ref())
		if err != nil {
			return err
		}
		at(by, a, "").InCrucible += h.Mass
	}
	return nil
}

// expectedBack is what of a heat's metal in molds should come back as gating:
// the plans' castings not weighed yet stay out of it.
func expectedBack(st state, heat string, inMolds ledger.Mass) (ledger.Mass, error) {
	molds, err := st.records(ledger.RecMold, ledger.OfHeat(heat))
	if err != nil || len(molds) == 0 {
		return 0, err
	}
	castings, err := st.records(ledger.RecCasting, ledger.OfHeat(heat))
	if err != nil {
		return 0, err
	}
	weighed := map[string]bool{}
	for _, r := range castings {
		var c ledger.Casting
		if err := r.Into(&c); err != nil {
			return 0, err
		}
		weighed[c.Mold] = c.Mold != ""
	}
	var toCome, gating, metal ledger.Mass
	for _, r := range molds {
		var m ledger.Mold
		if err := r.Into(&m); err != nil {
			return 0, err
		}
		metal += m.Metal
		gating += m.Gating
		if !weighed[m.ID] && m.State != ledger.MoldUnused && m.State != ledger.MoldLeaked {
			toCome += m.Metal
		}
	}
	if metal+gating == 0 {
		return 0, nil
	}
	return min(max(0, inMolds-toCome), max(0, inMolds)), nil
}

func lastAlloyIn(st state, crucible string) (string, error) {
	heats, err := st.records(ledger.RecHeat, "")
	if err != nil {
		return "", err
	}
	last, when := ledger.UnknownAlloy, int64(-1)
	for _, r := range heats {
		var h ledger.Heat
		if err := r.Into(&h); err != nil {
			return "", err
		}
		if t := h.Opened.Unix(); h.Crucible == crucible && !h.Opened.IsZero() && t > when {
			last, when = h.Alloy, t
		}
	}
	return last, nil
}

func addCastings(st state, by map[posKey]*Position) error {
	held, err := st.holdings(ledger.OfCasting, ledger.RecCasting)
	if err != nil {
		return err
	}
	for _, h := range held {
		c := ledger.Casting{Alloy: ledger.UnknownAlloy}
		if h.Record.Body != nil {
			if err := h.Record.Into(&c); err != nil {
				return err
			}
		}
		at(by, c.Alloy, "").Castings += h.Mass
	}
	return nil
}

func supplies(st state) (out []SupplyLine, err error) {
	recs, err := st.records(ledger.RecSupply, "")
	if err != nil {
		return nil, err
	}
	for _, r := range recs {
		var l SupplyLine
		if err := r.Into(&l.Supply); err != nil {
			return nil, err
		}
		if l.Amount, err = st.balance(ledger.Acct(ledger.InSupply, l.ID)); err != nil {
			return nil, err
		}
		l.Low = l.OrderBelow > 0 && int64(l.Amount) < l.OrderBelow
		out = append(out, l)
	}
	return out, nil
}
