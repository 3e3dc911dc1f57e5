package web_test

import (
	"fmt"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
)

// A day begins at its midnight where the shop is, also when the clocks change on it, and a
// time is what those clocks showed. The offsets are those of the time zone database.
func TestDayBeginsAtItsMidnight(t *testing.T) {
	f := newFoundry(t)
	b := newBrowser(t, desk)
	b.open(f.url(""))
	for _, c := range []struct{ kind, zone, typed, want string }{
		{"start", "America/New_York", "2026-11-01", "2026-11-01T00:00:00-04:00"},
		{"start", "America/New_York", "2026-11-02", "2026-11-02T00:00:00-05:00"},
		{"start", "Europe/London", "2026-03-29", "2026-03-29T00:00:00+00:00"},
		{"start", "Australia/Sydney", "2028-10-01", "2028-10-01T00:00:00+10:00"},
		{"start", "", "2026-07-01", "2026-07-01T00:00:00+00:00"},
		{"moment", "America/New_York", "2026-11-01T00:30", "2026-11-01T00:30:00-04:00"},
		{"moment", "America/New_York", "2026-11-01T02:30", "2026-11-01T02:30:00-05:00"},
		{"moment", "Australia/Sydney", "2028-10-01T03:30", "2028-10-01T03:30:00+11:00"},
	} {
		got := js[string](b, fmt.Sprintf(`import("/static/form.js").then((m) => {
			const form = document.createElement("form"), field = document.createElement("input");
			field.name = "at"; field.value = %q; field.dataset[%q] = %q;
			form.append(field);
			return m.read(form).at;
		})`, c.typed, c.kind, c.zone))
		if got != c.want {
			t.Errorf("%s in %q is sent as %s, want %s", c.typed, c.zone, got, c.want)
		}
	}
}

// A wish that was booked and whose answer was lost is booked once, also when it is sent
// again from a page that was read anew and knows the lot as it is since; and once it is
// answered, pressing again takes nothing more.
func TestLostAnswerAndAnotherPage(t *testing.T) {
	f := newFoundry(t)
	lot := ledgertest.MadeLot(t, f.book.Do(f.book.Receive(t.Context(), ledger.Meta{}, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Weighing: ledger.WeighingIn{Net: ledgertest.Grams(6_000), Pieces: 6}})))
	b := newBrowser(t, phone)
	b.open(f.url("/lots/" + lot.ID))
	js[any](b, `window.quick = fetch; window.fetch = async (at, how) => { await quick(at, how); throw new TypeError("the answer is lost"); }; 0`)
	b.writes(false, "remove", "mass.text", "1000", "pieces", "1")
	b.until("the answer is missed", `document.querySelector("#do-remove .told").innerText !== ""`)
	f.book.Want(5_000, ledgertest.LotAcct(lot))
	b.open(f.url("/lots/" + lot.ID))
	b.until("what was typed is there", `document.querySelector("#do-remove [name='mass.text']").value === "1000" && !document.querySelector("#do-remove .go").disabled`)
	b.presses("#do-remove .go")
	b.until("it is gone", `document.querySelector("#do-remove .told")?.innerText.startsWith("In the book")`)
	f.book.Want(5_000, ledgertest.LotAcct(lot))
	js[any](b, `document.querySelector("#do-remove .go").click(); 0`)
	if n := f.count(ledger.KindRemove); n != 1 {
		t.Errorf("%d removals", n)
	}
	f.book.Want(5_000, ledgertest.LotAcct(lot))
}
