package ledger

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
)

// Kinds of pot.
const (
	PotCrucible = "crucible"
	PotFurnace  = "furnace"
)

// Pot is a crucible or a furnace. A crucible belongs to one family of alloys.
type Pot struct {
	ID        string `json:"id"`
	Kind      string `json:"kind"`
	Name      string `json:"name"`
	VolumeMm3 int64  `json:"volume_mm3,omitempty"` // usable volume of melt
	Capacity  Mass   `json:"capacity_mg,omitempty"`
	Family    string `json:"family,omitempty"`
	Heats     int64  `json:"heats"` // melted in it so far
	LifeHeats int64  `json:"life_heats,omitempty"`
	Retired   bool   `json:"retired,omitempty"`
	Price     *Price `json:"price,omitempty"` // what it cost: a crucible's is worn off over LifeHeats
	Handling
}

// Holds is the most of a melt of so many g/ml (0: not known) that may be in a crucible:
// by its greatest mass, and by its usable volume as far as that may be filled, whichever
// is less. 0 is not known.
func (p *Pot) Holds(density float64) Mass {
	fill := p.Fill
	if fill == 0 {
		fill = Whole
	}
	full := float64(p.VolumeMm3) * (float64(fill) / float64(Whole)) * density // 1 mm³ at 1 g/ml is 1 mg
	if v := Mass(min(full, float64(MaxMass))); v > 0 && (p.Capacity == 0 || v < p.Capacity) {
		return v
	}
	return p.Capacity
}

// askOverfull flags metal that does not fit into the crucible of a heat; does says how
// it comes to be there.
func (d *draft) askOverfull(h *Heat, does string, in Mass) error {
	if h.Crucible == "" {
		return nil
	}
	var p Pot
	if err := d.must(RecPot, "crucible", h.Crucible, &p); err != nil {
		return err
	}
	density := 0.0
	if d.book.Metals != nil {
		density = d.book.Metals.MeltDensity(h.Alloy)
	}
	if holds := p.Holds(density); holds > 0 && in > holds {
		d.flag(FlagOverfull, fmt.Sprintf("crucible %s holds %s of %s and %s %s; an overfull crucible spills", p.Name, d.words(holds), h.Alloy, d.words(in), does))
	}
	return nil
}

// Handling is how a pot is melted in and poured from: what plans go by unless they
// are asked otherwise. A zero field says nothing. What can be said of both kinds of
// pot is taken from a heat's crucible, else from its furnace.
type Handling struct {
	Empty Mass `json:"empty_mg,omitempty"` // what a crucible weighs empty
	Lift  Mass `json:"lift_mg,omitempty"`  // the most that may be lifted, crucible and metal
	Fill  PPM  `json:"fill_ppm,omitempty"` // part of a crucible's usable volume that may be filled
	Skull Mass `json:"skull_mg,omitempty"` // what stays in a crucible after the pour

	Waiting   int64 `json:"waiting_mm3,omitempty"`      // room for loose metal that waits preheated
	PigMold   Mass  `json:"pig_mold_mg,omitempty"`      // what one pig mold holds
	PigMolds  int64 `json:"pig_molds,omitempty"`        // at hand; 0: as many as needed
	CoolingMC int64 `json:"cooling_mdeg_min,omitempty"` // milli °C that the melt loses a minute while it is poured
	MaxTapMC  int64 `json:"hottest_tap_mdeg,omitempty"` // the hottest that a melt may leave it, milli °C
}

// What cannot be of a pot: common sense, no source.
const (
	mostPigMolds  = 1000
	mostCoolingMC = 300_000   // milli °C a minute
	mostTapMC     = 3_000_000 // milli °C
	mostWaiting   = 1_000_000_000_000
)

// SetPot adds or changes a crucible or furnace; its count of heats is kept by
// the book once there, and only taken from p for a pot new to the book.
func (b *Book) SetPot(ctx context.Context, m Meta, p Pot) (*Entry, error) {
	return b.setUp(ctx, m, p, func(d *draft) error {
		p := p
		if err := needText("display_name", p.Name, maxName); err != nil {
			return err
		}
		if p.Kind != PotCrucible && p.Kind != PotFurnace {
			return invalid("BAD_KIND", "kind", p.Kind, "must be crucible or furnace")
		}
		if p.VolumeMm3 < 0 || p.Capacity < 0 || p.Heats < 0 || p.LifeHeats < 0 {
			return invalid("NEGATIVE", "capacity", "", "capacity, volume and heats must not be negative")
		}
		if err := d.checkHandling(p.Kind, p.Handling); err != nil {
			return err
		}
		if p.Price != nil {
			var err error
			if p.Price, err = d.price("price", p.Price.Typed, 0); err != nil {
				return err
			}
			if p.Price.InBook().Minor <= 0 { // a rate by mass comes to nothing
				return invalid("OUT_OF_RANGE", "price", p.Price.Typed, "must be what the whole pot cost, such as 250.00 "+d.shop.Currency)
			}
		}
		var old Pot
		if found, err := d.get(RecPot, p.ID, &old); err != nil {
			return err
		} else if found {
			p.Heats = old.Heats
		}
		if p.Family != old.Family { // what was written before families were looked up may stay
			var err error
			if p.Family, err = d.family("family", p.Family); err != nil {
				return err
			}
		}
		return d.put(RecPot, p.ID, "", p)
	})
}

// pot loads what a heat is melted in. What is newly named must be of the kind: an older
// heat may keep what it was given before that was asked.
func (d *draft) pot(field, id, kind string, newly bool) (*Pot, error) {
	var p Pot
	if err := d.must(RecPot, field, id, &p); err != nil {
		return nil, err
	}
	if newly && p.Kind != kind {
		return nil, invalid("BAD_KIND", field, id, fmt.Sprintf("is a %s; name a %s here", p.Kind, kind))
	}
	return &p, nil
}

// family resolves what a crucible is kept for; "" is for anything.
func (d *draft) family(field, name string) (string, error) {
	if name == "" || d.book.Metals == nil {
		return name, checkText(field, name, maxName)
	}
	family, known, err := d.book.Family(d.Tx, name)
	if err != nil || known {
		return family, err
	}
	all := d.book.Metals.Families()
	own, err := ownFamilies(d.Tx)
	if err != nil {
		return "", err
	}
	for _, f := range own {
		if !slices.Contains(all, f) {
			all = append(all, f)
		}
	}
	return "", invalid("UNKNOWN_FAMILY", field, name, "must be a family of alloys or an alloy of one: "+join(all))
}

// Family finds the family that is meant by its own name or by any name of an alloy, the
// shop's own too; a name of several alloys will do if all are of one family.
func (b *Book) Family(r Reader, name string) (family string, known bool, err error) {
	name = strings.TrimSpace(name)
	if name == "" || b.Metals == nil {
		return "", false, nil
	}
	if family, known = b.Metals.Family(name); known {
		return family, true, nil
	}
	own, err := ownFamilies(r)
	if err != nil {
		return "", false, err
	}
	if i := slices.IndexFunc(own, func(f string) bool { return strings.EqualFold(f, name) }); i >= 0 {
		return own[i], true, nil
	}
	_, family, err = b.alloy(r, "family", name)
	var no *Error
	switch {
	case err == nil:
		return family, family != "" && family != UnknownAlloy, nil // an alloy may be of no family
	case !errors.As(err, &no) || !errors.Is(no.Class, ErrInvalid):
		return "", false, err
	}
	for i, id := range b.Metals.Candidates(name) {
		_, of, _ := b.Metals.Lookup(id)
		if i > 0 && of != family {
			return "", false, nil
		}
		family = of
	}
	return family, family != "", nil
}

// ownFamilies are those that the shop's own alloys name.
func ownFamilies(r Reader) (out []string, err error) {
	recs, err := r.Records(RecAlloy, "", "", 1000)
	if err != nil {
		return nil, err
	}
	for _, rec := range recs {
		var own Alloy
		if err := rec.Into(&own); err != nil {
			return nil, err
		}
		if own.Family != "" {
			out = append(out, own.Family)
		}
	}
	return out, nil
}

// askFamily flags a heat of another family than its crucible is kept for.
func (d *draft) askFamily(p *Pot, family string) error {
	kept, known, err := d.book.Family(d.Tx, p.Family)
	if err != nil {
		return err
	}
	if !known { // of an old book: as it was written
		kept = p.Family
	}
	if kept != "" && family != "" && kept != family {
		d.flag(FlagWrongAlloy, fmt.Sprintf("crucible %s is kept for %s; what is left in it taints %s", p.Name, kept, family))
	}
	return nil
}

func (d *draft) checkHandling(kind string, h Handling) error {
	for _, q := range []struct {
		field string
		mass  Mass
	}{{"empty_mass", h.Empty}, {"lift", h.Lift}, {"skull", h.Skull}, {"pig_mold", h.PigMold}} {
		if q.mass < 0 || q.mass > MaxMass {
			return invalid("OUT_OF_RANGE", q.field, d.words(q.mass), "must be a mass that is not below 0")
		}
	}
	if err := checkShare("fill_percent", h.Fill); err != nil {
		return err
	}
	bad := func(reason, field string, value any, want string) error {
		return invalid(reason, field, fmt.Sprint(value), want)
	}
	switch {
	case h.Lift > 0 && kind == PotCrucible && h.Empty == 0:
		return bad("REQUIRED", "empty_mass", "", "say what the empty crucible weighs: it is lifted with the metal")
	case h.Lift > 0 && h.Empty >= h.Lift:
		return bad("OUT_OF_RANGE", "lift", d.words(h.Lift), "must be more than the empty crucible weighs, "+d.words(h.Empty))
	case h.PigMolds < 0 || h.PigMolds > mostPigMolds:
		return bad("OUT_OF_RANGE", "pig_molds", h.PigMolds, fmt.Sprintf("must be between 0 and %d", mostPigMolds))
	case h.PigMolds > 0 && h.PigMold == 0:
		return bad("REQUIRED", "pig_mold", "", "say what one pig mold holds")
	case h.Waiting < 0 || h.Waiting > mostWaiting:
		return bad("OUT_OF_RANGE", "waiting_room", fmt.Sprintf("%d mm³", h.Waiting), "must be between 0 and 1000 m³")
	case h.CoolingMC < 0 || h.CoolingMC > mostCoolingMC:
		return bad("OUT_OF_RANGE", "cooling_celsius", float64(h.CoolingMC)/1000, fmt.Sprintf("must be between 0 and %d °C a minute", mostCoolingMC/1000))
	case h.MaxTapMC < 0 || h.MaxTapMC >= mostTapMC:
		return bad("OUT_OF_RANGE", "hottest_tap", fmt.Sprintf("%g °C", float64(h.MaxTapMC)/1000), fmt.Sprintf("must be between 0 and %d °C", mostTapMC/1000))
	}
	if kind != PotFurnace {
		return nil
	}
	for _, only := range []struct {
		field string
		said  bool
	}{{"empty_mass", h.Empty != 0}, {"lift", h.Lift != 0}, {"fill_percent", h.Fill != 0}, {"skull", h.Skull != 0}} {
		if only.said {
			return bad("BAD_KIND", only.field, kind, "is said of a crucible, not of a furnace")
		}
	}
	return nil
}
