package server

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"hash"
	"io"
	"slices"
	"time"

	"google.golang.org/grpc"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/shop"
	"example.org/remelt/server/signin"
)

// shops are the shops and what each has chosen for itself.
type shops struct {
	pb.UnimplementedShopServiceServer
	counter
	ids    func(ctx context.Context) ([]string, error)
	backup func(ctx context.Context, shop string, w io.Writer, progress func(done, total int64)) (ledger.Verified, error)
}

func (s shops) CreateShop(ctx context.Context, r *pb.CreateShopRequest) (*pb.CreateShopResponse, error) {
	// Where everybody signs in, a further shop is opened by who starts the server.
	if _, err := s.ids(ctx); errors.Is(err, ledger.ErrSignIn) {
		return nil, err
	}
	if c, signedIn := signin.From(ctx); signedIn && c.Shop != r.GetShopId() {
		return nil, &ledger.Error{Class: ledger.ErrState, Reason: "OPENED_AT_START", Field: "shop", Value: r.GetShopId(),
			Want: "a further shop is opened by who starts the server, where people sign in: remelt serve --shop " + r.GetShopId() +
				", on an address of that machine, shows a link by which its first person signs in"}
	}
	book, err := s.books(ctx, r.GetShopId())
	if err != nil {
		return nil, err
	}
	d := &desk{ctx: ctx, Shop: book, at: "shop", inside: r.GetShop().ProtoReflect().Descriptor(), inPieces: map[string]bool{}}
	d.takeMeta(r)
	e := record(d, (*shop.Shop).OpenBook, readShop(d, "shop", r.GetShop(), r.GetShopId()))
	d.settings = load[ledger.Shop](d, ledger.RecShop, r.GetShopId()).Value
	return reply(d, &pb.CreateShopResponse{Shop: shopSetting.now(d, r.GetShopId()), Entry: d.entry(e)})
}

func (s shops) GetShop(ctx context.Context, r *pb.GetShopRequest) (*pb.GetShopResponse, error) {
	d := s.read(ctx, "name", r.GetName(), "shops/*")
	return reply(d, &pb.GetShopResponse{Shop: shopSetting.now(d, d.shopID())})
}

func (s shops) ListShops(ctx context.Context, r *pb.ListShopsRequest) (*pb.ListShopsResponse, error) {
	d := &desk{ctx: ctx}
	p := d.page(r)
	ids, err := s.ids(ctx)
	if d.fail(err).err != nil {
		return nil, d.err
	}
	at, found := slices.BinarySearch(ids, p.after)
	if found {
		at++
	}
	ids = ids[at:min(len(ids), at+p.limit)]
	out := &pb.ListShopsResponse{}
	for _, id := range ids {
		if d.Shop, err = s.books(ctx, id); err != nil {
			return nil, err
		}
		out.Shops = append(out.Shops, shopSetting.now(d, id))
		out.NextPageToken = p.next(len(ids), id)
	}
	return reply(d, out)
}

func (s shops) UpdateShop(ctx context.Context, r *pb.UpdateShopRequest) (*pb.UpdateShopResponse, error) {
	d, p, e := shopSetting.update(ctx, s.counter, r, r.GetShop(), r.GetShop().GetName(), false)
	return reply(d, &pb.UpdateShopResponse{Shop: p, Entry: d.entry(e)})
}

// shopID is the shop that a call is about.
func (d *desk) shopID() string {
	if d.Shop == nil {
		return ""
	}
	return d.Book.Shop
}

var shopSetting = setting[ledger.Shop, ledger.Shop, *pb.Shop]{
	kind: ledger.RecShop, field: "shop", set: (*shop.Shop).SetShop,
	key: func(v ledger.Shop) string { return v.ID },
	show: func(_ *desk, v ledger.Shop, seq int64) *pb.Shop {
		return &pb.Shop{Name: "shops/" + v.ID, DisplayName: v.Name, MassUnit: v.MassUnit, TemperatureUnit: v.TempUnit,
			Currency: v.Currency, TimeZone: v.TimeZone, TrappedPercent: percentOrNone(v.TrappedPPM),
			TrappedSpanPercent: percentText(v.TrappedSpan), Etag: etag(seq)}
	},
	read: readShop,
}

func readShop(d *desk, at string, p *pb.Shop, id string) ledger.Shop {
	v := ledger.Shop{ID: id, Name: p.GetDisplayName(), MassUnit: p.GetMassUnit(), TempUnit: p.GetTemperatureUnit(),
		Currency: p.GetCurrency(), TimeZone: p.GetTimeZone(),
		TrappedPPM:  d.percent(sub(at, "trapped_percent"), p.GetTrappedPercent()),
		TrappedSpan: d.percent(sub(at, "trapped_span_percent"), p.GetTrappedSpanPercent())}
	d.above0(sub(at, "trapped_percent"), p.GetTrappedPercent(), v.TrappedPPM)
	return v
}

func (s shops) VerifyShop(r *pb.VerifyShopRequest, stream grpc.ServerStreamingServer[pb.VerifyShopResponse]) error {
	ctx, cancel := context.WithCancel(stream.Context())
	defer cancel()
	d := s.read(ctx, "name", r.GetName(), "shops/*")
	after := ledger.Head{Seq: r.GetAfterSequence()}
	if (after.Seq == 0) != (r.GetAfterHash() == "") {
		d.invalid("REQUIRED", "after_hash", r.GetAfterHash(), "must be given with after_sequence, and only with it")
	}
	if r.GetAfterHash() != "" {
		hash, err := ledger.ParseHash(r.GetAfterHash())
		if after.Hash = hash; err != nil {
			d.invalid("BAD_HASH", "after_hash", r.GetAfterHash(), "must be 64 hexadecimal digits")
		}
	}
	if d.err != nil {
		return d.err
	}
	t := teller{unit: "entries", send: func(p *pb.Progress) error {
		return stream.Send(&pb.VerifyShopResponse{Event: &pb.VerifyShopResponse_Progress{Progress: p}})
	}}
	told := func(done, all int64) {
		if t.tell(done, all) != nil {
			cancel() // nobody listens any more
		}
	}
	var v ledger.Verified
	var err error
	if after.Seq > 0 {
		v, err = ledger.VerifyAfter(ctx, d.Store, d.shopID(), after, told)
	} else {
		v, err = ledger.Verify(ctx, d.Store, d.shopID(), told)
	}
	if err != nil {
		return err
	}
	return stream.Send(&pb.VerifyShopResponse{Event: &pb.VerifyShopResponse_Result{Result: verification(v)}})
}

func verification(v ledger.Verified) *pb.Verification {
	p := &pb.Verification{Whole: v.Fault == nil, Entries: v.Entries, HeadHash: v.Head.String(), AfterSequence: v.After}
	if v.Fault != nil {
		p.BadSequence, p.Fault = v.Fault.Seq, v.Fault.What
	}
	return p
}

// teller tells how far work is, a few times a second at most, and always the end.
type teller struct {
	unit string
	send func(*pb.Progress) error
	told time.Time
}

func (t *teller) tell(done, all int64) error {
	if time.Since(t.told) < 200*time.Millisecond && done != all {
		return nil
	}
	t.told = time.Now()
	return t.send(&pb.Progress{Done: done, Total: all, Unit: t.unit})
}

func (s shops) BackupShop(r *pb.BackupShopRequest, stream grpc.ServerStreamingServer[pb.BackupShopResponse]) error {
	d := s.read(stream.Context(), "name", r.GetName(), "shops/*")
	if d.err != nil {
		return d.err
	}
	if s.backup == nil {
		return &ledger.Error{Class: ledger.ErrState, Reason: "NO_BACKUP", Field: "name", Value: r.GetName(),
			Want: "the server's store gives no copy of itself; use the tools of its database"}
	}
	t := teller{unit: "bytes", send: func(p *pb.Progress) error {
		return stream.Send(&pb.BackupShopResponse{Event: &pb.BackupShopResponse_Progress{Progress: p}})
	}}
	out := &chunks{stream: stream, sum: sha256.New()}
	v, err := s.backup(stream.Context(), d.shopID(), out, func(done, all int64) { out.fail(t.tell(done, all)) })
	if err == nil {
		err = out.err
	}
	if err != nil {
		return err
	}
	return stream.Send(&pb.BackupShopResponse{Event: &pb.BackupShopResponse_Result{Result: &pb.BackupResult{
		SizeBytes: out.size, Sha256: hex.EncodeToString(out.sum.Sum(nil)), Verification: verification(v)}}})
}

// chunks sends what is written to it as chunks of a backup.
type chunks struct {
	stream grpc.ServerStreamingServer[pb.BackupShopResponse]
	sum    hash.Hash
	size   int64
	err    error
}

const chunkSize = 256 << 10

// Write implements io.Writer.
func (c *chunks) Write(p []byte) (n int, err error) {
	for n < len(p) && c.err == nil {
		part := p[n:min(len(p), n+chunkSize)]
		c.sum.Write(part)
		c.fail(c.stream.Send(&pb.BackupShopResponse{Event: &pb.BackupShopResponse_Chunk{Chunk: part}}))
		n += len(part)
	}
	c.size += int64(n)
	return n, c.err
}

func (c *chunks) fail(err error) {
	if c.err == nil {
		c.err = err
	}
}
