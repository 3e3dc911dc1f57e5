package ledger

import (
	"context"
	"fmt"
	"slices"
	"strings"
)

// Kinds of entry that change a lot without moving its metal.
const (
	KindHold     Kind = "hold"
	KindRelease  Kind = "release"
	KindMove     Kind = "move"
	KindSpeakFor Kind = "speak-for"
	KindAssign   Kind = "assign"
	KindIdentify Kind = "identify"
)

// lot loads a lot that must exist and not be void, and what it holds.
func (d *draft) lot(field, id string) (*Lot, Mass, error) {
	var l Lot
	if found, err := d.get(RecLot, id, &l); err != nil {
		return nil, 0, err
	} else if !found {
		if err := CheckLotID(id); err != nil {
			return nil, 0, err
		}
		return nil, 0, notFound(RecLot, field, id)
	}
	if l.Void {
		return nil, 0, badState("LOT_VOID", field, id, "this lot's entry was reversed; it never was")
	}
	if err := d.askLotBegan(id); err != nil {
		return nil, 0, err
	}
	m, err := d.balance(Acct(OfLot, id))
	return &l, m, err
}

func (d *draft) putLot(l *Lot) error { return d.put(RecLot, l.ID, "", l) }

// newLot checks a lot's attributes, gives it an id and drafts it.
func (d *draft) newLot(l *Lot) error {
	id, err := d.fresh(RecLot, l.ID, LotID)
	if err != nil {
		return err
	}
	l.ID = id
	if err := d.checkLot(l); err != nil {
		return err
	}
	if err := l.Certificate.check(); err != nil {
		return err
	}
	return d.putLot(l)
}

var forms = []Form{Ingot, Cup, Gating, Riser, Pig, ScrapCast, BoughtScrap, Grindings, Skimmings, SpillForm, Prills, UnknownForm}

// checkLot resolves and checks a lot's attributes. Metal of unknown alloy is
// held apart.
func (d *draft) checkLot(l *Lot) error {
	id, _, err := d.alloy("alloy", l.Alloy)
	if err != nil {
		return err
	}
	l.Alloy = id
	if l.Alloy == UnknownAlloy {
		l.AlloySure = false
		if l.Condition != SetApart {
			l.HeldFrom, l.Condition, l.HeldWhy = l.Condition, SetApart, "alloy not known"
		}
	}
	if l.Form == "" {
		l.Form = UnknownForm
	}
	if !slices.Contains(forms, l.Form) {
		return invalid("BAD_FORM", "form", string(l.Form), "must be one of "+join(forms))
	}
	if l.Place != "" {
		if err := d.must(RecPlace, "place", l.Place, &Place{}); err != nil {
			return err
		}
	}
	if l.Owner != "" {
		if err := d.must(RecParty, "owner", l.Owner, &Party{}); err != nil {
			return err
		}
	}
	return checkText("label", l.Label, maxName)
}

// check checks a certificate that is new to the book; nil is none.
func (c *Certificate) check() error {
	if c == nil {
		return nil
	}
	sum := PPM(0)
	seen := map[string]bool{}
	for _, e := range c.Elements {
		if !elements[e.Symbol] {
			return invalid("BAD_ELEMENT", "certificate.elements", e.Symbol, "must be the symbol of an element, such as Cu or Pb")
		}
		if seen[e.Symbol] {
			return invalid("TWICE", "certificate.elements", e.Symbol, "is given twice")
		}
		seen[e.Symbol] = true
		if err := checkShare("certificate.elements."+e.Symbol, e.PPM); err != nil {
			return err
		}
		sum += e.PPM
	}
	if sum > Whole+Whole/100 {
		return invalid("BAD_COMPOSITION", "certificate.elements", fmt.Sprintf("%.2f %%", float64(sum)/1e4), "the elements add up to more than 101 %")
	}
	return checkText("certificate.number", c.Number, maxName)
}

// take moves m of a lot's metal to another account. What the book says is not
// there comes from the lot's count differences, flagged (promise 4).
func (d *draft) take(l *Lot, m Mass, to Account, basis Basis) error {
	a := Acct(OfLot, l.ID)
	have, err := d.balance(a)
	if err != nil {
		return err
	}
	if short := m - have; short > 0 {
		d.flag(FlagOverdrawn, fmt.Sprintf("lot %s holds %s by the book, %s less than was taken", l.ID, d.words(have), d.words(short)))
		d.move(Acct(Count, l.ID), to, short, ByDifference)
		m = have
	}
	d.move(a, to, m, basis)
	return nil
}

// scaleSources shares m over sources in their proportions.
func scaleSources(from []Source, m Mass) []Source {
	w := make([]int64, len(from))
	for i, s := range from {
		w[i] = int64(s.Mass)
	}
	out := slices.Clone(from)
	for i, p := range Apportion(int64(m), w) {
		out[i].Mass = Mass(p)
	}
	return out
}

// addSources merges more sources into those of a lot.
func addSources(from []Source, more ...Source) []Source {
	out := slices.Clone(from)
	for _, s := range more {
		if i := slices.IndexFunc(out, func(o Source) bool { return o.Account == s.Account }); i >= 0 {
			out[i].Mass += s.Mass
		} else {
			out = append(out, s)
		}
	}
	return out
}

// HoldLot sets a lot apart.
type HoldLot struct{ Lot, Why string }

// Hold sets a lot apart until it is released.
func (b *Book) Hold(ctx context.Context, m Meta, c HoldLot) (*Entry, error) {
	return b.write(ctx, m, KindHold, c, func(d *draft) error {
		l, _, err := d.lot("lot", c.Lot)
		if err != nil {
			return err
		}
		if l.Condition == SetApart {
			return badState("ALREADY_HELD", "lot", c.Lot, "is held already: "+l.HeldWhy)
		}
		if err := needText("why", c.Why, maxReason); err != nil {
			return err
		}
		l.HeldFrom, l.Condition, l.HeldWhy = l.Condition, SetApart, c.Why
		return d.putLot(l)
	})
}

// Release frees a held lot. Metal of unknown alloy must be identified first.
func (b *Book) Release(ctx context.Context, m Meta, lot string) (*Entry, error) {
	return b.write(ctx, m, KindRelease, lot, func(d *draft) error {
		l, _, err := d.lot("lot", lot)
		if err != nil {
			return err
		}
		if l.Condition != SetApart {
			return badState("NOT_HELD", "lot", lot, "is not held")
		}
		if l.Alloy == UnknownAlloy {
			return badState("ALLOY_UNKNOWN", "lot", lot, "its alloy is not known; identify it first")
		}
		l.release()
		return d.putLot(l)
	})
}

func (l *Lot) release() {
	l.Condition, l.HeldFrom, l.HeldWhy = l.HeldFrom, "", ""
	if l.Condition == "" || l.Condition == SetApart {
		l.Condition = Clean
	}
}

// MoveLot says where a lot is now.
type MoveLot struct{ Lot, Place string }

// Move puts a lot in another place.
func (b *Book) Move(ctx context.Context, m Meta, c MoveLot) (*Entry, error) {
	return b.write(ctx, m, KindMove, c, func(d *draft) error {
		l, _, err := d.lot("lot", c.Lot)
		if err != nil {
			return err
		}
		if err := d.must(RecPlace, "place", c.Place, &Place{}); err != nil {
			return err
		}
		l.Place = c.Place
		return d.putLot(l)
	})
}

// HeatShare is a heat and its share of something; a share of 0 is "not said".
type HeatShare struct {
	Heat  string
	Share PPM `json:",omitempty"`
}

// AssignLot settles which heats a lot's metal is of.
type AssignLot struct {
	Lot   string
	Heats []HeatShare
}

// Assign settles the heats of a lot weighed in as of an unknown heat or of
// several in one bin. The lot itself does not change; its origin does.
func (b *Book) Assign(ctx context.Context, m Meta, c AssignLot) (*Entry, error) {
	return b.write(ctx, m, KindAssign, c, func(d *draft) error {
		l, _, err := d.lot("lot", c.Lot)
		if err != nil {
			return err
		}
		i := slices.IndexFunc(l.From, func(s Source) bool { return s.Account == UnknownOrigin })
		if i < 0 {
			return badState("ORIGIN_KNOWN", "lot", c.Lot, "its heats are said already")
		}
		open := l.From[i].Mass
		sources, err := d.heatSources("heats", c.Heats, open, true)
		if err != nil {
			return err
		}
		for _, s := range sources {
			d.move(s.Account, UnknownOrigin, s.Mass, Estimated)
			d.warnMoreThanPoured(s.Account)
		}
		l.From = addSources(slices.Delete(l.From, i, i+1), sources...)
		l.Candidates = nil
		return d.putLot(l)
	})
}

// IdentifyLot says what alloy a lot is, by an assay or otherwise.
type IdentifyLot struct {
	Lot, Alloy  string
	Certificate *Certificate `json:",omitempty"`
}

// Identify records a lot's alloy or a measured composition. A lot held only
// because its alloy was unknown is released.
func (b *Book) Identify(ctx context.Context, m Meta, c IdentifyLot) (*Entry, error) {
	return b.write(ctx, m, KindIdentify, c, func(d *draft) error {
		l, _, err := d.lot("lot", c.Lot)
		if err != nil {
			return err
		}
		wasUnknown := l.Alloy == UnknownAlloy
		l.Alloy, l.AlloySure = c.Alloy, true
		if c.Certificate != nil {
			if len(c.Certificate.Elements) == 0 && l.Certificate != nil && len(l.Certificate.Elements) > 0 {
				return invalid("REQUIRED", "certificate.elements", "", "say what was measured: a certificate of nothing would take the place of the lot's analysis")
			}
			l.Certificate = c.Certificate
		}
		if err := c.Certificate.check(); err != nil {
			return err
		}
		if err := d.checkLot(l); err != nil {
			return err
		}
		if wasUnknown && l.Alloy != UnknownAlloy && l.Condition == SetApart {
			l.release()
		}
		if err := d.tellOutside(l, c.Certificate); err != nil {
			return err
		}
		return d.putLot(l)
	})
}

func join[T ~string](xs []T) string {
	s := make([]string, len(xs))
	for i, x := range xs {
		s[i] = string(x)
	}
	return strings.Join(s, ", ")
}
