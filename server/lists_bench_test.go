//go:build unix

package server

import (
	"encoding/base64"
	"flag"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoregistry"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/storetest"
)

var listed = flag.Int("entries", 200_000, "how many entries the book of BenchmarkLists has")

// BenchmarkLists asks for pages of 100 at the start, in the middle and at the end of
// the long lists of a book of the shop load, through gRPC. Lists that are narrowed give
// fewer, down to none.
//
//	go test ./server -run '^$' -bench Lists -benchtime 200x
func BenchmarkLists(b *testing.B) {
	s := newWeighers(b)
	fill(b, s.store, storetest.ShopEntries(*listed))
	fill(b, s.store, otherThings)
	conn, err := grpc.NewClient(s.server.GRPCAddr(), grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		b.Fatal(err)
	}
	defer conn.Close()
	const shop, march = "shops/harrow", "2016-03-01"
	last := *listed
	for _, l := range []struct {
		name string
		ask  proto.Message
		ends []string // keys in the middle and near the end
	}{
		{"entries", &pb.ListEntriesRequest{Parent: shop}, []string{fmt.Sprint(last / 2), fmt.Sprint(last - 100)}},
		{"entries from the last", &pb.ListEntriesRequest{Parent: shop, OrderBy: "sequence desc"}, []string{fmt.Sprint(last / 2), "101"}},
		{"history of a crucible", &pb.ListHistoryRequest{Name: shop + "/pots/A30-2"}, []string{fmt.Sprint(last / 2), "410"}},
		{"lots", &pb.ListLotsRequest{Parent: shop}, []string{"L5", "L9"}},
		{"lots, empty ones too", &pb.ListLotsRequest{Parent: shop, ShowEmpty: true}, []string{"L5", "L9"}},
		{"lots of a heat, empty ones too", &pb.ListLotsRequest{Parent: shop, ShowEmpty: true, Heat: shop + "/heats/40"}, []string{"L5", "L9"}},
		{"lots of a customer", &pb.ListLotsRequest{Parent: shop, Owner: shop + "/parties/rare"}, []string{"L5", "L9"}},
		{"heats", &pb.ListHeatsRequest{Parent: shop}, []string{"2000", "98"}},
		{"heats of another alloy", &pb.ListHeatsRequest{Parent: shop, Alloy: shop + "/alloys/A356.0"}, []string{"2000", "98"}},
		{"planned heats", &pb.ListHeatsRequest{Parent: shop, States: []pb.Heat_State{pb.Heat_STATE_PLANNED}}, []string{"P3", "P7"}},
		{"castings", &pb.ListCastingsRequest{Parent: shop}, []string{"C5", "C8"}},
		{"castings of a commission", &pb.ListCastingsRequest{Parent: shop, Commission: "gate", ShowGone: true}, []string{"C5", "C8"}},
		{"castings of a heat", &pb.ListCastingsRequest{Parent: shop, Heat: shop + "/heats/40", ShowGone: true}, nil},
		{"orders", &pb.ListPurchaseOrdersRequest{Parent: shop}, []string{"O5", "O8"}},
		{"orders of a supplier", &pb.ListPurchaseOrdersRequest{Parent: shop, Supplier: shop + "/parties/rare"}, []string{"O5", "O8"}},
		{"offers", &pb.ListOffersRequest{Parent: shop}, []string{"5", "8"}},
		{"offers of a party", &pb.ListOffersRequest{Parent: shop, Party: shop + "/parties/rare"}, []string{"O5", "O8"}},
		{"offers of a day", &pb.ListOffersRequest{Parent: shop, Day: march}, []string{"O5", "O8"}},
		{"offers for an alloy of a day", &pb.ListOffersRequest{Parent: shop, Day: march, Alloy: shop + "/alloys/A356.0"}, []string{"O5", "O8"}},
		{"market prices", &pb.ListMarketPricesRequest{Parent: shop}, []string{"Cu.2010-06-01", "Zn.2026-06-01"}},
		{"market prices of a month", &pb.ListMarketPricesRequest{Parent: shop, FromDay: march, UntilDay: "2016-03-31"}, []string{"Cu.2016-03-11", "Zn.2016-03-11"}},
		{"market prices of a metal and month", &pb.ListMarketPricesRequest{Parent: shop, Metal: "Zn", FromDay: march, UntilDay: "2016-03-31"}, []string{"Zn.2016-03-11", "Zn.2016-03-21"}},
		{"alloys", &pb.ListAlloysRequest{Parent: shop}, []string{"B", "C9"}},
		{"alloys of the shop", &pb.ListAlloysRequest{Parent: shop, Own: true}, nil},
	} {
		m := methodOf(l.ask)
		kind, err := protoregistry.GlobalTypes.FindMessageByName(m.Output().FullName())
		if err != nil {
			b.Fatal(err)
		}
		page := func(b *testing.B, r proto.Message) (n int, next string) {
			resp := kind.New()
			if err := conn.Invoke(b.Context(), path(m), r, resp.Interface()); err != nil {
				b.Fatal(l.name, err)
			}
			return resp.Get(resp.Descriptor().Fields().ByNumber(1)).List().Len(), resp.Interface().(interface{ GetNextPageToken() string }).GetNextPageToken()
		}
		for i, place := range []string{"start", "middle", "end"} {
			b.Run(l.name+"/"+place, func(b *testing.B) {
				_, token := page(b, l.ask)
				switch bound, err := base64.RawURLEncoding.DecodeString(token); {
				case i == 0:
					token = ""
				case token == "" || err != nil:
					b.Skip("it has one page")
				default:
					token = base64.RawURLEncoding.EncodeToString(append(bound[:8:8], l.ends[i-1]...))
				}
				took, cpu := make([]time.Duration, 0, b.N), storetest.ProcessorTime()
				r, n := set(l.ask, "page_token", token), 0
				for b.Loop() {
					began := time.Now()
					n, _ = page(b, r)
					took = append(took, time.Since(began))
				}
				b.ReportMetric(float64((storetest.ProcessorTime()-cpu).Microseconds())/float64(b.N), "cpu-µs")
				slices.Sort(took)
				b.ReportMetric(took[len(took)/2].Seconds()*1e3, "median-ms")
				b.ReportMetric(float64(n), "things")
			})
		}
	}
}

// fill writes entries, each fourth of which is about one crucible too.
func fill(b *testing.B, st ledger.Store, entries func(yield func(ledger.Entry) bool)) {
	b.Helper()
	storetest.Fill(b, st, "harrow", func(yield func(ledger.Entry) bool) {
		i := 0
		for e := range entries {
			if i++; i%4 == 0 {
				e.Records = append(e.Records, storetest.Rec("pot", "A30-2", "", `{"id":"A30-2","kind":"crucible","name":"no. 30"}`))
			}
			if !yield(e) {
				return
			}
		}
	})
}

// otherThings are many of all the other things that lists can be narrowed to few of:
// each thousandth is of somebody who is rare.
func otherThings(yield func(ledger.Entry) bool) {
	const many = 20_000
	for i := range many {
		party, commission, alloy, sum := fmt.Sprintf("supplier-%d", i%40), "herons", "C87300", fmt.Sprint(31_000+i)
		if i%1000 == 999 {
			party, commission, alloy = "rare", "gate", "A356.0"
		}
		casting, order, offer, heat := fmt.Sprintf("C%d", i), fmt.Sprintf("O%d", i), fmt.Sprintf("O%d", i), fmt.Sprint(40+i/6)
		e := storetest.Note(
			storetest.Rec("casting", casting, "heat/"+heat, fmt.Sprintf(`{"id":%q,"heat":%q,"name":"otter, left half","commission":%q,"alloy":"C87300","stage":"finished","weights":{"as-cast":3120000,"finished":2840000},"gone":"shipped"}`, casting, heat, commission)),
			storetest.Rec("order", order, "", fmt.Sprintf(`{"id":%q,"supplier":%q,"lines":[{"alloy":"C87300","form":"ingot","mass":{"typed":"200 kg","mg":200000000},"price":{"typed":"9.80 EUR/kg","amount":98000,"currency":"EUR","per":"kg"}},{"supply":"borax","mass":{"typed":"5 kg","mg":5000000},"price":{"typed":"20 EUR","amount":2000,"currency":"EUR"}}],"expected":"2026-10-02T00:00:00Z","placed":"2026-09-20T08:00:00Z","receipts":[{"entry":9,"when":"2026-10-01T08:00:00Z","lines":[{"line":1,"lot":"L1-1","net_mg":200000000,"minor":196000},{"line":2,"net_mg":5000000,"minor":2000}]}]}`, order, party)),
			storetest.Rec("offer", offer, "alloy/"+alloy, fmt.Sprintf(`{"id":%q,"party":%q,"alloy":%q,"form":"ingot","breaks":[{"price":{"typed":"%s EUR/t","amount":%s,"currency":"EUR","per":"kg"}}],"lead_days":5,"from":"2015-01-%02d","entry":%d}`, offer, party, alloy, sum, sum, 1+i%28, i)))
		if i%100 == 0 {
			plan := fmt.Sprintf("P%d", i/100)
			e.Records = append(e.Records, storetest.Rec("heat", plan, "", fmt.Sprintf(`{"id":%q,"alloy":"C87300","state":"planned","crucible":"A30-2","planned":"2026-12-01T08:00:00Z","charge_mg":30000000}`, plan)))
		}
		if !yield(e) {
			return
		}
	}
	days := make([]string, 0, 366)
	for day := time.Date(2016, 1, 1, 0, 0, 0, 0, time.UTC); day.Year() == 2016; day = day.AddDate(0, 0, 1) {
		days = append(days, fmt.Sprintf(`"%s":"4.%d"`, day.Format("01-02"), 100+day.YearDay()))
	}
	for _, metal := range []string{"Ag", "Al", "Bi", "Cr", "Cu", "Fe", "Mg", "Mn", "Ni", "Pb", "Sb", "Si", "Sn", "Ti", "Zn"} {
		for year := 2001; year <= 2026; year++ {
			id := fmt.Sprintf("%s.%d", metal, year)
			if !yield(storetest.Note(storetest.Rec("market-year", id, "metal/"+metal,
				fmt.Sprintf(`{"id":%q,"metal":%q,"year":%d,"unit":"EUR/kg","days":{%s}}`, id, metal, year, strings.Join(days, ","))))) {
				return
			}
		}
	}
}
