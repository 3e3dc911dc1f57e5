package server

import (
	"context"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/shop"
)

// stocktakes are walks past the shelves.
type stocktakes struct {
	pb.UnimplementedStocktakeServiceServer
	counter
}

func (s stocktakes) CreateStocktake(ctx context.Context, r *pb.CreateStocktakeRequest) (*pb.CreateStocktakeResponse, error) {
	d := s.write(ctx, r, "parent", r.GetParent(), "shops/*")
	d.at, d.inside = "stocktake", r.GetStocktake().ProtoReflect().Descriptor()
	c := ledger.TakeStock{Place: d.ref("stocktake.place", r.GetStocktake().GetPlace(), "places")}
	for i, l := range r.GetStocktake().GetLines() {
		at := indexed("stocktake.lines", i)
		if l.GetWeighing() == nil { // nothing said is not nothing found
			d.invalid("REQUIRED", sub(at, "weighing"), "", `give the weight found; a net of "0 kg" says that it is not there`)
		}
		c.Lines = append(c.Lines, ledger.CountLine{Lot: d.ref(sub(at, "lot"), l.GetLot(), "lots"), Weighing: d.weighing(sub(at, "weighing"), l.GetWeighing())})
	}
	e := record(d, (*shop.Shop).TakeStock, c)
	v := mustMake[ledger.Stocktake](d, e, ledger.RecCount)
	return reply(d, &pb.CreateStocktakeResponse{Stocktake: d.stocktake(load[ledger.Stocktake](d, ledger.RecCount, v.ID)), Entry: d.entry(e)})
}

func (s stocktakes) GetStocktake(ctx context.Context, r *pb.GetStocktakeRequest) (*pb.GetStocktakeResponse, error) {
	d := s.read(ctx, "name", r.GetName(), "shops/*/stocktakes/*")
	return reply(d, &pb.GetStocktakeResponse{Stocktake: d.stocktake(load[ledger.Stocktake](d, ledger.RecCount, d.id()))})
}

func (s stocktakes) ListStocktakes(ctx context.Context, r *pb.ListStocktakesRequest) (*pb.ListStocktakesResponse, error) {
	d := s.read(ctx, "parent", r.GetParent(), "shops/*")
	got, next := list[ledger.Stocktake](d, r, ledger.RecCount, "", nil)
	return reply(d, &pb.ListStocktakesResponse{Stocktakes: showAll(got, d.stocktake), NextPageToken: next})
}

func (d *desk) stocktake(s ledger.Stamped[ledger.Stocktake]) *pb.Stocktake {
	if d.err != nil {
		return nil
	}
	p := &pb.Stocktake{Name: d.name("stocktakes", s.Value.ID), Place: d.name("places", s.Value.Place), Entry: d.entryName(s.Seq), Void: s.Value.Void}
	for _, l := range s.Value.Lines {
		found := d.mass(l.Found.Mass)
		found.Typed = l.Found.Typed
		p.Lines = append(p.Lines, &pb.StocktakeLine{Lot: d.name("lots", l.Lot), Found: found, Book: d.mass(l.Book), Difference: d.mass(l.Found.Mass - l.Book)})
	}
	return p
}
