package server

import (
	"context"
	"fmt"
	"io"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
)

// reads is a request for every method that reads one thing or a list.
func reads() []proto.Message {
	return []proto.Message{
		&pb.GetShopRequest{Name: harrow}, &pb.ListShopsRequest{}, &pb.GetCheckpointRequest{Name: harrow + "/checkpoint"},
		&pb.GetPlaceRequest{Name: harrow + "/places/rack"}, &pb.ListPlacesRequest{Parent: harrow},
		&pb.GetScaleRequest{Name: floor}, &pb.ShowReadingRequest{Name: floor, Weight: g(1)}, &pb.ListScalesRequest{Parent: harrow},
		&pb.GetTareRequest{Name: harrow + "/tares/pan"}, &pb.ListTaresRequest{Parent: harrow},
		&pb.GetPersonRequest{Name: jo}, &pb.ListPeopleRequest{Parent: harrow},
		&pb.GetTokenRequest{Name: jo + "/tokens/2"}, &pb.ListTokensRequest{Parent: jo},
		&pb.GetPartyRequest{Name: harrow + "/parties/iris"}, &pb.ListPartiesRequest{Parent: harrow},
		&pb.GetPotRequest{Name: harrow + "/pots/A60"}, &pb.ListPotsRequest{Parent: harrow},
		&pb.GetOfferRequest{Name: harrow + "/offers/1"}, &pb.ListOffersRequest{Parent: harrow},
		&pb.GetMarketPriceRequest{Name: harrow + "/marketPrices/Cu.2026-03-02"}, &pb.ListMarketPricesRequest{Parent: harrow}, &pb.FindMarketPriceRequest{Parent: harrow, Metal: "copper"},
		&pb.GetSupplyRequest{Name: harrow + "/supplies/borax"}, &pb.ListSuppliesRequest{Parent: harrow},
		&pb.GetAlloyRequest{Name: harrow + "/alloys/" + alloyID}, &pb.ListAlloysRequest{Parent: harrow},
		&pb.CheckMixRequest{Parent: harrow, Into: alloyID, From: "C83600"},
		&pb.GetLotRequest{Name: lotNames + "gating"}, &pb.ListLotsRequest{Parent: harrow},
		&pb.GetHeatRequest{Name: heat41}, &pb.ListHeatsRequest{Parent: harrow},
		&pb.ListReadingsRequest{Parent: heat41}, &pb.ListAdditionsRequest{Parent: heat41}, &pb.ListFuelRequest{Parent: heat41},
		&pb.GetHeatCostRequest{Name: heat41 + "/cost"}, &pb.GetLotCostRequest{Name: lotNames + "gating/cost"}, &pb.GetCastingCostRequest{Name: harrow + "/castings/C1/cost"},
		&pb.GetStockValueRequest{Name: harrow + "/stockValue"}, &pb.ListCostingsRequest{Parent: harrow}, &pb.AdviseOrdersRequest{Parent: harrow},
		&pb.GetPurchaseOrderRequest{Name: harrow + "/purchaseOrders/1"}, &pb.ListPurchaseOrdersRequest{Parent: harrow},
		&pb.GetCostStatementRequest{Name: harrow + "/costStatement", StartTime: day(0), EndTime: day(30)},
		&pb.GetMoldRequest{Name: heat41 + "/molds/41-1"}, &pb.ListMoldsRequest{Parent: heat41},
		&pb.EstimateMetalRequest{Parent: harrow, Alloy: alloyID, Wax: g(100)},
		&pb.GetCastingRequest{Name: harrow + "/castings/C1"}, &pb.ListCastingsRequest{Parent: harrow, ShowGone: true},
		&pb.GetStocktakeRequest{Name: harrow + "/stocktakes/1"}, &pb.ListStocktakesRequest{Parent: harrow},
		&pb.GetEntryRequest{Name: harrow + "/entries/1"}, &pb.ListEntriesRequest{Parent: harrow},
		&pb.ListHistoryRequest{Name: heat41},
		&pb.GetStockRequest{Name: harrow + "/stock"}, &pb.GetHeatBalanceRequest{Name: heat41 + "/balance"},
		&pb.GetPeriodBalanceRequest{Name: harrow + "/periodBalance", StartTime: day(-1), EndTime: day(90)},
		&pb.ReconcileWeighingsRequest{Parent: harrow}, &pb.GetLossesRequest{Name: harrow + "/losses"},
		&pb.CheckLossForecastsRequest{Name: harrow + "/losses"}, &pb.ForecastLossRequest{Parent: harrow, Heat: "42"},
		&pb.TraceBackRequest{Name: lotNames + "gating"}, &pb.TraceForwardRequest{Name: lotNames + "ingots"},
		&pb.GetContentRequest{Name: harrow + "/castings/C1/content"}, &pb.ForecastRemeltsRequest{Name: harrow + "/alloys/" + alloyID},
		&pb.EstimateMeltEnergyRequest{Parent: harrow, Alloy: alloyID, Mass: g(60_000)},
		&pb.PlanChargeRequest{Name: harrow + "/heats/44"}, &pb.ArrangeHeatsRequest{Parent: harrow},
		&pb.GetCommissionRequest{Name: herons}, &pb.ListCommissionsRequest{Parent: harrow}, &pb.ListRateCardsRequest{Parent: harrow},
		&pb.ListLaboursRequest{Parent: herons}, &pb.ListBoughtInsRequest{Parent: herons}, &pb.GetCommissionCostRequest{Name: herons + "/cost"},
		&pb.GetQuoteRequest{Name: herons + "/quotes/herons-1"}, &pb.ListQuotesRequest{Parent: herons},
		&pb.GetChargeBackRequest{Name: harrow + "/chargeBack", StartTime: day(-1), EndTime: day(90), By: pb.ChargedTo_CHARGED_TO_COMMISSION},
	}
}

// TestEveryRead asks every method that reads, in the shop with its first weeks
// done, and then in a shop that has no book and with a name of another shape.
func TestEveryRead(t *testing.T) {
	b := done(t)
	asked := map[protoreflect.FullName]bool{}
	for _, r := range reads() {
		m := methodOf(r)
		asked[m.FullName()] = true
		resp := do[proto.Message](b, r)
		first := resp.ProtoReflect().Descriptor().Fields().ByNumber(1)
		if !resp.ProtoReflect().Has(first) {
			t.Errorf("%s: the answer has no %s", m.Name(), first.Name())
		}
		for _, f := range []protoreflect.Name{"name", "parent"} {
			if m.Input().Fields().ByName(f) == nil {
				continue
			}
			name := r.ProtoReflect().Get(m.Input().Fields().ByName(f)).String()
			b.refusedBy(set(r, f, strings.Replace(name, harrow, "shops/nobody", 1)), "NO_SUCH_SHOP", "shop")
			for _, bad := range []string{"", "shops", "harrow", name + "/x", strings.TrimSuffix(name, harrow) + "//"} {
				b.refusedBy(set(r, f, bad), "BAD_NAME", string(f))
			}
		}
	}
	eachMethod(func(m protoreflect.MethodDescriptor) {
		if m.Input().Fields().ByName("request_id") == nil && !asked[m.FullName()] && !m.IsStreamingServer() {
			t.Errorf("no request for %s", m.FullName())
		}
	})
}

// TestThingsThatAreNotThere: a name of the right shape of nothing in the book.
func TestThingsThatAreNotThere(t *testing.T) {
	b := done(t)
	for _, r := range reads() {
		f := r.ProtoReflect().Descriptor().Fields().ByName("name")
		if f == nil {
			continue
		}
		parts := strings.Split(r.ProtoReflect().Get(f).String(), "/")
		i := 3
		if len(parts) == 6 { // a mold, a token
			i = 5
		}
		if len(parts) <= i { // the shop itself, and what there is one of
			continue
		}
		parts[i] = "999"
		_, err := b.call(set(r, "name", strings.Join(parts, "/")))
		if err == nil {
			t.Errorf("%T of nothing is answered", r)
		} else if reason, _ := reasonOf(t, err); reason != "NOT_FOUND" && reason != "UNKNOWN_ALLOY" {
			t.Errorf("%T: %v", r, err)
		}
	}
	b.refusedBy(&pb.GetLotRequest{Name: lotNames + "L4-0"}, "CHECK_DIGIT", "lot")
	b.refusedBy(&pb.GetMoldRequest{Name: harrow + "/heats/42/molds/41-1"}, "NOT_FOUND", "mold")
	b.refusedBy(&pb.ListMoldsRequest{Parent: harrow + "/heats/99"}, "NOT_FOUND", "heat")
	b.refusedBy(&pb.GetEntryRequest{Name: harrow + "/entries/one"}, "BAD_NAME", "name")
}

// keysOf are the names of a list's things.
func keysOf(resp proto.Message) (keys []string) {
	m := resp.ProtoReflect()
	all := m.Get(m.Descriptor().Fields().ByNumber(1)).List()
	for i := range all.Len() {
		keys = append(keys, all.Get(i).Message().Interface().(interface{ GetName() string }).GetName())
	}
	return keys
}

// TestEntriesAndHistory: the book both ways, and one thing's own entries.
func TestEntriesAndHistory(t *testing.T) {
	b := done(t)
	up := keysOf(do[proto.Message](b, &pb.ListEntriesRequest{Parent: harrow, PageSize: 1000}))
	down := keysOf(do[proto.Message](b, &pb.ListEntriesRequest{Parent: harrow, PageSize: 1000, OrderBy: "sequence desc"}))
	if slices.Reverse(down); !slices.Equal(up, down) || len(up) != int(b.head()) {
		t.Errorf("%d entries up, %d down, %d in the book", len(up), len(down), b.head())
	}
	b.refusedBy(&pb.ListEntriesRequest{Parent: harrow, OrderBy: "who"}, "BAD_ORDER", "order_by")

	var kinds []string
	for _, e := range do[*pb.ListHistoryResponse](b, &pb.ListHistoryRequest{Name: lotNames + "pig2"}).GetEntries() {
		kinds = append(kinds, e.GetKind())
	}
	if got, want := strings.Join(kinds, " "), "charge release hold move combine split"; got != want {
		t.Errorf("history of a lot: %s, want %s", got, want)
	}
	for _, name := range []string{floor, heat41 + "/molds/41-4", harrow + "/stocktakes/1", harrow + "/alloys/HB1"} {
		if got := do[*pb.ListHistoryResponse](b, &pb.ListHistoryRequest{Name: name}).GetEntries(); len(got) == 0 {
			t.Errorf("%s has no history", name)
		}
	}
	b.refusedBy(&pb.ListHistoryRequest{Name: harrow + "/dreams/1"}, "BAD_NAME", "name")
}

// TestTheChainCanBeCheckedElsewhere: the full view has the bytes that the hashes
// are of, so that a reader needs nothing but SHA-256 (promise 3).
func TestTheChainCanBeCheckedElsewhere(t *testing.T) {
	b := done(t)
	var prev ledger.Hash
	for _, e := range do[*pb.ListEntriesResponse](b, &pb.ListEntriesRequest{Parent: harrow, PageSize: 1000, View: pb.EntryView_ENTRY_VIEW_FULL}).GetEntries() {
		if prev = ledger.Chain(prev, e.GetCanonical()); prev.String() != e.GetHash() {
			t.Fatalf("entry %d does not follow", e.GetSequence())
		}
		for _, c := range e.GetChanges() {
			if c.GetContent() == "" {
				t.Errorf("entry %d: %s %s without content", e.GetSequence(), c.GetKind(), c.GetId())
			}
		}
	}
	basic := do[*pb.GetEntryResponse](b, &pb.GetEntryRequest{Name: harrow + "/entries/2"}).GetEntry()
	if basic.GetCanonical() != nil || basic.GetChanges()[0].GetContent() != "" {
		t.Error("the basic view is full")
	}
}

// TestPostingsSumToZero sums the postings of each entry as they are sent
// (promise 2): metal and mass supplies in milligrams, counted ones in pieces.
func TestPostingsSumToZero(t *testing.T) {
	b := done(t)
	counted := false
	for _, e := range do[*pb.ListEntriesResponse](b, &pb.ListEntriesRequest{Parent: harrow, PageSize: 1000}).GetEntries() {
		sums := map[string]int64{}
		for _, p := range e.GetPostings() {
			of := "metal"
			if kind, ref, _ := strings.Cut(p.GetAccount(), "/"); kind == "supplied" || kind == "supply" || kind == "spent" {
				of = ref
			}
			sums[of] += p.GetMass().GetMg() + p.GetPieces()
			counted = counted || p.GetPieces() != 0
			if p.GetBasis() == pb.Basis_BASIS_UNSPECIFIED {
				t.Errorf("entry %d: %v has no basis", e.GetSequence(), p)
			}
		}
		for of, s := range sums {
			if s != 0 {
				t.Errorf("entry %d: %s sums to %d", e.GetSequence(), of, s)
			}
		}
	}
	if !counted {
		t.Error("nothing was counted in pieces")
	}
}

// TestUnknownEnumValues puts a value that no schema has into every enum that any
// request takes: it is refused and the field is named.
func TestUnknownEnumValues(t *testing.T) {
	b := done(t)
	tried := 0
	for _, r := range append(work(), reads()...) {
		eachEnum(r.ProtoReflect(), "", func(field string, put func()) {
			tried++
			put()
			if _, err := b.call(b.step(r)); err == nil {
				t.Errorf("%T: 99 in %s is accepted", r, field)
			} else if reason, at := reasonOf(t, err); reason != "UNKNOWN_VALUE" || at != field {
				t.Errorf("%T: 99 in %s: %s of %s: %v", r, field, reason, at, err)
			}
		})
	}
	if tried < 30 {
		t.Errorf("only %d enums tried", tried)
	}
}

// eachEnum calls fn for every enum that a request takes; put puts 99 there, and
// it is taken out again afterwards.
func eachEnum(m protoreflect.Message, at string, fn func(field string, put func())) {
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		f := fields.Get(i)
		name := strings.TrimPrefix(at+"."+string(f.Name()), ".")
		if behaves(f, annotations.FieldBehavior_OUTPUT_ONLY) {
			continue
		}
		switch {
		case f.Enum() != nil:
			was := m.Get(f)
			odd := protoreflect.ValueOfEnum(99)
			if f.IsList() {
				name += "[0]"
				all := m.NewField(f).List()
				all.Append(odd)
				odd = protoreflect.ValueOfList(all)
			}
			had := m.Has(f)
			fn(name, func() { m.Set(f, odd) })
			if m.Clear(f); had {
				m.Set(f, was)
			}
		case f.Message() != nil && f.IsList():
			for k := range m.Get(f).List().Len() {
				eachEnum(m.Get(f).List().Get(k).Message(), fmt.Sprintf("%s[%d]", name, k), fn)
			}
		case f.Message() != nil && m.Has(f) && f.Message().ParentFile().Package() == "remelt.v1":
			eachEnum(m.Mutable(f).Message(), name, fn)
		}
	}
}

// TestEnumsAreComplete: every value of the schema stands for one of the domain.
func TestEnumsAreComplete(t *testing.T) {
	check := func(name string, values protoreflect.EnumValueDescriptors, n int, has func(protoreflect.EnumNumber) bool) {
		if values.Len() != n+1 {
			t.Errorf("%s: %d values in the schema, %d here", name, values.Len()-1, n)
		}
		for i := 1; i < values.Len(); i++ {
			if !has(values.Get(i).Number()) {
				t.Errorf("%s: %s stands for nothing", name, values.Get(i).Name())
			}
		}
	}
	checkEnum(check, bases)
	checkEnum(check, forms)
	checkEnum(check, conditions)
	checkEnum(check, heatStates)
	checkEnum(check, moldStates)
	checkEnum(check, orderStates)
	checkEnum(check, stages)
	checkEnum(check, roles)
	checkEnum(check, potKinds)
	checkEnum(check, classes)
	checkEnum(check, scaleRules)
	checkEnum(check, removals)
	checkEnum(check, causes)
	checkEnum(check, groupings)
	checkEnum(check, chargedTo)
	checkEnum(check, provenances)
	checkEnum(check, views)
	checkEnum(check, weighingStatuses)
	checkEnum(check, lossPaths)
	checkEnum(check, lossDirections)
}

func checkEnum[P protoreflect.Enum, D comparable](check func(string, protoreflect.EnumValueDescriptors, int, func(protoreflect.EnumNumber) bool), e enum[P, D]) {
	var p P
	check(string(p.Descriptor().FullName()), p.Descriptor().Values(), len(e), func(n protoreflect.EnumNumber) bool {
		for _, q := range e {
			if q.Number() == n {
				return true
			}
		}
		return false
	})
}

// TestWatch reads the book as it grows: everything so far, a heartbeat that says
// so, then the next entry; and from a number on.
func TestWatch(t *testing.T) {
	b := done(t)
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	end := b.head()
	stream, err := pb.NewEntryServiceClient(b.conn).WatchEntries(ctx, &pb.WatchEntriesRequest{Parent: harrow, AfterSequence: 3})
	if err != nil {
		t.Fatal(err)
	}
	for want := int64(4); ; want++ {
		m, err := stream.Recv()
		if err != nil {
			t.Fatal(err)
		}
		if m.GetEntry() == nil {
			if m.GetLastSequence() != end || want != end+1 {
				t.Errorf("heartbeat at %d before entry %d of %d", m.GetLastSequence(), want, end)
			}
			break
		}
		if m.GetEntry().GetSequence() != want || m.GetEntry().GetKind() == "" {
			t.Fatalf("got %v, want entry %d", m, want)
		}
	}
	do[*pb.HoldLotResponse](b, &pb.HoldLotRequest{Name: lotNames + "gating", Why: "a look at it"})
	if m, err := stream.Recv(); err != nil || m.GetEntry().GetKind() != "hold" || m.GetEntry().GetSequence() != end+1 {
		t.Errorf("after a write: %v, %v", m, err)
	}
	cancel()
	bad, err := pb.NewEntryServiceClient(b.conn).WatchEntries(context.Background(), &pb.WatchEntriesRequest{Parent: harrow, AfterSequence: end + 99})
	if err != nil {
		t.Fatal(err)
	}
	_, err = bad.Recv()
	if reason, field := reasonOf(t, err); reason != "NOT_IN_THE_BOOK" || field != "after_sequence" {
		t.Errorf("past the end: %v", err)
	}
}

// TestVerifyAndBackup: progress first, the result last.
func TestVerifyAndBackup(t *testing.T) {
	const copied = 600 << 10
	b := newBench(t, func(d *Deps) {
		d.Backup = func(_ context.Context, shop string, w io.Writer, progress func(done, total int64)) (ledger.Verified, error) {
			progress(0, copied)
			_, err := w.Write(make([]byte, copied))
			progress(copied, copied)
			return ledger.Verified{Shop: shop, Entries: 1}, err
		}
	})
	do[proto.Message](b, work()[0])
	ctx := context.Background()
	c := pb.NewShopServiceClient(b.conn)
	verify, err := c.VerifyShop(ctx, &pb.VerifyShopRequest{Name: harrow})
	if err != nil {
		t.Fatal(err)
	}
	var result *pb.Verification
	told := 0
	for m, err := verify.Recv(); err == nil; m, err = verify.Recv() {
		if m.GetProgress() != nil {
			told++
		}
		result = m.GetResult()
	}
	if !result.GetWhole() || result.GetEntries() != 1 || told == 0 || len(result.GetHeadHash()) != 64 {
		t.Errorf("told %d times, then %v", told, result)
	}
	backup, err := c.BackupShop(ctx, &pb.BackupShopRequest{Name: harrow})
	if err != nil {
		t.Fatal(err)
	}
	size, chunksSeen := 0, 0
	var kept *pb.BackupResult
	for m, err := backup.Recv(); err == nil; m, err = backup.Recv() {
		if size += len(m.GetChunk()); m.GetChunk() != nil {
			chunksSeen++
		}
		kept = m.GetResult()
	}
	// SHA-256 of 614 400 zero bytes, by sha256sum of the GNU core utilities.
	if kept.GetSizeBytes() != copied || size != copied || chunksSeen < 3 || !kept.GetVerification().GetWhole() ||
		kept.GetSha256() != "34c69899504b36f13e8b22120cf0fd894e61fcd6b046fb8535b79cc491fa3b3f" {
		t.Errorf("%d bytes in %d chunks, then %v", size, chunksSeen, kept)
	}
	none, err := pb.NewShopServiceClient(done(t).conn).BackupShop(ctx, &pb.BackupShopRequest{Name: harrow})
	if err != nil {
		t.Fatal(err)
	}
	_, err = none.Recv()
	if reason, _ := reasonOf(t, err); reason != "NO_BACKUP" {
		t.Errorf("without a backup: %v", err)
	}
}

// receives books in lots of a form.
func (b *bench) receives(n int, form pb.Form) {
	b.Helper()
	r := &pb.ImportLotsRequest{Parent: harrow}
	for range n {
		r.Rows = append(r.Rows, received(&pb.ReceiveLotRequest{Supplier: "northmetal", Alloy: alloyID, Form: form, Weighing: onFloor(1_000)}))
	}
	do[*pb.ImportLotsResponse](b, r)
}
