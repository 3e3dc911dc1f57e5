package server

import (
	"context"
	"fmt"
	"strconv"
	"strings"

	"google.golang.org/grpc"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/shop"
	"example.org/remelt/server/signin"
)

// entries are the lines of the book.
type entries struct {
	pb.UnimplementedEntryServiceServer
	counter
	follow func(ctx context.Context, s *shop.Shop, after int64, send func(*ledger.Entry) error, beat func(last int64) error) error
}

func (s entries) GetEntry(ctx context.Context, r *pb.GetEntryRequest) (*pb.GetEntryResponse, error) {
	d := s.read(ctx, "name", r.GetName(), "shops/*/entries/*")
	e := d.entryNumbered("name", d.id())
	full := views.read(d, "view", r.GetView())
	return reply(d, &pb.GetEntryResponse{Entry: d.entryIn(full, e)})
}

func (s entries) ListEntries(ctx context.Context, r *pb.ListEntriesRequest) (*pb.ListEntriesResponse, error) {
	d := s.read(ctx, "parent", r.GetParent(), "shops/*")
	full := views.read(d, "view", r.GetView())
	p := d.page(r)
	at := d.afterNumber(p)
	var all []*ledger.Entry
	switch order := strings.Join(strings.Fields(r.GetOrderBy()), " "); {
	case d.err != nil:
	case order == "" || order == "sequence":
		all = d.entriesAfter(at, p.limit)
	case order == "sequence desc":
		all = d.entriesBefore(at, p.limit)
	default:
		d.invalid("BAD_ORDER", "order_by", r.GetOrderBy(), `must be "sequence" or "sequence desc"`)
	}
	show, next := d.entryPage(full, p, all)
	return reply(d, &pb.ListEntriesResponse{Entries: show, NextPageToken: next})
}

func (d *desk) entriesAfter(seq int64, limit int) []*ledger.Entry {
	all, err := d.Entries(d.ctx, seq, limit)
	d.fail(err)
	return all
}

// entriesBefore is a page going down from below a number, or from the end. The
// numbers have no gaps, so it is a page going up, turned round.
func (d *desk) entriesBefore(seq int64, limit int) []*ledger.Entry {
	if seq == 0 {
		head, err := d.HeadOf(d.ctx)
		d.fail(err)
		seq = head.Seq + 1
	}
	first := max(1, seq-int64(limit))
	if d.err != nil || first >= seq {
		return nil
	}
	up := d.entriesAfter(first-1, int(seq-first))
	down := make([]*ledger.Entry, 0, len(up))
	for i := range up {
		down = append(down, up[len(up)-1-i])
	}
	return down
}

func (d *desk) entryPage(full bool, p page, all []*ledger.Entry) ([]*pb.Entry, string) {
	if len(all) == 0 {
		return nil, ""
	}
	show := showAll(all, func(e *ledger.Entry) *pb.Entry { return d.entryIn(full, e) })
	return show, p.next(len(all), strconv.FormatInt(all[len(all)-1].Seq, 10))
}

// histories are the collections whose things have a history, with their kinds.
var histories = map[string]ledger.RecordKind{
	"lots": ledger.RecLot, "heats": ledger.RecHeat, "castings": ledger.RecCasting, "supplies": ledger.RecSupply,
	"places": ledger.RecPlace, "scales": ledger.RecScale, "tares": ledger.RecTare, "parties": ledger.RecParty,
	"pots": ledger.RecPot, "alloys": ledger.RecAlloy, "stocktakes": ledger.RecCount, "purchaseOrders": ledger.RecOrder, "molds": ledger.RecMold,
	"people": ledger.RecPerson,
}

func (s entries) ListHistory(ctx context.Context, r *pb.ListHistoryRequest) (*pb.ListHistoryResponse, error) {
	parts := strings.Split(r.GetName(), "/")
	collection, pattern := "", "shops/*/lots/*"
	if len(parts) > 3 {
		collection = parts[len(parts)-2]
		pattern = "shops/*/" + collection + "/*"
	}
	if len(parts) == 6 {
		pattern = "shops/*/heats/*/" + collection + "/*"
	}
	d := s.read(ctx, "name", r.GetName(), pattern)
	kind, ok := histories[collection]
	if !ok {
		d.invalid("BAD_NAME", "name", r.GetName(), "must be a lot, heat, casting, supply or another thing of the book")
	}
	load[struct{}](d, kind, d.id()) // it must be there
	full := views.read(d, "view", r.GetView())
	p := d.page(r)
	at := d.afterNumber(p)
	var all []*ledger.Entry
	if d.err == nil {
		var err error
		all, err = d.History(ctx, string(kind)+"/"+d.id(), at, p.limit)
		d.fail(err)
	}
	show, next := d.entryPage(full, p, all)
	return reply(d, &pb.ListHistoryResponse{Entries: show, NextPageToken: next})
}

func (s entries) ReverseEntry(ctx context.Context, r *pb.ReverseEntryRequest) (*pb.ReverseEntryResponse, error) {
	d := s.write(ctx, r, "name", r.GetName(), "shops/*/entries/*")
	old := d.entryNumbered("name", d.id())
	if d.err != nil {
		return nil, d.err
	}
	if c, signedIn := signin.From(ctx); signedIn {
		if err := mayTakeBack(c, "name", r.GetName(), old); err != nil {
			return nil, err
		}
	}
	e := record(d, (*shop.Shop).Reverse, ledger.ReverseEntry{Entry: old.Seq})
	return reply(d, &pb.ReverseEntryResponse{Reversed: d.entry(old), Entry: d.entry(e)})
}

func (s entries) WatchEntries(r *pb.WatchEntriesRequest, stream grpc.ServerStreamingServer[pb.WatchEntriesResponse]) error {
	d := s.read(stream.Context(), "parent", r.GetParent(), "shops/*")
	full := views.read(d, "view", r.GetView())
	if d.err != nil {
		return d.err
	}
	return d.named(s.follow(stream.Context(), d.Shop, r.GetAfterSequence(), func(e *ledger.Entry) error {
		clear(d.inPieces) // settings may have changed since
		if changed, err := e.First(ledger.RecShop, new(ledger.Shop)); changed || err != nil {
			now, err := d.Settings(d.ctx)
			if d.fail(err); err != nil {
				return err
			}
			d.settings = now.Value
		}
		m := &pb.WatchEntriesResponse{Entry: d.entryIn(full, e)}
		if d.err != nil {
			return d.err
		}
		return stream.Send(m)
	}, func(last int64) error { return stream.Send(&pb.WatchEntriesResponse{LastSequence: last}) }))
}

// entryNumbered reads the entry that an id of a name stands for.
func (d *desk) entryNumbered(field, id string) *ledger.Entry {
	if d.err != nil {
		return nil
	}
	seq, err := strconv.ParseInt(id, 10, 64)
	if err != nil {
		d.invalid("BAD_NAME", field, id, "an entry has a number")
		return nil
	}
	e, err := d.Entry(d.ctx, seq)
	d.fail(err)
	return e
}

func (d *desk) entryName(seq int64) string {
	if seq == 0 {
		return ""
	}
	return d.name("entries", strconv.FormatInt(seq, 10))
}

// entry shows an entry in the basic view.
func (d *desk) entry(e *ledger.Entry) *pb.Entry { return d.entryIn(false, e) }

func (d *desk) entryIn(full bool, e *ledger.Entry) *pb.Entry {
	if d.err != nil || e == nil {
		return nil
	}
	p := &pb.Entry{
		Name: d.entryName(e.Seq), Sequence: e.Seq, Kind: string(e.Kind), RequestId: e.Request.String(),
		HappenedTime: moment(e.Happened), RecordedTime: moment(e.Recorded), Who: e.Who, Device: e.Device, Reason: e.Reason,
		Flags: flags(e.Flags), Reverses: d.entryName(e.Reverses), ReversedBy: d.entryName(d.reversedBy(e.Seq)),
		Postings: showAll(e.Postings, d.posting), Weighings: showAll(e.Weighings, d.weighed), Hash: e.Hash.String(),
	}
	for _, r := range e.Records {
		c := &pb.Change{Kind: string(r.Kind), Id: r.ID, Resource: d.resource(r)}
		if full {
			c.Content = string(r.Body)
		}
		p.Changes = append(p.Changes, c)
	}
	for _, c := range e.Costs {
		p.Costs = append(p.Costs, &pb.Cost{Account: string(c.Account), Money: money(c.Minor, c.Currency)})
	}
	if full {
		p.Canonical = ledger.Encode(e)
	}
	return p
}

func flags(all []ledger.Flag) []*pb.Flag {
	return showAll(all, func(f ledger.Flag) *pb.Flag { return &pb.Flag{Code: f.Code, Text: f.Text} })
}

// reversedBy is the number of the entry that reversed one, or 0.
func (d *desk) reversedBy(seq int64) int64 {
	if d.err != nil {
		return 0
	}
	switch {
	case d.own == nil:
	case d.own.Reverses == seq:
		return d.own.Seq
	case d.own.Seq == seq:
		return 0
	}
	var rev ledger.Reversal
	d.fail(d.Store.View(d.ctx, d.Book.Shop, func(r ledger.Reader) error {
		rec, found, err := r.Record(ledger.RecReversal, fmt.Sprint(seq))
		if err != nil || !found {
			return err
		}
		return rec.Into(&rev)
	}))
	return rev.By
}

func (d *desk) posting(p ledger.Posting) *pb.Posting {
	out := &pb.Posting{Account: string(p.Account), Basis: bases.show(p.Basis)}
	if p.Account.CountsSupplies() && d.countedInPieces(p.Account.Ref()) {
		out.Pieces = int64(p.Mass)
	} else {
		out.Mass = d.mass(p.Mass)
	}
	return out
}

func (d *desk) countedInPieces(supply string) bool {
	yes, known := d.inPieces[supply]
	if !known {
		yes = load[ledger.Supply](d, ledger.RecSupply, supply).Value.InPieces
		d.inPieces[supply] = yes
	}
	return yes
}

// collections are where the things of a kind are found by name.
var collections = map[ledger.RecordKind]string{
	ledger.RecLot: "lots", ledger.RecHeat: "heats", ledger.RecCasting: "castings", ledger.RecSupply: "supplies",
	ledger.RecPlace: "places", ledger.RecScale: "scales", ledger.RecTare: "tares", ledger.RecParty: "parties",
	ledger.RecPot: "pots", ledger.RecAlloy: "alloys", ledger.RecCount: "stocktakes",
	ledger.RecMold: "molds", ledger.RecReading: "readings", ledger.RecAddition: "additions",
}

// resource is the resource name of the thing that a record is of; "" when it has none.
func (d *desk) resource(r ledger.Record) string {
	collection := collections[r.Kind]
	heat, ofHeat := strings.CutPrefix(r.Parent, "heat/")
	switch {
	case r.Kind == ledger.RecShop:
		return "shops/" + r.ID
	case collection == "":
		return ""
	case ofHeat && r.Kind != ledger.RecCasting:
		return d.nameIn(heat, collection, r.ID)
	}
	return d.name(collection, r.ID)
}
