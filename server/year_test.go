package server

import (
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
)

const (
	harrow   = "shops/harrow"
	heat41   = harrow + "/heats/41"
	herons   = harrow + "/commissions/herons"
	floor    = harrow + "/scales/floor"
	jo       = harrow + "/people/jo"
	alloyID  = "C87300"
	unknown  = "unknown"
	lotNames = harrow + "/lots/"
)

// work is a shop's first weeks through the API: every method that writes, at
// least once, each in a state in which it is possible. The heat in it is the
// worked heat of the design, to the gram; what goes beyond it happens in lots
// and heats of their own. Lots are numbered as they are made.
func work() []proto.Message {
	setUp := []proto.Message{
		&pb.CreateShopRequest{ShopId: "harrow", Shop: &pb.Shop{DisplayName: "Harrow Lane Foundry", MassUnit: "g", Currency: "USD"}},
		&pb.UpdateShopRequest{Shop: &pb.Shop{Name: harrow, TrappedPercent: "50", TrappedSpanPercent: "20", TimeZone: "Europe/Dublin"}},
		&pb.UpdatePlaceRequest{Place: &pb.Place{Name: harrow + "/places/rack", DisplayName: "ingot rack"}, AllowMissing: true},
		&pb.UpdatePlaceRequest{Place: &pb.Place{Name: harrow + "/places/bin", DisplayName: "returns bin"}, AllowMissing: true},
		&pb.UpdateScaleRequest{AllowMissing: true, Scale: &pb.Scale{Name: floor, DisplayName: "floor scale", Division: &pb.Mass{Text: "10 g"},
			AccuracyClass: pb.AccuracyClass_ACCURACY_CLASS_III, Rule: pb.ScaleRule_SCALE_RULE_OIML_R76, CheckTime: day(-30),
			CheckLoad: g(20_000), CheckError: &pb.Mass{Text: "-5 g"}, CheckUncertainty: g(1), Capacity: &pb.Mass{Text: "150 kg"}}},
		&pb.UpdateTareRequest{AllowMissing: true, Tare: &pb.Tare{Name: harrow + "/tares/pan", DisplayName: "skimmings pan", Mass: &pb.Mass{Text: "1.2 kg"}}},
		&pb.UpdatePartyRequest{AllowMissing: true, Party: &pb.Party{Name: harrow + "/parties/northmetal", DisplayName: "North Metal", Roles: []pb.Role{pb.Role_ROLE_SUPPLIER}}},
		&pb.UpdatePartyRequest{AllowMissing: true, Party: &pb.Party{Name: harrow + "/parties/iris", DisplayName: "Iris Vale", Roles: []pb.Role{pb.Role_ROLE_CUSTOMER}}},
		&pb.UpdatePartyRequest{AllowMissing: true, Party: &pb.Party{Name: harrow + "/parties/jo", DisplayName: "Jo Marsh", Roles: []pb.Role{pb.Role_ROLE_MELTER}}},
		&pb.UpdatePotRequest{AllowMissing: true, Pot: &pb.Pot{Name: harrow + "/pots/A60", DisplayName: "no. 60", Kind: pb.PotKind_POT_KIND_CRUCIBLE,
			Family: "silicon bronze", Volume: &pb.Volume{Text: "10 l"}, Heats: 11, LifeHeats: 60, Price: "240.00 USD"}},
		&pb.UpdateSupplyRequest{AllowMissing: true, Supply: &pb.Supply{Name: harrow + "/supplies/borax", DisplayName: "anhydrous borax", Purpose: "flux",
			OrderBelow: &pb.Mass{Text: "500 g"}}},
		&pb.UpdateSupplyRequest{AllowMissing: true, Supply: &pb.Supply{Name: harrow + "/supplies/tablets", DisplayName: "degassing tablets", Purpose: "degasser",
			InPieces: true, OrderBelowPieces: 4}},
		&pb.UpdateAlloyRequest{AllowMissing: true, Alloy: &pb.Alloy{Name: harrow + "/alloys/HB1", Own: &pb.OwnAlloy{Names: []string{"old bell"}, Family: "tin bronze",
			Density: 8.7, PourFrom: &pb.Temperature{Text: "1120 C"}, Limits: []*pb.OwnLimit{{Element: "Sn", MinPercent: "18", MaxPercent: "22"}, {Element: "Cu", Remainder: true}}}}},
		&pb.CreateOfferRequest{Parent: harrow, Offer: &pb.Offer{Party: "northmetal", Alloy: alloyID, Piece: g(10_000), BundlePieces: 4, LeadDays: new(int32(7)), FromDay: "2026-01-02",
			Breaks: []*pb.OfferBreak{{Price: "9.20 USD/kg"}, {From: &pb.Mass{Text: "200 kg"}, Price: "8.90 USD/kg"}}, Freight: "40.00 USD"}},
		&pb.CreateOfferRequest{Parent: harrow, OfferId: "tab-1", Offer: &pb.Offer{Party: harrow + "/parties/northmetal", Supply: "tablets", LeastPieces: 10, BundlePieces: 10,
			Breaks: []*pb.OfferBreak{{Price: "1.10 USD/pc"}}, UntilDay: "2199-12-31"}},
		&pb.CreateOfferRequest{Parent: harrow, Offer: &pb.Offer{Party: "iris", Buys: true, Alloy: alloyID, Form: pb.Form_FORM_SKIMMINGS, Breaks: []*pb.OfferBreak{{Price: "0.80 USD/kg"}}}},
		&pb.WithdrawOfferRequest{Name: harrow + "/offers/tab-1"},
		&pb.ImportMarketPricesRequest{Parent: harrow, Prices: []*pb.MarketPrice{{Metal: "copper", Day: "2026-03-01", Price: "9.71 USD/kg"}, {Metal: "Cu", Day: "2026-03-02", Price: "9.75 USD/kg"},
			{Metal: alloyID, Day: "2026-03-02", Price: "8.10 EUR/kg at 1.0832 USD/EUR"}}},
		&pb.ReceiveSupplyRequest{Name: harrow + "/supplies/borax", Amount: g(1000), Supplier: "northmetal", Price: "12.50 USD"},
		&pb.ReceiveSupplyRequest{Name: harrow + "/supplies/tablets", Pieces: 10},
		&pb.UseSupplyRequest{Name: harrow + "/supplies/tablets", Pieces: 2, For: "a damp batch"},
		&pb.CountSupplyRequest{Name: harrow + "/supplies/tablets", Pieces: 7},
		&pb.UpdatePersonRequest{AllowMissing: true, Person: &pb.Person{Name: jo, DisplayName: "Jo Marsh", Duty: pb.Duty_DUTY_MANAGE}},
		&pb.InvitePersonRequest{Name: jo},
		&pb.PairDeviceRequest{Name: jo, DisplayName: "phone by the floor scale"},
		&pb.CreateTokenRequest{Parent: jo, Token: &pb.Token{DisplayName: "the accountant's sheet", Duty: pb.Duty_DUTY_READ}},
		&pb.RevokeTokenRequest{Name: jo + "/tokens/1"},
	}
	worked := []proto.Message{
		&pb.ReceiveLotRequest{Parent: harrow, LotId: "ingots", Supplier: "northmetal", Alloy: alloyID, Place: "rack", Weighing: pieces(30_000, 3), Price: "9.20 USD/kg",
			Certificate: &pb.Certificate{Number: "NM-118", Method: "certificate", IssueTime: day(-60), Elements: []*pb.Element{
				{Symbol: "Cu", Percent: "94.6", SdPercent: "0.2"}, {Symbol: "Si", Percent: "4.1"}, {Symbol: "Mn", Percent: "1.05"}}}},
		&pb.ReceiveLotRequest{Parent: harrow, LotId: "cups", Customer: "iris", Alloy: alloyID, Form: pb.Form_FORM_CUP, Weighing: onFloor(14_620)},
		&pb.ReceiveLotRequest{Parent: harrow, LotId: "pigs", Supplier: "northmetal", Alloy: alloyID, Form: pb.Form_FORM_PIG, Weighing: pieces(15_380, 2)},
		&pb.CreateHeatRequest{Parent: harrow, HeatId: "41", Heat: &pb.Heat{Alloy: alloyID, Crucible: "A60", Note: "herons"},
			Molds: []*pb.Mold{{DisplayName: "heron left", Customer: "iris", Commission: "herons", Wax: g(1_100), Metal: g(11_000), Gating: g(9_000)},
				{DisplayName: "heron right", Metal: g(9_300), Gating: g(9_000)}, {DisplayName: "plaque", Volume: &pb.Volume{Text: "500 ml"}, Metal: g(4_400)}}},
		&pb.CreateMoldRequest{Parent: heat41, Mold: &pb.Mold{DisplayName: "base"}},
		&pb.UpdateMoldRequest{Mold: &pb.Mold{Name: heat41 + "/molds/41-4", Metal: g(2_800), How: "by eye"}},
		&pb.UpdateHeatRequest{Heat: &pb.Heat{Name: heat41, Melter: "jo", PlannedTime: day(0)}},
		&pb.SpeakForRequest{Name: lotNames + "ingots", For: "41", Mass: g(30_000)},
		&pb.OpenHeatRequest{Name: heat41},
		&pb.ChargeHeatRequest{Name: heat41, Items: []*pb.ChargeItem{{Lot: "ingots"}, {Lot: lotNames + "cups"}, {Lot: "pigs"}}},
		&pb.AddToHeatRequest{Name: heat41, Supply: "borax", Amount: g(200)},
		&pb.AddToHeatRequest{Name: heat41, Supply: "tablets", Pieces: 1},
		&pb.ReadTemperatureRequest{Name: heat41, Temperature: &pb.Temperature{Text: "2050 F"}, What: "melt"},
		&pb.SkimHeatRequest{Name: heat41, Weighing: &pb.Weighing{Scale: floor, Gross: g(2_350), SavedTare: "pan"}, Added: g(200), MetalInOxidePercent: "80"}, // L4
		&pb.SpillHeatRequest{Name: heat41, Weighing: onFloor(240)},                                                                                           // L5
		&pb.PourOffRequest{Name: heat41, LotId: "pigs41", Weighing: pieces(6_300, 2)},
		&pb.PourMoldRequest{Name: heat41, Mold: "41-1", Amount: g(20_000), Weighed: true},
		&pb.PourMoldRequest{Name: heat41, Mold: heat41 + "/molds/41-2"},
		&pb.PourMoldRequest{Name: heat41, Mold: "41-3"},
		&pb.PourMoldRequest{Name: heat41, Mold: "41-4", State: pb.Mold_STATE_SHORT},
		&pb.FinishPourRequest{Name: heat41},
		weighCasting("41-1", 11_060), weighCasting("41-2", 9_240), weighCasting("41-3", 4_310), weighCasting("41-4", 2_800),
		&pb.WeighInRequest{Parent: harrow, LotId: "gating", Heats: []*pb.HeatShare{{Heat: "41"}}, Dirty: true,
			Weighing: &pb.Weighing{Scale: "floor", Net: g(25_300), DirtPercent: "2"}},
		&pb.CleanLotRequest{Name: lotNames + "gating", Weighing: onFloor(24_790), Place: "bin"},
		&pb.WriteOffMetalRequest{Name: heat41, Cause: pb.LossCause_LOSS_CAUSE_KERF, Weighing: onFloor(120)},
		&pb.SettleHeatRequest{Name: heat41},
	}
	for _, r := range worked { // the cups are Iris's, so melting them with the shop's metal asks why
		if c, ok := r.(*pb.ChargeHeatRequest); ok {
			c.Reason = "Iris agreed"
		}
	}
	return append(append(setUp, worked...), beyond()...)
}

func weighCasting(mold string, grams int64) proto.Message {
	return &pb.WeighCastingRequest{Parent: harrow, Heat: "41", Mold: mold, Stage: pb.Stage_STAGE_CUT_OFF, Weighing: onFloor(grams)}
}

// beyond is what the worked heat does not need.
func beyond() []proto.Message {
	heat42, heat43 := harrow+"/heats/42", harrow+"/heats/43"
	return []proto.Message{
		&pb.SplitLotRequest{Name: lotNames + "pigs41", Parts: []*pb.LotPart{{LotId: "pig1", Weighing: pieces(3_100, 1), Place: "rack"}, {LotId: "pig2", Weighing: pieces(3_200, 1)}}},
		&pb.CombineLotsRequest{Parent: harrow, Lots: []string{"pig1", lotNames + "pig2"}, Into: "pig2", Label: "two pigs"},
		&pb.MoveLotRequest{Name: lotNames + "pig2", Place: harrow + "/places/bin"},
		&pb.HoldLotRequest{Name: lotNames + "pig2", Why: "looks odd"},
		&pb.ReleaseLotRequest{Name: lotNames + "pig2"},
		&pb.WeighInRequest{Parent: harrow, LotId: "found", Alloy: unknown, Form: pb.Form_FORM_RISER, Weighing: onFloor(900)},
		&pb.IdentifyLotRequest{Name: lotNames + "found", Alloy: "C87300", Certificate: &pb.Certificate{Method: "xrf", Elements: []*pb.Element{{Symbol: "Si", Percent: "3.9"}}}},
		&pb.AssignLotRequest{Name: lotNames + "found", Heats: []*pb.HeatShare{{Heat: heat41}}, Reason: "the mark on it"},
		&pb.RemoveLotRequest{Name: lotNames + "found", How: pb.Removal_REMOVAL_SOLD, Mass: g(400), To: "a neighbour", For: "3.00 USD"},
		&pb.WorkUpLotRequest{Name: lotNames + ledger.LotID(4), Recovered: onFloor(390)},
		&pb.CreateHeatRequest{Parent: harrow, HeatId: "42", Heat: &pb.Heat{Alloy: alloyID, Crucible: "A60", Charge: &pb.Mass{Text: "6 kg"}}},
		&pb.OpenHeatRequest{Name: heat42},
		&pb.ChargeHeatRequest{Name: heat42, Items: []*pb.ChargeItem{{Lot: "pig2", Weighing: pieces(6_000, 2)}}},
		&pb.GiveMetalRequest{Name: heat42, To: "a visitor", Amount: g(700)},
		&pb.SpillHeatRequest{Name: heat42, Lost: g(50)},
		&pb.FinishPourRequest{Name: heat42, Heel: g(500)},
		&pb.WeighCastingRequest{Parent: harrow, Casting: "bird", Heat: "42", Stage: pb.Stage_STAGE_AS_CAST, DisplayName: "bird", Weighing: onFloor(2_000)},
		&pb.WeighCastingRequest{Parent: harrow, Casting: harrow + "/castings/bird", Stage: pb.Stage_STAGE_CUT_OFF, Weighing: onFloor(1_700)},
		&pb.BreakUpCastingRequest{Name: harrow + "/castings/bird", Weighing: pieces(1_690, 4), Place: "bin"},
		&pb.ShipCastingRequest{Name: harrow + "/castings/C1", To: "iris"},
		&pb.CreateHeatRequest{Parent: harrow, HeatId: "43", Heat: &pb.Heat{Alloy: "HB1", PlannedTime: timestamppb.New(day(40).AsTime())}},
		&pb.DropHeatRequest{Name: heat43},
		&pb.CreateHeatRequest{Parent: harrow, HeatId: "44", Heat: &pb.Heat{Alloy: alloyID, Crucible: "A60"},
			Molds: []*pb.Mold{{DisplayName: "hare", Metal: g(6_000), Gating: g(5_000)}, {DisplayName: "leaf", Metal: g(900), Gating: g(1_100)}}},
		&pb.CreateStocktakeRequest{Parent: harrow, Stocktake: &pb.Stocktake{Place: "bin", Lines: []*pb.StocktakeLine{
			{Lot: "gating", Weighing: onFloor(24_780)}, {Lot: "found", Weighing: &pb.Weighing{Net: &pb.Mass{Text: "0 kg"}}}}}},
		&pb.PourOffRequest{Name: heat42, LotId: "wrong", Weighing: onFloor(100)},
		&pb.ReverseEntryRequest{Name: harrow + "/entries/" + lastEntry, Reason: "it was heat 43's"},
		&pb.BurnFuelRequest{Parent: harrow, Heats: []string{heat41}, Fuel: "propane", Amount: "14.2 lb", Price: "0.95 USD/lb"},
		&pb.SetCostingRequest{Parent: harrow, Costing: &pb.Costing{FromTime: day(0), Method: pb.Costing_METHOD_MOVING_AVERAGE,
			Recovered: []*pb.AlloyPrice{{Alloy: alloyID, Price: "6.80 USD/kg"}}, NormalLosses: []*pb.NormalLoss{{Alloy: alloyID, Percent: "1.5"}},
			Wear: []*pb.CrucibleWear{{Pot: "A60", Price: "4.20 USD"}}}},
		&pb.ClosePeriodRequest{Parent: harrow, StartTime: day(-40), EndTime: day(-10)},
		&pb.CreatePurchaseOrderRequest{Parent: harrow, PurchaseOrder: &pb.PurchaseOrder{Supplier: "northmetal", Lines: []*pb.PurchaseLine{
			{Alloy: "C83600", Pieces: 4, Each: &pb.Mass{Text: "10 kg"}, LeastPieces: 2, Price: "9.20 USD/kg"}, {Supply: "tablets", Pieces: 20, Price: "0.85 USD/pc"}}}},
		&pb.UpdatePurchaseOrderRequest{PurchaseOrder: &pb.PurchaseOrder{Name: harrow + "/purchaseOrders/1", Freight: "18 EUR at 1.0832 USD/EUR", Note: "by the back door"}},
		&pb.PlacePurchaseOrderRequest{Name: harrow + "/purchaseOrders/1", ExpectedTime: day(50)},
		&pb.ReceivePurchaseOrderRequest{Name: harrow + "/purchaseOrders/1", Lines: []*pb.DeliveredLine{
			{Line: 1, LotId: "ordered", Place: "rack", Weighing: pieces(40_200, 4), Certificate: &pb.Certificate{Number: "NM-131"}}, {Line: 2, Weighing: &pb.Weighing{Pieces: 20}}}},
		&pb.CreatePurchaseOrderRequest{Parent: harrow, PurchaseOrder: &pb.PurchaseOrder{Supplier: harrow + "/parties/northmetal", Lines: []*pb.PurchaseLine{
			{Alloy: harrow + "/alloys/" + alloyID, Form: pb.Form_FORM_BOUGHT_SCRAP, Mass: g(50_000), Least: g(20_000)}}}},
		&pb.GiveUpPurchaseOrderRequest{Name: harrow + "/purchaseOrders/2", Why: "found some here"},
		&pb.SetRateCardRequest{Parent: harrow, RateCard: &pb.RateCard{FromTime: day(-30), OverheadPercent: "60", MarginPercent: "25", MoldPrice: "12..14..20 USD",
			Work: []*pb.WorkRate{{Kind: "molding", HourPrice: "38 USD", Again: true}, {Kind: "chasing", HourPrice: "42 USD"}}}},
		&pb.UpdateCommissionRequest{AllowMissing: true, Commission: &pb.Commission{Name: herons, DisplayName: "Two herons", Customer: "iris",
			Patterns: []*pb.CommissionPattern{{DisplayName: "heron", Alloy: alloyID, Copies: 2, Metal: "10..11..12.5 kg"}, {DisplayName: "base", Alloy: "C87300", Wax: "400 g", Gating: "2 kg"}}}},
		&pb.MakeQuoteRequest{Parent: herons, Hours: []*pb.NamedFigure{{What: "molding", Figure: "10..14..22 h"}}, BoughtIn: []*pb.NamedFigure{{What: "welding rod", Figure: "20..40 USD"}}},
		&pb.RecordLabourRequest{Parent: herons, Labour: &pb.Labour{Kind: "molding", Person: "iris", Hours: "3 h 30 min"}},
		&pb.BuyInRequest{Parent: herons, BoughtIn: &pb.BoughtIn{What: "welding rod", Price: "31 USD"}},
		&pb.ImportLotsRequest{Parent: harrow, Rows: []*pb.ImportRow{{Row: &pb.ImportRow_Receive{Receive: &pb.ReceiveLotRequest{LotId: "listed", Supplier: "northmetal", Alloy: "C83600",
			Place: "rack", Weighing: onFloor(8_000), Price: "9.20 USD/kg"}}}}},
	}
}

// lastEntry stands for the number of the entry before.
const lastEntry = "LAST"
