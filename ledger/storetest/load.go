package storetest

import (
	"fmt"
	"math/rand/v2"

	"example.org/remelt/ledger"
)

// ShopLoad is n entries as a shop makes them, for benchmarks: each is about a few
// of some 200 live lots, and most weigh-ins make a new lot.
func ShopLoad(n int) []ledger.Entry {
	r := rand.New(rand.NewPCG(1, 2))
	const live = 200
	var lots []string // all ever made; the last of them are live, but for those still on their way
	pick := func() ledger.Account {
		from := max(0, len(lots)-live-300)
		return ledger.Acct("lot", lots[from+r.IntN(min(live, len(lots)))])
	}
	out := make([]ledger.Entry, n)
	for i := range out {
		heat := fmt.Sprint(40 + i/60)
		switch k := r.IntN(10); {
		case k < 6 || len(lots) < 600: // a weigh-in of a new lot
			lot := fmt.Sprintf("L%d-%d", i, i%10)
			lots = append(lots, lot)
			out[i] = Move(ledger.Acct("molds", heat), ledger.Acct("lot", lot), 24_794_000, lotRecord(lot, heat))
		case k < 8: // a charge of three lots
			for range 3 {
				out[i].Postings = append(out[i].Postings, ledger.Posting{Account: pick(), Mass: -1000, Basis: ledger.Weighed})
			}
			out[i].Postings = append(out[i].Postings, ledger.Posting{Account: ledger.Acct("heat", heat), Mass: 3000, Basis: ledger.Weighed})
			out[i].Records = []ledger.Record{Rec("heat", heat, "", fmt.Sprintf(`{"id":%q,"alloy":"C87300","state":"open","charged":%d,"crucible":"A30-2","melter":"jo"}`, heat, i))}
		default: // a lot cleaned
			lot := pick()
			out[i] = Move(lot, ledger.Acct("molds", heat), 2000, lotRecord(lot.Ref(), heat))
		}
		out[i].Kind, out[i].Who, out[i].Device = "weigh-in", "jo", "phone-2"
	}
	return out
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
