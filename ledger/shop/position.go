package shop

import (
	"cmp"
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
	Expected   ledger.Mass // of InMolds and Castings, what should come back as gating, by the plans
	Castings   ledger.Mass // castings in the shop, with the gating that is still on them

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
// to one alloy; "" is all. The answer is shared: nobody may change it.
func (s *Shop) Stock(ctx context.Context, at AsOf, alloyFilter string) (out Stock, err error) {
	if alloyFilter != "" {
		if alloyFilter, _, err = s.ResolveAlloy(ctx, alloyFilter); err != nil {
			return out, err
		}
	}
	if err = s.view(ctx, func(r ledger.Reader) error {
		out, err = s.stockAt(r, at)
		return err
	}); err != nil {
		return Stock{}, err
	}
	out.AsOf = at
	if alloyFilter != "" {
		out = out.of(alloyFilter)
	}
	return out, nil
}

func (s *Shop) stockAt(r ledger.Reader, at AsOf) (Stock, error) {
	if !at.IsNow() {
		f, err := foldTo(r, at)
		if err != nil {
			return Stock{}, err
		}
		out, err := reckonStock(plain{f})
		out.Seq = f.seq
		return out, err
	}
	if out, known, err := s.standing.stock(r); known || err != nil {
		return out, err
	}
	head, err := r.Head()
	if err != nil {
		return Stock{}, err
	}
	out, err := reckonStock(plain{kept{r}})
	out.Seq = head.Seq
	return out, err
}

func reckonStock(st state) (out Stock, err error) {
	by := map[posKey]*Position{}
	for _, add := range []func(state, map[posKey]*Position) error{addLots, addHeats, addCastings} {
		if err := add(st, by); err != nil {
			return out, err
		}
	}
	for _, p := range by {
		out.Positions = append(out.Positions, *p)
		out.Total.add(p)
	}
	slices.SortFunc(out.Positions, func(a, b Position) int {
		return cmp.Or(strings.Compare(a.Alloy, b.Alloy), strings.Compare(a.Owner, b.Owner))
	})
	out.Supplies, err = supplies(st)
	return out, err
}

// of is the part of a stock that is of one alloy; its supplies stay.
func (s Stock) of(alloy string) Stock {
	all := s.Positions
	s.Positions, s.Total = nil, Position{}
	for _, p := range all {
		if p.Alloy == alloy {
			s.Positions = append(s.Positions, p)
			s.Total.add(&p)
		}
	}
	return s
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
	unknown := ledger.Lot{Alloy: ledger.UnknownAlloy, Condition: ledger.SetApart}
	for _, h := range lots {
		lot, err := content(h.thing, &unknown)
		if err != nil {
			return err
		}
		v := ledger.LotView{Lot: *lot, Mass: h.mass}
		p := at(by, v.Alloy, v.Owner)
		p.Lots++
		switch {
		case v.Form == ledger.Skimmings:
			p.Skimmings += h.mass
		case v.Usable():
			p.Usable += h.mass
			p.SpokenFor += h.mass - v.Free()
			p.ByForm[v.Form] += h.mass
		case v.Condition == ledger.ToClean:
			p.ToClean += h.mass
		default:
			p.SetApart += h.mass
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
			heat, err := content(h.thing, &ledger.Heat{Alloy: ledger.UnknownAlloy})
			if err != nil {
				return err
			}
			p := at(by, heat.Alloy, heat.Owner)
			if kind == ledger.InHeat {
				p.InCrucible += h.mass
				continue
			}
			p.InMolds += h.mass
			expected, err := expectedBack(st, heat.ID, h.mass)
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
	for _, h := range heels { // which alloy, and whose: that of the last heat in the crucible
		last, err := st.lastIn(h.ref)
		if err != nil {
			return err
		}
		at(by, last.alloy, last.owner).InCrucible += h.mass
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
		c, err := content(r, (*ledger.Casting)(nil))
		if err != nil {
			return 0, err
		}
		if c.Gone != ledger.GoneByMistake {
			weighed[c.Mold] = c.Mold != ""
		}
	}
	var toCome, gating, metal ledger.Mass
	for _, r := range molds {
		m, err := content(r, (*ledger.Mold)(nil))
		if err != nil {
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

func addCastings(st state, by map[posKey]*Position) error {
	held, err := st.holdings(ledger.OfCasting, ledger.RecCasting)
	if err != nil {
		return err
	}
	for _, h := range held {
		c, err := content(h.thing, &ledger.Casting{Alloy: ledger.UnknownAlloy})
		if err != nil {
			return err
		}
		owner, err := st.owner(c.Heat)
		if err != nil {
			return err
		}
		on, err := gatingOn(st, c, h.mass)
		if err != nil {
			return err
		}
		p := at(by, c.Alloy, owner)
		p.Castings += h.mass
		p.Expected += on
	}
	return nil
}

// gatingOn is what should still be sawn off a casting of some mass and come back, by the
// plan of its mold.
func gatingOn(st state, c *ledger.Casting, mass ledger.Mass) (ledger.Mass, error) {
	if c.Gone != "" || c.Stage != ledger.AsCast { // most of them
		return 0, nil
	}
	molds, err := st.records(ledger.RecMold, ledger.OfHeat(c.Heat))
	for _, r := range molds {
		if r.ID != c.Mold {
			continue
		}
		m, err := content(r, (*ledger.Mold)(nil))
		if err != nil || !c.Gated(m) {
			return 0, err
		}
		return max(0, mass-m.Metal), nil
	}
	return 0, err
}

// gatingOnCastings is what should be sawn off the castings of a heat.
func gatingOnCastings(st state, heat string) (on ledger.Mass, err error) {
	castings, err := st.records(ledger.RecCasting, ledger.OfHeat(heat))
	for _, r := range castings {
		c, err := content(r, (*ledger.Casting)(nil))
		if err != nil {
			return 0, err
		}
		m, err := gatingOn(st, c, c.Weights[ledger.AsCast])
		if err != nil {
			return 0, err
		}
		on += m
	}
	return on, err
}

func supplies(st state) (out []SupplyLine, err error) {
	recs, err := st.records(ledger.RecSupply, "")
	if err != nil {
		return nil, err
	}
	for _, r := range recs {
		supply, err := content(r, (*ledger.Supply)(nil))
		if err != nil {
			return nil, err
		}
		l := SupplyLine{Supply: *supply}
		if l.Amount, err = st.balance(ledger.Acct(ledger.InSupply, l.ID)); err != nil {
			return nil, err
		}
		l.Low = l.OrderBelow > 0 && int64(l.Amount) < l.OrderBelow
		out = append(out, l)
	}
	return out, nil
}
