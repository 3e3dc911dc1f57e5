package storetest

import (
	"fmt"
	"iter"
	"math/rand/v2"
	"slices"

	"example.org/remelt/ledger"
)

// ShopLoad is n entries as a shop makes them, for benchmarks: each is about a few
// of some 200 live lots, and most weigh-ins make a new lot.
func ShopLoad(n int) []ledger.Entry {
	return slices.AppendSeq(make([]ledger.Entry, 0, n), ShopEntries(n))
}

// ShopEntries makes the entries of ShopLoad one after the other. A charge takes all
// of three lots, so there are about as many live ones later as there were at first.
func ShopEntries(n int) iter.Seq[ledger.Entry] {
	return func(yield func(ledger.Entry) bool) {
		r := rand.New(rand.NewPCG(1, 2))
		type lot struct {
			id   string
			mass ledger.Mass
			made int
		}
		// A lot is used only once it is onItsWay entries old, so that entries may be
		// written by several sides at once.
		const fewest, most, onItsWay = 350, 450, 300
		var live, way []lot
		for i := range n {
			for len(way) > 0 && i-way[0].made >= onItsWay {
				live, way = append(live, way[0]), way[1:]
			}
			all := len(live) + len(way)
			var e ledger.Entry
			heat := fmt.Sprint(40 + i/60)
			switch k := r.IntN(10); {
			case all < fewest || len(live) < 3 || k < 6 && all < most: // a weigh-in of a new lot
				l := lot{fmt.Sprintf("L%d-%d", i, i%10), 24_794_000, i}
				way = append(way, l)
				e = Move(ledger.Acct("molds", heat), ledger.Acct("lot", l.id), l.mass, lotRecord(l.id, heat))
			case k < 8: // a charge of three lots
				for range 3 {
					k := r.IntN(len(live))
					l := live[k]
					live[k] = live[len(live)-1]
					live = live[:len(live)-1]
					e.Postings = append(e.Postings,
						ledger.Posting{Account: ledger.Acct("lot", l.id), Mass: -l.mass, Basis: ledger.Weighed},
						ledger.Posting{Account: ledger.Acct("heat", heat), Mass: l.mass, Basis: ledger.Weighed})
				}
				e.Records = []ledger.Record{Rec("heat", heat, "", fmt.Sprintf(`{"id":%q,"alloy":"C87300","state":"open","charged":%d,"crucible":"A30-2","melter":"jo"}`, heat, i))}
			default: // a lot cleaned
				l := &live[r.IntN(len(live))]
				l.mass -= 2000
				e = Move(ledger.Acct("lot", l.id), ledger.Acct("molds", heat), 2000, lotRecord(l.id, heat))
			}
			e.Kind, e.Who, e.Device = "weigh-in", "jo", "phone-2"
			if !yield(e) {
				return
			}
		}
	}
}

// UniformLoad is the worst case: each entry moves metal between four of 10 000
// lots picked at random.
func UniformLoad(n int) []ledger.Entry {
	r := rand.New(rand.NewPCG(3, 4))
	const lots = 10_000
	out := make([]ledger.Entry, 0, n)
	lot := func() string { return fmt.Sprintf("L%d", 10_000+r.IntN(lots)) }
	for range n {
		a := lot()
		out = append(out, ledger.Entry{Kind: "weigh-in", Who: "jo", Device: "phone-2",
			Postings: []ledger.Posting{
				{Account: ledger.Acct("molds", a), Mass: -7000, Basis: 'w'}, {Account: ledger.Acct("lot", a), Mass: 1000, Basis: 'w'},
				{Account: ledger.Acct("lot", lot()), Mass: 3000, Basis: 'w'}, {Account: ledger.Acct("lot", lot()), Mass: 3000, Basis: 'w'}},
			Records: []ledger.Record{lotRecord(a, a)}})
	}
	return out
}

func lotRecord(lot, heat string) ledger.Record {
	return Rec("lot", lot, "", fmt.Sprintf(`{"id":%q,"alloy":"C87300","alloy_sure":true,"form":"gating","condition":"to-be-cleaned","from":[{"account":"molds/%s","mg":24794000}]}`, lot, heat))
}
