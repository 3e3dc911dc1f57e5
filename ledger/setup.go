package ledger

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"example.org/remelt/ledger/readout"
	"example.org/remelt/ledger/unit"
)

// Kinds of entry that keep what the shop has set up.
const (
	KindOpenBook Kind = "open-book"
	KindSetUp    Kind = "set-up"
)

// OpenBook makes the first entry of a shop's book.
func (b *Book) OpenBook(ctx context.Context, m Meta, s Shop) (*Entry, error) {
	s.ID = b.Shop
	return b.write(ctx, m, KindOpenBook, s, func(d *draft) error {
		if d.e.Seq != 1 {
			return &Error{Class: ErrExists, Reason: "BOOK_ALREADY_OPEN", Field: "shop", Value: b.Shop,
				Want: "this shop has a book already"}
		}
		return d.putShop(s)
	})
}

// SetShop changes what the shop has chosen for itself.
func (b *Book) SetShop(ctx context.Context, m Meta, s Shop) (*Entry, error) {
	s.ID = b.Shop
	return b.setUp(ctx, m, s, func(d *draft) error {
		s := s
		if s.Currency == "" {
			s.Currency = d.shop.Currency
		}
		if err := d.putShop(s); err != nil || s.Currency == d.shop.Currency {
			return err
		}
		if err := d.noCostsYet(s.Currency); err != nil {
			return err
		}
		return d.noAgreedPrices(s.Currency)
	})
}

// eachTheirOwn are names of what each machine takes for its time zone: a book with one
// of them would have other days on each.
var eachTheirOwn = map[string]bool{"local": true, "localtime": true}

func (d *draft) putShop(s Shop) error {
	if err := needText("display_name", s.Name, maxName); err != nil {
		return err
	}
	if s.MassUnit == "" {
		s.MassUnit = string(unit.KG)
	}
	if s.TempUnit == "" {
		s.TempUnit = string(unit.C)
	}
	if s.Currency == "" {
		s.Currency = "USD"
	}
	_, errMass := unit.ParseMass("1", unit.MassUnit(s.MassUnit)) // reading a number tries what it would be taken in
	_, errTemp := unit.ParseTemperature("1", unit.TempUnit(s.TempUnit))
	_, _, errMoney := unit.ParseMoney("1", s.Currency)
	for _, c := range []struct {
		field, chosen string
		err           error
	}{{"mass_unit", s.MassUnit, errMass}, {"temperature_unit", s.TempUnit, errTemp}, {"currency", s.Currency, errMoney}} {
		if c.err != nil {
			return chosen(c.field, c.chosen, c.err)
		}
	}
	if s.TimeZone == "" {
		s.TimeZone = "UTC"
	}
	if _, err := time.LoadLocation(s.TimeZone); err != nil || eachTheirOwn[strings.ToLower(s.TimeZone)] {
		return invalid("BAD_TIME_ZONE", "time_zone", s.TimeZone, "must be an IANA time zone such as America/Chicago")
	}
	if s.TrappedPPM == 0 { // the worked-up fraction differs widely; half is a beginning
		s.TrappedPPM, s.TrappedSpan = 500_000, 200_000
	}
	if err := checkShare("trapped_percent", s.TrappedPPM); err != nil {
		return err
	}
	return d.put(RecShop, s.ID, "", s)
}

// chosen refuses a unit or currency of the shop's by what reading a number in it said.
func chosen(field, choice string, err error) error {
	var ue *unit.Error
	if !errors.As(err, &ue) {
		return wrapUnit(field, err)
	}
	want := ue.Want
	if _, right, found := strings.Cut(want, " should be "); found { // "the default unit "stone" should be one of …"
		want = "must be " + right
	}
	return invalid(ue.Reason, field, choice, want)
}

// SetPlace adds or changes a place.
func (b *Book) SetPlace(ctx context.Context, m Meta, p Place) (*Entry, error) {
	return b.setUp(ctx, m, p, func(d *draft) error {
		if err := needText("display_name", p.Name, maxName); err != nil {
			return err
		}
		return d.put(RecPlace, p.ID, "", p)
	})
}

// SetScale adds or changes a scale.
func (b *Book) SetScale(ctx context.Context, m Meta, s Scale) (*Entry, error) {
	return b.setUp(ctx, m, s, func(d *draft) error {
		s := s
		if err := needText("display_name", s.Name, maxName); err != nil {
			return err
		}
		var err error
		if s.Division, err = d.quantity("division", s.Division); err != nil {
			return err
		}
		if s.Interval, err = d.quantity("verification_interval", s.Interval); err != nil {
			return err
		}
		if s.Division.Mass <= 0 || s.Division.Mass > 10_000*Kilogram {
			return invalid("BAD_DIVISION", "division", s.Division.text(), "must be what the last digit shows, such as 10 g or 0.1 lb")
		}
		for _, q := range []struct {
			field string
			m     Mass
		}{{"capacity", s.Capacity}, {"check_load", s.CheckLoad}, {"check_uncertainty", s.CheckU}, {"repeatability", s.Repeats}} {
			if q.m < 0 || q.m > MaxMass {
				return invalid("OUT_OF_RANGE", q.field, fmt.Sprint(q.m), "must not be negative")
			}
		}
		if s.CheckLoad == 0 && (s.CheckError != 0 || s.CheckU != 0) {
			return invalid("REQUIRED", "check_load", "", "say what stood on the scale when it was checked")
		}
		if s.Class != "" && !slices.Contains([]string{"I", "II", "III", "IIII", "III L"}, s.Class) {
			return invalid("BAD_CLASS", "accuracy_class", s.Class, "must be I, II, III, IIII or III L as on the plate, or empty")
		}
		if s.Rule != "" && s.Rule != RuleOIML && s.Rule != RuleHB44 {
			return invalid("BAD_RULE", "rule", s.Rule, "must be "+RuleOIML+" or "+RuleHB44)
		}
		if s.Class == "III L" && s.Rule != RuleHB44 {
			return invalid("BAD_RULE", "rule", s.Rule, "class III L is of "+RuleHB44)
		}
		if s.Line != "" {
			if _, err := readout.ParsePattern(s.Line); err != nil {
				return invalid("BAD_PATTERN", "line_pattern", s.Line, err.Error())
			}
		}
		if _, err := readout.ParsePort(s.Port); err != nil {
			return invalid("BAD_LINE_SETTINGS", "line_settings", s.Port, err.Error())
		}
		return d.put(RecScale, s.ID, "", s)
	})
}

// SetTare saves an empty weight.
func (b *Book) SetTare(ctx context.Context, m Meta, t Tare) (*Entry, error) {
	return b.setUp(ctx, m, t, func(d *draft) error {
		t := t
		if err := needText("display_name", t.Name, maxName); err != nil {
			return err
		}
		q, err := d.quantity("mass", t.Mass)
		if err != nil {
			return err
		}
		if q.Mass <= 0 {
			return invalid("ZERO", "mass", q.text(), "an empty weight is more than nothing")
		}
		t.Mass = q
		return d.put(RecTare, t.ID, "", t)
	})
}

// SetParty adds or changes a supplier, customer or melter.
func (b *Book) SetParty(ctx context.Context, m Meta, p Party) (*Entry, error) {
	return b.setUp(ctx, m, p, func(d *draft) error {
		if err := needText("display_name", p.Name, maxName); err != nil {
			return err
		}
		for _, r := range p.Roles {
			if r != RoleSupplier && r != RoleCustomer && r != RoleMelter {
				return invalid("BAD_ROLE", "roles", r, "must be supplier, customer or melter")
			}
		}
		return d.put(RecParty, p.ID, "", p)
	})
}

// SetAlloy adds an alloy of the shop's own or more names for one.
func (b *Book) SetAlloy(ctx context.Context, m Meta, a Alloy) (*Entry, error) {
	return b.setUp(ctx, m, a, func(d *draft) error {
		if a.ID == UnknownAlloy {
			return invalid("RESERVED", "alloy", a.ID, "stands for metal nobody has identified; choose another id")
		}
		if d.book.Metals != nil {
			if id, _, ok := d.book.Metals.Lookup(a.ID); ok && id != a.ID && strings.EqualFold(id, a.ID) {
				return invalid("NAME_TAKEN", "alloy", a.ID, "is "+id+" in the table; write it so")
			}
		}
		for _, n := range a.Names {
			if err := needText("names", n, maxName); err != nil {
				return err
			}
			if id, _, err := d.alloy("names", n); err == nil && id != a.ID {
				return invalid("NAME_TAKEN", "names", n, "already means "+id)
			}
		}
		for _, l := range a.Limits {
			if l.MinPPM < 0 || l.MaxPPM < 0 || l.MinPPM > Whole || l.MaxPPM > Whole || l.HasMax() && l.MinPPM > l.MaxPPM || l.None && l.MaxPPM > 0 {
				return invalid("BAD_LIMIT", "limits", l.Element, "needs 0 ≤ min ≤ max ≤ 100 %")
			}
		}
		if a.DensityMgCm3 < 0 || a.DensityMgCm3 > 25_000 {
			return invalid("OUT_OF_RANGE", "density", fmt.Sprint(a.DensityMgCm3), "must be in mg per cm³, such as 8360 for 8.36 g/cm³")
		}
		return d.put(RecAlloy, a.ID, "", a)
	})
}

// SetSupply adds or changes an item of supply.
func (b *Book) SetSupply(ctx context.Context, m Meta, s Supply) (*Entry, error) {
	return b.setUp(ctx, m, s, func(d *draft) error {
		if err := needText("display_name", s.Name, maxName); err != nil {
			return err
		}
		if err := needText("purpose", s.Purpose, maxName); err != nil {
			return err
		}
		if err := checkShare("metal_percent", s.MetalPPM); err != nil {
			return err
		}
		if s.InPieces && s.MetalPPM != 0 {
			return invalid("BAD_SUPPLY", "metal_percent", "", "an item counted in pieces cannot become part of the melt")
		}
		return d.put(RecSupply, s.ID, "", s)
	})
}

func (b *Book) setUp(ctx context.Context, m Meta, thing any, fn func(*draft) error) (*Entry, error) {
	cmd := struct {
		Kind  string
		Thing any
	}{fmt.Sprintf("%T", thing), thing}
	return b.write(ctx, m, KindSetUp, cmd, fn)
}

// alloy resolves an alloy's name to its id and family: the shop's own first.
func (d *draft) alloy(field, name string) (id, family string, err error) {
	return d.alloys.find(d.book, d.Tx, field, name)
}

// alloyNames are alloys that were looked up: those of an import are not looked up again for
// each of its rows, which for a name that is no id reads the list of them.
type alloyNames map[string]alloyFound

type alloyFound struct {
	id, family string
	err        error
}

// find looks an alloy up. Nothing is kept in none.
func (m alloyNames) find(b *Book, r Reader, field, name string) (id, family string, err error) {
	key := field + " " + name
	known, found := m[key]
	if !found {
		known.id, known.family, known.err = b.alloy(r, field, name)
		if m != nil {
			m[key] = known
		}
	}
	return known.id, known.family, known.err
}

func (b *Book) alloy(r Reader, field, name string) (id, family string, err error) {
	name = strings.TrimSpace(name)
	if name == "" {
		return "", "", invalid("REQUIRED", field, "", "name the alloy, or say unknown")
	}
	if strings.EqualFold(name, UnknownAlloy) {
		return UnknownAlloy, "", nil
	}
	if b.Metals != nil { // a built-in designation means itself: a shop can only add names to it
		if id, family, ok := b.Metals.Lookup(name); ok && strings.EqualFold(id, name) {
			return id, family, nil
		}
	}
	var own Alloy
	if found, err := load(r, RecAlloy, name, &own); err != nil {
		return "", "", err
	} else if found {
		if own.Family == "" && b.Metals != nil {
			_, own.Family, _ = b.Metals.Lookup(own.ID)
		}
		return own.ID, own.Family, nil
	}
	recs, err := r.Records(RecAlloy, "", "", 1000)
	if err != nil {
		return "", "", err
	}
	for _, rec := range recs {
		if err := rec.Into(&own); err != nil {
			return "", "", err
		}
		if strings.EqualFold(own.ID, name) || slices.ContainsFunc(own.Names, func(n string) bool { return strings.EqualFold(n, name) }) {
			if own.Family == "" && b.Metals != nil {
				_, own.Family, _ = b.Metals.Lookup(own.ID)
			}
			return own.ID, own.Family, nil
		}
	}
	if b.Metals != nil {
		if id, family, ok := b.Metals.Lookup(name); ok {
			return id, family, nil
		}
	}
	if b.Metals != nil {
		if all := b.Metals.Candidates(name); len(all) > 0 {
			return "", "", &Error{Class: ErrInvalid, Reason: "AMBIGUOUS_ALLOY", Field: field, Value: name,
				Want: "could be any of " + strings.Join(all, ", ") + "; say which"}
		}
	}
	return "", "", &Error{Class: ErrInvalid, Reason: "UNKNOWN_ALLOY", Field: field, Value: name,
		Want: "no alloy of this name; add it to the shop's alloys, or say unknown and the metal is set apart"}
}

func needText(field, s string, most int) error {
	if strings.TrimSpace(s) == "" {
		return invalid("REQUIRED", field, "", "must not be empty")
	}
	return checkText(field, s, most)
}

func checkShare(field string, p PPM) error {
	if p < 0 || p > Whole {
		return invalid("OUT_OF_RANGE", field, fmt.Sprintf("%g %%", float64(p)/1e4), "must be between 0 and 100 %")
	}
	return nil
}
