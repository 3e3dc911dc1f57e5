package ledger

import (
	"context"
	"fmt"
)

// Kinds of entry that part, join and remove lots.
const (
	KindSplit     Kind = "split"
	KindCombine   Kind = "combine"
	KindRemove    Kind = "remove"
	KindStocktake Kind = "stocktake"
	KindWorkUp    Kind = "work-up"
)

// Part is a lot to be taken out of another.
type Part struct {
	LotID    string `json:",omitempty"`
	Weighing WeighingIn
	Place    string `json:",omitempty"`
	Label    string `json:",omitempty"`
}

// SplitLot takes parts out of a lot; the rest stays.
type SplitLot struct {
	Lot   string
	Parts []Part
}

// Split makes a new lot of each part, with the parent's attributes and origin.
func (b *Book) Split(ctx context.Context, m Meta, c SplitLot) (*Entry, error) {
	return b.write(ctx, m, KindSplit, c, func(d *draft) error {
		l, have, err := d.lot("lot", c.Lot)
		if err != nil {
			return err
		}
		if len(c.Parts) == 0 || len(c.Parts) > 500 {
			return invalid("REQUIRED", "parts", fmt.Sprint(len(c.Parts)), "give 1 to 500 parts")
		}
		for i, p := range c.Parts {
			field := fmt.Sprintf("parts[%d]", i)
			part := *l
			part.ID, part.Label, part.Pieces, part.SpokenFor = p.LotID, p.Label, p.Weighing.Pieces, nil
			if p.Place != "" {
				part.Place = p.Place
			}
			part.Certificate = nil // it was checked when it was new, by the rules of then
			if err := d.newLot(&part); err != nil {
				return err
			}
			part.Certificate = l.Certificate
			metal, basis, err := d.weigh(field+".weighing", p.Weighing, Acct(OfLot, part.ID), false)
			if err != nil {
				return err
			}
			if metal, err = d.orAll(l, p.Weighing.Pieces, have, metal); err != nil {
				return err
			}
			part.From = scaleSources(l.From, metal)
			if err := d.putLot(&part); err != nil {
				return err
			}
			if err := d.take(l, metal, Acct(OfLot, part.ID), basis); err != nil {
				return err
			}
			have -= metal
			d.askPieces(l, part.Pieces)
			l.Pieces = max(0, l.Pieces-part.Pieces)
		}
		l.From = scaleSources(l.From, max(have, 0))
		return d.putLot(l)
	})
}

// CombineLots puts lots together into one of them or a new one.
type CombineLots struct {
	Lots  []string
	Into  string `json:",omitempty"` // one of the lots; else a new lot like the first
	Place string `json:",omitempty"`
	Label string `json:",omitempty"`
}

// Combine joins lots. Different alloys or owners need a reason, and so does metal that
// holds what its alloy may not; of different alloys the lot then is unknown and held.
func (b *Book) Combine(ctx context.Context, m Meta, c CombineLots) (*Entry, error) {
	known, err := b.knownOf(ctx, lotAccounts(c.Lots))
	if err != nil {
		return nil, err
	}
	return b.write(ctx, m, KindCombine, c, func(d *draft) error {
		if len(c.Lots) < 2 && (c.Into == "" || len(c.Lots) < 1) || len(c.Lots) > 500 {
			return invalid("REQUIRED", "lots", fmt.Sprint(len(c.Lots)), "give 2 to 500 lots")
		}
		var to *Lot
		if c.Into != "" {
			l, _, err := d.lot("into", c.Into)
			if err != nil {
				return err
			}
			to = l
		} else {
			first, _, err := d.lot("lots[0]", c.Lots[0])
			if err != nil {
				return err
			}
			fresh := *first
			fresh.ID, fresh.Pieces, fresh.From, fresh.SpokenFor, fresh.Price, fresh.Certificate = "", 0, nil, nil, nil, nil
			if err := d.newLot(&fresh); err != nil {
				return err
			}
			to = &fresh
		}
		seen := map[string]bool{to.ID: true}
		for i, id := range c.Lots {
			if seen[id] {
				if id == to.ID {
					continue
				}
				return invalid("TWICE", fmt.Sprintf("lots[%d]", i), id, "is named twice")
			}
			seen[id] = true
			if err := d.pourTogether(fmt.Sprintf("lots[%d]", i), id, to, known); err != nil {
				return err
			}
		}
		if len(seen) == 1 {
			return invalid("SAME_LOT", "into", to.ID, "is the lot itself; name another")
		}
		if c.Place != "" {
			to.Place = c.Place
		}
		if c.Label != "" {
			to.Label = c.Label
		}
		if err := d.checkLot(to); err != nil {
			return err
		}
		return d.putLot(to)
	})
}

func (d *draft) pourTogether(field, id string, to *Lot, known map[Account][]Element) error {
	l, have, err := d.lot(field, id)
	if err != nil {
		return err
	}
	if have <= 0 {
		return badState("LOT_EMPTY", field, l.ID, "holds nothing by the book; leave it out")
	}
	if l.Alloy != to.Alloy {
		d.flag(FlagWrongAlloy, fmt.Sprintf("lot %s is %s, lot %s is %s", l.ID, l.Alloy, to.ID, to.Alloy)+d.whyNotMix(to.Alloy, l.Alloy))
		to.Alloy, to.AlloySure = UnknownAlloy, false
	}
	if err := d.askOutside(l, known); err != nil {
		return err
	}
	if l.Owner != to.Owner {
		d.flag(FlagOtherOwner, fmt.Sprintf("lot %s belongs to %s, lot %s to %s", l.ID, ownerText(l.Owner), to.ID, ownerText(to.Owner)))
	}
	if l.Form != to.Form {
		to.Form = UnknownForm
	}
	if l.Condition == SetApart && to.Condition != SetApart {
		to.HeldFrom, to.Condition, to.HeldWhy = to.Condition, SetApart, l.HeldWhy
	} else if l.Condition == ToClean && to.Condition == Clean {
		to.Condition = ToClean
	}
	to.Pieces += l.Pieces
	to.Candidates = append(to.Candidates, l.Candidates...)
	to.From = addSources(to.From, l.From...)
	d.move(Acct(OfLot, l.ID), Acct(OfLot, to.ID), have, ByDifference)
	l.Pieces, l.SpokenFor = 0, nil
	return d.putLot(l)
}

// RemoveLot is metal that leaves the shop as it is.
type RemoveLot struct {
	Lot  string
	How  string   // sold, shipped, scrapped, returned
	Mass Quantity `json:",omitzero"` // a part; the whole lot unless said
	To   string   `json:",omitempty"`
	For  string   `json:",omitempty"` // what was got for it, as typed

	Pieces int64 `json:",omitempty"` // of a part, if they are counted
}

// Remove records metal sold, shipped, scrapped or given back to its owner.
func (b *Book) Remove(ctx context.Context, m Meta, c RemoveLot) (*Entry, error) {
	return b.write(ctx, m, KindRemove, c, func(d *draft) error {
		l, have, err := d.lot("lot", c.Lot)
		if err != nil {
			return err
		}
		switch c.How {
		case "sold", "shipped", "scrapped", "returned":
		default:
			return invalid("BAD_HOW", "how", c.How, "must be sold, shipped, scrapped or returned")
		}
		if err := checkText("to", c.To, maxName); err != nil {
			return err
		}
		amount := have
		switch {
		case c.Mass.given():
			q, err := d.quantity("mass", c.Mass)
			if err != nil {
				return err
			}
			amount = q.Mass
			d.e.Weighings = append(d.e.Weighings, Weighing{Subject: Acct(OfLot, l.ID), Net: q})
		case c.Pieces != 0:
			return invalid("REQUIRED", "mass", "", "say what the pieces weigh")
		}
		if amount <= 0 {
			return badState("LOT_EMPTY", "lot", l.ID, "holds nothing by the book; say how much left")
		}
		if amount, err = d.orAll(l, c.Pieces, have, amount); err != nil {
			return err
		}
		if l.Owner != "" && c.To != l.Owner && (c.How != "returned" || c.To != "") {
			d.flag(FlagOtherOwner, fmt.Sprintf("lot %s belongs to %s", l.ID, ownerText(l.Owner)))
		}
		if c.For != "" {
			p, err := d.price("for", c.For, amount)
			if err != nil {
				return err
			}
			got := p.cost(Acct(Left, c.How))
			got.Minor = -got.Minor
			d.e.Costs = append(d.e.Costs, got)
		}
		if err := d.take(l, amount, Acct(Left, c.How), Weighed); err != nil {
			return err
		}
		return d.takePieces("pieces", l, c.Pieces, amount >= have)
	})
}

// CountLine is a counted lot; a zero weight says that it is not there.
type CountLine struct {
	Lot      string
	Weighing WeighingIn
}

// TakeStock is a walk past the shelves.
type TakeStock struct {
	Place string `json:",omitempty"`
	Lines []CountLine
}

// TakeStock records counts and posts the differences from the book.
func (b *Book) TakeStock(ctx context.Context, m Meta, c TakeStock) (*Entry, error) {
	return b.write(ctx, m, KindStocktake, c, func(d *draft) error {
		if c.Place != "" {
			if err := d.must(RecPlace, "place", c.Place, &Place{}); err != nil {
				return err
			}
		}
		if len(c.Lines) == 0 || len(c.Lines) > 500 {
			return invalid("REQUIRED", "lines", fmt.Sprint(len(c.Lines)), "give 1 to 500 counted lots")
		}
		s := Stocktake{Place: c.Place}
		seen := map[string]bool{}
		for i, line := range c.Lines {
			field := fmt.Sprintf("lines[%d]", i)
			l, have, err := d.lot(field+".lot", line.Lot)
			if err != nil {
				return err
			}
			if seen[l.ID] {
				return invalid("TWICE", field+".lot", l.ID, "is counted twice")
			}
			seen[l.ID] = true
			metal, basis, err := d.weigh(field+".weighing", line.Weighing, Acct(OfLot, l.ID), true)
			if err != nil {
				return err
			}
			d.move(Acct(Count, l.ID), Acct(OfLot, l.ID), metal-have, basis)
			if l.Pieces != line.Weighing.Pieces && line.Weighing.Pieces > 0 {
				l.Pieces = line.Weighing.Pieces
				if err := d.putLot(l); err != nil {
					return err
				}
			}
			s.Lines = append(s.Lines, Counted{Lot: l.ID, Found: d.e.Weighings[len(d.e.Weighings)-1].Net, Book: have})
		}
		id, err := d.fresh(RecCount, "", plainNumber)
		if err != nil {
			return err
		}
		s.ID = id
		return d.put(RecCount, id, "", s)
	})
}

// WorkUp is skimmings crushed and screened: the metal recovered, and the rest.
type WorkUp struct {
	Lot       string
	Recovered WeighingIn
	Place     string `json:",omitempty"`
}

// WorkUp replaces the guess of the metal trapped in skimmings by what came out.
// The rest of the skimmings, less what had been added, was oxide all along; what
// neither explains is unaccounted for.
func (b *Book) WorkUp(ctx context.Context, m Meta, c WorkUp) (*Entry, error) {
	return b.write(ctx, m, KindWorkUp, c, func(d *draft) error {
		l, have, err := d.lot("lot", c.Lot)
		if err != nil {
			return err
		}
		if l.Skim == nil && l.Form != Skimmings {
			return badState("NOT_SKIMMINGS", "lot", c.Lot, "is not a lot of skimmings")
		}
		if have <= 0 {
			return badState("LOT_EMPTY", "lot", c.Lot, "was worked up already")
		}
		out := &Lot{Alloy: l.Alloy, AlloySure: l.AlloySure, Form: Prills, Condition: Clean, Owner: l.Owner, Place: c.Place,
			From: []Source{{Acct(OfLot, l.ID), 0}}}
		if l.Condition == SetApart { // what comes out of it is no less apart
			out.Condition, out.HeldFrom, out.HeldWhy = SetApart, Clean, l.HeldWhy
		}
		if err := d.newLot(out); err != nil {
			return err
		}
		got, basis, err := d.weigh("recovered", c.Recovered, Acct(OfLot, out.ID), false)
		if err != nil {
			return err
		}
		out.From[0].Mass = got
		if l.Skim == nil { // of no heat: a share was guessed when they came
			d.move(Acct(OfLot, l.ID), Acct(OfLot, out.ID), min(got, have), basis)
			d.move(Acct(OfLot, l.ID), Acct(Count, l.ID), have-min(got, have), ByDifference)
			d.move(Acct(Count, l.ID), Acct(OfLot, out.ID), got-min(got, have), basis)
			l.workedUp()
			if err := d.putLot(l); err != nil {
				return err
			}
			return d.putLot(out)
		}
		oxideTotal := max(0, l.Skim.Net-l.Skim.Added-got)
		more := l.Skim.Share.Of(oxideTotal) - l.Skim.InOxide
		from, heat := Acct(OfLot, l.ID), l.Skim.Heat
		d.move(from, Acct(OfLot, out.ID), min(got, have), basis)
		if got > have { // more metal in it than was guessed: the heat had kept it elsewhere
			d.move(Acct(Unaccounted, heat), Acct(OfLot, out.ID), got-have, basis)
		}
		left := have - min(got, have)
		d.move(from, Acct(Unaccounted, heat), left, ByDifference)
		d.move(Acct(Unaccounted, heat), Acct(Oxide, heat), more, Estimated)
		l.Skim.Trapped, l.Skim.Oxide, l.Skim.InOxide = 0, oxideTotal, l.Skim.InOxide+more
		l.workedUp()
		if err := d.putLot(l); err != nil {
			return err
		}
		return d.putLot(out)
	})
}

// workedUp is what a lot of skimmings is afterwards.
func (l *Lot) workedUp() {
	if l.Condition == SetApart {
		l.HeldFrom = Clean
	} else {
		l.Condition = Clean
	}
}
