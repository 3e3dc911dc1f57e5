package server

import (
	"context"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	pb "example.org/remelt/api/remelt/v1"
)

func scale(b *bench) *pb.Scale {
	b.Helper()
	return do[*pb.GetScaleResponse](b, &pb.GetScaleRequest{Name: floor}).GetScale()
}

// TestUpdateTakesTheFieldsOfTheMask: AIP-134 and AIP-161.
func TestUpdateTakesTheFieldsOfTheMask(t *testing.T) {
	b := done(t)
	was := scale(b)
	for _, c := range []struct {
		why  string
		r    *pb.UpdateScaleRequest
		want func(*pb.Scale)
	}{
		{"without a mask, what is set", &pb.UpdateScaleRequest{Scale: &pb.Scale{Name: floor, DisplayName: "yard scale"}},
			func(s *pb.Scale) { s.DisplayName = "yard scale" }},
		{"with a mask, only that", &pb.UpdateScaleRequest{UpdateMask: mask("capacity"), Scale: &pb.Scale{Name: floor, DisplayName: "no", Capacity: &pb.Mass{Text: "300 kg"}}},
			func(s *pb.Scale) { s.Capacity = &pb.Mass{Mg: 300_000_000, Text: "300000 g"} }},
		{"what the mask names and is not set is emptied", &pb.UpdateScaleRequest{UpdateMask: mask("check_error", "accuracy_class"), Scale: &pb.Scale{Name: floor}},
			func(s *pb.Scale) { s.CheckError, s.AccuracyClass = nil, 0 }},
		{"a part of a mass means the mass", &pb.UpdateScaleRequest{UpdateMask: mask("division.text"), Scale: &pb.Scale{Name: floor, Division: &pb.Mass{Text: "0.1 lb"}}},
			func(s *pb.Scale) { s.Division = &pb.Mass{Mg: 45_359, Text: "45 g", Typed: "0.1 lb"} }},
		{"what was read, sent back", &pb.UpdateScaleRequest{Scale: nil}, func(*pb.Scale) {}},
		{"everything", &pb.UpdateScaleRequest{UpdateMask: mask("*"), Scale: &pb.Scale{Name: floor, DisplayName: "new", Division: g(20)}},
			func(s *pb.Scale) {
				proto.Reset(s)
				s.Name, s.DisplayName, s.Division = floor, "new", &pb.Mass{Mg: 20_000, Text: "20 g"}
			}},
	} {
		want := scale(b)
		if c.r.Scale == nil {
			c.r.Scale = proto.Clone(want).(*pb.Scale)
		}
		c.want(want)
		got := do[*pb.UpdateScaleResponse](b, c.r).GetScale()
		if d := cmp.Diff(want, got, protocmp.Transform(), protocmp.IgnoreFields(&pb.Scale{}, "etag")); d != "" {
			t.Errorf("%s (-want +got):\n%s", c.why, d)
		}
	}
	if was.GetDivision().GetTyped() != "10 g" || was.GetCheckError().GetMg() != -5_000 {
		t.Errorf("the scale was %v", was)
	}
	for _, path := range []string{"colour", "display_name.nonsense", "division.nonsense"} {
		b.refusedBy(&pb.UpdateScaleRequest{UpdateMask: mask(path), Scale: &pb.Scale{Name: floor, DisplayName: "other", Division: g(7)}}, "UNKNOWN_FIELD", "update_mask")
	}
	b.refusedBy(&pb.UpdateScaleRequest{Scale: &pb.Scale{Name: harrow + "/scales/new", DisplayName: "new", Division: g(1)}}, "NOT_FOUND", "scale")
}

// TestUpdateWithAnEtag: AIP-154. A change to something that changed since it was
// read is refused; without an etag the fields are put onto what is there now.
func TestUpdateWithAnEtag(t *testing.T) {
	b := done(t)
	read := scale(b)
	do[proto.Message](b, &pb.UpdateScaleRequest{Scale: &pb.Scale{Name: floor, Capacity: g(99_000)}})
	b.refusedBy(&pb.UpdateScaleRequest{Scale: &pb.Scale{Name: floor, DisplayName: "x", Etag: read.GetEtag()}}, "CHANGED_MEANWHILE", "scale.etag")
	b.refusedBy(&pb.UpdateScaleRequest{Scale: &pb.Scale{Name: floor, DisplayName: "x", Etag: "yesterday"}}, "BAD_ETAG", "scale.etag")
	now := scale(b)
	if now.GetEtag() == read.GetEtag() {
		t.Error("the etag did not change")
	}
	ctx := metadata.AppendToOutgoingContext(context.Background(), ifMatch, read.GetEtag())
	_, err := pb.NewScaleServiceClient(b.conn).UpdateScale(ctx, &pb.UpdateScaleRequest{Scale: &pb.Scale{Name: floor, DisplayName: "x"}})
	if err == nil {
		t.Error("If-Match of an older version is passed over")
	} else if reason, _ := reasonOf(t, err); reason != "CHANGED_MEANWHILE" {
		t.Errorf("If-Match: %v", err)
	}
	got := do[*pb.UpdateScaleResponse](b, &pb.UpdateScaleRequest{Scale: &pb.Scale{Name: floor, DisplayName: "x", Etag: now.GetEtag()}}).GetScale()
	if got.GetDisplayName() != "x" || got.GetCapacity().GetMg() != 99_000_000 {
		t.Errorf("got %v", got)
	}
	nowhere := &pb.UpdatePlaceRequest{AllowMissing: true, Place: &pb.Place{Name: harrow + "/places/loft", DisplayName: "loft", Etag: now.GetEtag()}}
	b.refusedBy(nowhere, "CHANGED_MEANWHILE", "place.etag")
	if _, err := b.call(nowhere); err == nil || strings.Contains(err.Error(), "entry 0") {
		t.Errorf("an etag of what is not there: %v", err)
	}
	lot := do[*pb.GetLotResponse](b, &pb.GetLotRequest{Name: lotNames + "gating"}).GetLot()
	do[proto.Message](b, &pb.HoldLotRequest{Name: lot.GetName(), Why: "a look", Etag: lot.GetEtag()})
	b.refusedBy(&pb.ReleaseLotRequest{Name: lot.GetName(), Etag: lot.GetEtag()}, "CHANGED_MEANWHILE", "etag")
}

// TestAnAlloyOfTheTable is read but, until the shop says something of it, not changed:
// the refusal says so, and does not say that there is none.
func TestAnAlloyOfTheTable(t *testing.T) {
	b := done(t)
	change := &pb.UpdateAlloyRequest{Alloy: &pb.Alloy{Name: harrow + "/alloys/C95400", Own: &pb.OwnAlloy{Names: []string{"the yellow one"}}}}
	b.refusedBy(change, "NOT_FOUND", "alloy")
	if _, err := b.call(change); err == nil || !strings.Contains(err.Error(), "allow_missing") {
		t.Errorf("%v", err)
	}
	change.AllowMissing = true
	if got := do[*pb.UpdateAlloyResponse](b, change).GetAlloy().GetOwn().GetNames(); len(got) != 1 {
		t.Errorf("its names: %v", got)
	}
	change = &pb.UpdateAlloyRequest{Alloy: &pb.Alloy{Name: harrow + "/alloys/moonmetal", Own: &pb.OwnAlloy{Family: "none"}}}
	if _, err := b.call(change); err == nil || !strings.Contains(err.Error(), "in the book") {
		t.Errorf("%v", err)
	}
}

// TestARetryOfAnUpdateAfterOthers: the change of a few fields is recorded as a
// whole thing. A retry must be known for one although others changed the thing
// in between, and must not bring the old fields back.
func TestARetryOfAnUpdateAfterOthers(t *testing.T) {
	b := done(t)
	r := &pb.UpdateScaleRequest{Scale: &pb.Scale{Name: floor, DisplayName: "mine"}}
	first := do[*pb.UpdateScaleResponse](b, r)
	do[proto.Message](b, &pb.UpdateScaleRequest{Scale: &pb.Scale{Name: floor, DisplayName: "theirs", Capacity: g(99_000)}})
	head := b.head()
	again := do[*pb.UpdateScaleResponse](b, r)
	if again.GetEntry().GetName() != first.GetEntry().GetName() || b.head() != head {
		t.Errorf("the retry is entry %s of %d, want %s of %d", again.GetEntry().GetName(), b.head(), first.GetEntry().GetName(), head)
	}
	if diff := cmp.Diff(first.GetScale(), again.GetScale(), protocmp.Transform()); diff != "" {
		t.Errorf("the retry does not answer what it did first:\n%s", diff)
	}
	if s := scale(b); s.GetDisplayName() != "theirs" || s.GetCapacity().GetMg() != 99_000_000 {
		t.Errorf("after the retry: %v", s)
	}
	fresh := &pb.UpdatePlaceRequest{Place: &pb.Place{Name: harrow + "/places/shelf", DisplayName: "shelf"}, AllowMissing: true}
	do[proto.Message](b, fresh)
	do[proto.Message](b, &pb.UpdatePlaceRequest{Place: &pb.Place{Name: harrow + "/places/shelf", DisplayName: "long shelf"}})
	if e := do[*pb.UpdatePlaceResponse](b, fresh); e.GetPlace().GetDisplayName() != "shelf" {
		t.Errorf("the retry of an addition does not answer what it did first: %v", e)
	}
	mold := &pb.CreateMoldRequest{Parent: harrow + "/heats/42", MoldId: "extra", Mold: &pb.Mold{DisplayName: "extra"}}
	do[proto.Message](b, mold)
	do[proto.Message](b, mold) // a retry, not a second mold of this id
	b.refusedBy(&pb.CreateMoldRequest{Parent: harrow + "/heats/42", MoldId: "extra", Mold: &pb.Mold{}}, "ALREADY_EXISTS", "mold")
}

// TestWhatCannotBeChanged: AIP-203. The server's own fields in a request are
// passed over; a change of an immutable one is refused.
func TestWhatCannotBeChanged(t *testing.T) {
	b := done(t)
	heat42 := harrow + "/heats/42"
	got := do[*pb.UpdateHeatResponse](b, &pb.UpdateHeatRequest{UpdateMask: mask("state", "note", "in_molds"),
		Heat: &pb.Heat{Name: heat42, State: pb.Heat_STATE_SETTLED, Note: "cold day", InMolds: g(1)}}).GetHeat()
	if got.GetState() != pb.Heat_STATE_LATE || got.GetNote() != "cold day" || got.GetInMolds().GetMg() == 1000 || got.GetCharge().GetMg() != 6_000_000 {
		t.Errorf("got %v", got)
	}
	b.refusedBy(&pb.UpdateHeatRequest{Heat: &pb.Heat{Name: heat42, Owner: "iris"}}, "IMMUTABLE", "heat.owner")
	b.refusedBy(&pb.UpdateHeatRequest{Heat: &pb.Heat{Name: heat41, Note: "settled"}}, "HEAT_STATE", "heat")
	pot := do[*pb.GetPotResponse](b, &pb.GetPotRequest{Name: harrow + "/pots/A60"}).GetPot()
	if pot.GetHeats() != 13 { // 11 before the book, and two in it
		t.Errorf("heats of the pot: %d", pot.GetHeats())
	}
}

// TestRefusalsNameTheField: the path in the request, and what would be right.
func TestRefusalsNameTheField(t *testing.T) {
	b := done(t)
	w := func(change func(*pb.Weighing)) *pb.WeighInRequest {
		r := &pb.WeighInRequest{Parent: harrow, Alloy: alloyID, Weighing: onFloor(100)}
		change(r.Weighing)
		return r
	}
	for _, c := range []struct {
		r             proto.Message
		reason, field string
	}{
		{w(func(w *pb.Weighing) { w.Net = &pb.Mass{Text: "12,400"} }), "AMBIGUOUS_COMMA", "weighing.net"},
		{w(func(w *pb.Weighing) { w.Net = &pb.Mass{Text: "5 stone"} }), "UNKNOWN_UNIT", "weighing.net"},
		{w(func(w *pb.Weighing) { w.Net = g(-5) }), "NEGATIVE", "weighing.net"},
		{w(func(w *pb.Weighing) { w.Net = &pb.Mass{Text: "1 kg", Mg: 5} }), "CONTRADICTION", "weighing.net"},
		{w(func(w *pb.Weighing) { w.DirtPercent = "120" }), "TOO_LARGE", "weighing.dirt_percent"},
		{w(func(w *pb.Weighing) { w.Scale = "shops/other/scales/floor" }), "OTHER_SHOP", "weighing.scale"},
		{w(func(w *pb.Weighing) { w.Scale = harrow + "/places/rack" }), "BAD_NAME", "weighing.scale"},
		{w(func(w *pb.Weighing) { w.Scale = "gone" }), "NOT_FOUND", "weighing.scale"},
		{&pb.WeighInRequest{Parent: harrow, Weighing: onFloor(1)}, "REQUIRED", "alloy"},
		{&pb.WeighInRequest{Parent: harrow, Weighing: onFloor(1), Heats: []*pb.HeatShare{{Heat: "41", SharePercent: "half"}}}, "NOT_A_NUMBER", "heats[0].share_percent"},
		{&pb.UpdatePlaceRequest{Place: &pb.Place{Name: harrow + "/places/x"}, AllowMissing: true}, "REQUIRED", "place.display_name"},
		{&pb.UpdatePlaceRequest{Place: &pb.Place{Name: harrow + "/places/-x", DisplayName: "x"}, AllowMissing: true}, "BAD_ID", "place"},
		{&pb.UpdatePotRequest{Pot: &pb.Pot{Name: harrow + "/pots/A60", Volume: &pb.Volume{Text: "2 buckets"}}}, "UNKNOWN_UNIT", "pot.volume"},
		{&pb.UpdatePotRequest{Pot: &pb.Pot{Name: harrow + "/pots/A60", Lift: g(60_000)}}, "REQUIRED", "pot.empty_mass"},
		{&pb.UpdatePotRequest{Pot: &pb.Pot{Name: harrow + "/pots/A60", PigMolds: 3}}, "REQUIRED", "pot.pig_mold"},
		{&pb.UpdatePotRequest{Pot: &pb.Pot{Name: harrow + "/pots/A60", CoolingCelsius: "fast"}}, "NOT_A_NUMBER", "pot.cooling_celsius"},
		{&pb.UpdatePotRequest{Pot: &pb.Pot{Name: harrow + "/pots/A60", CoolingCelsius: "301"}}, "OUT_OF_RANGE", "pot.cooling_celsius"},
		{&pb.UpdatePotRequest{Pot: &pb.Pot{Name: harrow + "/pots/A60", FillPercent: "120"}}, "TOO_LARGE", "pot.fill_percent"},
		{&pb.UpdatePotRequest{Pot: &pb.Pot{Name: harrow + "/pots/A60", FillPercent: "0"}}, "OUT_OF_RANGE", "pot.fill_percent"},
		{&pb.CreateShopRequest{ShopId: "new", Shop: &pb.Shop{DisplayName: "x", TrappedPercent: "0"}}, "OUT_OF_RANGE", "shop.trapped_percent"},
		{&pb.UpdateScaleRequest{Scale: &pb.Scale{Name: floor, Capacity: &pb.Mass{Text: "much"}}}, "NOT_A_NUMBER", "scale.capacity"},
		{&pb.UpdateAlloyRequest{Alloy: &pb.Alloy{Name: harrow + "/alloys/HB1", Own: &pb.OwnAlloy{Density: 99}}}, "OUT_OF_RANGE", "alloy.own.density"},
		{&pb.UpdateAlloyRequest{Alloy: &pb.Alloy{Name: harrow + "/alloys/HB1", Own: &pb.OwnAlloy{PourTo: &pb.Temperature{Text: "hot"}}}}, "NOT_A_NUMBER", "alloy.own.pour_to"},
		{&pb.CreateShopRequest{ShopId: "harrow", Shop: &pb.Shop{DisplayName: "x"}}, "BOOK_ALREADY_OPEN", "shop"},
		{&pb.CreateShopRequest{ShopId: "new", Shop: &pb.Shop{DisplayName: "x", Currency: "XXX"}}, "UNKNOWN_CURRENCY", "shop.currency"},
		{&pb.CreateHeatRequest{Parent: harrow, Heat: &pb.Heat{Alloy: "moon rock"}}, "UNKNOWN_ALLOY", "heat.alloy"},
		{&pb.CreateHeatRequest{Parent: harrow, Heat: &pb.Heat{Alloy: alloyID}, Molds: []*pb.Mold{{Metal: g(-1)}}}, "NEGATIVE", "molds[0].metal"},
		{&pb.CreateMoldRequest{Parent: harrow + "/heats/42", Mold: &pb.Mold{Gating: g(-1)}}, "NEGATIVE", "mold.gating"},
		{&pb.ReadTemperatureRequest{Name: harrow + "/heats/42", Temperature: &pb.Temperature{Text: "-300 C"}}, "BELOW_ABSOLUTE_ZERO", "temperature"},
		{&pb.ReadTemperatureRequest{Name: harrow + "/heats/42", Temperature: &pb.Temperature{Text: "20 C", MilliCelsius: 7}}, "CONTRADICTION", "temperature"},
		{&pb.CreateStocktakeRequest{Parent: harrow, Stocktake: &pb.Stocktake{Lines: []*pb.StocktakeLine{{Lot: "gating"}}}}, "REQUIRED", "stocktake.lines[0].weighing"},
		{&pb.CreateStocktakeRequest{Parent: harrow, Stocktake: &pb.Stocktake{Lines: []*pb.StocktakeLine{{Lot: "nothing", Weighing: onFloor(1)}}}}, "NOT_FOUND", "stocktake.lines[0].lot"},
		{&pb.ChargeHeatRequest{Name: harrow + "/heats/42", Items: []*pb.ChargeItem{{Lot: "gating", Mass: g(1), Weighing: onFloor(1)}}}, "CONTRADICTION", "items[0].mass"},
		{&pb.ChargeHeatRequest{Name: harrow + "/heats/42", Items: []*pb.ChargeItem{{Lot: "gating", Mass: g(99_000)}}}, "NEEDS_REASON", "reason"},
		{&pb.ReverseEntryRequest{Name: harrow + "/entries/1"}, "NEEDS_REASON", "reason"},
		{&pb.HoldLotRequest{Name: lotNames + "gating"}, "REQUIRED", "why"},
		{&pb.HoldLotRequest{Name: lotNames + "gating", Why: "x", HappenedTime: day(90_000)}, "BAD_DATE", "happened_time"},
		{&pb.HoldLotRequest{Name: lotNames + "gating", Why: "x", Who: string(make([]byte, 300))}, "TOO_LONG", "who"},
		{&pb.GetPeriodBalanceRequest{Name: harrow + "/periodBalance", StartTime: day(3), EndTime: day(3)}, "BAD_PERIOD", "end_time"},
		{&pb.EstimateMetalRequest{Parent: harrow, Alloy: alloyID}, "BAD_PATTERN", "wax"},
		{&pb.CheckMixRequest{Parent: harrow, Into: alloyID, From: "moon rock"}, "UNKNOWN_ALLOY", "from"},
	} {
		head := b.head()
		b.refusedBy(c.r, c.reason, c.field)
		if b.head() != head {
			t.Errorf("%v was refused and recorded", c.r)
		}
	}
}

// TestMassesBothWays: text in the shop's unit, milligrams exactly, and what was
// typed kept. 1 lb is 0.45359237 kg exactly (NIST SP 811, Appendix B.8).
func TestMassesBothWays(t *testing.T) {
	b := done(t)
	do[proto.Message](b, &pb.UpdateShopRequest{Shop: &pb.Shop{Name: harrow, MassUnit: "lb", TemperatureUnit: "F"}})
	got := do[*pb.ReceiveLotResponse](b, &pb.ReceiveLotRequest{Parent: harrow, Supplier: "northmetal", Alloy: alloyID,
		Weighing: &pb.Weighing{Net: &pb.Mass{Text: "12 lb 6 oz"}}, Price: "4.85 USD/lb"})
	if m := got.GetLot().GetMass(); m.GetMg() != 5_613_206 || m.GetText() != "12.38 lb" { // 12.375 lb, half to even
		t.Errorf("mass %v", m)
	}
	if w := got.GetEntry().GetWeighings()[0].GetNet(); w.GetTyped() != "12 lb 6 oz" {
		t.Errorf("weighing %v", w)
	}
	if p := got.GetLot().GetPrice(); p.GetMoney().GetMinor() != 6002 || p.GetMoney().GetText() != "60.02 USD" || p.GetTyped() != "4.85 USD/lb" { // 12.375 × 4.85 = 60.01875
		t.Errorf("price %v", p)
	}
	bare := do[*pb.ReceiveLotResponse](b, &pb.ReceiveLotRequest{Parent: harrow, Supplier: "northmetal", Alloy: alloyID, Weighing: &pb.Weighing{Net: &pb.Mass{Text: "10"}}})
	if m := bare.GetLot().GetMass(); m.GetMg() != 4_535_924 { // 4 535 923.7
		t.Errorf("a bare number: %v", m)
	}
	r := do[*pb.ReadTemperatureResponse](b, &pb.ReadTemperatureRequest{Name: harrow + "/heats/42", Temperature: &pb.Temperature{Text: "2100"}}).GetReading()
	if r.GetTemperature().GetMilliCelsius() != 1_148_889 || r.GetTemperature().GetText() != "2100" { // (2100 − 32) × 5/9 = 1148.889
		t.Errorf("reading %v", r)
	}
	exact := do[*pb.ReadTemperatureResponse](b, &pb.ReadTemperatureRequest{Name: harrow + "/heats/42", Temperature: &pb.Temperature{MilliCelsius: 1_148_889}}).GetReading()
	if exact.GetTemperature().GetMilliCelsius() != 1_148_889 {
		t.Errorf("thousandths of a degree: %v", exact)
	}
}

// TestAlloysTellTheirSources: nothing is said of an alloy without where it is from.
func TestAlloysTellTheirSources(t *testing.T) {
	b := done(t)
	for _, a := range do[*pb.ListAlloysResponse](b, &pb.ListAlloysRequest{Parent: harrow, PageSize: 1000}).GetAlloys() {
		used := map[string]int{}
		for _, f := range a.GetFigures() {
			if f.GetSource() == "" || f.GetProvenance() == pb.Provenance_PROVENANCE_UNSPECIFIED || f.GetUnit() == "" {
				t.Errorf("%s: %v", a.GetName(), f)
			}
			used[f.GetProperty()] += map[bool]int{true: 1}[f.GetUsed()]
		}
		for p, n := range used {
			if n != 1 {
				t.Errorf("%s: %d figures of %s are used", a.GetName(), n, p)
			}
		}
		for _, s := range a.GetLimitSets() {
			for _, l := range s.GetLimits() {
				if l.GetText() == "" || l.GetProvenance() == pb.Provenance_PROVENANCE_UNSPECIFIED {
					t.Errorf("%s: %v", s.GetId(), l)
				}
			}
		}
	}
	own := do[*pb.GetAlloyResponse](b, &pb.GetAlloyRequest{Name: harrow + "/alloys/HB1"}).GetAlloy().GetOwn()
	if own.GetDensity() != 8.7 || own.GetPourFrom().GetText() != "1120 °C" || own.GetLimits()[0].GetMaxPercent() != "22" || !own.GetLimits()[1].GetRemainder() {
		t.Errorf("own: %v", own)
	}
	mix := do[*pb.CheckMixResponse](b, &pb.CheckMixRequest{Parent: harrow, Into: alloyID, From: "C83600"})
	if mix.GetOk() || mix.GetTypical().GetSharePercent() <= 0 || mix.GetWhy() == "" {
		t.Errorf("leaded red brass into silicon bronze: %v", mix)
	}
	heat := do[*pb.GetHeatResponse](b, &pb.GetHeatRequest{Name: heat41}).GetHeat()
	if len(heat.GetCautions()) == 0 {
		t.Error("a heat without cautions")
	}
}
