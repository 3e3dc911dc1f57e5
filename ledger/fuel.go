package ledger

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"example.org/remelt/ledger/unit"
)

// KindFuel is an entry of fuel burned.
const KindFuel Kind = "fuel"

// RecFuel is fuel burned for one heat.
const RecFuel RecordKind = "fuel"

// Fuels that furnaces burn, and how each can be measured: where a heating value is
// known for it.
var fuelMeasures = []struct {
	name     string
	measures []unit.FuelMeasure
}{
	{"propane", []unit.FuelMeasure{unit.FuelMass, unit.FuelLiquid, unit.FuelGas, unit.FuelEnergy}},
	{"natural gas", []unit.FuelMeasure{unit.FuelGas, unit.FuelEnergy}},
	{"electricity", []unit.FuelMeasure{unit.FuelEnergy}},
	{"fuel oil no. 2", []unit.FuelMeasure{unit.FuelLiquid, unit.FuelEnergy}},
}

// FuelNames lists the fuels that can be recorded.
func FuelNames() (names []string) {
	for _, f := range fuelMeasures {
		names = append(names, f.name)
	}
	return names
}

// Fuel is what one heat burned, or its share of what several heats burned.
type Fuel struct {
	ID      string           `json:"id"`
	Heat    string           `json:"heat"`
	Kind    string           `json:"kind"`            // one of FuelNames
	Typed   string           `json:"typed,omitempty"` // of all heats together
	Before  string           `json:"before,omitempty"`
	After   string           `json:"after,omitempty"`
	Measure unit.FuelMeasure `json:"measure"`
	Amount  int64            `json:"amount"`          // this heat's, in what Measure is kept in
	Of      int64            `json:"of,omitempty"`    // of all heats together, when it was shared
	Price   *Price           `json:"price,omitempty"` // this heat's share
	Void    bool             `json:"void,omitempty"`
}

// RecordFuel is fuel burned for a heat, or on a day for several.
type RecordFuel struct {
	Heats  []string
	Fuel   string
	Amount string `json:",omitempty"` // "14.2 lb", "31 kWh"
	Before string `json:",omitempty"` // or a meter read before and after: "1042.7 m3"
	After  string `json:",omitempty"`
	Price  string `json:",omitempty"` // a total or a rate: "12.40 USD", "0.95 USD/lb"
}

// RecordFuel records fuel burned. What several heats burned together is shared by
// the mass that was charged to each, to the last unit; so is its price.
func (b *Book) RecordFuel(ctx context.Context, m Meta, c RecordFuel) (*Entry, error) {
	return b.write(ctx, m, KindFuel, c, func(d *draft) error {
		amount, measure, err := c.amount()
		if err != nil {
			return err
		}
		i := slices.IndexFunc(fuelMeasures, func(f struct {
			name     string
			measures []unit.FuelMeasure
		}) bool {
			return strings.EqualFold(f.name, strings.TrimSpace(c.Fuel))
		})
		if i < 0 {
			return invalid("UNKNOWN_FUEL", "fuel", c.Fuel, "must be one of "+strings.Join(FuelNames(), ", "))
		}
		kind := fuelMeasures[i]
		if !slices.Contains(kind.measures, measure) {
			return invalid("WRONG_MEASURE", "amount", c.Amount+c.After, fmt.Sprintf("%s is not measured by %s; it is by %s", kind.name, measure, joinMeasures(kind.measures)))
		}
		var cost int64
		currency := ""
		if c.Price != "" {
			if cost, currency, err = unit.FuelCost(c.Price, d.shop.Currency, amount, measure); err != nil {
				return wrapUnit("price", err)
			}
		}
		weights, err := d.fuelShares(c.Heats)
		if err != nil {
			return err
		}
		amounts, costs := Apportion(amount, weights), Apportion(cost, weights)
		for i, heat := range c.Heats {
			f := Fuel{Heat: heat, Kind: kind.name, Typed: c.Amount, Before: c.Before, After: c.After, Measure: measure, Amount: amounts[i]}
			if len(c.Heats) > 1 {
				f.Of = amount
			}
			if c.Price != "" {
				f.Price = &Price{Typed: c.Price, Minor: costs[i], Currency: currency}
				d.e.Costs = append(d.e.Costs, Cost{Account: Acct(InHeat, heat), Currency: currency, Minor: costs[i]})
			}
			if f.ID, err = d.fresh(RecFuel, "", d.numberOf(heat)); err != nil {
				return err
			}
			if err := d.put(RecFuel, f.ID, heatKey(heat), f); err != nil {
				return err
			}
		}
		return nil
	})
}

func joinMeasures(all []unit.FuelMeasure) string {
	words := make([]string, len(all))
	for i, m := range all {
		words[i] = string(m)
	}
	return strings.Join(words, ", ")
}

// amount is what was burned: typed, or the difference of two readings of a meter.
func (c RecordFuel) amount() (int64, unit.FuelMeasure, error) {
	metered := c.Before != "" || c.After != ""
	switch {
	case c.Amount != "" && metered:
		return 0, "", invalid("CONTRADICTION", "amount", c.Amount, "give an amount, or a meter before and after, not both")
	case metered && c.Before == "":
		return 0, "", invalid("REQUIRED", "meter_before", "", "say what the meter read before")
	case metered && c.After == "":
		return 0, "", invalid("REQUIRED", "meter_after", "", "say what the meter read after")
	case !metered:
		amount, measure, err := unit.ParseFuel(c.Amount)
		if err != nil {
			return 0, "", wrapUnit("amount", err)
		}
		if amount == 0 {
			return 0, "", invalid("ZERO", "amount", c.Amount, "must be more than nothing")
		}
		return amount, measure, nil
	}
	before, measure, err := unit.ParseFuel(c.Before)
	if err != nil {
		return 0, "", wrapUnit("meter_before", err)
	}
	after, same, err := unit.ParseFuel(c.After)
	if err != nil {
		return 0, "", wrapUnit("meter_after", err)
	}
	if same != measure || after <= before {
		return 0, "", invalid("METER_WENT_BACK", "meter_after", c.After, fmt.Sprintf("must be more than %q before, in a unit of the same kind", c.Before))
	}
	return after - before, measure, nil
}

// fuelShares are the masses charged to the heats, by which fuel is shared.
func (d *draft) fuelShares(heats []string) ([]int64, error) {
	if len(heats) == 0 {
		return nil, invalid("REQUIRED", "heats", "", "name the heat, or the heats, that burned it")
	}
	weights := make([]int64, len(heats))
	for i, id := range heats {
		at := fmt.Sprintf("heats[%d]", i)
		if slices.Contains(heats[:i], id) {
			return nil, invalid("TWICE", at, id, "is named twice")
		}
		if _, err := d.heat(at, id); err != nil {
			return nil, err
		}
		if _, err := d.heatIn(id, Melting, Late, Settled); err != nil {
			return nil, err
		}
		charged, err := d.chargedTo(id)
		if err != nil {
			return nil, err
		}
		if charged <= 0 && len(heats) > 1 {
			return nil, badState("NOTHING_CHARGED", at, id, "has nothing charged by which fuel could be shared; record its fuel by itself")
		}
		weights[i] = int64(charged)
	}
	return weights, nil
}

// chargedTo is what was charged to a heat and not taken back.
func (d *draft) chargedTo(heat string) (sum Mass, err error) {
	reversed := map[int64]bool{}
	for before := int64(0); ; {
		log, err := d.History(heatKey(heat), before, MaxPage) // the newest first: a reversal before what it reverses
		if err != nil {
			return 0, err
		}
		for _, s := range log {
			e, err := s.Open()
			if err != nil {
				return 0, err
			}
			before = e.Seq
			if e.Reverses != 0 {
				reversed[e.Reverses] = true
			}
			if e.Kind != KindCharge || reversed[e.Seq] {
				continue
			}
			for _, p := range e.Postings {
				if p.Account.Heat() == heat {
					sum += p.Mass
				}
			}
		}
		if len(log) < MaxPage {
			return sum, nil
		}
	}
}
