package server

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/alloy"
)

const heat44 = harrow + "/heats/44"

// foundry is the shop with its first weeks done and its heat 44 of two molds open,
// 13 kg together. It has 24 780 g of clean gating, a heel of 500 g in the crucible
// and, bought now, six ingots of 5 kg.
func foundry(t *testing.T) *bench {
	b := done(t)
	do[*pb.ReceiveLotResponse](b, &pb.ReceiveLotRequest{Parent: harrow, LotId: "fresh", Supplier: "northmetal", Alloy: alloyID, Place: "rack", Weighing: pieces(30_000, 6), Price: "9.20 USD/kg",
		Certificate: &pb.Certificate{Number: "NM-200", Elements: []*pb.Element{{Symbol: "Cu", Percent: "94.5"}, {Symbol: "Si", Percent: "4.4"}, {Symbol: "Mn", Percent: "1.0"},
			{Symbol: "Fe", Percent: "0.05"}, {Symbol: "Zn", Percent: "0.03"}, {Symbol: "Pb", Percent: "0.02"}}}})
	do[*pb.OpenHeatResponse](b, &pb.OpenHeatRequest{Name: heat44})
	return b
}

// TestPlanIsWhatIsCharged: a plan adds up, and its items charge exactly it, without
// anything unusual.
func TestPlanIsWhatIsCharged(t *testing.T) {
	b := foundry(t)
	p := do[*pb.PlanChargeResponse](b, &pb.PlanChargeRequest{Name: heat44, ChanceShortPercent: "2", PourOff: g(1_500), MostReturnsPercent: "60"})
	sum := int64(0)
	for _, x := range p.GetTakes() {
		sum += x.GetMass().GetMg()
		ingot := x.GetForm() == pb.Form_FORM_INGOT
		if whole := ingot || x.GetForm() == pb.Form_FORM_PIG; whole != (x.GetPiece() > 0) || whole == (x.GetHandfuls() > 0) || ingot && x.GetMass().GetMg() != 5_000_000 {
			t.Errorf("take %v: ingots of 5 kg and pigs go in whole, gating by the handful", x)
		}
	}
	if sum != p.GetCharge().GetMg() || p.GetChanceShort() > 0.02 || p.GetReturnsPercent() > 60 || p.GetPourOff().GetMg() < 1_499_000 {
		t.Errorf("takes %d of %v", sum, p)
	}
	if p.GetHeel().GetMg() != 500_000 || p.GetLimitSet() == "" || p.GetCost().GetMinor() == 0 || !p.GetProof().GetOptimal() {
		t.Errorf("heel %v, limits %q, cost %v, proof %v", p.GetHeel(), p.GetLimitSet(), p.GetCost(), p.GetProof())
	}
	if out := p.GetMelt().GetMg() - p.GetNeed().GetMg() - p.GetPourOff().GetMg(); math.Abs(float64(out)) > 1_000 {
		t.Errorf("melt %v is not what the molds need and what is left", p.GetMelt())
	}
	for _, c := range p.GetContents() {
		if c.MinPercent != nil && c.GetPercent() < c.GetMinPercent() || c.MaxPercent != nil && c.GetMostPercent() > c.GetMaxPercent() || c.GetBelow()+c.GetAbove() > 0.0501 {
			t.Errorf("content %v", c)
		}
	}
	if len(p.GetPours()) != 2 || p.GetPours()[0].GetPourFrom().GetMilliCelsius() == 0 || p.GetTap() == nil {
		t.Errorf("pours %v", p.GetPours())
	}
	if len(p.GetNotes()) == 0 || len(p.GetCautions()) == 0 {
		t.Error("nothing is assumed and nothing to be minded")
	}
	for _, c := range p.GetCautions() {
		if !strings.HasSuffix(c.GetText(), alloy.ComesFirst) {
			t.Errorf("caution %q", c.GetText())
		}
	}
	r := do[*pb.ChargeHeatResponse](b, &pb.ChargeHeatRequest{Name: heat44, Items: p.GetItems(), Heel: p.GetHeel() != nil})
	if len(r.GetEntry().GetFlags()) > 0 || r.GetHeat().GetInCrucible().GetMg() != sum+500_000 {
		t.Errorf("flags %v, in the crucible %v, planned %d and a heel of 500 g", r.GetEntry().GetFlags(), r.GetHeat().GetInCrucible(), sum)
	}
	lots := map[string]int64{}
	for _, x := range p.GetTakes() {
		lots[x.GetLot()] += x.GetMass().GetMg()
	}
	charged := do[*pb.GetHeatBalanceResponse](b, &pb.GetHeatBalanceRequest{Name: heat44 + "/balance"}).GetBalance().GetChargedLots()
	for _, c := range charged {
		if lots[c.GetLot()] != c.GetMass().GetMg() || c.GetForm() == pb.Form_FORM_UNSPECIFIED {
			t.Errorf("charged %v, planned %d", c, lots[c.GetLot()])
		}
	}
	if len(charged) != len(lots) {
		t.Errorf("charged %v, planned %v", charged, lots)
	}
	again := do[*pb.PlanChargeResponse](b, &pb.PlanChargeRequest{Name: heat44, ChanceShortPercent: "2"})
	if again.GetInCrucible().GetMg() != sum+500_000 || len(again.GetTakes()) != 0 {
		t.Errorf("all is in the crucible and still goes in: %v", again.GetTakes())
	}
}

// TestPlansThatCannotBe: the refusal names the demands and by how much.
func TestPlansThatCannotBe(t *testing.T) {
	b := foundry(t)
	plan := func(change func(*pb.PlanChargeRequest)) *pb.PlanChargeRequest {
		r := &pb.PlanChargeRequest{Name: heat44}
		change(r)
		return r
	}
	for _, c := range []struct {
		r     *pb.PlanChargeRequest
		words []string
	}{
		{plan(func(r *pb.PlanChargeRequest) { r.PourOff = g(60_000) }), []string{"pour-off at least 60000 g", "gave way"}},
		{plan(func(r *pb.PlanChargeRequest) { r.LeastReturnsPercent, r.PourOff = "95", g(15_000) }), []string{"returns at least 95 %", "together", "by"}},
		{plan(func(r *pb.PlanChargeRequest) { r.Lift, r.CrucibleMass = g(25_000), g(16_000) }), []string{"crucible and metal to lift at most 25000 g", "by"}},
		{plan(func(r *pb.PlanChargeRequest) { r.PigMold, r.PigMolds = g(3_000), 2 }), []string{"pig molds"}},
		{plan(func(r *pb.PlanChargeRequest) { r.ChanceOutsidePercent, r.MostReturnsPercent = "0.1", "20" }), []string{"Si over 4.5 % with a chance of"}},
	} {
		b.refusedBy(c.r, "NO_SUCH_CHARGE", "heat")
		_, err := b.call(c.r)
		for _, w := range c.words {
			if err == nil || !strings.Contains(err.Error(), w) {
				t.Errorf("%v does not say %q", err, w)
			}
		}
	}
	for field, r := range map[string]*pb.PlanChargeRequest{
		"chance_short_percent":  plan(func(r *pb.PlanChargeRequest) { r.ChanceShortPercent = "60" }),
		"least_returns_percent": plan(func(r *pb.PlanChargeRequest) { r.LeastReturnsPercent, r.MostReturnsPercent = "50", "40" }),
		"crucible_mass":         plan(func(r *pb.PlanChargeRequest) { r.Lift = g(60_000) }),
		"pig_mold":              plan(func(r *pb.PlanChargeRequest) { r.PigMolds = 2 }),
		"pour_from":             plan(func(r *pb.PlanChargeRequest) { r.PourTo = &pb.Temperature{Text: "1100 C"} }),
		"cooling_celsius":       plan(func(r *pb.PlanChargeRequest) { r.CoolingCelsius = -1 }),
	} {
		b.refusedBy(r, "BAD_PLAN", field)
	}
	b.refusedBy(plan(func(r *pb.PlanChargeRequest) { r.ChanceShortPercent = "0" }), "OUT_OF_RANGE", "chance_short_percent")
	b.refusedBy(plan(func(r *pb.PlanChargeRequest) { r.Deoxidiser = "gold" }), "NOT_FOUND", "deoxidiser")
	b.refusedBy(&pb.PlanChargeRequest{Name: heat41}, "HEAT_STATE", "heat")
}

// TestPlanGoesByThePotOverTheAPI: what is set of the crucible holds where a plan asks
// nothing; what a plan asks wins, and so does a weight of 0.
func TestPlanGoesByThePotOverTheAPI(t *testing.T) {
	b := foundry(t)
	pot := do[*pb.UpdatePotResponse](b, &pb.UpdatePotRequest{Pot: &pb.Pot{Name: harrow + "/pots/A60", EmptyMass: g(16_000), Lift: g(70_000), FillPercent: "80", Skull: g(400),
		PigMold: g(5_000), PigMolds: 8, CoolingCelsius: "12.5", HottestTap: &pb.Temperature{Text: "1250 C"}, WaitingRoom: &pb.Volume{Text: "4 l"}}}).GetPot()
	if pot.GetEmptyMass().GetMg() != 16_000_000 || pot.GetFillPercent() != "80" || pot.GetCoolingCelsius() != "12.5" || pot.GetHottestTap().GetMilliCelsius() != 1_250_000 ||
		pot.GetWaitingRoom().GetMm3() != 4_000_000 || pot.GetPigMolds() != 8 || pot.GetFamily() != "silicon bronze" {
		t.Errorf("set %v", pot)
	}
	p := do[*pb.PlanChargeResponse](b, &pb.PlanChargeRequest{Name: heat44})
	if lift := p.GetLift().GetMg(); lift != 16_000_000+p.GetHeel().GetMg()+p.GetCharge().GetMg() || p.GetPigMolds() == 0 || p.GetPours()[0].GetEnd() == nil {
		t.Errorf("by the pot: %v", p)
	}
	if asked := do[*pb.PlanChargeResponse](b, &pb.PlanChargeRequest{Name: heat44, CrucibleMass: g(20_000), PigMold: g(0)}); asked.GetLift().GetMg() != 20_000_000+asked.GetHeel().GetMg()+asked.GetCharge().GetMg() || asked.GetPigMolds() != 0 {
		t.Errorf("20 kg and no pig molds asked: %v", asked)
	}
	b.refusedBy(&pb.PlanChargeRequest{Name: heat44, Lift: g(25_000)}, "NO_SUCH_CHARGE", "heat")
}

// TestArrangeOverTheAPI: molds of planned heats are grouped and nothing is written.
func TestArrangeOverTheAPI(t *testing.T) {
	b := done(t)
	do[*pb.CreateHeatResponse](b, &pb.CreateHeatRequest{Parent: harrow, HeatId: "45", Heat: &pb.Heat{Alloy: alloyID}, Molds: []*pb.Mold{{DisplayName: "otter", Metal: g(30_000), Gating: g(25_000)}}})
	head := b.head()
	r := do[*pb.ArrangeHeatsResponse](b, &pb.ArrangeHeatsRequest{Parent: harrow, Heats: []string{"44", "45"}, CoolingCelsius: 5})
	molds := 0
	for _, h := range r.GetHeats() {
		molds += len(h.GetPours())
		if last(h.GetCrucible()) != "A60" || last(h.GetAlloy()) != alloyID || h.GetCharge().GetMg() <= h.GetMolds().GetMg() || h.GetCharge().GetMg() > 74_200_000 { // 10 l at 7.42 g/ml
			t.Errorf("heat %v", h)
		}
	}
	// 13 and 55 kg, with their doubt, are within the 74 kg of A60.
	if molds != 3 || len(r.GetHeats()) != 1 || !r.GetProven() || len(r.GetCautions()) == 0 || b.head() != head {
		t.Errorf("%d molds in %d heats, head %d, was %d", molds, len(r.GetHeats()), b.head(), head)
	}
	b.refusedBy(&pb.ArrangeHeatsRequest{Parent: harrow, Heats: []string{heat41}}, "HEAT_STATE", "heat")
	b.refusedBy(&pb.ArrangeHeatsRequest{Parent: harrow, Crucibles: []string{"nothing"}}, "NOT_FOUND", "crucible")
	b.refusedBy(&pb.ArrangeHeatsRequest{Parent: harrow, Molds: []string{"41-1"}}, "NOT_FOUND", "mold")
}

// TestPlanOverREST: questions are a GET with all in the query; a refusal has its
// reason and its words where programs look for them.
func TestPlanOverREST(t *testing.T) {
	w, h := worked(t)
	h.Do(h.PlanHeat(t.Context(), ledger.Meta{}, ledger.PlanHeat{ID: "42", Alloy: alloyID, Molds: []ledger.MoldPlan{
		{Name: "hare", Metal: ledger.Quantity{Mass: 9 * ledger.Kilogram}, Gating: ledger.Quantity{Mass: 7 * ledger.Kilogram}}}}))
	p := &pb.PlanChargeResponse{}
	body := w.get("/heats/42:planCharge?chanceShortPercent=10&pourOff.text=1.5%20kg&aim=CHARGE_AIM_MOST_RETURNS&coolingCelsius=8", p)
	golden(t, "plan-charge", 200, body)
	for _, x := range p.GetTakes() { // the pigs of heat 41 and its gating
		if l := last(x.GetLot()); l != h.Pigs.ID && l != h.Gating.ID {
			t.Errorf("take %v", x)
		}
	}
	if p.GetReturnsPercent() != 100 || p.GetPourOff().GetMg() < 1_499_000 {
		t.Errorf("returns %g %%, left over %v", p.GetReturnsPercent(), p.GetPourOff())
	}
	golden(t, "arrange-heats", 400, func() string {
		resp, body := w.do("GET", "/v1/shops/harrow/heats:arrange?heats=42", "")
		if resp.StatusCode != 400 { // no crucible of the shop says what it holds
			t.Errorf("HTTP %d: %s", resp.StatusCode, body)
		}
		return body
	}())
	resp, body := w.do("GET", "/v1/shops/harrow/heats/42:planCharge?pourOff.mg=50000000", "")
	var refusal struct {
		Message string
		Details []struct{ Reason string }
	}
	if err := json.Unmarshal([]byte(body), &refusal); err != nil || resp.StatusCode != 400 || len(refusal.Details) == 0 || refusal.Details[0].Reason != "NO_SUCH_CHARGE" {
		t.Fatalf("HTTP %d: %s", resp.StatusCode, body)
	}
	if !strings.Contains(refusal.Message, "pour-off at least 50000 g") || !strings.Contains(refusal.Message, "gave way") {
		t.Errorf("refused with %q", refusal.Message)
	}
}
