package server

import (
	"strings"

	"example.org/remelt/ledger"
)

// anyone is the rule of what needs no sign-in.
const anyone ledger.Duty = "anyone"

// methodRules says the least that somebody must be allowed to do to call each
// method of the API. A method that is not here is refused to everybody. Within a
// shop that nobody signs in to, everything is allowed.
var methodRules = rulesOf(map[ledger.Duty]string{
	ledger.MayRead: `
		AlloyService: GetAlloy ListAlloys CheckMix
		AnalysisService: ReconcileWeighings GetLosses CheckLossForecasts ForecastLoss TraceBack TraceForward GetContent ForecastRemelts EstimateMeltEnergy
		BalanceService: GetHeatBalance GetPeriodBalance
		CastingService: GetCasting ListCastings
		CommissionService: GetCommission ListCommissions ListRateCards ListLabours ListBoughtIns GetCommissionCost GetChargeBack
		CostService: GetHeatCost GetStockValue GetLotCost GetCastingCost GetCostStatement ListCostings
		EntryService: GetEntry ListEntries ListHistory WatchEntries
		HeatService: GetHeat ListHeats ListReadings ListAdditions ListFuel
		LotService: GetLot ListLots
		MarketPriceService: GetMarketPrice FindMarketPrice ListMarketPrices
		MoldService: GetMold ListMolds EstimateMetal
		OfferService: GetOffer ListOffers
		OrderingService: AdviseOrders
		PartyService: GetParty ListParties
		PlaceService: GetPlace ListPlaces
		PlanningService: PlanCharge ArrangeHeats
		PotService: GetPot ListPots
		PurchaseOrderService: GetPurchaseOrder ListPurchaseOrders
		QuoteService: GetQuote ListQuotes
		ScaleService: GetScale ListScales
		ShopService: GetShop ListShops VerifyShop GetCheckpoint
		StockService: GetStock
		StocktakeService: GetStocktake ListStocktakes
		SupplyService: GetSupply ListSupplies
		TareService: GetTare ListTares`,

	// ReverseEntry only of what they recorded themselves, and nobody of what they may not
	// record; see mayTakeBack.
	ledger.MayWeighIn: `
		CastingService: WeighCasting
		EntryService: ReverseEntry
		LotService: ReceiveLot WeighIn ImportLots CombineLots CleanLot HoldLot MoveLot SplitLot
		ScaleService: ShowReading WatchReadings
		StocktakeService: CreateStocktake
		SupplyService: ReceiveSupply UseSupply CountSupply
		TareService: UpdateTare`,

	ledger.MayRun: `
		CastingService: BreakUpCasting
		CommissionService: RecordLabour
		HeatService: CreateHeat UpdateHeat OpenHeat DropHeat ChargeHeat AddToHeat ReadTemperature SkimHeat SpillHeat PourOff PourMold FinishPour GiveMetal WriteOffMetal SettleHeat BurnFuel
		LotService: ReleaseLot SpeakFor AssignLot IdentifyLot WorkUpLot
		MoldService: CreateMold UpdateMold
		PurchaseOrderService: ReceivePurchaseOrder`,

	// What leaves the shop is money. A backup holds the hashes of passwords.
	ledger.MayManage: `
		AlloyService: UpdateAlloy
		CastingService: ShipCasting
		CommissionService: UpdateCommission SetRateCard BuyIn
		CostService: SetCosting ClosePeriod
		LotService: RemoveLot
		MarketPriceService: ImportMarketPrices
		OfferService: CreateOffer WithdrawOffer
		PartyService: UpdateParty
		PersonService: GetPerson ListPeople UpdatePerson InvitePerson PairDevice CreateToken GetToken ListTokens RevokeToken
		PlaceService: UpdatePlace
		PotService: UpdatePot
		PurchaseOrderService: CreatePurchaseOrder UpdatePurchaseOrder PlacePurchaseOrder GiveUpPurchaseOrder
		QuoteService: MakeQuote
		ScaleService: UpdateScale
		ShopService: CreateShop UpdateShop BackupShop
		SupplyService: UpdateSupply`,
})

// routeRules says the same of what is served over HTTP beside the API, by the
// pattern that its handler has. The API's own paths are under "/", where the
// method's rule holds.
var routeRules = map[string]ledger.Duty{
	"/":                                                     anyone,
	"GET /healthz":                                          anyone,
	"GET /readyz":                                           anyone,
	"GET /version":                                          anyone,
	"GET /openapi.json":                                     anyone,
	"GET /openapi.v2.json":                                  anyone,
	"GET /static/":                                          anyone,
	"GET /worker.js":                                        anyone,
	"GET /app.webmanifest":                                  anyone,
	"GET /{$}":                                              ledger.MayRead,
	"GET /shops/{shop}":                                     ledger.MayRead,
	"GET /trust":                                            anyone,
	"GET /trust/address.svg":                                anyone,
	"GET /trust/authority.crt":                              anyone,
	"GET /sign-in":                                          anyone,
	"POST /sign-in":                                         anyone,
	"POST /sign-out":                                        anyone,
	"POST /sign-out-everywhere":                             ledger.MayRead,
	"GET /shops/{shop}/join":                                anyone,
	"POST /shops/{shop}/join":                               anyone,
	"GET /shops/{shop}/pair":                                anyone,
	"POST /shops/{shop}/pair":                               anyone,
	"GET /shops/{shop}/weigh-in":                            ledger.MayWeighIn,
	"GET /shops/{shop}/metal-in":                            ledger.MayWeighIn,
	"GET /shops/{shop}/lots/{lot}":                          ledger.MayRead,
	"GET /shops/{shop}/heats":                               ledger.MayRead,
	"GET /shops/{shop}/plan-a-heat":                         ledger.MayRun,
	"GET /shops/{shop}/heats/{heat}":                        ledger.MayRead,
	"GET /shops/{shop}/heats/{heat}/charge":                 ledger.MayRun,
	"GET /shops/{shop}/stocktake":                           ledger.MayWeighIn,
	"GET /shops/{shop}/to-buy":                              ledger.MayRead,
	"GET /shops/{shop}/what-is-lost":                        ledger.MayRead,
	"GET /shops/{shop}/orders":                              ledger.MayRead,
	"GET /shops/{shop}/orders/{order}":                      ledger.MayRead,
	"GET /shops/{shop}/settings":                            ledger.MayManage,
	"GET /shops/{shop}/settings/{part}":                     ledger.MayManage,
	"GET /shops/{shop}/supplies":                            ledger.MayRead,
	"GET /shops/{shop}/people":                              ledger.MayManage,
	"POST /shops/{shop}/code.svg":                           ledger.MayRead,
	"GET /shops/{shop}/you":                                 ledger.MayRead,
	"GET /shops/{shop}/commissions":                         ledger.MayRead,
	"GET /shops/{shop}/commissions/{commission}":            ledger.MayRead,
	"GET /shops/{shop}/entries":                             ledger.MayRead,
	"GET /shops/{shop}/entries/whole":                       ledger.MayRead,
	"GET /shops/{shop}/entries/backup":                      ledger.MayManage,
	"GET /shops/{shop}/live":                                ledger.MayRead,
	"GET /shops/{shop}/scales/{scale}/readings":             ledger.MayWeighIn,
	"GET /shops/{shop}/paper/heats/{heat}":                  ledger.MayRead,
	"GET /shops/{shop}/paper/lots/{lot}":                    ledger.MayRead,
	"GET /shops/{shop}/paper/labels":                        ledger.MayRead,
	"GET /shops/{shop}/paper/stocktake":                     ledger.MayRead,
	"GET /shops/{shop}/paper/periods/{period}":              ledger.MayRead,
	"GET /shops/{shop}/paper/orders/{order}":                ledger.MayRead,
	"GET /shops/{shop}/paper/quotes/{commission}/{version}": ledger.MayRead,
	"GET /shops/{shop}/paper/tables/{table}":                ledger.MayRead,
}

// rulesOf reads the table above: service, colon, methods.
func rulesOf(table map[ledger.Duty]string) map[string]ledger.Duty {
	rules := map[string]ledger.Duty{
		"/grpc.health.v1.Health/Check":                                   anyone,
		"/grpc.health.v1.Health/List":                                    anyone,
		"/grpc.health.v1.Health/Watch":                                   anyone,
		"/grpc.reflection.v1.ServerReflection/ServerReflectionInfo":      ledger.MayRead,
		"/grpc.reflection.v1alpha.ServerReflection/ServerReflectionInfo": ledger.MayRead,
	}
	for duty, lines := range table {
		for line := range strings.Lines(lines) {
			service, methods, _ := strings.Cut(strings.TrimSpace(line), ":")
			for _, m := range strings.Fields(methods) {
				rules["/remelt.v1."+service+"/"+m] = duty
			}
		}
	}
	return rules
}
