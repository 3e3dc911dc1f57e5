package server

import (
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
)

// TestListsPage walks every list by pages of two and gets what one page gives,
// each thing once; a token is no place in another list.
func TestListsPage(t *testing.T) {
	b := done(t)
	for _, r := range reads() {
		list, ok := r.(listRequest)
		if !ok {
			continue
		}
		at := string(r.ProtoReflect().Descriptor().Name())
		whole := keysOf(do[proto.Message](b, set(list, "page_size", int32(1000))))
		var walked []string
		token, pages := "", 0
		for {
			resp := do[proto.Message](b, set(set(list, "page_size", int32(2)), "page_token", token))
			got := keysOf(resp)
			if len(got) > 2 {
				t.Fatalf("%s: a page of %d", at, len(got))
			}
			walked = append(walked, got...)
			pages++
			if token = resp.(interface{ GetNextPageToken() string }).GetNextPageToken(); token == "" {
				break
			}
			if pages > len(whole) {
				t.Fatalf("%s: no end", at)
			}
		}
		if !slices.Equal(whole, walked) {
			t.Errorf("%s: one page gives %v, pages of two %v", at, whole, walked)
		}
		b.refusedBy(set(list, "page_token", "AAAAAAAAAAAAAAAAAAAAAAA"), "BAD_PAGE_TOKEN", "page_token")
		b.refusedBy(set(list, "page_size", int32(-1)), "NEGATIVE", "page_size")
	}
	two := do[*pb.ListLotsResponse](b, &pb.ListLotsRequest{Parent: harrow, PageSize: 2})
	b.refusedBy(&pb.ListLotsRequest{Parent: harrow, PageSize: 2, Alloy: alloyID, PageToken: two.GetNextPageToken()}, "BAD_PAGE_TOKEN", "page_token")
	b.refusedBy(&pb.ListHeatsRequest{Parent: harrow, PageSize: 2, PageToken: two.GetNextPageToken()}, "BAD_PAGE_TOKEN", "page_token")
}

// TestFilters narrows the lists that can be narrowed.
func TestFilters(t *testing.T) {
	b := done(t)
	for _, c := range []struct {
		r    proto.Message
		want string
	}{
		{&pb.ListLotsRequest{Parent: harrow, Form: pb.Form_FORM_GATING}, "gating"},
		{&pb.ListLotsRequest{Parent: harrow, Place: "bin", Alloy: "silicon bronze"}, ""},
		{&pb.ListLotsRequest{Parent: harrow, Condition: pb.Condition_CONDITION_TO_BE_CLEANED}, ledger.LotID(5)},
		{&pb.ListLotsRequest{Parent: harrow, Owner: "iris", ShowEmpty: true}, "cups"},
		{&pb.ListLotsRequest{Parent: harrow, Owner: "iris"}, ""},
		{&pb.ListHeatsRequest{Parent: harrow, States: []pb.Heat_State{pb.Heat_STATE_LATE, pb.Heat_STATE_DROPPED}}, "42 43"},
		{&pb.ListHeatsRequest{Parent: harrow, Alloy: "old bell"}, "43"},
		{&pb.ListCastingsRequest{Parent: harrow, Heat: heat41}, "C2 C3 C4"},
		{&pb.ListCastingsRequest{Parent: harrow, ShowGone: true, Commission: "herons"}, "C1"},
		{&pb.ListAlloysRequest{Parent: harrow, Own: true}, "HB1"},
		{&pb.ListPurchaseOrdersRequest{Parent: harrow, States: []pb.PurchaseOrder_State{pb.PurchaseOrder_STATE_SOME_HERE}}, ""},
		{&pb.ListPurchaseOrdersRequest{Parent: harrow, States: []pb.PurchaseOrder_State{pb.PurchaseOrder_STATE_ALL_HERE, pb.PurchaseOrder_STATE_GIVEN_UP}}, "1 2"},
		{&pb.ListPurchaseOrdersRequest{Parent: harrow, Supplier: harrow + "/parties/iris"}, ""},
		{&pb.ListAlloysRequest{Parent: harrow, Called: "old  Bell"}, "HB1"},
	} {
		if f, ok := c.r.(*pb.ListLotsRequest); ok && f.GetAlloy() == "silicon bronze" {
			if _, err := b.call(c.r); err == nil {
				t.Error("a family's name is taken for an alloy")
			}
			continue
		}
		var ids []string
		for _, name := range keysOf(do[proto.Message](b, c.r)) {
			ids = append(ids, last(name))
		}
		if got := strings.Join(ids, " "); got != c.want {
			t.Errorf("%v: %q, want %q", c.r, got, c.want)
		}
	}
}

// TestShortPages: where few of many are wanted a page may be short, or empty, and the
// list goes on; its pages are together what is wanted.
func TestShortPages(t *testing.T) {
	b := done(t)
	b.receives(2*ledger.Look+30, pb.Form_FORM_INGOT)
	b.receives(3, pb.Form_FORM_PIG)
	b.receives(ledger.Look, pb.Form_FORM_CUP)
	for _, empty := range []bool{false, true} {
		var want, found []string
		for _, l := range do[*pb.ListLotsResponse](b, &pb.ListLotsRequest{Parent: harrow, ShowEmpty: empty, PageSize: 1000}).GetLots() {
			if l.GetForm() == pb.Form_FORM_PIG {
				want = append(want, l.GetName())
			}
		}
		list := &pb.ListLotsRequest{Parent: harrow, Form: pb.Form_FORM_PIG, ShowEmpty: empty, PageSize: 2}
		var sizes []int
		for more := true; more; more = list.GetPageToken() != "" {
			got := do[*pb.ListLotsResponse](b, list)
			sizes, found, list.PageToken = append(sizes, len(got.GetLots())), append(found, keysOf(got)...), got.GetNextPageToken()
		}
		if len(want) < 3 || !slices.Equal(want, found) || !slices.Contains(sizes, 0) {
			t.Errorf("pages of %d: %v, want %v", sizes, found, want)
		}
	}
}

// TestListedHeatsSayWhatToMind: a list of heats says of those to come what each says by
// itself, and of the others only where they are.
func TestListedHeatsSayWhatToMind(t *testing.T) {
	b := done(t)
	for _, id := range []string{"next", "after"} {
		do[*pb.CreateHeatResponse](b, &pb.CreateHeatRequest{Parent: harrow, HeatId: id, Heat: &pb.Heat{Alloy: "C83600"}})
	}
	minded, others := 0, 0
	for _, h := range do[*pb.ListHeatsResponse](b, &pb.ListHeatsRequest{Parent: harrow}).GetHeats() {
		want := do[*pb.GetHeatResponse](b, &pb.GetHeatRequest{Name: h.GetName()}).GetHeat()
		if s := h.GetState(); s == pb.Heat_STATE_PLANNED || s == pb.Heat_STATE_MELTING {
			minded += len(want.GetCautions())
		} else {
			others += len(want.GetCautions())
			want.Cautions = nil
		}
		if diff := cmp.Diff(want, h, protocmp.Transform()); diff != "" {
			t.Errorf("%s (-by itself +listed):\n%s", h.GetName(), diff)
		}
	}
	if minded == 0 || others == 0 {
		t.Errorf("%d cautions of heats to come, %d of others: this test sees too little", minded, others)
	}
}
