package web

import (
	"cmp"
	"context"
	"slices"
	"strconv"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger/unit"
)

// settingsPage is what the book believes of the shop and its things, each to be
// corrected where it stands.
type settingsPage struct{ Groups []settingGroup }

type settingGroup struct {
	Title, What string
	Things      []settingForm
	New         *settingForm // to add one; nil for the shop itself
}

// settingForm is one thing, as a form.
type settingForm struct {
	Title  string
	Says   string // what it is, in a line
	Path   string // its address in the API; of a new one, that of its kind
	Part   string // what a request calls it
	Etag   string
	Fields []settingField
}

type settingField struct {
	Name, Label, Value string
	Unit               string // that a bare number is taken in
	Holder             string
	Options            []choice // to choose from
	Check              bool     // yes or no
	On                 bool
	Need               bool
}

func (p *Pages) settings(v *visit) (frame, error) {
	scales, err := p.allScales(v)
	if err != nil {
		return frame{}, err
	}
	tares, err := p.allTares(v)
	if err != nil {
		return frame{}, err
	}
	places, err := all(v.ctx, func(ctx context.Context, token string) ([]*pb.Place, string, error) {
		l, err := p.call.places.ListPlaces(ctx, &pb.ListPlacesRequest{Parent: "shops/" + v.ID, PageSize: 500, PageToken: token})
		return l.GetPlaces(), l.GetNextPageToken(), err
	})
	if err != nil {
		return frame{}, err
	}
	pots, err := all(v.ctx, func(ctx context.Context, token string) ([]*pb.Pot, string, error) {
		l, err := p.call.pots.ListPots(ctx, &pb.ListPotsRequest{Parent: "shops/" + v.ID, PageSize: 500, PageToken: token})
		return l.GetPots(), l.GetNextPageToken(), err
	})
	if err != nil {
		return frame{}, err
	}
	parent := "/v1/shops/" + v.ID
	page := settingsPage{Groups: []settingGroup{
		{Title: "The shop", What: "in whose units weights are shown, and what money is counted in", Things: []settingForm{
			{Title: v.Shop.GetDisplayName(), Path: parent, Part: "shop", Etag: v.Shop.GetEtag(), Fields: shopFields(v.Shop)}}},
		{Title: "Scales", What: "what the scale can see is what a balance can be held to", New: &settingForm{Path: parent + "/scales", Part: "scale", Fields: scaleFields(v, nil)}},
		{Title: "Crucibles and furnaces", What: "how much fits in, what may be lifted, and how worn they are", New: &settingForm{Path: parent + "/pots", Part: "pot", Fields: potFields(v, nil)}},
		{Title: "Places", What: "where metal lies", New: &settingForm{Path: parent + "/places", Part: "place", Fields: placeFields(nil)}},
		{Title: "Tares", What: "pans and bins that are weighed with the metal in them", New: &settingForm{Path: parent + "/tares", Part: "tare", Fields: tareFields(v, nil)}},
	}}
	add := func(group int, part, etag, says string, x named, fields []settingField) {
		page.Groups[group].Things = append(page.Groups[group].Things, settingForm{Title: choiceOf(x).Name, Says: says, Path: "/v1/" + x.GetName(), Part: part, Etag: etag, Fields: fields})
	}
	for _, x := range scales {
		add(1, "scale", x.GetEtag(), "reads to "+cmp.Or(x.GetDivision().GetTyped(), x.GetDivision().GetText()), x, scaleFields(v, x))
	}
	for _, x := range pots {
		add(2, "pot", x.GetEtag(), potSays(v, x), x, potFields(v, x))
	}
	for _, x := range places {
		add(3, "place", x.GetEtag(), last(x.GetName()), x, placeFields(x))
	}
	for _, x := range tares {
		add(4, "tare", x.GetEtag(), v.Mass(x.GetMass()), x, tareFields(v, x))
	}
	return frame{Title: "Settings", Here: "settings", Main: page}, nil
}

// potSays is a crucible in a line: how much it holds, and how far it is used up.
func potSays(v *visit, x *pb.Pot) string {
	says := v.Mass(x.GetCapacity())
	if x.GetCapacity().GetMg() == 0 {
		says = x.GetVolume().GetText()
	}
	if x.GetLifeHeats() > 0 {
		says += ", " + strconv.FormatInt(x.GetHeats(), 10) + " of " + strconv.FormatInt(x.GetLifeHeats(), 10) + " heats"
	}
	if x.GetRetired() {
		says += ", not used any more"
	}
	return says
}

func shopFields(x *pb.Shop) []settingField {
	var masses []choice
	for _, u := range unit.MassUnits() {
		masses = append(masses, choice{string(u), string(u)})
	}
	var money []choice
	for _, c := range slices.Sorted(slices.Values(unit.Currencies())) {
		money = append(money, choice{c, c})
	}
	return []settingField{
		{Name: "displayName", Label: "Name", Value: x.GetDisplayName(), Need: true},
		{Name: "massUnit", Label: "Weights are shown in", Value: x.GetMassUnit(), Options: masses},
		{Name: "temperatureUnit", Label: "Temperatures", Value: x.GetTemperatureUnit(), Options: []choice{{string(unit.F), "°F"}, {string(unit.C), "°C"}}},
		{Name: "currency", Label: "Money", Value: x.GetCurrency(), Options: money},
		{Name: "timeZone", Label: "Time zone", Value: x.GetTimeZone(), Holder: "America/Chicago"},
		{Name: "trappedPercent", Label: "Metal in skimmings, %", Value: x.GetTrappedPercent(), Holder: "50"},
		{Name: "trappedSpanPercent", Label: "more or less by, %", Value: x.GetTrappedSpanPercent()},
	}
}

func scaleFields(v *visit, x *pb.Scale) []settingField {
	return []settingField{
		{Name: "displayName", Label: "Name", Value: x.GetDisplayName(), Need: true},
		{Name: "division.text", Label: "Reads to", Value: x.GetDivision().GetText(), Unit: string(v.Single()), Need: true, Holder: "0.1 " + string(v.Single())},
		{Name: "capacity.text", Label: "Most it can weigh", Value: x.GetCapacity().GetText(), Unit: string(v.Single())},
		{Name: "accuracyClass", Label: "Class on its plate", Value: x.GetAccuracyClass().String(), Options: []choice{{"ACCURACY_CLASS_UNSPECIFIED", "none"}, {"ACCURACY_CLASS_I", "I"}, {"ACCURACY_CLASS_II", "II"},
			{"ACCURACY_CLASS_III", "III"}, {"ACCURACY_CLASS_III_L", "III L"}, {"ACCURACY_CLASS_IIII", "IIII"}}},
		{Name: "rule", Label: "By which rule", Value: x.GetRule().String(), Options: []choice{{"SCALE_RULE_UNSPECIFIED", "not said"}, {"SCALE_RULE_OIML_R76", "OIML R 76"}, {"SCALE_RULE_NIST_HB44", "NIST Handbook 44"}}},
		{Name: "verificationInterval.text", Label: "Verification interval", Value: x.GetVerificationInterval().GetText(), Unit: string(v.Single())},
		{Name: "checkLoad.text", Label: "Last check, test weight", Value: x.GetCheckLoad().GetText(), Unit: string(v.Single())},
		{Name: "checkError.text", Label: "it read wrong by", Value: x.GetCheckError().GetText(), Unit: string(v.Single())},
		{Name: "checkUncertainty.text", Label: "uncertain by", Value: x.GetCheckUncertainty().GetText(), Unit: string(v.Single())},
		{Name: "repeatability.text", Label: "Same weight again differs by", Value: x.GetRepeatability().GetText(), Unit: string(v.Single())},
		{Name: "repeatabilityReadings", Label: "from how many readings", Value: whole(int64(x.GetRepeatabilityReadings()))},
	}
}

func potFields(v *visit, x *pb.Pot) []settingField {
	single := string(v.Single())
	return []settingField{
		{Name: "displayName", Label: "Name", Value: x.GetDisplayName(), Need: true},
		{Name: "kind", Label: "What it is", Value: cmp.Or(x, &pb.Pot{Kind: pb.PotKind_POT_KIND_CRUCIBLE}).GetKind().String(), Options: []choice{{"POT_KIND_CRUCIBLE", "crucible"}, {"POT_KIND_FURNACE", "furnace"}}},
		{Name: "family", Label: "Only for alloys of", Value: x.GetFamily(), Holder: "silicon bronze"},
		{Name: "volume.text", Label: "Holds, to the brim", Value: x.GetVolume().GetText(), Unit: "l"},
		{Name: "capacity.text", Label: "Holds metal", Value: x.GetCapacity().GetText(), Unit: single},
		{Name: "fillPercent", Label: "Filled to at most, %", Value: x.GetFillPercent()},
		{Name: "emptyMass.text", Label: "Weighs empty", Value: x.GetEmptyMass().GetText(), Unit: single},
		{Name: "lift.text", Label: "May be lifted, with metal", Value: x.GetLift().GetText(), Unit: single},
		{Name: "skull.text", Label: "Metal that stays in", Value: x.GetSkull().GetText(), Unit: single},
		{Name: "waitingRoom.text", Label: "Room above for what sinks", Value: x.GetWaitingRoom().GetText(), Unit: "l"},
		{Name: "pigMold.text", Label: "A pig mold takes", Value: x.GetPigMold().GetText(), Unit: single},
		{Name: "pigMolds", Label: "Pig molds", Value: whole(int64(x.GetPigMolds()))},
		{Name: "hottestTap.text", Label: "Hottest it may be tapped", Value: x.GetHottestTap().GetText()},
		{Name: "coolingCelsius", Label: "Cools on the way, °C a minute", Value: x.GetCoolingCelsius()},
		{Name: "heats", Label: "Heats so far", Value: whole(x.GetHeats())},
		{Name: "lifeHeats", Label: "Heats it lasts", Value: whole(x.GetLifeHeats())},
		{Name: "price", Label: "Price", Value: x.GetPrice(), Unit: v.Shop.GetCurrency()},
		{Name: "retired", Label: "Not used any more", Check: true, On: x.GetRetired()},
	}
}

func placeFields(x *pb.Place) []settingField {
	return []settingField{{Name: "displayName", Label: "Name", Value: x.GetDisplayName(), Need: true}}
}

func tareFields(v *visit, x *pb.Tare) []settingField {
	return []settingField{
		{Name: "displayName", Label: "Name", Value: x.GetDisplayName(), Need: true},
		{Name: "mass.text", Label: "Weighs", Value: x.GetMass().GetText(), Unit: string(v.Single()), Need: true},
	}
}

// whole is a number, or nothing for none.
func whole(n int64) string {
	if n == 0 {
		return ""
	}
	return strconv.FormatInt(n, 10)
}
