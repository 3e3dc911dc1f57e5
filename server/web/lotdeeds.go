package web

import (
	"cmp"
	"context"
	"slices"
	"strconv"

	pb "example.org/remelt/api/remelt/v1"
)

// lotWrites says what may be done to a lot now: often, and seldom.
func (p *Pages) lotWrites(v *visit, page *lotPage) error {
	l := page.Lot
	if l.GetVoid() || l.GetMass().GetMg() <= 0 {
		return nil
	}
	lists := deedLists{}
	if err := p.weighingLists(v, &lists); err != nil {
		return err
	}
	alloys, err := p.alloys(v)
	if err != nil {
		return err
	}
	parties, err := p.allParties(v)
	if err != nil {
		return err
	}
	for _, x := range parties {
		lists.Customers = append(lists.Customers, choiceOf(x))
	}
	if lists.Lots, err = p.besideLot(v, l); err != nil {
		return err
	}
	if lists.Heats, err = p.heatsOfLot(v, l); err != nil {
		return err
	}
	page.Lots = lists.Lots
	for _, d := range lotDeeds(v, l, alloys, lists) {
		may, err := v.May(d.Method)
		if err != nil {
			return err
		}
		if !may || !d.fits {
			continue
		}
		d.Folded = "More of it"
		if d.Later {
			page.Later = append(page.Later, d.deed)
		} else {
			page.Deeds = append(page.Deeds, d.deed)
		}
	}
	return nil
}

// lotDeed is something that is done to a lot, and whether it can be done to this one.
type lotDeed struct {
	deed
	fits bool
}

// measured are the elements that a certificate of such metal mostly names.
var measured = []string{"Cu", "Sn", "Zn", "Pb", "Si", "Al", "Fe", "Mn", "Ni", "Mg", "Be"}

// certificateFields ask what a certificate or an analysis says of a lot's metal.
func certificateFields(at string) []asked {
	out := []asked{{Name: at + ".method", Label: "How it was found out", Holder: "XRF, laboratory, spark", Seldom: true}, {Name: at + ".number", Label: "Number of its certificate", Seldom: true}}
	for i, e := range measured {
		of := at + ".elements." + strconv.Itoa(i) + "."
		out = append(out, asked{Name: of + "symbol", Value: e, Hidden: true}, asked{Name: of + "percent", Label: e + ", %", Number: true, Seldom: true})
	}
	return out
}

// lotDeeds are what can be written of a lot that holds metal.
func lotDeeds(v *visit, l *pb.Lot, alloys []choice, lists deedLists) []lotDeed {
	single, lot := string(v.Single()), "/v1/"+l.GetName()
	when := asked{Name: "happenedTime", Label: "When, if not now", Moment: true, Seldom: true}
	place := asked{Name: "place", Label: "Put where", Options: orNone(lists.Places, "not said"), Seldom: true}
	held, skimmings := l.GetCondition() == pb.Condition_CONDITION_HELD, l.GetForm() == pb.Form_FORM_SKIMMINGS
	unknown, dirty := last(l.GetAlloy()) == "unknown", l.GetCondition() == pb.Condition_CONDITION_TO_BE_CLEANED
	origin := slices.ContainsFunc(l.GetOrigins(), func(o *pb.Origin) bool { return o.GetAccount() == "origin/unknown" })
	identify := append([]asked{{Name: "alloy", Label: "It is", Options: orNone(alloys, ""), Value: known(last(l.GetAlloy()), unknown), Need: true}}, certificateFields("certificate")...)
	return []lotDeed{
		{deed{ID: "clean", Title: "It is clean now", What: "weighed again without sand and dirt", Button: "Put it in the book", Method: "LotService/CleanLot", Path: lot + ":clean",
			Fields: slices.Concat(weighingFields("weighing", single, lists), []asked{{Name: "weighing.pieces", Label: "Pieces", Number: true, Seldom: true}, place, when})}, (dirty || held) && !skimmings},
		{deed{ID: "identify", Title: "Say what it is", What: "its alloy, by an assay or because somebody knows", Button: "That is what it is", Method: "LotService/IdentifyLot", Path: lot + ":identify", Etag: l.GetEtag(),
			Fields: append(identify, when), Later: !unknown && l.GetAlloySure()}, !skimmings},
		{deed{ID: "release", Title: "Free it", What: "it may be used again", Button: "It may be used", Method: "LotService/ReleaseLot", Path: lot + ":release", Etag: l.GetEtag(),
			Fields: []asked{when}}, held && !unknown},
		{deed{ID: "assign", Title: "Say of which heat it is", What: "nobody wrote it down when it was weighed in", Button: "Of these heats", Method: "LotService/AssignLot", Path: lot + ":assign", Etag: l.GetEtag(),
			Fields: []asked{{Name: "heats.0.heat", Label: "Heat", Options: orNone(lists.Heats, ""), Need: true},
				{Name: "heats.0.sharePercent", Label: "of it, %, if of several", Number: true, Seldom: true},
				{Name: "heats.1.heat", Label: "and heat", Options: orNone(lists.Heats, "none"), Seldom: true}, {Name: "heats.1.sharePercent", Label: "of it, %", Number: true, Seldom: true}, when}}, origin},
		{deed{ID: "work-up", Title: "Crushed and screened", What: "the metal that came out of the skimmings", Button: "Put it in the book", Method: "LotService/WorkUpLot", Path: lot + ":workUp",
			Fields: slices.Concat(weighingFields("recovered", single, lists), []asked{place, when})}, skimmings},
		{deed{ID: "hold", Title: "Set apart", What: "nobody uses it until it is freed", Button: "Set it apart", Method: "LotService/HoldLot", Path: lot + ":hold", Etag: l.GetEtag(),
			Fields: []asked{{Name: "why", Label: "Why", Need: true}, when}}, !held && !skimmings},
		{deed{ID: "move", Title: "Put elsewhere", What: "where it lies now", Button: "It lies there", Method: "LotService/MoveLot", Path: lot + ":move", Etag: l.GetEtag(),
			Fields: []asked{{Name: "place", Label: "Where", Options: orNone(lists.Places, ""), Need: true}, when}}, len(lists.Places) > 0},
		{deed{ID: "remove", Title: "It leaves the shop", What: "sold, given back, sent away or scrapped", Button: "It is gone", Method: "LotService/RemoveLot", Path: lot + ":remove", Etag: l.GetEtag(),
			Fields: []asked{{Name: "how", Label: "How", Picks: leaves(l)}, {Name: "mass.text", Label: "How much, " + single + "; all of it is " + v.Mass(l.GetMass()), Unit: single, Number: true, Large: true, Need: true},
				{Name: "pieces", Label: "Pieces of that", Number: true, Seldom: true}, {Name: "to", Label: "To whom", Options: orNone(lists.Customers, "not said"), Value: last(l.GetOwner())},
				{Name: "for", Label: "What was got for it, by weight or in all", Holder: "3.10 " + v.Shop.GetCurrency() + "/" + single + ", or 120.00 " + v.Shop.GetCurrency()}, when}}, true},
		{deed{ID: "split", Title: "Take a part out", What: "as a lot of its own", Button: "It is a lot of its own", Method: "LotService/SplitLot", Path: lot + ":split", Later: true,
			Fields: slices.Concat(weighingFields("parts.0.weighing", single, lists), []asked{{Name: "parts.0.weighing.pieces", Label: "Pieces", Number: true}, {Name: "parts.0.label", Label: "What is written on it"},
				{Name: "parts.0.place", Label: "Put where", Options: orNone(lists.Places, "where this lies"), Seldom: true}, {Name: "parts.0.lotId", Label: "Name of the lot, if not the next number", Seldom: true}, when})}, !skimmings},
		{deed{ID: "combine", Title: "Put with another lot", What: "all of it; then it is of that lot", Button: "It is with that lot", Method: "LotService/CombineLots", Path: "/v1/shops/" + v.ID + "/lots:combine", Later: true,
			Fields: []asked{{Name: "lots.0", Sent: last(l.GetName()), Always: true}, {Name: "into", Label: "Lot on the other's label", List: "lots", Need: true}, place, when}}, !skimmings},
		{deed{ID: "speak-for", Title: "Promise it", What: "to a heat or a commission; nothing frees it", Button: "It is spoken for", Method: "LotService/SpeakFor", Path: lot + ":speakFor", Etag: l.GetEtag(), Later: true,
			Fields: []asked{{Name: "for", Label: "To what", Need: true}, {Name: "mass.text", Label: "How much, " + single, Unit: single, Number: true, Large: true}, when}}, !skimmings},
	}
}

// known is an alloy to begin with; none where it is not known.
func known(alloy string, unknown bool) string {
	if unknown {
		return ""
	}
	return alloy
}

// leaves are the ways in which metal leaves; a customer's own mostly goes back.
func leaves(l *pb.Lot) []choice {
	out := []choice{{pb.Removal_REMOVAL_SOLD.String(), "sold"}, {pb.Removal_REMOVAL_RETURNED.String(), "given back"}, {pb.Removal_REMOVAL_SHIPPED.String(), "sent away"}, {pb.Removal_REMOVAL_SCRAPPED.String(), "scrapped"}}
	if l.GetOwner() != "" {
		out[0], out[1] = out[1], out[0]
	}
	return out
}

// besideLot are the lots that one may be put with, those of its alloy first.
func (p *Pages) besideLot(v *visit, l *pb.Lot) (out []choice, err error) {
	lots, err := all(v.ctx, func(ctx context.Context, token string) ([]*pb.Lot, string, error) {
		got, err := p.call.lots.ListLots(ctx, &pb.ListLotsRequest{Parent: "shops/" + v.ID, Alloy: l.GetAlloy(), PageSize: 500, PageToken: token})
		return got.GetLots(), got.GetNextPageToken(), err
	})
	for _, x := range lots {
		if x.GetName() != l.GetName() && x.GetForm() != pb.Form_FORM_SKIMMINGS {
			out = append(out, choice{last(x.GetName()), v.Mass(x.GetMass()) + " " + last(x.GetAlloy()) + " " + word(x.GetForm())})
		}
	}
	return out, err
}

// heatsOfLot are the heats that returns may be of: those it may be of by its weigh-in, then
// the latest.
func (p *Pages) heatsOfLot(v *visit, l *pb.Lot) (out []choice, err error) {
	heats, err := p.allHeats(v, begun...)
	slices.SortStableFunc(heats, func(a, b *pb.Heat) int {
		return cmp.Or(cmp.Compare(mayBeOf(l, b), mayBeOf(l, a)), heatTime(b).Compare(heatTime(a)))
	})
	for _, h := range heats {
		out = append(out, choice{last(h.GetName()), "heat " + last(h.GetName()) + ", " + last(h.GetAlloy()) + ", " + heatDay(v, h)})
	}
	return out, err
}

// mayBeOf is 1 for a heat that a lot may be of by what was said when it was weighed in.
func mayBeOf(l *pb.Lot, h *pb.Heat) int {
	if slices.Contains(l.GetCandidates(), h.GetName()) {
		return 1
	}
	return 0
}
