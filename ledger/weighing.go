package ledger

import (
	"errors"
	"fmt"

	"example.org/remelt/ledger/unit"
)

// WeighingIn is a weighing as someone gives it: a net, or a gross with a tare
// (typed or saved), or a bin's weight after and before adding to it.
type WeighingIn struct {
	Scale  string   `json:",omitempty"`
	Gross  Quantity `json:",omitzero"`
	Tare   Quantity `json:",omitzero"`
	TareID string   `json:",omitempty"` // a saved tare
	Before Quantity `json:",omitzero"`
	Net    Quantity `json:",omitzero"`
	Dirt   PPM      `json:",omitempty"` // share of the net taken to be dirt
	Pieces int64    `json:",omitempty"`
	Basis  Basis    `json:",omitempty"` // Weighed unless said
}

// given reports whether anything was given.
func (q Quantity) given() bool { return q.Typed != "" || q.Mass != 0 }

// quantity reads what was typed, in the shop's unit when none is named; a
// quantity without text is taken as milligrams.
func (d *draft) quantity(field string, q Quantity) (Quantity, error) {
	if q.Typed != "" {
		if err := checkText(field, q.Typed, 60); err != nil {
			return q, err
		}
		mg, err := unit.ParseMass(q.Typed, unit.MassUnit(d.shop.MassUnit))
		if err != nil {
			return q, wrapUnit(field, err)
		}
		if q.Mass != 0 && q.Mass != Mass(mg) {
			return q, invalid("CONTRADICTION", field, q.Typed, fmt.Sprintf("is %d mg, but %d mg was given beside it", mg, int64(q.Mass)))
		}
		q.Mass = Mass(mg)
	}
	if q.Mass < 0 {
		return q, invalid("NEGATIVE", field, fmt.Sprintf("%d mg", q.Mass), "a weight must not be negative")
	}
	if q.Mass > MaxMass {
		return q, invalid("TOO_LARGE", field, fmt.Sprintf("%d mg", q.Mass), "more than 1000 tonnes is not a weighing of this shop")
	}
	return q, nil
}

// coarsest bounds what a mass as typed leaves open. Common practice, no source: a round
// number, such as 20 kg, is not known to half a kilogram only for being round.
const coarsest = 50 * Gram

// orAll is what is taken of a lot that holds have, when m is what the entry's last
// weighing says, if there was one, and so many pieces were counted: fewer than there are
// are not all.
func (d *draft) orAll(l *Lot, pieces int64, have, m Mass) (Mass, error) {
	if m == have || pieces > 0 && pieces < l.Pieces {
		return m, nil
	}
	return d.orAllOf(have, m, d.e.Weighings[len(d.e.Weighings)-1])
}

// orAllOf is m, which a weighing says, or all that there is if that is as near as the
// digits tell: 38.2 lb and then the 1.2 lb that are left of 39.4 empty a lot, though
// the milligrams that each stands for do not add up.
func (d *draft) orAllOf(have, m Mass, g Weighing) (Mass, error) {
	if have <= 0 {
		return m, nil
	}
	within, err := d.leftOpen(g)
	if err != nil || absMass(m-have) > within {
		return m, err
	}
	return have, nil
}

// leftOpen is how far the truth may be from a weighing by its digits: half of the
// scale's division, else half of the last digit typed, for each of its readings.
func (d *draft) leftOpen(g Weighing) (within Mass, err error) {
	var scale Scale
	if g.Scale != "" {
		if _, err := d.get(RecScale, g.Scale, &scale); err != nil {
			return 0, err
		}
	}
	readings := []Quantity{g.Net}
	if g.Net.Typed == "" && g.Gross.given() {
		readings = []Quantity{g.Gross, g.Tare, g.Before}
	}
	for _, q := range readings {
		step := scale.Division.Mass
		switch {
		case !q.given():
			continue
		case step > 0:
		case q.Typed == "": // milligrams, from a program
			step = 1
		default:
			mg, err := unit.MassStep(q.Typed, unit.MassUnit(d.shop.MassUnit))
			if err != nil {
				return 0, err
			}
			step = Mass(mg)
		}
		within += (step + 1) / 2
	}
	return min(within, coarsest), nil
}

// words writes a mass for people, in the shop's unit.
func (d *draft) words(m Mass) string {
	u := unit.MassUnit(d.shop.MassUnit)
	switch small := absMass(m); { // what the shop's unit would show as next to nothing
	case small > 0 && small < Gram:
		u = unit.MG
	case small < 10*Gram:
		u = unit.G
	}
	return unit.FormatMass(int64(m), u, 0)
}

// wrapUnit turns a parse error of package unit into the book's own.
func wrapUnit(field string, err error) error {
	var ue *unit.Error
	if errors.As(err, &ue) {
		return &Error{Class: ErrInvalid, Reason: ue.Reason, Field: field, Value: ue.Text, Want: ue.Want}
	}
	return &Error{Class: ErrInvalid, Reason: "BAD_VALUE", Field: field, Cause: err}
}

// roundingSlack is how far a typed net may differ from typed gross minus typed
// tare: each was rounded to a milligram once.
const roundingSlack Mass = 2

// weigh resolves a weighing of an account and keeps it with the entry. It
// returns the metal in it (net less dirt). A zero net is accepted only if
// mayBeZero. The basis of the metal is w, or e when dirt was taken off or said so.
func (d *draft) weigh(field string, in WeighingIn, subject Account, mayBeZero bool) (metal Mass, basis Basis, err error) {
	g := Weighing{Subject: subject, Scale: in.Scale, DirtPPM: in.Dirt, Pieces: in.Pieces}
	sub := func(s string) string { return field + "." + s }
	if in.Pieces < 0 || in.Pieces > 1_000_000 {
		return 0, 0, invalid("OUT_OF_RANGE", sub("pieces"), fmt.Sprint(in.Pieces), "must be between 0 and 1 000 000")
	}
	if err := checkShare(sub("dirt_percent"), in.Dirt); err != nil {
		return 0, 0, err
	}
	var scale Scale
	if in.Scale != "" {
		if err := d.must(RecScale, sub("scale"), in.Scale, &scale); err != nil {
			return 0, 0, err
		}
	}
	for _, q := range []struct {
		name string
		in   Quantity
		out  *Quantity
	}{{"gross", in.Gross, &g.Gross}, {"tare", in.Tare, &g.Tare}, {"before", in.Before, &g.Before}, {"net", in.Net, &g.Net}} {
		if *q.out, err = d.quantity(sub(q.name), q.in); err != nil {
			return 0, 0, err
		}
	}
	if in.TareID != "" {
		if in.Tare.given() {
			return 0, 0, invalid("CONTRADICTION", sub("tare"), in.Tare.Typed, "give a tare or a saved tare, not both")
		}
		var t Tare
		if err := d.must(RecTare, sub("saved_tare"), in.TareID, &t); err != nil {
			return 0, 0, err
		}
		g.Tare = t.Mass
	}
	if in.Gross.given() {
		net := g.Gross.Mass - g.Tare.Mass - g.Before.Mass
		if net < 0 {
			return 0, 0, invalid("NEGATIVE_NET", sub("gross"), g.Gross.text(), fmt.Sprintf("is less than what is to be taken off (%s)", firstText(g.Tare, g.Before)))
		}
		if in.Net.given() && absMass(net-g.Net.Mass) > roundingSlack {
			return 0, 0, invalid("CONTRADICTION", sub("net"), g.Net.text(), fmt.Sprintf("gross less tare is %s, %s away from this net", d.words(net), d.words(absMass(net-g.Net.Mass))))
		}
		if !in.Net.given() {
			g.Net = Quantity{Mass: net}
		}
	} else if in.Tare.given() || in.TareID != "" || in.Before.given() {
		return 0, 0, invalid("REQUIRED", sub("gross"), "", "a tare or an earlier reading needs the gross weight")
	} else if !in.Net.given() && !mayBeZero {
		return 0, 0, invalid("REQUIRED", sub("net"), "", "give a net weight, or gross and tare")
	}
	if g.Net.Mass == 0 && !mayBeZero {
		return 0, 0, invalid("ZERO", sub("net"), g.Net.text(), "must be more than nothing")
	}
	if scale.Capacity > 0 && max(g.Gross.Mass, g.Net.Mass) > scale.Capacity {
		d.flag("above-scale-capacity", fmt.Sprintf("more than the scale %s can weigh", scale.Name))
	}
	metal = g.Net.Mass - in.Dirt.Of(g.Net.Mass)
	if metal == 0 && !mayBeZero {
		return 0, 0, invalid("ZERO", sub("dirt_percent"), fmt.Sprintf("%g %%", float64(in.Dirt)/1e4), "must leave some metal")
	}
	basis = Weighed
	if in.Dirt > 0 {
		basis = Estimated
	}
	if in.Basis != 0 {
		basis = in.Basis
	}
	d.e.Weighings = append(d.e.Weighings, g)
	return metal, basis, nil
}

func (q Quantity) text() string {
	if q.Typed != "" {
		return q.Typed
	}
	return fmt.Sprintf("%d mg", q.Mass)
}

func firstText(qs ...Quantity) string {
	for _, q := range qs {
		if q.given() {
			return q.text()
		}
	}
	return "nothing"
}

func absMass(m Mass) Mass {
	if m < 0 {
		return -m
	}
	return m
}
