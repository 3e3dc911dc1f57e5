package web_test

import (
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
)

// A miscast casting is broken up on the page of its heat, and is a lot of scrap; another is
// shipped to its customer.
func TestCastingsOfAHeat(t *testing.T) {
	for _, s := range []size{phone, desk} {
		f := newFoundry(t)
		for _, id := range []string{"K1", "K2"} {
			f.book.Do(f.book.WeighCasting(t.Context(), ledger.Meta{}, ledger.WeighCasting{ID: id, Heat: "41", Customer: "iris", Stage: ledger.CutOff, Weighing: ledgertest.Net(3_000)}))
		}
		b := newBrowser(t, s)
		b.open(f.url("/heats/41"))
		b.writes(false, "break-up-K1", "weighing.net.text", "2950", "place", "rack")
		b.until("it is broken up", `document.querySelector("#casting-K1 .flag")?.textContent === "broken up" && document.querySelector("#casting-K1 .deed") === null`)
		if l := f.lastLot(); l.Form != ledger.ScrapCast || l.Place != "rack" || f.book.Held(ledgertest.LotAcct(l)) != 2_950*ledger.Gram {
			t.Errorf("%+v", l)
		}
		b.writes(false, "ship-K2")
		b.until("it is shipped", `document.querySelector("#casting-K2 .flag")?.textContent === "shipped"`)
		f.book.Want(3_000, ledger.Acct(ledger.Left, "shipped"))
		b.quiet()
		f.book.Verify()
	}
}
