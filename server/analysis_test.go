package server

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/server/paper"
)

// worked serves the worked heat of the design, settled.
func worked(t *testing.T) (*world, *ledgertest.Heat41) {
	t.Helper()
	h := ledgertest.RunHeat41(t)
	h.BringHome()
	h.Do(h.Settle(t.Context(), ledger.Meta{}, "41"))
	w := serve(t, func(c *Config) {
		c.Store = h.Store
		c.Now = func() time.Time { return h.Now }
	})
	return w, h
}

// get reads a REST answer into m.
func (w *world) get(path string, m proto.Message) string {
	w.Helper()
	resp, body := w.do("GET", "/v1/shops/harrow"+path, "")
	if resp.StatusCode != 200 {
		w.Fatalf("%s: HTTP %d: %s", path, resp.StatusCode, body)
	}
	if err := protojson.Unmarshal([]byte(body), m); err != nil {
		w.Fatalf("%s: %v: %s", path, err, body)
	}
	return body
}

// TestTheWorkedHeatAnalysed: the figures of the worked heat, over REST. It is of
// 30 000 g of ingot, 14 620 of cups and 15 380 of pigs, and lost 1 260 in all.
func TestTheWorkedHeatAnalysed(t *testing.T) {
	w, h := worked(t)

	back := &pb.TraceBackResponse{}
	golden(t, "trace-back", 200, w.get("/heats/41:traceBack", back))
	grams := map[string]int64{h.Ingots.ID: 30_000, h.Cups.ID: 14_620, h.PigsIn.ID: 15_380}
	for _, s := range back.GetSources() {
		g := grams[last(s.GetSubject())]
		if s.GetMass().GetMg() != g*1000 || math.Abs(s.GetFraction()-float64(g)/60_000) > 1e-12 || last(s.GetParty()) != "northmetal" {
			t.Errorf("source %v, want %d g of 60 000", s, g)
		}
	}
	if len(back.GetSources()) != 3 || back.GetMass().GetMg() != 60_000_000 || back.GetMeanMelts() != 1 {
		t.Errorf("traced back to %v", back)
	}

	forward := &pb.TraceForwardResponse{}
	w.get("/lots/"+h.Ingots.ID+":traceForward?showPassed=true", forward)
	held, castings := int64(0), int64(0)
	for _, x := range forward.GetHoldings() {
		held += x.GetHeld().GetMg()
		if strings.HasPrefix(x.GetAccount(), "casting/") {
			castings += x.GetHeld().GetMg()
		}
	}
	if held != 30_000_000 || forward.GetMass().GetMg() != held || castings != 27_410_000/2 { // half of every part of the heat
		t.Errorf("of the ingot %d mg are held, %d in castings; want 30 kg and 13.705", held, castings)
	}

	losses := &pb.Losses{}
	w.get("/losses", losses)
	if c := losses.GetChart().GetHeats(); len(c) != 1 || math.Abs(c[0].GetWeighed().GetPercent()-2.1) > 1e-9 || losses.GetWhole().GetHeats() != 1 || len(losses.GetParts()) != 5 {
		t.Errorf("the heat lost 1 260 g of 60 000, 2.1 %%; got %v", c)
	}
	for _, p := range losses.GetParts() { // 380 of oxide, 475 trapped, 120 of kerf, 285 unaccounted
		if p.GetHeats() != 1 || p.GetEstimator() == "" || len(p.GetEffects()) != 7 {
			t.Errorf("part %v learned from %d heats", p.GetPath(), p.GetHeats())
		}
	}

	content := &pb.Content{}
	w.get("/heats/41/content", content)
	if !strings.Contains(content.GetLimitSet(), "C87300") || len(content.GetRows()) == 0 || len(content.GetElements()) < 3 || content.GetBasis() == "" {
		t.Errorf("content %v", content)
	}
	if s := content.GetStanding(); s != pb.LimitStanding_LIMIT_STANDING_TAKEN_TO_BE_INSIDE { // nobody measured any of it
		t.Errorf("it is %s: %s", s, paper.Holds(content))
	}

	clean := &pb.ReconcileWeighingsResponse{}
	w.get("/weighings:reconcile?heat=41", clean)
	if len(clean.GetSuspects()) != 0 || len(clean.GetWeighings()) < 10 || clean.GetGlobal().GetChance() < 0.05 {
		t.Errorf("the worked heat is right, and yet: %v, chance %g, %d weighings", clean.GetSuspects(), clean.GetGlobal().GetChance(), len(clean.GetWeighings()))
	}
}

// TestASuspectInTheBalance: 5 kg of cups are weighed in on the worked heat, which
// never had them.
func TestASuspectInTheBalance(t *testing.T) {
	w, h := worked(t)
	h.Do(h.WeighIn(t.Context(), ledger.Meta{}, ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "41"}}, Form: ledger.Cup, Weighing: ledgertest.Net(5_000)}))
	all, plain, asked := &pb.ReconcileWeighingsResponse{}, &pb.HeatBalance{}, &pb.HeatBalance{}
	w.get("/weighings:reconcile", all)
	w.get("/heats/41/balance", plain)
	w.get("/heats/41/balance?withSuspects=true", asked)
	if len(plain.GetSuspects()) != 0 || len(asked.GetSuspects()) == 0 || !proto.Equal(asked.GetSuspects()[0], all.GetSuspects()[0]) {
		t.Fatalf("suspects without asking %v, asked for %v, of the book %v", plain.GetSuspects(), asked.GetSuspects(), all.GetSuspects())
	}
	s := asked.GetSuspects()[0]
	if s.GetSigma() < all.GetLevel().GetCritical() || !strings.Contains(s.GetSentence(), " g ") || s.GetEntry() == "" {
		t.Errorf("suspect %v", s)
	}
	for i, x := range all.GetWeighings()[1:] { // those that fit least come first
		if before := all.GetWeighings()[i]; x.Z != nil && math.Abs(x.GetZ()) > math.Abs(before.GetZ()) {
			t.Errorf("weighing %d is before %d", i, i+1)
		}
	}
	few := &pb.ReconcileWeighingsResponse{}
	w.get("/weighings:reconcile?maxWeighings=3", few)
	if len(few.GetWeighings()) != 3 || few.GetWeighingCount() != all.GetWeighingCount() {
		t.Errorf("%d of %d weighings", len(few.GetWeighings()), few.GetWeighingCount())
	}
}

// TestMeltEnergy: 10 kg of C95200 from 20 °C. Its specific heat 377.1 J/(kg·K) and
// liquidus 1045 °C are of conex-casting.com (figures of the CDA), its heat
// of fusion 230 J/g of makeitfrom.com; propane has 21 560 Btu/lb (ASHRAE
// Fundamentals), a Btu 1055.05585262 J, a pound 0.45359237 kg (NIST SP 811).
func TestMeltEnergy(t *testing.T) {
	w, _ := worked(t)
	r := &pb.EstimateMeltEnergyResponse{}
	golden(t, "melt-energy", 200, w.get(":estimateMeltEnergy?alloy=C95200&mass.text=10%20kg&to.text=1150%20C&efficiencyPercent=15", r))
	const sensible, latent, superheat = 10 * 377.1 * (1045 - 20), 10 * 230e3, 10 * 377.1 * (1150 - 1045)
	for what, c := range map[string][2]float64{"sensible": {r.GetSensibleMj(), sensible}, "latent": {r.GetLatentMj(), latent},
		"superheat": {r.GetSuperheatMj(), superheat}, "total": {r.GetTotalMj(), sensible + latent + superheat}} {
		if math.Abs(c[0]*1e6-c[1]) > 1 {
			t.Errorf("%s %g MJ, want %g J", what, c[0], c[1])
		}
	}
	lb := (sensible + latent + superheat) / 0.15 / (21560 * 1055.05585262)
	if f := r.GetFuels()[0]; f.GetFuel() != "propane" || f.GetUnit() != "lb" || math.Abs(f.GetLow()-lb) > 1e-6 || f.GetHigh() != f.GetLow() || math.Abs(f.GetMetricLow()-lb*0.45359237) > 1e-6 {
		t.Errorf("%v, want %g lb", f, lb)
	}
	if len(r.GetCautions()) == 0 || len(r.GetFigures()) != 3 {
		t.Errorf("%d cautions, figures %v", len(r.GetCautions()), r.GetFigures())
	}
	ranged := &pb.EstimateMeltEnergyResponse{}
	w.get(":estimateMeltEnergy?alloy=C95200&mass.text=10%20kg", ranged)
	for _, f := range ranged.GetFuels() {
		if !(f.GetLow() < f.GetHigh()) || f.GetEfficiencySource() == "" {
			t.Errorf("without an efficiency %v, want a range with its source", f)
		}
	}
}

// TestForecastOfAPlan: without a heat of its own a shop gets the beliefs it starts
// with; a plan's charge is what its molds want.
func TestForecastOfAPlan(t *testing.T) {
	b := newBench(t)
	for _, r := range work()[:13] {
		do[proto.Message](b, r)
	}
	do[*pb.CreateHeatResponse](b, &pb.CreateHeatRequest{Parent: harrow, HeatId: "1", Heat: &pb.Heat{Alloy: alloyID, Crucible: "A60"},
		Molds: []*pb.Mold{{DisplayName: "hare", Metal: g(6_000), Gating: g(3_000)}, {DisplayName: "hand", Metal: g(800), Gating: g(200)}}})
	f := do[*pb.ForecastLossResponse](b, &pb.ForecastLossRequest{Parent: harrow, Heat: "1"})
	if f.GetCharge().GetMg() != 10_000_000 || f.GetFamily() != "silicon bronze" || f.GetHeats() != 0 || !strings.Contains(f.GetFormsBasis(), "no heats yet") {
		t.Errorf("forecast %v", f)
	}
	sum := 0.0
	for _, p := range f.GetParts() {
		sum += p.GetRate().GetPercent()
	}
	w := f.GetWhole()
	if math.Abs(sum-w.GetRate().GetPercent()) > 1e-9 || !(w.GetLowPercent() < w.GetRate().GetPercent() && w.GetRate().GetPercent() < w.GetHighPercent()) || len(f.GetParts()) != 5 {
		t.Errorf("parts add up to %g of %v", sum, w)
	}
	if want := int64(math.Round(w.GetRate().GetPercent() * 1e5)); w.GetMass().GetMg() != want { // of 10 kg
		t.Errorf("%d mg, want %d", w.GetMass().GetMg(), want)
	}
	// What is spoken for it tells its forms, and all ingot loses less than the half it was.
	do[*pb.ReceiveLotResponse](b, &pb.ReceiveLotRequest{Parent: harrow, LotId: "ingots", Supplier: "northmetal", Alloy: alloyID, Weighing: onFloor(20_000)})
	do[*pb.SpeakForResponse](b, &pb.SpeakForRequest{Name: lotNames + "ingots", For: "1", Mass: g(10_000)})
	spoken := do[*pb.ForecastLossResponse](b, &pb.ForecastLossRequest{Parent: harrow, Heat: heatOne})
	if spoken.GetForms().GetIngotPercent() != "100" || !(spoken.GetWhole().GetRate().GetPercent() < w.GetRate().GetPercent()) {
		t.Errorf("all ingot: %v after %v", spoken, w)
	}
	narrow := do[*pb.ForecastLossResponse](b, &pb.ForecastLossRequest{Parent: harrow, Heat: "1", LevelPercent: "50"}).GetWhole()
	if !(narrow.GetHighPercent() < w.GetHighPercent() && narrow.GetLowPercent() > spoken.GetWhole().GetLowPercent()) {
		t.Errorf("half of such heats within %v, nine tenths within %v", narrow, w)
	}
	given := do[*pb.ForecastLossResponse](b, &pb.ForecastLossRequest{Parent: harrow, Alloy: "356", Forms: &pb.ChargeForms{IngotPercent: "40", GrindingsPercent: "60"}})
	if given.GetFamily() != "aluminium-silicon" || given.GetCharge() != nil || given.GetWhole().GetMass() != nil || !(given.GetWhole().GetRate().GetPercent() > 5) {
		t.Errorf("mostly grindings of aluminium: %v", given)
	}
	losses := do[*pb.GetLossesResponse](b, &pb.GetLossesRequest{Name: harrow + "/losses"}).GetLosses()
	if losses.GetHeats() != 0 || math.Abs(losses.GetWhole().GetEffects()[0].GetFromBelief()-1) > 1e-9 || losses.GetChart().GetHeatsBetweenFalseAlarms() != 0 {
		t.Errorf("of a shop without heats %v", losses)
	}
	empty := do[*pb.ReconcileWeighingsResponse](b, &pb.ReconcileWeighingsRequest{Parent: harrow})
	if len(empty.GetSuspects()) != 0 || empty.GetLevel().Critical != nil {
		t.Errorf("of a book without a heat %v", empty)
	}
}

const heatOne = harrow + "/heats/1"

// TestAnalysesThatAreRefused name the field and the reason.
func TestAnalysesThatAreRefused(t *testing.T) {
	b := done(t)
	energy := &pb.EstimateMeltEnergyRequest{Parent: harrow, Alloy: alloyID, Mass: g(100)}
	forecast := &pb.ForecastLossRequest{Parent: harrow, Alloy: alloyID}
	for _, c := range []struct {
		r             proto.Message
		reason, field string
	}{
		{&pb.GetHeatBalanceRequest{Name: heat41 + "/balance", WithSuspects: true, HappenedTime: day(1)}, "NOT_OF_THE_PAST", "with_suspects"},
		{&pb.ReconcileWeighingsRequest{Parent: harrow, Heat: "99"}, "NOT_FOUND", "heat"},
		{&pb.ReconcileWeighingsRequest{Parent: harrow, MaxWeighings: -1}, "NEGATIVE", "max_weighings"},
		{&pb.CheckLossForecastsRequest{Name: harrow + "/losses", First: -1}, "NEGATIVE", "first"},
		{&pb.CheckLossForecastsRequest{Name: harrow + "/losses", LevelPercent: "100"}, "OUT_OF_RANGE", "level_percent"},
		{&pb.ForecastLossRequest{Parent: harrow}, "EITHER_OR", "heat"},
		{&pb.ForecastLossRequest{Parent: harrow, Heat: "42", Alloy: alloyID}, "EITHER_OR", "heat"},
		{&pb.ForecastLossRequest{Parent: harrow, Heat: "42", Charge: g(5)}, "EITHER_OR", "heat"},
		{&pb.ForecastLossRequest{Parent: harrow, Heat: "41"}, "HEAT_STATE", "heat"},
		{&pb.ForecastLossRequest{Parent: harrow, Heat: "43"}, "HEAT_STATE", "heat"},
		{set(forecast, "alloy", "mithril"), "UNKNOWN_ALLOY", "alloy"},
		{set(forecast, "crucible", "B12"), "NOT_FOUND", "pot"},
		{set(forecast, "level_percent", "0"), "OUT_OF_RANGE", "level_percent"},
		{set(forecast, "superheat_kelvin", 9000.0), "NOT_DETERMINED", "charge"},
		{set(forecast, "forms", (&pb.ChargeForms{PigsPercent: "99"}).ProtoReflect()), "NOT_THE_WHOLE", "forms"},
		{&pb.TraceBackRequest{Name: harrow + "/dreams/1"}, "BAD_NAME", "name"},
		{&pb.TraceBackRequest{Name: harrow + "/heats/43"}, "NO_METAL", "heat"},
		{&pb.TraceForwardRequest{Name: harrow + "/heats/43"}, "NO_METAL", "heat"},
		{&pb.GetContentRequest{Name: harrow + "/heats/43/content"}, "NO_METAL", "heat"},
		{&pb.GetContentRequest{Name: heat41 + "/content", Edition: "of my own"}, "NO_LIMITS", "edition"},
		{&pb.GetContentRequest{Name: heat41}, "BAD_NAME", "name"},
		{&pb.ForecastRemeltsRequest{Name: harrow + "/alloys/mithril"}, "UNKNOWN_ALLOY", "alloy"},
		{&pb.ForecastRemeltsRequest{Name: harrow + "/alloys/" + alloyID, ChancePercent: "60"}, "OUT_OF_RANGE", "chance_percent"},
		{&pb.ForecastRemeltsRequest{Name: harrow + "/alloys/" + alloyID, SharePercent: "60 lb"}, "UNKNOWN_UNIT", "share_percent"},
		{set(energy, "mass", g(0).ProtoReflect()), "BAD_MELT", "mass"},
		{set(energy, "to", (&pb.Temperature{Text: "10 C"}).ProtoReflect()), "BAD_MELT", "to"},
		{set(energy, "efficiency_percent", "0"), "OUT_OF_RANGE", "efficiency_percent"},
		{set(energy, "efficiency_percent", "150"), "TOO_LARGE", "efficiency_percent"},
		{set(energy, "furnace_kind", "campfire"), "BAD_MELT", "furnace_kind"},
		{set(energy, "alloy", "HB1"), "NOT_DETERMINED", "alloy"},
	} {
		b.refusedBy(c.r, c.reason, c.field)
	}
}

// TestRemeltsSettle: melted again and again the contents come to rest, and the
// greatest share is one at which the forecast stays inside.
func TestRemeltsSettle(t *testing.T) {
	b := newBench(t)
	do[*pb.CreateShopResponse](b, work()[0])
	at := func(share string) *pb.ForecastRemeltsResponse {
		return do[*pb.ForecastRemeltsResponse](b, &pb.ForecastRemeltsRequest{Name: harrow + "/alloys/C83600", SharePercent: share, Melts: 200, ChancePercent: "50"})
	}
	r := at("50")
	for _, e := range r.GetElements() {
		n := len(e.GetSteps())
		if n != 201 || math.Abs(e.GetSteps()[n-1].GetPercent()-e.GetSteps()[n-2].GetPercent()) > 1e-9 {
			t.Errorf("%s does not settle: %v", e.GetSymbol(), e.GetSteps()[n-1])
		}
	}
	if !r.GetPossible() || r.GetLimitingElement() == "" {
		t.Fatalf("nothing limits the share: %v", r)
	}
	inside := func(r *pb.ForecastRemeltsResponse) bool {
		for _, e := range r.GetElements() {
			l, end := e.GetLimit(), e.GetSteps()[len(e.GetSteps())-1].GetPercent()
			if e.GetSymbol() == r.GetLimitingElement() {
				return (l.Min == nil || end >= l.GetMin()-1e-6) && (l.Max == nil || end <= l.GetMax()+1e-6)
			}
		}
		return false
	}
	most := r.GetGreatestSharePercent()
	if !inside(at(fmt.Sprintf("%.4f", most-0.01))) || inside(at(fmt.Sprintf("%.4f", most+0.5))) {
		t.Errorf("the greatest share is not %.3f %%", most)
	}
}

// TestHowMetalStandsAgainstItsLimits: what nobody measured is taken to be what it is called;
// an assay with more lead than ASTM B584-14 lets C87300 have (0.09 %) is outside of it, one
// on the limit may be.
func TestHowMetalStandsAgainstItsLimits(t *testing.T) {
	w := serve(t)
	if resp, body := w.do("POST", receive, `{"lotId": "bar", "hereAlready": true, "alloy": "C87300", "form": "FORM_INGOT", "weighing": {"net": {"text": "20 lb"}}}`); resp.StatusCode != 200 {
		t.Fatal(body)
	}
	for _, c := range []struct{ lead, want string }{
		{"", "not measured: taken to be inside the limits of C87300"},
		{"0.02", "inside the limits of C87300, as far as it was measured"},
		{"0.09", "may be outside the limits of C87300: Pb 0.09 ± 0.002 %, where the limit is at most 0.09 %"},
		{"0.31", "outside the limits of C87300: Pb 0.31 ± 0.0062 %, where the limit is at most 0.09 %"},
	} {
		if c.lead != "" {
			if resp, body := w.do("POST", "/v1/shops/harrow/lots/bar:identify", `{"alloy": "C87300", "certificate": {"elements": [{"symbol": "Pb", "percent": "`+c.lead+`"}]}}`); resp.StatusCode != 200 {
				t.Fatal(body)
			}
		}
		content := &pb.Content{}
		w.get("/lots/bar/content", content)
		if got := paper.Holds(content); got != c.want {
			t.Errorf("lead %q: %q, want %q", c.lead, got, c.want)
		}
	}
}
