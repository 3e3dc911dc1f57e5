package server

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/testing/protocmp"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
)

// reasonOf is the machine-readable reason of a refusal and the field it names.
func reasonOf(t *testing.T, err error) (reason, field string) {
	t.Helper()
	for _, d := range status.Convert(err).Details() {
		if info, ok := d.(*errdetails.ErrorInfo); ok {
			return info.GetReason(), info.GetMetadata()[metaField]
		}
	}
	t.Fatalf("no reason in %v", err)
	return "", ""
}

// step makes a request of work ready to be sent.
func (b *bench) step(r proto.Message) proto.Message {
	if rev, ok := r.(*pb.ReverseEntryRequest); ok {
		rev.Name = strings.Replace(rev.GetName(), lastEntry, fmt.Sprint(b.head()), 1)
	}
	b.identify(r)
	return r
}

func set(r proto.Message, field protoreflect.Name, v any) proto.Message {
	c := proto.Clone(r)
	m := c.ProtoReflect()
	m.Set(m.Descriptor().Fields().ByName(field), protoreflect.ValueOf(v))
	return c
}

func (b *bench) entryOf(resp proto.Message) *pb.Entry {
	if r, ok := resp.(*pb.ImportLotsResponse); ok { // it names the entries of its rows
		return do[*pb.GetEntryResponse](b, &pb.GetEntryRequest{Name: r.GetRows()[0].GetEntry()}).GetEntry()
	}
	m := resp.ProtoReflect()
	return m.Get(m.Descriptor().Fields().ByName("entry")).Message().Interface().(*pb.Entry)
}

// shownOnce leaves out what is made anew for each answer, and for none of a dry run.
var shownOnce = cmp.Options{
	protocmp.IgnoreFields(&pb.Token{}, "secret"),
	protocmp.IgnoreFields(&pb.InvitePersonResponse{}, "code", "uri", "expire_time"),
	protocmp.IgnoreFields(&pb.PairDeviceResponse{}, "code", "uri", "code_expire_time"),
}

// TestEveryWrite does the work of a shop's first weeks and holds each write to
// what all writes promise: a dry run answers exactly what the write then answers
// and records nothing; the write is one entry that keeps who, where, when and
// why; sent again it gives the same answer and records nothing; its request id
// is refused for anything else.
func TestEveryWrite(t *testing.T) {
	b := newBench(t)
	done := map[protoreflect.FullName]int{}
	for i, r := range work() {
		b.step(r)
		m := methodOf(r)
		done[m.FullName()]++
		at := fmt.Sprintf("step %d, %s", i, m.Name())
		r = set(set(r, "who", "Jo Marsh"), "device", "tablet 2")
		if r.ProtoReflect().Get(m.Input().Fields().ByName("reason")).String() == "" {
			r = set(r, "reason", "as found")
		}
		when := day(0)
		when.Nanos = int32(i) * 1_000_000
		r = set(r, "happened_time", when.ProtoReflect())
		before := b.head()

		tried, err := b.call(set(r, "validate_only", true))
		if err != nil {
			t.Fatalf("%s, dry: %v", at, err)
		}
		if b.head() != before {
			t.Errorf("%s: the dry run recorded something", at)
		}
		first, err := b.call(r)
		if err != nil {
			t.Fatalf("%s: %v", at, err)
		}
		if b.head() != before+1 {
			t.Fatalf("%s: %d entries", at, b.head()-before)
		}
		if d := cmp.Diff(first, tried, protocmp.Transform(), shownOnce); d != "" && m.Name() != "UpdateAlloy" { // its table knows what is recorded only
			t.Errorf("%s: the dry run answered otherwise (-real +dry):\n%s", at, d)
		}
		e := b.entryOf(first)
		if e.GetSequence() != before+1 || e.GetWho() != "Jo Marsh" || e.GetDevice() != "tablet 2" || e.GetReason() == "" ||
			!e.GetHappenedTime().AsTime().Equal(when.AsTime()) || e.GetRequestId() != r.(writeRequest).GetRequestId() {
			t.Errorf("%s: the entry does not keep what the request carried: %v", at, e)
		}
		again, err := b.call(r)
		if err != nil || b.head() != before+1 {
			t.Fatalf("%s, again: %v, %d entries", at, err, b.head()-before)
		}
		if d := cmp.Diff(first, again, protocmp.Transform(), shownOnce); d != "" {
			t.Errorf("%s: the retry answered otherwise:\n%s", at, d)
		}
		if again, err = b.call(set(r, "validate_only", true)); err != nil {
			t.Fatalf("%s, dry after the fact: %v", at, err)
		}
		if d := cmp.Diff(first, again, protocmp.Transform(), shownOnce); d != "" && m.Name() != "UpdateAlloy" {
			t.Errorf("%s: a dry run of what was done already answered otherwise:\n%s", at, d)
		}
		b.refusedBy(set(r, "reason", "another fact"), "REQUEST_ID_REUSED", "request_id")
		b.refusedBy(set(r, "request_id", "42"), "BAD_REQUEST_ID", "request_id")
		b.refusedBy(set(r, "request_id", "00000000-0000-0000-0000-000000000000"), "BAD_REQUEST_ID", "request_id")
	}
	eachMethod(func(m protoreflect.MethodDescriptor) {
		if m.Input().Fields().ByName("request_id") != nil && done[m.FullName()] == 0 {
			t.Errorf("no step calls %s", m.FullName())
		}
	})
	v, err := ledger.Verify(context.Background(), b.store, "harrow", nil)
	if err != nil || v.Fault != nil {
		t.Errorf("verify: %v, %+v", err, v.Fault)
	}
}

// done does the work of the first weeks.
func done(t *testing.T) *bench {
	b := newBench(t)
	for i, r := range work() {
		if _, err := b.call(b.step(r)); err != nil {
			t.Fatalf("step %d, %T: %v", i, r, err)
		}
	}
	return b
}

// TestTheWorkedHeat reads the worked heat of the design back through the API:
// every amount of its table, in grams.
func TestTheWorkedHeat(t *testing.T) {
	b := newBench(t)
	for _, r := range work() {
		do[proto.Message](b, r)
		if _, settled := r.(*pb.SettleHeatRequest); settled {
			break
		}
	}
	bal := do[*pb.GetHeatBalanceResponse](b, &pb.GetHeatBalanceRequest{Name: heat41 + "/balance"}).GetBalance()
	x := bal.GetTerms()
	for what, c := range map[string]struct {
		got  *pb.Mass
		want int64
	}{
		"charged": {x.GetCharged(), 60_000}, "castings": {x.GetCastings(), 27_410}, "returns": {x.GetReturns(), 24_790}, "pigs": {x.GetPigs(), 6_300},
		"spill kept": {x.GetSpillKept(), 240}, "trapped": {x.GetTrapped(), 475}, "oxide": {x.GetOxide(), 380}, "kerf": {x.GetKerf(), 120},
		"unaccounted": {x.GetUnaccounted(), 285}, "gone": {x.GetGone(), 785}, "in molds": {x.GetInMolds(), 0}, "melt loss": {x.GetMeltLoss(), 1_260},
	} {
		if c.got.GetMg() != c.want*1000 || c.got.GetText() != fmt.Sprintf("%d g", c.want) {
			t.Errorf("%s is %v, want %d g", what, c.got, c.want)
		}
	}
	for what, c := range map[string][2]string{ // the table rounds to a tenth
		"yield": {x.GetYieldPercent(), "45.6833"}, "returned": {x.GetReturnedPercent(), "51.8167"},
		"gone": {x.GetGonePercent(), "1.3083"}, "melt loss": {x.GetMeltLossPercent(), "2.1"},
	} {
		if c[0] != c[1] {
			t.Errorf("%s is %s %%, want %s %%", what, c[0], c[1])
		}
	}
	if bal.GetProvisional() || bal.GetHeat().GetState() != pb.Heat_STATE_SETTLED || len(bal.GetFlagged()) == 0 {
		t.Errorf("provisional %v, state %v, flagged %v", bal.GetProvisional(), bal.GetHeat().GetState(), bal.GetFlagged())
	}
	skim := do[*pb.GetLotResponse](b, &pb.GetLotRequest{Name: lotNames + ledger.LotID(4)}).GetLot().GetSkimmings()
	if skim.GetNet().GetMg() != 1_150_000 || skim.GetAdded().GetMg() != 200_000 || skim.GetMetalInOxidePercent() != "80" {
		t.Errorf("skimmings %v", skim)
	}
}

// TestStockDuringTheLag asks what is here on the evening of the pour: the table's
// "stock asked", with the castings' planned weights for what should come back.
func TestStockDuringTheLag(t *testing.T) {
	b := newBench(t)
	for _, r := range work() {
		if _, ok := r.(*pb.WeighCastingRequest); ok {
			break
		}
		do[proto.Message](b, r)
	}
	st := do[*pb.GetStockResponse](b, &pb.GetStockRequest{Name: harrow + "/stock", Alloy: alloyID}).GetStock()
	if len(st.GetPositions()) != 1 {
		t.Fatalf("positions %v", st.GetPositions())
	}
	p := st.GetPositions()[0]
	for what, c := range map[string]struct {
		got  *pb.Mass
		want int64
	}{
		"usable": {p.GetUsable(), 6_300}, "to clean": {p.GetToClean(), 240}, "in molds": {p.GetInMolds(), 52_605},
		"skimmings": {p.GetSkimmings(), 475}, "free": {p.GetFree(), 6_300}, "here": {p.GetHere(), 6_300 + 240 + 52_605 + 475},
	} {
		if c.got.GetMg() != c.want*1000 {
			t.Errorf("%s is %v, want %d g", what, c.got, c.want)
		}
	}
	if e := p.GetExpected().GetMg(); e < 24_500_000 || e > 25_500_000 {
		t.Errorf("expected back %v, want about 25 000 g", p.GetExpected())
	}
	if f := p.GetForms(); len(f) != 1 || f[0].GetForm() != pb.Form_FORM_PIG {
		t.Errorf("forms %v", f)
	}
	heat := do[*pb.GetHeatResponse](b, &pb.GetHeatRequest{Name: heat41}).GetHeat()
	if !heat.GetProvisional() || heat.GetState() != pb.Heat_STATE_LATE || heat.GetInMolds().GetMg() != 52_605_000 {
		t.Errorf("heat %v", heat)
	}
	borax := do[*pb.GetSupplyResponse](b, &pb.GetSupplyRequest{Name: harrow + "/supplies/borax"}).GetSupply()
	if borax.GetOnHand().GetMg() != 800_000 || borax.GetLow() {
		t.Errorf("borax %v", borax)
	}
	if s := st.GetSupplies(); len(s) != 2 || s[1].GetPiecesOnHand() != 6 || s[1].GetLow() {
		t.Errorf("supplies %v", s)
	}
	old := do[*pb.GetStockResponse](b, &pb.GetStockRequest{Name: harrow + "/stock", HappenedTime: day(-1)}).GetStock()
	if len(old.GetPositions()) != 0 {
		t.Errorf("the day before: %v", old.GetPositions())
	}
}
