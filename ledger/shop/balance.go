package shop

import (
	"context"
	"math"
	"slices"
	"time"

	"example.org/remelt/ledger"
)

// Terms says where metal went. Charged and the other terms in are equal to the
// terms out, to the milligram:
//
//	Charged + Additives = Castings + Returns + Pigs + SpillKept + Recovered +
//	    Trapped + Given + Heel + gone (Oxide, Vapour, Spilled, Kerf, Unaccounted) +
//	    InCrucible + InMolds
type Terms struct {
	Charged   ledger.Mass // from lots and heels
	Additives ledger.Mass // metal of additions that became part of the melt

	Castings  ledger.Mass
	Returns   ledger.Mass                 // gating and castings broken up
	ByForm    map[ledger.Form]ledger.Mass // Returns, by form
	Pigs      ledger.Mass                 // poured off
	SpillKept ledger.Mass                 // swept up
	Recovered ledger.Mass                 // out of skimmings that were worked up
	Given     ledger.Mass                 // left with a visitor
	Heel      ledger.Mass                 // left in the crucible for the next heat

	Trapped ledger.Mass // in skimmings: not yet usable

	SpillToClean ledger.Mass // of SpillKept, in lots that are still to be cleaned: not yet usable

	Oxide       ledger.Mass
	Vapour      ledger.Mass
	Spilled     ledger.Mass
	Kerf        ledger.Mass
	Unaccounted ledger.Mass

	InCrucible ledger.Mass // still in the heat
	InMolds    ledger.Mass // still in molds; negative when more came back than was poured
}

// In is all metal that went in.
func (t *Terms) In() ledger.Mass { return t.Charged + t.Additives }

// Gone is metal that will not come back.
func (t *Terms) Gone() ledger.Mass {
	return t.Oxide + t.Vapour + t.Spilled + t.Kerf + t.Unaccounted
}

// Reclaimed is metal out of skimmings, and what was swept up and is clean.
func (t *Terms) Reclaimed() ledger.Mass { return t.Recovered + t.SpillKept - t.SpillToClean }

// NotYetUsable is metal that is here and needs work before it can be melted.
func (t *Terms) NotYetUsable() ledger.Mass { return t.Trapped + t.SpillToClean }

// Elsewhere is metal that is neither back nor gone.
func (t *Terms) Elsewhere() ledger.Mass { return t.Given + t.Heel + t.InCrucible + t.InMolds }

// Out is where all metal is; it equals In.
func (t *Terms) Out() ledger.Mass {
	return t.Castings + t.Returns + t.Pigs + t.Reclaimed() + t.NotYetUsable() + t.Elsewhere() + t.Gone()
}

// MeltLoss is (metal in − usable metal out) in the handbook's sense: gone, and
// not yet usable. (American Foundry Society, Calculating Aluminum Melting
// Costs: melt loss = (pounds in − pounds out) ÷ pounds in.)
func (t *Terms) MeltLoss() ledger.Mass { return t.Gone() + t.Trapped }

// Share of what went in, in parts per million; 0 when nothing went in.
func (t *Terms) Share(m ledger.Mass) ledger.PPM {
	in := t.In()
	if in <= 0 {
		return 0
	}
	return ledger.ShareOf(m, in)
}

func (t *Terms) add(u *Terms) {
	for _, p := range []struct {
		to   *ledger.Mass
		from ledger.Mass
	}{
		{&t.Charged, u.Charged}, {&t.Additives, u.Additives}, {&t.Castings, u.Castings}, {&t.Returns, u.Returns},
		{&t.Pigs, u.Pigs}, {&t.SpillKept, u.SpillKept}, {&t.Recovered, u.Recovered}, {&t.Given, u.Given},
		{&t.Heel, u.Heel}, {&t.Trapped, u.Trapped}, {&t.Oxide, u.Oxide}, {&t.Vapour, u.Vapour},
		{&t.Spilled, u.Spilled}, {&t.Kerf, u.Kerf}, {&t.Unaccounted, u.Unaccounted},
		{&t.InCrucible, u.InCrucible}, {&t.InMolds, u.InMolds}, {&t.SpillToClean, u.SpillToClean},
	} {
		*p.to += p.from
	}
	if t.ByForm == nil {
		t.ByForm = map[ledger.Form]ledger.Mass{}
	}
	for f, m := range u.ByForm {
		t.ByForm[f] += m
	}
}

// HeatBalance is where the metal of one heat went.
type HeatBalance struct {
	Heat        ledger.Heat
	Provisional bool     // something expected is not weighed or written off
	Waiting     []string // what for, as sentences
	Terms
	Uncertainty Uncertainty // of what is unaccounted for, or still in molds
	Seq         int64
	ChargedBy   map[ledger.Form]ledger.Mass // Charged, by the form of the lots; a heel counts as a pig
	ChargedLots []ChargedLot                // Charged, by lot, in the order in which they first went in; a heel has none
	ChargeDirty ledger.Mass                 // of Charged, from lots that were still to be cleaned
	Flags       []FlaggedEntry              // what was unusual, oldest first
	Changed     time.Time                   // when an entry last changed it

	skimVar   float64 // variance of the metal guessed to be trapped, kg²
	skimShare float64 // share of metal in the oxide
}

// skimDoubt is the standard uncertainty, in kg, of the metal guessed to be
// trapped in skimmings, and the share of metal in their oxide.
func (b *HeatBalance) skimDoubt() (kg, share float64) { return math.Sqrt(b.skimVar), b.skimShare }

// ChargedLot is what of one lot went into a heat.
type ChargedLot struct {
	Lot  ledger.Lot
	Mass ledger.Mass
}

// FlaggedEntry points to an entry of the heat that was recorded with a flag.
type FlaggedEntry struct {
	Seq    int64
	Flags  []ledger.Flag
	Reason string
}

// Balance reckons where a heat's metal went, now or as of a past moment.
func (s *Shop) Balance(ctx context.Context, heat string, at AsOf) (out HeatBalance, err error) {
	err = s.view(ctx, func(r ledger.Reader) error {
		out, err = s.heatBalance(r, heat, at)
		return err
	})
	return out, err
}

// reckonBalance reckons it from the heat's entries, and says whose records of lots it
// looked at.
func (s *Shop) reckonBalance(r ledger.Reader, heat string, at AsOf) (out HeatBalance, lots []string, err error) {
	entries, err := historyOf(r, ledger.OfHeat(heat), at)
	if err != nil {
		return out, nil, err
	}
	found := false
	for _, e := range entries {
		for _, rec := range e.Records {
			if rec.Kind == ledger.RecHeat && rec.ID == heat {
				if err := rec.Into(&out.Heat); err != nil {
					return out, nil, err
				}
				found = true
			}
		}
	}
	if !found {
		_, err := ledger.Get[ledger.Heat](context.Background(), s.Book, ledger.RecHeat, heat)
		if err != nil {
			return out, nil, err
		}
		return out, nil, &ledger.Error{Class: ledger.ErrNotFound, Reason: "NOT_THEN", Field: "heat", Value: heat, Want: "was not in the book at that moment"}
	}
	out.ByForm = map[ledger.Form]ledger.Mass{}
	out.ChargedBy = map[ledger.Form]ledger.Mass{}
	b := balancer{heat: heat, r: r, out: &out, forms: map[string]ledger.Lot{}, kinds: map[int64]ledger.Kind{}, scales: map[string]ledger.Scale{}}
	for _, e := range entries {
		b.kinds[e.Seq] = e.Kind
		if err := b.entry(e); err != nil {
			return out, nil, err
		}
		out.Seq, out.Changed = e.Seq, e.Recorded
	}
	out.Provisional = out.Heat.State != ledger.Settled
	if err := b.waiting(at); err != nil {
		return out, nil, err
	}
	out.Uncertainty = b.uncertainty()
	for id := range b.forms {
		lots = append(lots, string(ledger.Acct(ledger.OfLot, id)))
	}
	return out, lots, nil
}

// historyOf reads all entries about a subject, oldest first.
func historyOf(r ledger.Reader, subject string, at AsOf) (out []*ledger.Entry, err error) {
	for before := int64(0); ; {
		page, err := r.History(subject, before, 500)
		if err != nil {
			return nil, err
		}
		for _, sealed := range page {
			e, err := sealed.Open()
			if err != nil {
				return nil, err
			}
			if at.includes(e) {
				out = append(out, e)
			}
			before = sealed.Seq
		}
		if len(page) < 500 {
			slices.Reverse(out)
			return out, nil
		}
	}
}

// balancer sorts the postings of a heat's entries into terms.
type balancer struct {
	heat   string
	r      ledger.Reader
	out    *HeatBalance
	forms  map[string]ledger.Lot
	kinds  map[int64]ledger.Kind
	scales map[string]ledger.Scale
	parts  []contribution
}

// entry counts one entry. What moved between the heat's own accounts and others
// is counted by what the other account is; when metal of several heats moved at
// once, this heat's part is what its own accounts gave.
func (b *balancer) entry(e *ledger.Entry) error {
	if len(e.Flags) > 0 {
		b.out.Flags = append(b.out.Flags, FlaggedEntry{e.Seq, e.Flags, e.Reason})
	}
	own, others := ledger.Mass(0), false
	var outside []ledger.Posting
	for _, p := range e.Postings {
		switch h := p.Account.Heat(); {
		case p.Account.CountsSupplies():
		case h == b.heat:
			own += p.Mass
			if t := b.ownTerm(p.Account.Kind()); t != nil {
				*t += p.Mass
			}
		case h != "":
			others = true
		default:
			outside = append(outside, p)
		}
	}
	if len(outside) == 0 {
		return nil
	}
	kind := e.Kind
	if e.Reverses != 0 {
		kind = b.kinds[e.Reverses]
	}
	for _, p := range outside {
		m := p.Mass
		if others { // only the net is this heat's; it is counted once, as the first outside account
			m, own = -own, 0
		}
		if err := b.count(kind, p.Account, m); err != nil {
			return err
		}
	}
	return b.weighings(e, kind)
}

func (b *balancer) ownTerm(k ledger.AccountKind) *ledger.Mass {
	t := &b.out.Terms
	switch k {
	case ledger.Oxide:
		return &t.Oxide
	case ledger.Vapour:
		return &t.Vapour
	case ledger.Spill:
		return &t.Spilled
	case ledger.Kerf:
		return &t.Kerf
	case ledger.Unaccounted:
		return &t.Unaccounted
	case ledger.InHeat:
		return &t.InCrucible
	case ledger.InMolds:
		return &t.InMolds
	}
	return nil
}

// count adds m, which moved out of the heat into an outside account, to a term.
func (b *balancer) count(kind ledger.Kind, a ledger.Account, m ledger.Mass) error {
	t := &b.out.Terms
	switch a.Kind() {
	case ledger.Additive:
		t.Additives -= m
	case ledger.OfCasting:
		t.Castings += m
	case ledger.Heel:
		if kind == ledger.KindFinishPour {
			t.Heel += m
		} else {
			t.Charged -= m
			b.out.ChargedBy[ledger.Pig] -= m
		}
	case ledger.Left:
		if kind == ledger.KindShipCasting { // a casting that is shipped is still a casting of the heat
			t.Castings += m
		} else {
			t.Given += m
		}
	case ledger.Origin: // weighed in before it was known whose it was
		b.returned(ledger.Gating, m)
	case ledger.OfLot, ledger.Count:
		if kind == ledger.KindCharge {
			l, err := b.lot(a.Ref())
			if err != nil {
				return err
			}
			t.Charged -= m
			b.out.ChargedBy[l.Form] -= m
			b.chargedLot(l, -m)
			if l.Condition == ledger.ToClean {
				b.out.ChargeDirty -= m
			}
			return nil
		}
		return b.lotTerm(kind, a.Ref(), m)
	default: // suppliers and customers do not touch heats
		t.Given += m
	}
	return nil
}

func (b *balancer) chargedLot(l ledger.Lot, m ledger.Mass) {
	all := &b.out.ChargedLots
	i := slices.IndexFunc(*all, func(c ChargedLot) bool { return c.Lot.ID == l.ID })
	if i < 0 {
		*all = append(*all, ChargedLot{Lot: l, Mass: m})
		return
	}
	if (*all)[i].Mass += m; (*all)[i].Mass == 0 { // taken back
		*all = slices.Delete(*all, i, i+1)
	}
}

func (b *balancer) lotTerm(kind ledger.Kind, lot string, m ledger.Mass) error {
	l, err := b.lot(lot)
	if err != nil {
		return err
	}
	t := &b.out.Terms
	switch {
	case l.Skim != nil:
		t.Trapped += m
	case kind == ledger.KindWorkUp:
		t.Recovered += m
	case l.Form == ledger.Pig && kind != ledger.KindWeighIn:
		t.Pigs += m
	case l.Form == ledger.SpillForm:
		t.SpillKept += m
		if l.Condition == ledger.ToClean || l.HeldFrom == ledger.ToClean {
			t.SpillToClean += m
		}
	default:
		b.returned(l.Form, m)
	}
	return nil
}

func (b *balancer) returned(f ledger.Form, m ledger.Mass) {
	b.out.Returns += m
	b.out.ByForm[f] += m
}

func (b *balancer) lot(id string) (ledger.Lot, error) {
	if l, ok := b.forms[id]; ok {
		return l, nil
	}
	var l ledger.Lot
	rec, found, err := b.r.Record(ledger.RecLot, id)
	if err != nil {
		return l, err
	}
	if found {
		if err := rec.Into(&l); err != nil {
			return l, err
		}
	}
	b.forms[id] = l
	return l, nil
}
