package web

import (
	"cmp"
	"slices"
	"strconv"
	"strings"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger/unit"
)

// settingField is one thing that the book believes of another.
type settingField struct {
	Head               string // begins a group of them
	Name, Label, Value string
	Unit               string   // that a bare number is taken in
	Holder             string   // what might stand there
	Options            []choice // to choose from
	Offer              string   // list of words that are offered, by its id
	Check              bool     // yes or no; with a value, one of several
	On                 bool
	Need               bool
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
		{Head: "By its plate", Name: "accuracyClass", Label: "Class on its plate", Value: x.GetAccuracyClass().String(), Options: []choice{{"ACCURACY_CLASS_UNSPECIFIED", "none"}, {"ACCURACY_CLASS_I", "I"}, {"ACCURACY_CLASS_II", "II"},
			{"ACCURACY_CLASS_III", "III"}, {"ACCURACY_CLASS_III_L", "III L"}, {"ACCURACY_CLASS_IIII", "IIII"}}},
		{Name: "rule", Label: "By which rule", Value: x.GetRule().String(), Options: []choice{{"SCALE_RULE_UNSPECIFIED", "not said"}, {"SCALE_RULE_OIML_R76", "OIML R 76"}, {"SCALE_RULE_NIST_HB44", "NIST Handbook 44"}}},
		{Name: "verificationInterval.text", Label: "Verification interval", Value: x.GetVerificationInterval().GetText(), Unit: string(v.Single())},
		{Head: "When it was last checked", Name: "checkLoad.text", Label: "Last check, test weight", Value: x.GetCheckLoad().GetText(), Unit: string(v.Single())},
		{Name: "checkError.text", Label: "it read wrong by", Value: x.GetCheckError().GetText(), Unit: string(v.Single())},
		{Name: "checkUncertainty.text", Label: "uncertain by", Value: x.GetCheckUncertainty().GetText(), Unit: string(v.Single())},
		{Head: "When the same weight is put on again and again", Name: "repeatability.text", Label: "Same weight again differs by", Value: x.GetRepeatability().GetText(), Unit: string(v.Single())},
		{Name: "repeatabilityReadings", Label: "from how many readings", Value: wholeNumber(int64(x.GetRepeatabilityReadings()))},
		{Name: "linePattern", Label: "Line of a settled weight on its serial port", Value: x.GetLinePattern(), Holder: "*{weight} {unit}*"},
		{Name: "lineSettings", Label: "That port is set to", Value: x.GetLineSettings(), Holder: "9600 8N1"},
	}
}

func potFields(v *visit, x *pb.Pot, families []string) []settingField {
	single := string(v.Single())
	kept := []choice{{"", "any"}}
	if f := x.GetFamily(); f != "" && !slices.Contains(families, f) { // of an old book
		kept = append(kept, choice{f, f})
	}
	for _, f := range families {
		kept = append(kept, choice{f, f})
	}
	return []settingField{
		{Name: "displayName", Label: "Name", Value: x.GetDisplayName(), Need: true},
		{Name: "kind", Label: "What it is", Value: cmp.Or(x, &pb.Pot{Kind: pb.PotKind_POT_KIND_CRUCIBLE}).GetKind().String(), Options: []choice{{"POT_KIND_CRUCIBLE", "crucible"}, {"POT_KIND_FURNACE", "furnace"}}},
		{Name: "family", Label: "Only for alloys of", Value: x.GetFamily(), Options: kept},
		{Head: "How much fits in", Name: "volume.text", Label: "Holds, to the brim", Value: x.GetVolume().GetText(), Unit: "l"},
		{Name: "capacity.text", Label: "Holds metal", Value: x.GetCapacity().GetText(), Unit: single},
		{Name: "fillPercent", Label: "Filled to at most, %", Value: x.GetFillPercent()},
		{Head: "What is lifted", Name: "emptyMass.text", Label: "Weighs empty", Value: x.GetEmptyMass().GetText(), Unit: single},
		{Name: "lift.text", Label: "May be lifted, with metal", Value: x.GetLift().GetText(), Unit: single},
		{Name: "skull.text", Label: "Metal that stays in", Value: x.GetSkull().GetText(), Unit: single},
		{Head: "How it is charged and poured", Name: "waitingRoom.text", Label: "Room above for what sinks", Value: x.GetWaitingRoom().GetText(), Unit: "l"},
		{Name: "pigMold.text", Label: "A pig mold takes", Value: x.GetPigMold().GetText(), Unit: single},
		{Name: "pigMolds", Label: "Pig molds", Value: wholeNumber(int64(x.GetPigMolds()))},
		{Name: "hottestTap.text", Label: "Hottest it may be tapped", Value: x.GetHottestTap().GetText()},
		{Name: "coolingCelsius", Label: "Cools on the way, °C a minute", Value: x.GetCoolingCelsius()},
		{Head: "How worn it is", Name: "heats", Label: "Heats so far", Value: wholeNumber(x.GetHeats())},
		{Name: "lifeHeats", Label: "Heats it lasts", Value: wholeNumber(x.GetLifeHeats())},
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

// partyFields are one of those whom the shop deals with. New ones begin with a role.
func partyFields(x *pb.Party, role pb.Role) []settingField {
	roles := x.GetRoles()
	if x == nil {
		roles = []pb.Role{role}
	}
	as := func(i int, r pb.Role, label string) settingField {
		return settingField{Name: "roles." + strconv.Itoa(i), Label: label, Value: r.String(), Check: true, On: slices.Contains(roles, r)}
	}
	return []settingField{
		{Name: "displayName", Label: "Name", Value: x.GetDisplayName(), Need: true},
		as(0, pb.Role_ROLE_SUPPLIER, "sells to the shop"), as(1, pb.Role_ROLE_CUSTOMER, "has castings made, or brings metal"), as(2, pb.Role_ROLE_MELTER, "melts or works here"),
	}
}

func supplyFields(v *visit, x *pb.Supply) []settingField {
	out := []settingField{
		{Name: "displayName", Label: "Name", Value: x.GetDisplayName(), Need: true},
		{Name: "purpose", Label: "What it is for", Value: x.GetPurpose(), Need: true, Offer: "purposes", Holder: "flux"},
	}
	if !x.GetInPieces() {
		out = append(out, settingField{Name: "orderBelow.text", Label: "Order when there is less than", Value: x.GetOrderBelow().GetText(), Unit: string(v.Single())})
	}
	if x == nil || x.GetInPieces() {
		out = append(out, settingField{Name: "orderBelowPieces", Label: "Order when there are fewer than, pieces", Value: wholeNumber(x.GetOrderBelowPieces())})
	}
	if x == nil {
		out = append(out, settingField{Name: "inPieces", Label: "It is counted, not weighed", Check: true})
	}
	return append(out,
		settingField{Name: "metalPercent", Label: "Of it becomes metal of the melt, %", Value: x.GetMetalPercent(), Holder: "0"},
		settingField{Name: "caution", Label: "Caution to show where it is used", Value: x.GetCaution()})
}

// alloyFields are what a shop says itself of an alloy, with room for more.
func alloyFields(v *visit, x *pb.Alloy) []settingField {
	own := x.GetOwn()
	var out []settingField
	add := func(f settingField) { f.Name = "own." + f.Name; out = append(out, f) }
	for i := range len(own.GetNames()) + 1 {
		f := settingField{Name: "names." + strconv.Itoa(i), Label: "Called here"}
		if i < len(own.GetNames()) {
			f.Value = own.GetNames()[i]
		}
		if i > 0 {
			f.Label = "or"
		}
		add(f)
	}
	density := ""
	if own.GetDensity() != 0 {
		density = strconv.FormatFloat(own.GetDensity(), 'g', -1, 64)
	}
	degrees := strings.TrimSpace(v.Shop.GetTemperatureUnit())
	add(settingField{Name: "family", Label: "Family, of an alloy of your own", Value: own.GetFamily(), Holder: "silicon bronze"})
	add(settingField{Name: "density", Label: "Density, g/cm³", Value: density})
	add(settingField{Name: "pourFrom.text", Label: "Poured from, °" + degrees, Value: own.GetPourFrom().GetText(), Unit: degrees})
	add(settingField{Name: "pourTo.text", Label: "up to, °" + degrees, Value: own.GetPourTo().GetText(), Unit: degrees})
	limits := own.GetLimits()
	for i := range max(len(limits)+2, 4) {
		l, at := &pb.OwnLimit{}, "limits."+strconv.Itoa(i)+"."
		if i < len(limits) {
			l = limits[i]
		}
		add(settingField{Name: at + "element", Label: "Element", Value: l.GetElement(), Holder: cmp.Or(map[int]string{0: "Si", 1: "Cu"}[i], "")})
		add(settingField{Name: at + "minPercent", Label: "at least, %", Value: l.GetMinPercent()})
		add(settingField{Name: at + "maxPercent", Label: "at most, %", Value: l.GetMaxPercent()})
		add(settingField{Name: at + "remainder", Label: "the rest, whatever it is", Check: true, On: l.GetRemainder()})
	}
	add(settingField{Name: "source", Label: "Where these figures come from", Value: own.GetSource()})
	return out
}

// wholeNumber is a number, or nothing for none.
func wholeNumber(n int64) string {
	if n == 0 {
		return ""
	}
	return strconv.FormatInt(n, 10)
}
