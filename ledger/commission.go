package ledger

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"example.org/remelt/ledger/unit"
)

// Kinds of entry about commissions.
const (
	KindSetCommission Kind = "set-commission"
	KindSetRates      Kind = "set-rates"
	KindQuote         Kind = "quote"
	KindLabour        Kind = "labour"
	KindBuyIn         Kind = "buy-in"
)

// Kinds of record about commissions.
const (
	RecCommission RecordKind = "commission"
	RecRates      RecordKind = "rates" // what an hour and a mold cost, from a date on
	RecQuote      RecordKind = "quote"
	RecLabour     RecordKind = "labour"
	RecBoughtIn   RecordKind = "bought-in"
)

// OfCommission is the parent under which quotes, labour and what was bought in are listed.
func OfCommission(id string) string { return string(RecCommission) + "/" + id }

// Commission is castings made for someone. Molds and castings carry its id.
type Commission struct {
	ID       string    `json:"id"`
	Title    string    `json:"title"`
	Customer string    `json:"customer,omitempty"`
	OwnMetal bool      `json:"own_metal,omitempty"` // the customer's own metal is melted and not charged
	Patterns []Pattern `json:"patterns,omitempty"`
	Note     string    `json:"note,omitempty"`
}

// Pattern is one form of a commission and how often it is cast: an edition shares it.
type Pattern struct {
	Name      string `json:"name"`
	Alloy     string `json:"alloy"`
	Copies    int64  `json:"copies"`
	Metal     Range  `json:"metal,omitzero"`       // of one casting, cut off
	Wax       Range  `json:"wax,omitzero"`         // or the weight of its wax
	VolumeMm3 int64  `json:"volume_mm3,omitempty"` // or its volume
	Gating    Range  `json:"gating,omitzero"`      // cups, sprues, runners, risers; as the shop's heats have it unless said
}

// SetCommission adds or changes a commission.
func (b *Book) SetCommission(ctx context.Context, m Meta, c Commission) (*Entry, error) {
	return b.write(ctx, m, KindSetCommission, c, func(d *draft) error {
		c := c
		if err := needText("display_name", c.Title, maxName); err != nil {
			return err
		}
		if err := checkText("note", c.Note, maxReason); err != nil {
			return err
		}
		if c.Customer != "" {
			if err := d.must(RecParty, "customer", c.Customer, &Party{}); err != nil {
				return err
			}
		}
		if len(c.Patterns) > 100 {
			return invalid("TOO_MANY", "patterns", fmt.Sprint(len(c.Patterns)), "a commission has at most 100 patterns")
		}
		c.Patterns = slices.Clone(c.Patterns)
		for i := range c.Patterns {
			if err := d.pattern(fmt.Sprintf("patterns[%d]", i), &c.Patterns[i]); err != nil {
				return err
			}
			if slices.ContainsFunc(c.Patterns[:i], func(p Pattern) bool { return p.Name == c.Patterns[i].Name }) {
				return invalid("TWICE", fmt.Sprintf("patterns[%d].display_name", i), c.Patterns[i].Name, "is named twice; say more copies instead")
			}
		}
		return d.put(RecCommission, c.ID, "", c)
	})
}

func (d *draft) pattern(at string, p *Pattern) (err error) {
	if err := needText(at+".display_name", p.Name, maxName); err != nil {
		return err
	}
	if p.Alloy, _, err = d.alloy(at+".alloy", p.Alloy); err != nil {
		return err
	}
	if p.Alloy == UnknownAlloy {
		return invalid("UNKNOWN_ALLOY", at+".alloy", p.Alloy, "say which alloy it is to be cast in")
	}
	if p.Copies < 1 || p.Copies > 500 {
		return invalid("OUT_OF_RANGE", at+".copies", fmt.Sprint(p.Copies), "must be between 1 and 500")
	}
	for _, x := range []struct {
		name string
		r    *Range
	}{{"metal", &p.Metal}, {"wax", &p.Wax}, {"gating", &p.Gating}} {
		if *x.r, err = d.massRange(at+"."+x.name, *x.r); err != nil {
			return err
		}
	}
	if p.VolumeMm3 < 0 || p.VolumeMm3 > unit.MaxVolume {
		return invalid("OUT_OF_RANGE", at+".volume", fmt.Sprint(p.VolumeMm3), "must not be negative")
	}
	ways := 0
	for _, given := range []bool{p.Metal.High > 0, p.Wax.High > 0, p.VolumeMm3 > 0} {
		if given {
			ways++
		}
	}
	if ways != 1 {
		return invalid("REQUIRED", at+".metal", "", "give the weight of one casting, or of its wax, or its volume, and only one of them")
	}
	return nil
}

// Rates is what work and molds cost a shop, from a date on, and what it adds.
type Rates struct {
	ID       string     `json:"id"` // the date: 2026-01-01
	From     time.Time  `json:"from"`
	Currency string     `json:"currency"`
	Work     []WorkRate `json:"work,omitempty"`
	Overhead PPM        `json:"overhead_ppm,omitempty"` // of labour; may be more than all of it
	Margin   PPM        `json:"margin_ppm,omitempty"`   // of the price
	Mold     Range      `json:"mold,omitzero"`          // consumables of one mold, minor units
	PerMass  Range      `json:"per_mass,omitzero"`      // consumables, minor units for a tonne of charge; as the shop's heats have it unless said
	Fuel     Range      `json:"fuel,omitzero"`          // the same of fuel
	Void     bool       `json:"void,omitempty"`
}

// WorkRate is what an hour of a kind of work costs.
type WorkRate struct {
	Kind  string `json:"kind"`
	Typed string `json:"typed"`
	Minor int64  `json:"minor_per_hour"`
	Again bool   `json:"again,omitempty"` // has to be done over when a casting fails
}

// SetRates keeps rates from the start of a day on; those of the same day are replaced.
func (b *Book) SetRates(ctx context.Context, m Meta, c Rates) (*Entry, error) {
	return b.write(ctx, m, KindSetRates, c, func(d *draft) (err error) {
		c := c
		if c.From.IsZero() {
			return invalid("REQUIRED", "from_time", "", "say the day from which they hold, such as 2026-01-01")
		}
		c.Currency = d.shop.Currency
		c.Work = slices.Clone(c.Work)
		for i := range c.Work {
			w, at := &c.Work[i], fmt.Sprintf("work[%d]", i)
			if err := needText(at+".kind", w.Kind, maxName); err != nil {
				return err
			}
			if slices.ContainsFunc(c.Work[:i], func(o WorkRate) bool { return strings.EqualFold(o.Kind, w.Kind) }) {
				return invalid("TWICE", at+".kind", w.Kind, "is named twice")
			}
			minor, currency, err := unit.ParseMoney(w.Typed, "")
			if err != nil {
				return wrapUnit(at+".hour_price", err)
			}
			if err := d.ownCurrency(at+".hour_price", w.Typed, currency); err != nil {
				return err
			}
			w.Minor = minor
		}
		if c.Overhead < 0 || c.Overhead > 10*Whole {
			return invalid("OUT_OF_RANGE", "overhead_percent", fmt.Sprintf("%g", float64(c.Overhead)/1e4), "must be between 0 and 1000 % of labour")
		}
		if c.Margin < 0 || c.Margin > Whole*9/10 {
			return invalid("OUT_OF_RANGE", "margin_percent", fmt.Sprintf("%g", float64(c.Margin)/1e4), "must be between 0 and 90 % of the price")
		}
		if c.Mold, err = d.moneyRange("mold_price", c.Mold); err != nil {
			return err
		}
		if c.PerMass, err = d.rateRange("consumables_price", c.PerMass); err != nil {
			return err
		}
		if c.Fuel, err = d.rateRange("fuel_price", c.Fuel); err != nil {
			return err
		}
		c.ID = c.From.Format(time.DateOnly)
		return d.put(RecRates, c.ID, "", c)
	})
}

// RatesAt are the rates that hold at a moment; found is false when there are none yet.
func RatesAt(r Reader, at time.Time) (out Rates, found bool, err error) {
	recs, err := r.Records(RecRates, "", "", MaxPage)
	for _, rec := range recs { // by id, which is the date
		var x Rates
		if err := rec.Into(&x); err != nil {
			return out, false, err
		}
		if !x.Void && !x.From.After(at) {
			out, found = x, true
		}
	}
	return out, found, err
}

// WorkKind finds what an hour of a kind costs.
func (r *Rates) WorkKind(field, kind string) (WorkRate, error) {
	for _, w := range r.Work {
		if strings.EqualFold(w.Kind, strings.TrimSpace(kind)) {
			return w, nil
		}
	}
	known := make([]string, len(r.Work))
	for i, w := range r.Work {
		known[i] = w.Kind
	}
	want := "no rate of this kind of work; set one from a day on first"
	if len(known) > 0 {
		want = "no rate of this kind of work; there are " + strings.Join(known, ", ")
	}
	return WorkRate{}, &Error{Class: ErrNotFound, Reason: "NO_RATE", Field: field, Value: kind, Want: want}
}
