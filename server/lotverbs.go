package server

import (
	"context"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/shop"
)

func (s lots) ReceiveLot(ctx context.Context, r *pb.ReceiveLotRequest) (*pb.ReceiveLotResponse, error) {
	d := s.write(ctx, r, "parent", r.GetParent(), "shops/*")
	e := record(d, (*shop.Shop).Receive, d.receive(r))
	return reply(d, &pb.ReceiveLotResponse{Lot: d.madeLot(e), Entry: d.entry(e)})
}

func (d *desk) receive(r *pb.ReceiveLotRequest) ledger.Receive {
	return ledger.Receive{
		LotID: r.GetLotId(), Supplier: d.ref("supplier", r.GetSupplier(), "parties"), Customer: d.ref("customer", r.GetCustomer(), "parties"), HereAlready: r.GetHereAlready(),
		Alloy: d.ref("alloy", r.GetAlloy(), "alloys"), Form: forms.read(d, "form", r.GetForm()), Dirty: r.GetDirty(),
		Place: d.ref("place", r.GetPlace(), "places"), Label: r.GetLabel(), Weighing: d.weighing("weighing", r.GetWeighing()),
		Certificate: d.certificate("certificate", r.GetCertificate()), Price: r.GetPrice(),
	}
}

func (s lots) WeighIn(ctx context.Context, r *pb.WeighInRequest) (*pb.WeighInResponse, error) {
	d := s.write(ctx, r, "parent", r.GetParent(), "shops/*")
	e := record(d, (*shop.Shop).WeighIn, d.weighIn(r))
	return reply(d, &pb.WeighInResponse{Lot: d.madeLot(e), Entry: d.entry(e)})
}

func (d *desk) weighIn(r *pb.WeighInRequest) ledger.WeighIn {
	return ledger.WeighIn{
		LotID: r.GetLotId(), Into: d.ref("into", r.GetInto(), "lots"), Heats: d.heatShares("heats", r.GetHeats()),
		Casting: d.ref("casting", r.GetCasting(), "castings"), Alloy: d.ref("alloy", r.GetAlloy(), "alloys"), Unsure: r.GetUnsure(),
		Form: forms.read(d, "form", r.GetForm()), Dirty: r.GetDirty(), Owner: d.ref("owner", r.GetOwner(), "parties"),
		Place: d.ref("place", r.GetPlace(), "places"), Label: r.GetLabel(), Weighing: d.weighing("weighing", r.GetWeighing()),
	}
}

func (s lots) CombineLots(ctx context.Context, r *pb.CombineLotsRequest) (*pb.CombineLotsResponse, error) {
	d := s.write(ctx, r, "parent", r.GetParent(), "shops/*")
	into := d.ref("into", r.GetInto(), "lots")
	e := record(d, (*shop.Shop).Combine, ledger.CombineLots{Lots: d.refs("lots", r.GetLots(), "lots"), Into: into,
		Place: d.ref("place", r.GetPlace(), "places"), Label: r.GetLabel()})
	if into != "" { // the first lot of the entry is one that was emptied
		return reply(d, &pb.CombineLotsResponse{Lot: d.lot(into), Entry: d.entry(e)})
	}
	return reply(d, &pb.CombineLotsResponse{Lot: d.madeLot(e), Entry: d.entry(e)})
}

func (s lots) CleanLot(ctx context.Context, r *pb.CleanLotRequest) (*pb.CleanLotResponse, error) {
	d := s.write(ctx, r, "name", r.GetName(), lotName)
	e := record(d, (*shop.Shop).Clean, ledger.CleanLot{Lot: d.id(), Place: d.ref("place", r.GetPlace(), "places"),
		Weighing: d.weighing("weighing", r.GetWeighing())})
	return reply(d, &pb.CleanLotResponse{Lot: d.lot(d.id()), Entry: d.entry(e)})
}

func (s lots) HoldLot(ctx context.Context, r *pb.HoldLotRequest) (*pb.HoldLotResponse, error) {
	d := s.write(ctx, r, "name", r.GetName(), lotName)
	e := record(d, (*shop.Shop).Hold, ledger.HoldLot{Lot: d.id(), Why: r.GetWhy()})
	return reply(d, &pb.HoldLotResponse{Lot: d.lot(d.id()), Entry: d.entry(e)})
}

func (s lots) ReleaseLot(ctx context.Context, r *pb.ReleaseLotRequest) (*pb.ReleaseLotResponse, error) {
	d := s.write(ctx, r, "name", r.GetName(), lotName)
	e := record(d, (*shop.Shop).Release, d.id())
	return reply(d, &pb.ReleaseLotResponse{Lot: d.lot(d.id()), Entry: d.entry(e)})
}

func (s lots) MoveLot(ctx context.Context, r *pb.MoveLotRequest) (*pb.MoveLotResponse, error) {
	d := s.write(ctx, r, "name", r.GetName(), lotName)
	e := record(d, (*shop.Shop).Move, ledger.MoveLot{Lot: d.id(), Place: d.ref("place", r.GetPlace(), "places")})
	return reply(d, &pb.MoveLotResponse{Lot: d.lot(d.id()), Entry: d.entry(e)})
}

func (s lots) SplitLot(ctx context.Context, r *pb.SplitLotRequest) (*pb.SplitLotResponse, error) {
	d := s.write(ctx, r, "name", r.GetName(), lotName)
	c := ledger.SplitLot{Lot: d.id()}
	for i, p := range r.GetParts() {
		at := indexed("parts", i)
		c.Parts = append(c.Parts, ledger.Part{LotID: p.GetLotId(), Weighing: d.weighing(sub(at, "weighing"), p.GetWeighing()),
			Place: d.ref(sub(at, "place"), p.GetPlace(), "places"), Label: p.GetLabel()})
	}
	e := record(d, (*shop.Shop).Split, c)
	return reply(d, &pb.SplitLotResponse{Lot: d.lot(d.id()), Parts: d.otherLots(e, d.id()), Entry: d.entry(e)})
}

// otherLots shows the lots of an entry but one, in order.
func (d *desk) otherLots(e *ledger.Entry, but string) (out []*pb.Lot) {
	if d.err != nil || e == nil {
		return nil
	}
	for _, r := range e.Records {
		if r.Kind == ledger.RecLot && r.ID != but {
			out = append(out, d.lot(r.ID))
		}
	}
	return out
}

func (s lots) RemoveLot(ctx context.Context, r *pb.RemoveLotRequest) (*pb.RemoveLotResponse, error) {
	d := s.write(ctx, r, "name", r.GetName(), lotName)
	e := record(d, (*shop.Shop).Remove, ledger.RemoveLot{Lot: d.id(), How: removals.read(d, "how", r.GetHow()),
		Mass: d.amount(r.GetMass()), To: d.ref("to", r.GetTo(), "parties"), For: r.GetFor(), Pieces: r.GetPieces()})
	return reply(d, &pb.RemoveLotResponse{Lot: d.lot(d.id()), Entry: d.entry(e)})
}

func (s lots) SpeakFor(ctx context.Context, r *pb.SpeakForRequest) (*pb.SpeakForResponse, error) {
	d := s.write(ctx, r, "name", r.GetName(), lotName)
	e := record(d, (*shop.Shop).SpeakFor, ledger.SpeakFor{Lot: d.id(), For: d.ref("for", r.GetFor(), "heats"), Mass: d.amount(r.GetMass())})
	return reply(d, &pb.SpeakForResponse{Lot: d.lot(d.id()), Entry: d.entry(e)})
}

func (s lots) AssignLot(ctx context.Context, r *pb.AssignLotRequest) (*pb.AssignLotResponse, error) {
	d := s.write(ctx, r, "name", r.GetName(), lotName)
	e := record(d, (*shop.Shop).Assign, ledger.AssignLot{Lot: d.id(), Heats: d.heatShares("heats", r.GetHeats())})
	return reply(d, &pb.AssignLotResponse{Lot: d.lot(d.id()), Entry: d.entry(e)})
}

func (s lots) IdentifyLot(ctx context.Context, r *pb.IdentifyLotRequest) (*pb.IdentifyLotResponse, error) {
	d := s.write(ctx, r, "name", r.GetName(), lotName)
	e := record(d, (*shop.Shop).Identify, ledger.IdentifyLot{Lot: d.id(), Alloy: d.ref("alloy", r.GetAlloy(), "alloys"),
		Certificate: d.certificate("certificate", r.GetCertificate())})
	return reply(d, &pb.IdentifyLotResponse{Lot: d.lot(d.id()), Entry: d.entry(e)})
}

func (s lots) WorkUpLot(ctx context.Context, r *pb.WorkUpLotRequest) (*pb.WorkUpLotResponse, error) {
	d := s.write(ctx, r, "name", r.GetName(), lotName)
	e := record(d, (*shop.Shop).WorkUp, ledger.WorkUp{Lot: d.id(), Recovered: d.weighing("recovered", r.GetRecovered()),
		Place: d.ref("place", r.GetPlace(), "places")})
	return reply(d, &pb.WorkUpLotResponse{Lot: d.lot(d.id()), Recovered: d.madeLot(e), Entry: d.entry(e)})
}
