package server

import (
	"fmt"
	"strings"

	"example.org/remelt/ledger"
	"example.org/remelt/server/signin"
)

// recordedBy are the methods that record each kind of entry. Who takes one back must be
// allowed to call them; of several, the one that needs the most counts. A kind that is not
// here is taken back by who manages the shop.
var recordedBy = map[ledger.Kind]string{
	ledger.KindOpenBook: "ShopService/CreateShop",
	ledger.KindReverse:  "EntryService/ReverseEntry",

	ledger.KindReceive: "LotService/ReceiveLot", ledger.KindWeighIn: "LotService/WeighIn", ledger.KindClean: "LotService/CleanLot",
	ledger.KindHold: "LotService/HoldLot", ledger.KindRelease: "LotService/ReleaseLot", ledger.KindMove: "LotService/MoveLot",
	ledger.KindSpeakFor: "LotService/SpeakFor", ledger.KindAssign: "LotService/AssignLot", ledger.KindIdentify: "LotService/IdentifyLot",
	ledger.KindSplit: "LotService/SplitLot", ledger.KindCombine: "LotService/CombineLots", ledger.KindRemove: "LotService/RemoveLot",
	ledger.KindWorkUp: "LotService/WorkUpLot", ledger.KindStocktake: "StocktakeService/CreateStocktake",

	ledger.KindPlanHeat: "HeatService/CreateHeat", ledger.KindChangeHeat: "HeatService/UpdateHeat", ledger.KindSetMold: "MoldService/CreateMold MoldService/UpdateMold",
	ledger.KindOpenHeat: "HeatService/OpenHeat", ledger.KindDropHeat: "HeatService/DropHeat", ledger.KindSettle: "HeatService/SettleHeat",
	ledger.KindCharge: "HeatService/ChargeHeat", ledger.KindAdd: "HeatService/AddToHeat", ledger.KindTemperature: "HeatService/ReadTemperature",
	ledger.KindSkim: "HeatService/SkimHeat", ledger.KindSpill: "HeatService/SpillHeat", ledger.KindPigs: "HeatService/PourOff",
	ledger.KindPour: "HeatService/PourMold", ledger.KindFinishPour: "HeatService/FinishPour", ledger.KindGive: "HeatService/GiveMetal",
	ledger.KindWriteOff: "HeatService/WriteOffMetal", ledger.KindFuel: "HeatService/BurnFuel",

	ledger.KindWeighCasting: "CastingService/WeighCasting", ledger.KindBreakUp: "CastingService/BreakUpCasting", ledger.KindShipCasting: "CastingService/ShipCasting",

	ledger.KindReceiveSupply: "SupplyService/ReceiveSupply", ledger.KindUseSupply: "SupplyService/UseSupply", ledger.KindCountSupply: "SupplyService/CountSupply",

	ledger.KindWriteOrder: "PurchaseOrderService/CreatePurchaseOrder", ledger.KindChangeOrder: "PurchaseOrderService/UpdatePurchaseOrder",
	ledger.KindPlaceOrder: "PurchaseOrderService/PlacePurchaseOrder", ledger.KindReceiveOrder: "PurchaseOrderService/ReceivePurchaseOrder",
	ledger.KindGiveUpOrder: "PurchaseOrderService/GiveUpPurchaseOrder",

	ledger.KindOffer: "OfferService/CreateOffer", ledger.KindWithdrawOffer: "OfferService/WithdrawOffer", ledger.KindMarketPrices: "MarketPriceService/ImportMarketPrices",
	ledger.KindSetCosting: "CostService/SetCosting", ledger.KindClosePeriod: "CostService/ClosePeriod",

	ledger.KindSetCommission: "CommissionService/UpdateCommission", ledger.KindSetRates: "CommissionService/SetRateCard", ledger.KindQuote: "QuoteService/MakeQuote",
	ledger.KindLabour: "CommissionService/RecordLabour", ledger.KindBuyIn: "CommissionService/BuyIn",
}

// setBy says the same of entries that set something up, by what.
var setBy = map[ledger.RecordKind]string{
	ledger.RecShop: "ShopService/UpdateShop", ledger.RecPlace: "PlaceService/UpdatePlace", ledger.RecScale: "ScaleService/UpdateScale",
	ledger.RecTare: "TareService/UpdateTare", ledger.RecParty: "PartyService/UpdateParty", ledger.RecAlloy: "AlloyService/UpdateAlloy",
	ledger.RecPot: "PotService/UpdatePot", ledger.RecSupply: "SupplyService/UpdateSupply",
	ledger.RecPerson: "PersonService/UpdatePerson", ledger.RecToken: "PersonService/CreateToken PersonService/RevokeToken",
}

// toRecord is the least that somebody must be allowed to do to have recorded an entry of a
// kind that wrote some records.
func toRecord(kind ledger.Kind, records []ledger.Record) ledger.Duty {
	methods := recordedBy[kind]
	if kind == ledger.KindSetUp {
		for _, r := range records {
			if setBy[r.Kind] == "" {
				return ledger.MayManage
			}
			methods += " " + setBy[r.Kind]
		}
	}
	least := ledger.Duty("")
	for _, m := range strings.Fields(methods) {
		if need := methodRules["/remelt.v1."+m]; need.Covers(least) || least == "" {
			least = need
		}
	}
	if least == "" {
		return ledger.MayManage
	}
	return least
}

// wouldTakeBack says whether somebody, or nobody where nobody signs in, would be let to take
// back an entry of a kind that somebody recorded. Pages ask before they offer a button.
func (a *admission) wouldTakeBack(c *signin.Caller, kind ledger.Kind, who string) bool {
	if allowed, known := a.wouldMay(c, "EntryService/ReverseEntry"); !allowed || !known {
		return false
	}
	return c == nil || c.Person == "" || mayTakeBack(*c, "", "", &ledger.Entry{Kind: kind, Who: who}) == nil
}

// mayTakeBack refuses who may not record what an entry says, and of somebody else's
// entries who only weighs in.
func mayTakeBack(c signin.Caller, field, name string, e *ledger.Entry) error {
	if least := toRecord(e.Kind, e.Records); !c.Duty.Covers(least) {
		return &ledger.Error{Class: ledger.ErrDenied, Reason: "NOT_ALLOWED", Field: "duty", Value: string(c.Duty),
			Want: fmt.Sprintf("to take back a %s entry needs %s, as to record one does; ask who manages the shop", e.Kind, least)}
	}
	if !c.Duty.Covers(ledger.MayRun) && e.Who != c.Person {
		return &ledger.Error{Class: ledger.ErrDenied, Reason: "NOT_YOURS", Field: field, Value: name,
			Want: "to take back what somebody else recorded needs " + string(ledger.MayRun)}
	}
	return nil
}
