package web_test

import (
	"fmt"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
)

// Before a heat: the proposed charge is ticked off piece by piece. Each tick is an
// entry, a tick taken back is a reversing entry, and ticking again charges again.
func TestChargeIsTickedOff(t *testing.T) {
	f := newFoundry(t)
	f.book.Do(f.book.PlanHeat(t.Context(), ledger.Meta{}, ledger.PlanHeat{ID: "42", Alloy: "C87300", Molds: []ledger.MoldPlan{{Name: "heron", Metal: ledgertest.Grams(1500), Gating: ledgertest.Grams(600)}}}))
	for _, s := range []size{phone, desk} {
		b := newBrowser(t, s)
		b.open(f.url("/heats/42"))
		b.until("the heat's page leads to its charge", `document.querySelector('a[href$="/heats/42/charge"]') !== null`)
		b.open(f.url("/heats/42/charge"))
		b.until("a charge is proposed", `document.getElementById("tally")?.textContent.startsWith("0 of ")`)
		before := f.count(ledger.KindCharge)
		tick := `document.querySelector("#pieces input").click()`
		js[any](b, `document.getElementById("who").value = "Mara"; `+tick)
		b.until("the piece is in", `document.querySelector("#pieces .became").textContent.startsWith("in, entry")`)
		if n := f.count(ledger.KindCharge); n != before+1 {
			t.Fatalf("%d charges after one tick, %d before", n, before)
		}
		js[any](b, tick)
		b.until("it is taken back", `document.querySelector("#pieces .became").textContent === "taken back"`)
		if held := f.book.Held("heat/42"); held != 0 {
			t.Errorf("%d mg in the heat after its only piece was taken back", held)
		}
		js[any](b, tick)
		b.until("it is in again", `document.querySelector("#pieces .became").textContent.startsWith("in, entry")`)
		if n := f.count(ledger.KindCharge); n != before+2 {
			t.Errorf("%d charges after two ticks, %d before", n, before)
		}
		js[any](b, tick)
		b.until("and out", `document.querySelector("#pieces .became").textContent === "taken back"`)
		b.quiet()
	}
}

// What is left to go in has a price; nothing that is left has none.
func TestChargeThatIsInCostsNoMore(t *testing.T) {
	f := newFoundry(t)
	f.book.Do(f.book.PlanHeat(t.Context(), ledger.Meta{}, ledger.PlanHeat{ID: "42", Alloy: "C87300", Molds: []ledger.MoldPlan{{Name: "heron", Metal: ledgertest.Grams(1500), Gating: ledgertest.Grams(600)}}}))
	f.book.Do(f.book.Receive(t.Context(), ledger.Meta{}, ledger.Receive{LotID: "BAR", Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(4000), Price: "11 USD/kg"}))
	if _, page := f.get(f.url("/heats/42/charge")); !strings.Contains(page, "<dt>What still goes in costs</dt>") {
		t.Errorf("no price on the page:\n%s", page)
	}
	f.book.Do(f.book.OpenHeat(t.Context(), ledger.Meta{}, "42"))
	f.book.Do(f.book.Charge(t.Context(), ledger.Meta{}, ledger.ChargeHeat{Heat: "42", Items: []ledger.ChargeItem{{Lot: "BAR"}}}))
	if _, page := f.get(f.url("/heats/42/charge")); !strings.Contains(page, "is in already") || strings.Contains(strings.ToLower(page), "costs</dt>") {
		t.Errorf("with everything in, something is said to cost something:\n%s", page)
	}
}

// A page that was asked for before a piece was taken back comes late: it does not put
// the piece back.
func TestChargeIsNotRenewedByTheOld(t *testing.T) {
	f := newFoundry(t)
	f.book.Do(f.book.PlanHeat(t.Context(), ledger.Meta{}, ledger.PlanHeat{ID: "42", Alloy: "C87300", Molds: []ledger.MoldPlan{{Name: "heron", Metal: ledgertest.Grams(1500), Gating: ledgertest.Grams(600)}}}))
	b := newBrowser(t, phone)
	b.open(f.url("/heats/42/charge"))
	b.until("a charge is proposed", `document.getElementById("tally")?.textContent.startsWith("0 of ")`)
	js[any](b, `window.late = []; window.seen = []; window.quick = fetch;
		window.fetch = async (at, how) => {
			const answer = await quick(at, how);
			if (!how?.method) await new Promise((go) => late.push(go));
			return answer;
		};
		document.addEventListener("renewed", () => seen.push(document.querySelector("#pieces .became").textContent));
		document.getElementById("who").value = "Mara"`)
	tick := `document.querySelector("#pieces input").click()`
	js[any](b, tick)
	b.until("the piece is in", `document.querySelector("#pieces .became").textContent.startsWith("in, entry")`)
	b.until("the page with it is on its way", `late.length > 0`)
	js[any](b, tick)
	b.until("it is taken back", `document.querySelector("#pieces .became").textContent === "taken back"`)
	b.until("pages from before and after are on their way", `late.length > 1`)
	js[any](b, `late.forEach((go) => go()); window.fetch = quick`)
	b.until("the page is up to date", `document.querySelectorAll("#in li").length === 0 && seen.length > 0`)
	for _, said := range js[[]string](b, `seen`) {
		if said != "taken back" {
			t.Errorf("a page from before says of the piece: %q", said)
		}
	}
	b.quiet()
}

// A charge that cannot be says why on its page, and asks again.
func TestChargeThatCannotBe(t *testing.T) {
	f := newFoundry(t)
	f.book.Do(f.book.PlanHeat(t.Context(), ledger.Meta{}, ledger.PlanHeat{ID: "42", Alloy: "C87300", Molds: []ledger.MoldPlan{{Metal: ledgertest.Grams(900_000)}}}))
	b := newBrowser(t, phone)
	b.open(f.url("/heats/42/charge"))
	b.until("it says why not", `document.querySelector(".notice.bad").textContent.length > 20 && document.getElementById("short") !== null`)
	b.quiet()
}

// A stocktake: counts survive a closed page, the book's figures are shown only when
// the counts are held against them, and the counts are booked once.
func TestStocktakeWalk(t *testing.T) {
	f := newFoundry(t)
	b := newBrowser(t, phone)
	lot := f.lots[0] // 6.3 kg of pigs
	field := fmt.Sprintf(`document.querySelector('input[name=%q]')`, lot)
	b.open(f.url("/stocktake"))
	b.until("the lots are there", field+` !== null`)
	if js[bool](b, `document.getElementById("main").innerText.includes("6300")`) {
		t.Error("the page gives away what the book says")
	}
	js[any](b, field+`.value = "6250 g"; `+field+`.dispatchEvent(new Event("input", { bubbles: true }))`)
	b.open(f.url("/stocktake"))
	b.until("the count is still there", field+`.value === "6250 g"`)
	js[any](b, `document.getElementById("go").click()`)
	b.until("the difference is shown", fmt.Sprintf(`document.querySelector('[data-of=%q]').textContent.includes("difference")`, lot))
	if f.count(ledger.KindStocktake) != 0 {
		t.Error("booked before it was said so")
	}
	js[any](b, `document.getElementById("book").click()`)
	b.until("it is in the book", `document.getElementById("told").textContent.startsWith("In the book as entry")`)
	if n, held := f.count(ledger.KindStocktake), f.book.Held(ledger.Acct(ledger.OfLot, lot)); n != 1 || held != 6250*ledger.Gram {
		t.Errorf("%d stocktakes, the lot holds %d mg", n, held)
	}
	js[any](b, field+`.value = "six"; document.getElementById("go").click()`)
	b.until("a wrong count is explained", `document.getElementById("told").classList.contains("bad") && document.getElementById("told").textContent.includes("six")`)
	b.until("and marked at its lot", field+`.getAttribute("aria-invalid") === "true" && document.activeElement === `+field+` && document.querySelector('[data-of="`+lot+`"]').textContent.includes("six")`)
	b.quiet("400")
}

// Walking past the shelves by keyboard: Enter after a weight goes on to the next lot. A
// lot that was used up meanwhile is counted like any other, and its difference is shown.
func TestStocktakeByKeyboard(t *testing.T) {
	f := newFoundry(t)
	b := newBrowser(t, desk)
	b.open(f.url("/stocktake"))
	b.until("the lots are there", `document.querySelectorAll(".counted").length >= 2 && !document.getElementById("go").disabled`)
	first := js[string](b, `document.querySelectorAll(".counted")[0].focus(), document.activeElement.name`)
	b.do(chromedp.KeyEvent("100 g"), chromedp.KeyEvent(kb.Enter))
	second := js[string](b, `document.activeElement.name`)
	if second == first || !js[bool](b, `document.activeElement.classList.contains("counted")`) {
		t.Fatalf("Enter went from %s to %q", first, second)
	}
	f.book.Do(f.book.Remove(t.Context(), ledger.Meta{}, ledger.RemoveLot{Lot: second, How: "sold"}))
	b.do(chromedp.KeyEvent("0"))
	js[any](b, `document.getElementById("go").click()`)
	b.until("the other is off, this one not", fmt.Sprintf(`document.querySelector('[data-of=%q]').textContent.includes("difference") && document.querySelector('[data-of=%q]').textContent === "as in the book"`, first, second))
	js[any](b, `document.getElementById("book").click()`)
	b.until("it is in the book", `document.getElementById("told").textContent.startsWith("In the book as entry")`)
	b.quiet()
}

// That a book is still being verified stands on its pages for as long as it is: an open
// page is told with the next entry.
func TestVerifyingIsSaidNoMore(t *testing.T) {
	f := newFoundry(t)
	f.stop()
	var over atomic.Bool
	f.verifying = func() (int64, int64) {
		if over.Load() {
			return 1000, 1000
		}
		return 300, 1000
	}
	f.start()
	b := newBrowser(t, phone)
	b.open(f.url(""))
	b.until("it is said", `document.getElementById("unverified")?.textContent.includes("300 of 1000 entries")`)
	b.until("the page listens", `performance.getEntriesByType("resource").some((r) => r.name.includes("/live?")) || new Promise((r) => setTimeout(r, 2000)).then(() => true)`)
	over.Store(true)
	f.book.Do(f.book.SetPlace(t.Context(), ledger.Meta{}, ledger.Place{ID: "sill", Name: "window sill"}))
	b.until("it is said no more", `document.getElementById("unverified") === null`)
	b.quiet()
}
