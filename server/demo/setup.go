package demo

import (
	"context"
	"fmt"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "example.org/remelt/api/remelt/v1"
)

// setUp opens the book and sets up the shop. People and places are invented.
func (y *year) setUp(ctx context.Context) error {
	t := y.start
	a := y.api
	if _, err := send(ctx, a, t, "Mara Quill", a.shops.CreateShop, &pb.CreateShopRequest{ShopId: a.shop, Shop: &pb.Shop{
		DisplayName: "Harrow Lane Foundry", MassUnit: "lb", TemperatureUnit: "F", Currency: "USD", TimeZone: "America/Chicago",
		TrappedPercent: "50", TrappedSpanPercent: "20"}}); err != nil {
		return err
	}
	for _, p := range [][2]string{{"rack", "ingot rack"}, {"bins", "returns bins"}, {"blast", "blasting bench"}, {"shelf", "shelf by the door"}} {
		if _, err := send(ctx, a, t, "", a.places.UpdatePlace, &pb.UpdatePlaceRequest{AllowMissing: true,
			Place: &pb.Place{Name: a.name("places", p[0]), DisplayName: p[1]}}); err != nil {
			return err
		}
	}
	for _, s := range []*pb.Scale{
		{Name: a.name("scales", "floor"), DisplayName: "floor scale", Division: lb("0.1"), AccuracyClass: pb.AccuracyClass_ACCURACY_CLASS_III, Capacity: lb("500")},
		{Name: a.name("scales", "bench"), DisplayName: "bench scale", Division: lb("0.01"), AccuracyClass: pb.AccuracyClass_ACCURACY_CLASS_III, Capacity: lb("60")},
	} {
		if _, err := send(ctx, a, t, "", a.scales.UpdateScale, &pb.UpdateScaleRequest{AllowMissing: true, Scale: s}); err != nil {
			return err
		}
	}
	if _, err := send(ctx, a, t, "", a.tares.UpdateTare, &pb.UpdateTareRequest{AllowMissing: true,
		Tare: &pb.Tare{Name: a.name("tares", "blue-bin"), DisplayName: "blue bin", Mass: lb("5.4")}}); err != nil {
		return err
	}
	if err := y.setUpPeople(ctx, t); err != nil {
		return err
	}
	return y.setUpCosting(ctx)
}

func (y *year) setUpPeople(ctx context.Context, t time.Time) error {
	a := y.api
	for _, p := range []struct {
		id, name string
		role     pb.Role
	}{
		{"mara", "Mara Quill", pb.Role_ROLE_MELTER}, {"joss", "Joss Tern", pb.Role_ROLE_MELTER},
		{"northquay", "North Quay Metals", pb.Role_ROLE_SUPPLIER}, {"calder", "Calder Ingot Company", pb.Role_ROLE_SUPPLIER},
		{"iris", "Iris Vale", pb.Role_ROLE_CUSTOMER}, {"wexcombe", "Town of Wexcombe", pb.Role_ROLE_CUSTOMER},
		{"marl", "Studio Marl", pb.Role_ROLE_CUSTOMER}, {"tarn", "Tarn Street Scrap", pb.Role_ROLE_CUSTOMER},
	} {
		if _, err := send(ctx, a, t, "", a.parties.UpdateParty, &pb.UpdatePartyRequest{AllowMissing: true,
			Party: &pb.Party{Name: a.name("parties", p.id), DisplayName: p.name, Roles: []pb.Role{p.role}}}); err != nil {
			return err
		}
	}
	if err := y.setUpPots(ctx, t); err != nil {
		return err
	}
	return y.setUpSupplies(ctx, t)
}

// setUpPots says of each crucible and of the furnace all that a proposed charge goes
// by; the figures are invented.
func (y *year) setUpPots(ctx context.Context, t time.Time) error {
	a := y.api
	furnace := &pb.Pot{Name: a.name("pots", "east"), DisplayName: "east furnace", Kind: pb.PotKind_POT_KIND_FURNACE, Capacity: lb("250"), LifeHeats: 60,
		WaitingRoom: &pb.Volume{Text: "30 l"}, PigMold: lb("15"), PigMolds: 12, CoolingCelsius: "18 F", HottestTap: &pb.Temperature{Text: "2400 F"}}
	pots := []*pb.Pot{furnace}
	for _, p := range []struct{ id, name, family, capacity, volume, empty, lift, price string }{
		{"sil-70", "no. 70, silicon bronze", "", "210", "14.8 l", "44", "260", "268 USD"},
		{"tin-60", "no. 60, tin and red metal", "", "180", "12.7 l", "38", "225", "235 USD"},
		{"alb-60", "no. 60, aluminium bronze", "aluminium bronze", "165", "12.7 l", "38", "225", "235 USD"},
		{"alu-50", "no. 50, aluminium", "aluminium-silicon", "50", "9.6 l", "27", "80", "160 USD"},
	} {
		pots = append(pots, &pb.Pot{Name: a.name("pots", p.id), DisplayName: p.name, Kind: pb.PotKind_POT_KIND_CRUCIBLE, Family: p.family, Capacity: lb(p.capacity), LifeHeats: 60,
			Volume: &pb.Volume{Text: p.volume}, EmptyMass: lb(p.empty), Lift: lb(p.lift), FillPercent: "95", Price: p.price})
	}
	for _, pot := range pots {
		if _, err := send(ctx, a, t, "", a.pots.UpdatePot, &pb.UpdatePotRequest{AllowMissing: true, Pot: pot}); err != nil {
			return err
		}
	}
	return nil
}

func (y *year) setUpSupplies(ctx context.Context, t time.Time) error {
	a := y.api
	for _, s := range []struct{ id, name, purpose, metal, amount, price, caution string }{
		{"borax", "anhydrous borax", "flux", "", "50 lb", "96 USD", ""},
		{"drossing", "drossing flux for aluminium", "flux", "", "25 lb", "88 USD", "keep dry; fumes: use extraction"},
		{"pcu", "phosphor copper 15 %", "deoxidiser", "100", "20 lb", "210 USD", ""},
	} {
		name := a.name("supplies", s.id)
		if _, err := send(ctx, a, t, "", a.supplies.UpdateSupply, &pb.UpdateSupplyRequest{AllowMissing: true,
			Supply: &pb.Supply{Name: name, DisplayName: s.name, Purpose: s.purpose, MetalPercent: s.metal, Caution: s.caution, OrderBelow: lb("5")}}); err != nil {
			return err
		}
		if _, err := send(ctx, a, t, "Joss Tern", a.supplies.ReceiveSupply, &pb.ReceiveSupplyRequest{Name: name, Amount: &pb.Mass{Text: s.amount}, Supplier: "calder", Price: s.price}); err != nil {
			return err
		}
	}
	name := a.name("supplies", "crucible-60")
	if _, err := send(ctx, a, t, "", a.supplies.UpdateSupply, &pb.UpdateSupplyRequest{AllowMissing: true,
		Supply: &pb.Supply{Name: name, DisplayName: "crucible no. 60", Purpose: "crucible", InPieces: true, OrderBelowPieces: 1}}); err != nil {
		return err
	}
	_, err := send(ctx, a, t, "Joss Tern", a.supplies.ReceiveSupply, &pb.ReceiveSupplyRequest{Name: name, Pieces: 2, Supplier: "calder", Price: "470 USD"})
	return err
}

func lb(s string) *pb.Mass { return &pb.Mass{Text: s + " lb"} }

// certificate is a supplier's paper for a delivery: plausible, invented contents.
func (y *year) certificate(alloy string) *pb.Certificate {
	contents := map[string]map[string]float64{
		"C87300": {"Cu": 94.8, "Si": 3.9, "Mn": 1.05, "Fe": 0.06, "Zn": 0.08},
		"C90300": {"Cu": 87.9, "Sn": 8.1, "Zn": 3.8, "Pb": 0.08},
		"C83600": {"Cu": 84.9, "Sn": 4.9, "Pb": 5.0, "Zn": 4.9},
		"C87500": {"Cu": 82.0, "Si": 4.0, "Zn": 13.8, "Fe": 0.1},
		"C95400": {"Cu": 84.9, "Al": 10.8, "Fe": 4.0},
		"356.0":  {"Al": 91.9, "Si": 7.0, "Mg": 0.33, "Fe": 0.18, "Ti": 0.12},
		"319.0":  {"Al": 89.2, "Si": 6.0, "Cu": 3.6, "Fe": 0.5, "Zn": 0.3},
	}
	order := []string{"Cu", "Al", "Si", "Sn", "Zn", "Pb", "Mn", "Mg", "Fe", "Ti"}
	c := &pb.Certificate{Number: fmt.Sprintf("HQ-%05d", 10000+y.IntN(89999)), Method: "certificate"}
	rest := 100.0
	for _, el := range order {
		v := contents[alloy][el]
		if v == 0 || v > 50 {
			continue // the base metal is what is left
		}
		v *= y.between(0.97, 1.03)
		rest -= v
		c.Elements = append(c.Elements, &pb.Element{Symbol: el, Percent: fmt.Sprintf("%.2f", v)})
	}
	for el, v := range contents[alloy] {
		if v > 50 {
			c.Elements = append(c.Elements, &pb.Element{Symbol: el, Percent: fmt.Sprintf("%.2f", rest-0.05)})
		}
	}
	return c
}

// setUpCosting says how the shop reckons cost: an average of what is there, and losses
// that are normal for its metals. The figures are invented.
func (y *year) setUpCosting(ctx context.Context) error {
	costing := &pb.Costing{FromTime: timestamppb.New(y.start.Truncate(24 * time.Hour)), Method: pb.Costing_METHOD_MOVING_AVERAGE}
	for _, n := range [][2]string{{"C87300", "1.1"}, {"C90300", "1.2"}, {"C83600", "1.2"}, {"C87500", "1.5"}, {"C95400", "1.2"}, {"356.0", "1"}, {"319.0", "1"}} {
		costing.NormalLosses = append(costing.NormalLosses, &pb.NormalLoss{Alloy: y.api.name("alloys", n[0]), Percent: n[1]})
	}
	_, err := send(ctx, y.api, y.start, "Mara Quill", y.api.costs.SetCosting, &pb.SetCostingRequest{Parent: y.api.parent(), Costing: costing})
	return err
}
