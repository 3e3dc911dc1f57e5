package web

import (
	"slices"
	"strings"

	pb "example.org/remelt/api/remelt/v1"
)

// deed is something that is done to a heat and written down from its page: a form that
// is posted to one method of the API.
type deed struct {
	ID     string
	Title  string
	What   string // when it is said, in a line
	Button string
	Method string // by which the rules say who may
	Path   string // where the form is posted
	Etag   string // of the heat, where what was read must still hold
	Fields []asked
	Folded string // what the fields are called that are seldom said
	Open   bool
	Later  bool // seldom done: it stands behind the others

	states []pb.Heat_State // in which the heat must be
}

// asked is one field of a deed.
type asked struct {
	Name, Label, Value string
	Unit               string   // that a bare number is taken in
	Holder             string   // an example, shown while it is empty
	Options            []choice // to choose from
	Picks              []choice // the same, as large buttons
	List               string   // the list that what is typed is completed from
	Ticks              []tick   // any number of them
	Check              bool     // yes or no
	Always             bool     // a tick that goes without asking, where it is asked at all
	Sent               string   // what a tick sends, when it is not yes
	Number             bool
	Large              bool
	Moment             bool // a time; now unless said
	Day                bool // the beginning of a day
	Need               bool
	Hidden             bool
	Seldom             bool
	Stays              bool // the same for the next piece, until it is said otherwise
}

type tick struct {
	Name, Value, Label string
	On                 bool
}

// Often and Seldom are the fields that are always shown, and the others.
func (d deed) Often() []asked  { return d.fields(false) }
func (d deed) Seldom() []asked { return d.fields(true) }

func (d deed) fields(seldom bool) (out []asked) {
	for _, f := range d.Fields {
		if f.Seldom == seldom {
			out = append(out, f)
		}
	}
	return out
}

// deedLists are what the fields of deeds choose from.
type deedLists struct {
	Supplies, Places, Scales, Tares, Customers, Lots []choice
	Heats                                            []choice // others about the same time
	Castings                                         []choice // of this heat, that are here
}

var (
	melting = []pb.Heat_State{pb.Heat_STATE_MELTING}
	poured  = []pb.Heat_State{pb.Heat_STATE_MELTING, pb.Heat_STATE_LATE}
	late    = []pb.Heat_State{pb.Heat_STATE_LATE, pb.Heat_STATE_SETTLED}
	begun   = []pb.Heat_State{pb.Heat_STATE_MELTING, pb.Heat_STATE_LATE, pb.Heat_STATE_SETTLED}
	planned = []pb.Heat_State{pb.Heat_STATE_PLANNED}
)

// heatDeeds are what can be written of a heat as it is now, by whoever looks.
func heatDeeds(v *visit, h *pb.Heat, molds []*pb.Mold, l deedLists) (out []deed, err error) {
	single, heat := string(v.Single()), "/v1/"+h.GetName()
	when := asked{Name: "happenedTime", Label: "When, if not now", Moment: true, Seldom: true}
	place := asked{Name: "place", Label: "Put where", Options: orNone(l.Places, "not said"), Seldom: true}
	mold := asked{Name: "mold", Label: "The mold that leaked", Options: orNone(moldChoices(molds), "none: from the crucible")}
	weighing := func(at string) []asked { return weighingFields(at, single, l) }
	for _, d := range []deed{
		{ID: "open", Title: "Melting begins", What: "the furnace is lit, or the crucible is charged by hand", Button: "It is being melted", Method: "HeatService/OpenHeat", Path: heat + ":open", Etag: h.GetEtag(),
			Fields: []asked{when}, states: planned},
		{ID: "temperature", Title: "Temperature", What: "as it is read", Button: "Write it down", Method: "HeatService/ReadTemperature", Path: heat + ":readTemperature", Open: h.GetState() == pb.Heat_STATE_MELTING,
			Fields: []asked{{Name: "temperature.text", Label: "°" + v.Shop.GetTemperatureUnit(), Unit: v.Shop.GetTemperatureUnit(), Number: true, Large: true, Need: true},
				{Name: "what", Label: "Of the", Picks: []choice{{"melt", "melt"}, {"pour", "pour"}, {"mold", "mold"}}}, {Name: "happenedTime", Label: "When, if not now", Moment: true}}, states: poured},
		{ID: "add", Title: "Addition", What: "flux, degasser, deoxidiser", Button: "It is in", Method: "HeatService/AddToHeat", Path: heat + ":add",
			Fields: []asked{{Name: "supply", Label: "What", Options: orNone(l.Supplies, ""), Need: true}, {Name: "amount.text", Label: "How much, " + single, Unit: single, Number: true, Large: true},
				{Name: "pieces", Label: "or how many pieces", Number: true}, {Name: "purpose", Label: "For what, if not what it is for", Seldom: true}, when}, states: poured},
		{ID: "skim", Title: "Skimmings", What: "slag and dross, with the metal caught in them", Button: "Put it in the book", Method: "HeatService/SkimHeat", Path: heat + ":skim",
			Fields: slices.Concat(weighing("weighing"), []asked{{Name: "added.text", Label: "Flux and grit in it, " + single, Unit: single, Number: true}, place,
				{Name: "trappedPercent", Label: "Metal caught in the rest, %", Number: true, Seldom: true, Holder: v.Shop.GetTrappedPercent()},
				{Name: "oxide", Label: "Its oxide", Seldom: true, Holder: "CuO"}, {Name: "metalInOxidePercent", Label: "Metal in the oxide, %", Number: true, Seldom: true}, when}), states: begun},
		{ID: "pour-off", Title: "Pigs", What: "what was left over and poured off", Button: "Put it in the book", Method: "HeatService/PourOff", Path: heat + ":pourOff",
			Fields: slices.Concat(weighing("weighing"), []asked{{Name: "weighing.pieces", Label: "How many pigs", Number: true}, {Name: "label", Label: "What is written on them"}, place,
				{Name: "lotId", Label: "Name of the lot, if not the next number", Seldom: true}, when}), states: begun},
		{ID: "finish", Title: "The pour is over", What: "what is booked nowhere else is in the molds", Button: "The pour is over", Method: "HeatService/FinishPour", Path: heat + ":finishPour", Etag: h.GetEtag(),
			Fields: []asked{{Name: "heel.text", Label: "Left in the crucible, about, " + single, Unit: single, Number: true}, when}, states: melting},
		{ID: "settle", Title: "Settle", What: "all that is expected is weighed or written off; what is still in molds becomes unaccounted", Button: "Settle the heat", Method: "HeatService/SettleHeat", Path: heat + ":settle", Etag: h.GetEtag(),
			Fields: []asked{when}, states: []pb.Heat_State{pb.Heat_STATE_LATE}},
		{ID: "casting", Title: "A casting on the scale", What: "after break-out, cut-off or chasing", Button: "Put it in the book", Method: "CastingService/WeighCasting", Path: "/v1/shops/" + v.ID + "/castings:weigh",
			Fields: slices.Concat([]asked{{Name: "heat", Value: last(h.GetName()), Hidden: true}, {Name: "stage", Label: "How it is", Picks: []choice{{"STAGE_CUT_OFF", "cut off"}, {"STAGE_AS_CAST", "gating on"}, {"STAGE_FINISHED", "finished"}}},
				{Name: "mold", Label: "From the mold", Options: orNone(moldChoices(molds), "not said")}}, weighing("weighing"),
				[]asked{{Name: "casting", Label: "Weighed before as", Options: orNone(l.Castings, "never")}, {Name: "displayName", Label: "Name, if not the mold's", Seldom: true}, when}), states: late},
		{ID: "spill", Title: "Spill", What: "metal that ran out or splashed", Button: "Put it in the book", Method: "HeatService/SpillHeat", Path: heat + ":spill", Later: true,
			Fields: slices.Concat(weighing("weighing"), []asked{{Name: "lost.text", Label: "Not picked up, about, " + single, Unit: single, Number: true}, mold, place, when}), states: poured},
		{ID: "give", Title: "Given away", What: "poured into a visitor's mold and taken home", Button: "Put it in the book", Method: "HeatService/GiveMetal", Path: heat + ":give", Later: true,
			Fields: []asked{{Name: "amount.text", Label: "About how much, " + single, Unit: single, Number: true, Large: true, Need: true}, {Name: "to", Label: "Who took it", Need: true}, when}, states: begun},
		{ID: "charge", Title: "Charged beside the proposal", What: "a lot, whole or in part, or the heel", Button: "It is in", Method: "HeatService/ChargeHeat", Path: heat + ":charge", Later: true,
			Fields: slices.Concat([]asked{{Name: "items.0.lot", Label: "Lot on its label", List: "lots"}}, weighing("items.0.weighing"),
				[]asked{{Name: "items.0.mass.text", Label: "or about, not weighed, " + single, Unit: single, Number: true}, {Name: "items.0.pieces", Label: "How many pieces of it", Number: true},
					{Name: "heel", Label: "the heel that the last heat left in the crucible", Check: true}, when}), states: begun},
		{ID: "fuel", Title: "Fuel", What: "what was burned, by this heat or by several together", Button: "Put it in the book", Method: "HeatService/BurnFuel", Path: "/v1/shops/" + v.ID + "/heats:burnFuel", Later: true,
			Fields: []asked{{Name: "fuel", Label: "Which", Options: fuels, Need: true}, {Name: "amount", Label: "How much, with its unit", Holder: "14.2 lb, 31 kWh, 6.4 m3"},
				{Name: "meterBefore", Label: "or the meter before, with its unit", Holder: "1042.7 m3"}, {Name: "meterAfter", Label: "and after", Holder: "1051.2 m3"},
				{Name: "price", Label: "What it cost", Unit: v.Shop.GetCurrency(), Holder: "12.40 " + v.Shop.GetCurrency()}, {Label: "Burned by", Ticks: heatTicks(h, l.Heats)}, when}, states: begun},
		{ID: "write-off", Title: "Known loss", What: "sweepings of the saw, zinc gone as vapour", Button: "Put it in the book", Method: "HeatService/WriteOffMetal", Path: heat + ":writeOff", Later: true,
			Fields: slices.Concat([]asked{{Name: "cause", Label: "What became of it", Picks: []choice{{"LOSS_CAUSE_KERF", "sawn or ground"}, {"LOSS_CAUSE_VAPOUR", "vapour"}, {"LOSS_CAUSE_OXIDE", "oxide"}, {"LOSS_CAUSE_SPILL", "splashed"}}}},
				weighing("weighing"), []asked{{Name: "amount.text", Label: "or about, not weighed, " + single, Unit: single, Number: true}, when}), states: begun},
		{ID: "drop", Title: "It is not melted", What: "the plan is given up", Button: "It is not melted", Method: "HeatService/DropHeat", Path: heat + ":drop", Etag: h.GetEtag(), Later: true,
			Fields: []asked{when}, states: planned},
	} {
		may, err := v.May(d.Method)
		if err != nil {
			return nil, err
		}
		if may && slices.Contains(d.states, h.GetState()) {
			d.Folded = "More of it"
			out = append(out, d)
		}
	}
	return out, nil
}

var fuels = []choice{{"propane", "propane"}, {"natural gas", "natural gas"}, {"electricity", "electricity"}, {"fuel oil no. 2", "fuel oil no. 2"}}

// weighingFields ask for a weighing: what is left on the scale, or with the pan.
func weighingFields(at, single string, l deedLists) []asked {
	at += "."
	return []asked{
		{Name: at + "net.text", Label: "Weight, " + single, Unit: single, Number: true, Large: true},
		{Name: at + "gross.text", Label: "or with the pan, " + single, Unit: single, Number: true, Seldom: true},
		{Name: at + "savedTare", Label: "in this pan", Options: orNone(l.Tares, "not said"), Seldom: true},
		{Name: at + "tare.text", Label: "or a pan of, " + single, Unit: single, Number: true, Seldom: true},
		{Name: at + "before.text", Label: "The bin weighed before, " + single, Unit: single, Number: true, Seldom: true},
		{Name: at + "scale", Label: "Scale", Options: orNone(l.Scales, "not said"), Seldom: true},
		{Name: at + "dirtPercent", Label: "Dirt in it, %", Number: true, Seldom: true},
		{Name: at + "basis", Label: "estimated, not read off a scale", Check: true, Sent: "BASIS_ESTIMATED", Seldom: true},
	}
}

// orNone is a list with nothing before it.
func orNone(all []choice, none string) []choice { return append([]choice{{"", none}}, all...) }

func moldChoices(molds []*pb.Mold) (out []choice) {
	for _, m := range molds {
		out = append(out, choice{m.GetName(), strings.TrimSpace(last(m.GetName()) + " " + m.GetDisplayName())})
	}
	return out
}

// heatTicks are the heats that may have burned fuel together; this one did.
func heatTicks(h *pb.Heat, others []choice) []tick {
	out := []tick{{Name: "heats.0", Value: last(h.GetName()), Label: "heat " + last(h.GetName()), On: true}}
	for i, o := range others {
		out = append(out, tick{Name: "heats." + wholeNumber(int64(i+1)), Value: o.ID, Label: o.Name})
	}
	return out
}

// castingDeeds are what can be done to a casting beside weighing it; nothing to one that is
// gone.
func castingDeeds(v *visit, c *pb.Casting, customers, places []choice) (out []deed, err error) {
	id, single, casting := last(c.GetName()), string(v.Single()), "/v1/"+c.GetName()
	when := asked{Name: "happenedTime", Label: "When, if not now", Moment: true, Seldom: true}
	for _, d := range []deed{
		{ID: "ship-" + id, Title: "Ship it", What: "it leaves the shop", Button: "It is shipped", Method: "CastingService/ShipCasting", Path: casting + ":ship",
			Fields: []asked{{Name: "to", Label: "To whom", Options: orNone(customers, "not said"), Value: last(c.GetCustomer())}, when}},
		{ID: "break-up-" + id, Title: "Break it up", What: "miscast: it is a lot of scrap, to be melted again", Button: "It is broken up", Method: "CastingService/BreakUpCasting", Path: casting + ":breakUp",
			Fields: []asked{{Name: "weighing.net.text", Label: "Weight, " + single, Unit: single, Number: true, Large: true, Need: true}, {Name: "weighing.pieces", Label: "Pieces", Number: true},
				{Name: "place", Label: "Put where", Options: orNone(places, "not said")}, when}},
	} {
		may, err := v.May(d.Method)
		if err != nil {
			return nil, err
		}
		if may && c.GetGone() == "" {
			d.Folded = "More of it"
			out = append(out, d)
		}
	}
	return out, nil
}
