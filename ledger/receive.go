package ledger

import (
	"context"
	"fmt"
)

// Kinds of entry that bring metal into lots.
const (
	KindReceive Kind = "receive"
	KindWeighIn Kind = "weigh-in"
	KindClean   Kind = "clean"
)

// Receive is metal that comes into the shop: bought, a customer's own, or there already
// when the book was begun.
type Receive struct {
	LotID       string `json:",omitempty"` // chosen id; else the next number
	Supplier    string `json:",omitempty"` // exactly one of Supplier, Customer and HereAlready
	Customer    string `json:",omitempty"` // whose own metal it stays
	HereAlready bool   `json:",omitempty"` // opening stock: the book knows nobody it was bought from
	Alloy       string
	Form        Form   `json:",omitempty"` // ingot unless said
	Dirty       bool   `json:",omitempty"`
	Place       string `json:",omitempty"`
	Label       string `json:",omitempty"`
	Weighing    WeighingIn
	Certificate *Certificate `json:",omitempty"`
	Price       string       `json:",omitempty"` // as typed: a total "310.00 USD" or a rate "4.85 USD/lb"; a foreign one "4.10 EUR/kg at 1.0832 USD/EUR"
}

// Receive records metal coming in. The new lot is in the entry's records.
func (b *Book) Receive(ctx context.Context, m Meta, c Receive) (*Entry, error) {
	return b.write(ctx, m, c.kind(), c, c.draft)
}

func (Receive) kind() Kind { return KindReceive }

func (c Receive) draft(d *draft) error {
	l := &Lot{ID: c.LotID, Alloy: c.Alloy, AlloySure: true, Form: c.Form, Condition: Clean, Place: c.Place,
		Owner: c.Customer, Label: c.Label, Certificate: c.Certificate}
	if c.Dirty {
		l.Condition = ToClean
	}
	var from Account
	switch {
	case c.Supplier != "" && c.Customer != "":
		return invalid("CONTRADICTION", "supplier", c.Supplier, "metal is bought from a supplier or brought by a customer, not both")
	case c.HereAlready && c.Supplier != "":
		return invalid("CONTRADICTION", "supplier", c.Supplier, "metal that was here before the book began comes from nobody; leave the supplier out")
	case c.HereAlready && c.Customer != "":
		return invalid("CONTRADICTION", "customer", c.Customer, "a customer's own metal is the customer's, also when it was here before; say the customer alone")
	case c.HereAlready:
		from = OpeningStock
	case c.Supplier != "":
		if err := d.must(RecParty, "supplier", c.Supplier, &Party{}); err != nil {
			return err
		}
		from = Acct(Supplier, c.Supplier)
	case c.Customer != "":
		if err := d.must(RecParty, "customer", c.Customer, &Party{}); err != nil {
			return err
		}
		from = Acct(Customer, c.Customer)
	default:
		return invalid("REQUIRED", "supplier", "", "name the supplier, or the customer whose own metal it is, or say that it was here already")
	}
	net, err := d.takeIn(l, from, c.Weighing)
	if err != nil {
		return err
	}
	if c.Price != "" {
		if l.Price, err = d.price("price", c.Price, net); err != nil {
			return err
		}
		d.e.Costs = append(d.e.Costs, l.Price.cost(Acct(OfLot, l.ID)))
		if err := d.askPrice(l); err != nil {
			return err
		}
	}
	return d.putLot(l)
}

// takeIn makes a lot of metal that comes in from an account, at its real weight, and
// gives the net, which is what is paid by weight. The caller drafts the lot once more
// with its price.
func (d *draft) takeIn(l *Lot, from Account, w WeighingIn) (net Mass, err error) {
	l.Pieces = w.Pieces
	if l.Form == "" {
		l.Form = Ingot
	}
	if err := d.newLot(l); err != nil {
		return 0, err
	}
	if err := d.tellOutside(l, l.Certificate); err != nil {
		return 0, err
	}
	a := Acct(OfLot, l.ID)
	metal, basis, err := d.weigh("weighing", w, a, false)
	if err != nil {
		return 0, err
	}
	if err := l.checkSkimmings(w.Dirt, false); err != nil {
		return 0, err
	}
	d.move(from, a, metal, basis)
	l.From = []Source{{from, metal}}
	return d.lastNet(), nil
}

// checkSkimmings refuses skimmings that would count as metal wholly. Those of a heat are
// skimmed off it; of others somebody has to say what share is none. They wait to be worked
// up.
func (l *Lot) checkSkimmings(dirt PPM, ofHeat bool) error {
	switch {
	case l.Form != Skimmings:
		return nil
	case ofHeat:
		return invalid("SKIMMINGS", "form", string(l.Form), "skimmings of a heat are recorded as skimmed off it: of their weight only what is caught in them is metal")
	case dirt == 0:
		return invalid("REQUIRED", "weighing.dirt_percent", "", "say what share of the skimmings is not metal; half is common")
	}
	if l.Condition == SetApart {
		l.HeldFrom = ToClean
	} else {
		l.Condition = ToClean
	}
	return nil
}

// lastNet is the net of the weighing drafted last.
func (d *draft) lastNet() Mass { return d.e.Weighings[len(d.e.Weighings)-1].Net.Mass }

// WeighIn is returned gating put on the scale.
type WeighIn struct {
	LotID   string      `json:",omitempty"` // chosen id of a new lot
	Into    string      `json:",omitempty"` // an existing lot it is added to
	Heats   []HeatShare `json:",omitempty"` // none: the heat is unknown; several without shares: settled later
	Casting string      `json:",omitempty"` // instead of heats: cut off a casting that was weighed as cast
	Alloy   string      `json:",omitempty"` // the heat's, unless said; "unknown" when unsure
	Unsure  bool        `json:",omitempty"` // the alloy is a guess: set apart until identified
	Form    Form        `json:",omitempty"` // gating unless said
	Dirty   bool        `json:",omitempty"`
	Owner   string      `json:",omitempty"`
	Place   string      `json:",omitempty"`
	Label   string      `json:",omitempty"`

	Weighing WeighingIn
}

// WeighIn records returns. A dirty weighing makes a lot to be cleaned; what the
// heat is taken to have given back is the net less the dirt.
func (b *Book) WeighIn(ctx context.Context, m Meta, c WeighIn) (*Entry, error) {
	return b.write(ctx, m, c.kind(), c, c.draft)
}

func (WeighIn) kind() Kind { return KindWeighIn }

func (c WeighIn) draft(d *draft) error {
	l, err := d.weighInLot(c)
	if err != nil {
		return err
	}
	a := Acct(OfLot, l.ID)
	metal, basis, err := d.weigh("weighing", c.Weighing, a, false)
	if err != nil {
		return err
	}
	if err := l.checkSkimmings(c.Weighing.Dirt, len(c.Heats) > 0 || l.Skim != nil); err != nil {
		return err
	}
	if c.Dirty && c.Weighing.Basis == 0 {
		basis = Estimated
	}
	var sources []Source
	if c.Casting != "" {
		if len(c.Heats) > 0 {
			return invalid("CONTRADICTION", "heats", c.Heats[0].Heat, "give the casting it was cut from, or heats, not both")
		}
		sources, err = d.castingSource(c.Casting, metal, basis)
	} else {
		sources, err = d.heatSources("heats", c.Heats, metal, false)
	}
	if err != nil {
		return err
	}
	for _, s := range sources {
		d.move(s.Account, a, s.Mass, basis)
		d.warnMoreThanPoured(s.Account)
	}
	l.From = addSources(l.From, sources...)
	l.Pieces += c.Weighing.Pieces
	return d.putLot(l)
}

// weighInLot finds or makes the lot that returns go into.
func (d *draft) weighInLot(c WeighIn) (*Lot, error) {
	alloy, owner, err := d.alloyOfHeats(c.Heats)
	if err != nil {
		return nil, err
	}
	if alloy == "" && c.Casting != "" {
		var k Casting
		if err := d.must(RecCasting, "casting", c.Casting, &k); err != nil {
			return nil, err
		}
		h, err := d.heat("casting", k.Heat)
		if err != nil {
			return nil, err
		}
		alloy, owner = k.Alloy, h.Owner
	}
	if c.Alloy != "" {
		made := alloy
		if alloy, _, err = d.alloy("alloy", c.Alloy); err != nil {
			return nil, err
		}
		if known := made != "" && made != UnknownAlloy && alloy != UnknownAlloy && !c.Unsure; known && made != alloy {
			d.flag(FlagWrongAlloy, fmt.Sprintf("what it comes from is %s, and it is weighed in as %s", made, alloy)+d.whyNotMix(alloy, made))
		}
	}
	if c.Owner != "" {
		owner = c.Owner
	}
	if c.Into != "" {
		l, _, err := d.lot("into", c.Into)
		if err != nil {
			return nil, err
		}
		if alloy != "" && alloy != l.Alloy {
			d.flag(FlagWrongAlloy, fmt.Sprintf("%s is added to lot %s of %s", alloy, l.ID, l.Alloy)+d.whyNotMix(l.Alloy, alloy))
		}
		if c.Owner != "" && c.Owner != l.Owner {
			d.flag(FlagOtherOwner, fmt.Sprintf("lot %s belongs to %s", l.ID, ownerText(l.Owner)))
		}
		if c.Dirty && l.Condition == Clean {
			l.Condition = ToClean
		}
		if len(c.Heats) > 1 && !sharesGiven(c.Heats) {
			for _, h := range c.Heats {
				l.Candidates = append(l.Candidates, h.Heat)
			}
		}
		return l, nil
	}
	if alloy == "" {
		return nil, invalid("REQUIRED", "alloy", "", "name the alloy when the heat is not known, or say unknown and it is set apart")
	}
	l := &Lot{ID: c.LotID, Alloy: alloy, AlloySure: !c.Unsure, Form: c.Form, Condition: Clean, Owner: owner, Place: c.Place, Label: c.Label}
	if l.Form == "" {
		l.Form = Gating
	}
	if c.Dirty {
		l.Condition = ToClean
	}
	if c.Unsure && alloy != UnknownAlloy {
		l.HeldFrom, l.Condition, l.HeldWhy = l.Condition, SetApart, "not sure of the alloy"
	}
	if len(c.Heats) > 1 && !sharesGiven(c.Heats) {
		for _, h := range c.Heats {
			l.Candidates = append(l.Candidates, h.Heat)
		}
	}
	return l, d.newLot(l)
}

func ownerText(owner string) string {
	if owner == "" {
		return "the shop"
	}
	return "customer " + owner
}

// CleanLot is a lot weighed again after cleaning.
type CleanLot struct {
	Lot      string
	Place    string `json:",omitempty"`
	Weighing WeighingIn
}

// Clean replaces a lot's dirty weight by its clean one. The difference was
// never metal, or not of this lot: it goes back to where the lot came from.
func (b *Book) Clean(ctx context.Context, m Meta, c CleanLot) (*Entry, error) {
	return b.write(ctx, m, KindClean, c, func(d *draft) error {
		l, have, err := d.lot("lot", c.Lot)
		if err != nil {
			return err
		}
		switch {
		case l.Form == Skimmings:
			return badState("SKIMMINGS", "lot", l.ID, "is of skimmings, which are worked up and not cleaned: of their weight only what is caught in them is metal")
		case have == 0: // what is on the scale is in the book elsewhere by now, or never came
			d.flag(FlagAgain, fmt.Sprintf("lot %s has nothing left: it was put with another or used up, and its metal would be booked twice", l.ID))
		case l.Condition == Clean: // core pins found in it after all
			d.flag(FlagAgain, fmt.Sprintf("lot %s was clean already; a stocktake corrects a clean lot's weight", l.ID))
		}
		a := Acct(OfLot, l.ID)
		metal, basis, err := d.weigh("weighing", c.Weighing, a, true)
		if err != nil {
			return err
		}
		for _, s := range scaleSources(l.From, have-metal) {
			to, err := d.sourceNow(s.Account)
			if err != nil {
				return err
			}
			d.move(a, to, s.Mass, basis)
		}
		if len(l.From) == 0 {
			d.move(a, Acct(Count, l.ID), have-metal, basis)
		}
		l.From = scaleSources(l.From, metal)
		if l.Condition == SetApart {
			l.HeldFrom = Clean
		} else {
			l.Condition = Clean
		}
		if c.Weighing.Pieces > 0 {
			l.Pieces = c.Weighing.Pieces
		}
		if c.Place != "" {
			if err := d.must(RecPlace, "place", c.Place, &Place{}); err != nil {
				return err
			}
			l.Place = c.Place
		}
		return d.putLot(l)
	})
}
