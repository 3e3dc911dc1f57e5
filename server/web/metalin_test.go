package web_test

import (
	"fmt"
	"slices"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
)

// In a book without metal the front page leads to putting in what is here already, and so
// does weighing in. Then metal is bought, with what is wrong said at its field, and a
// customer brings some. What is the same for the next piece stays, a lost answer books
// nothing twice, and what was put in wrongly is taken back where it stands.
func TestMetalCameIn(t *testing.T) {
	for _, s := range []size{phone, desk} {
		f := foundryOf(t, ledgertest.Open(t))
		b := newBrowser(t, s)
		b.open(f.url("/stocktake")) // where nothing is to be counted either
		b.open(f.url("/weigh-in"))
		b.until("weighing in leads there", `document.querySelector('#main a[href$="/metal-in"]') !== null`)
		b.open(f.url(""))
		js[any](b, `document.querySelector('.notice a[href$="/metal-in"]').click()`)
		const form = "#do-came-in"
		b.until("it begins with what is here", `document.querySelector("#do-came-in .go")?.disabled === false && document.querySelector('[name="way"][value="here"]').checked`)
		asks := func(want string) {
			t.Helper()
			if got := js[string](b, `[...document.querySelectorAll("#do-came-in [data-when]")].filter((p) => p.checkVisibility()).map((p) => p.dataset.when).join(", ")`); got != want {
				t.Errorf("it asks for %q, want %q", got, want)
			}
		}
		asks("here, bought here")
		if s == desk {
			b.tabTo("the alloy", `document.activeElement.name === "alloy"`)
			b.do(chromedp.KeyEvent("C873"))
			b.tabTo("the form", `document.activeElement.name === "form"`)
			b.do(chromedp.KeyEvent(kb.ArrowRight))
			b.do(chromedp.KeyEvent(kb.ArrowRight))
			b.tabTo("the weight", `document.activeElement.name === "weighing.net.text"`)
			b.do(chromedp.KeyEvent("40000"))
			b.do(chromedp.KeyEvent(kb.Enter))
		} else {
			b.fills(form, "alloy", "C87300", "weighing.net.text", "40000")
			b.presses(form + ` [name="form"][value="FORM_PIG"]`)
			b.presses(form + " .go")
		}
		b.until("it is in the book, with its lot and label", `document.querySelector("#do-came-in .told")`+inTheBook+` && document.querySelector("#do-came-in .told a[href*='/paper/lots/']") !== null`)
		b.until("and is in the list", `document.querySelectorAll("#lately li").length === 1`)
		if got := js[string](b, `["alloy", "form", "weighing.net.text"].map((n) => new FormData(document.querySelector("#do-came-in")).get(n)).join(" ")`); got != "C87300 FORM_PIG " {
			t.Errorf("for the next piece it has %q", got)
		}
		f.wants(f.lastLot(), ledger.Pig, 40_000, ledger.OpeningStock, "")

		b.presses(form + ` [value="bought"]`)
		asks("bought, bought here")
		b.fills(form, "supplier", "northmetal", "price", "cheap", "weighing.net.text", "12500")
		b.presses(form + " .go")
		b.until("it is said at the field", `document.querySelector('#do-came-in [aria-invalid="true"]')?.name === "price" && document.querySelector("#do-came-in .fault").textContent.includes("cheap")`)
		b.fills(form, "price", "9.50 USD/kg", "certificate.number", "88/1", "certificate.elements.3.percent", "x")
		b.presses(form + " .go")
		b.until("so is a wrong content, which is shown", `document.querySelector('#do-came-in [aria-invalid="true"]')?.name === "certificate.elements.3.percent" && document.querySelector('#do-came-in [aria-invalid="true"]').checkVisibility()`)
		b.fills(form, "certificate.elements.3.percent", "0.02", "certificate.elements.4.percent", "3.9")
		f.stop()
		b.presses(form + " .go")
		b.until("it says that nothing is lost", `document.querySelector("#do-came-in .told").textContent.includes("Nothing is lost")`)
		f.start()
		b.open(f.url("/metal-in"))
		b.until("it is still typed", `document.querySelector('[name="price"]').value === "9.50 USD/kg" && document.querySelector('[name="way"][value="bought"]').checked`)
		b.presses(form + " .go")
		b.until("it is in the book once", `document.querySelectorAll("#lately li").length === 2`)
		f.wants(f.lastLot(), ledger.Pig, 12_500, ledger.Acct(ledger.Supplier, "northmetal"), "")
		if l := f.lastLot(); l.Price == nil || l.Price.Minor != 118_75 {
			t.Errorf("12.5 kg at 9.50 USD/kg cost %+v", l.Price)
		}
		certified(t, f.lastLot())

		b.presses(form + ` [value="theirs"]`)
		asks("theirs")
		b.fills(form, "customer", "iris", "alloy", "unknown", "weighing.net.text", "2200")
		b.presses(form + " .go")
		b.until("the customer's is in the book", `document.querySelectorAll("#lately li").length === 3`)
		f.wants(f.lastLot(), ledger.Pig, 2_200, ledger.Acct(ledger.Customer, "iris"), "iris")
		if l := f.lastLot(); l.Condition != ledger.SetApart || l.Price != nil {
			t.Errorf("%+v", l)
		}

		js[any](b, `document.querySelector("#lately .back").open = true; 0`)
		b.fills("#lately .back form", "reason", "it is not theirs")
		b.presses("#lately .back form button")
		b.until("it is taken back", `document.querySelector("#lately li").classList.contains("undone")`)
		if n := f.count(ledger.KindReceive); n != 3 {
			t.Errorf("%d entries", n)
		}
		b.quiet("400", "ERR_CONNECTION", "Failed to load")
		f.book.Verify()
	}
}

// lastLot is the lot with the greatest number.
func (f *foundry) lastLot() (last ledger.Lot) {
	f.Helper()
	all, _, err := f.book.Lots(f.Context(), ledger.LotQuery{Empty: true, Limit: 1000})
	if err != nil || len(all) == 0 {
		f.Fatalf("%d lots, %v", len(all), err)
	}
	return slices.MaxFunc(all, func(a, b ledger.LotView) int { return int(a.Seq - b.Seq) }).Lot
}

// certified checks that a lot's certificate has what the test typed of it: lead and silicon.
func certified(t *testing.T, l ledger.Lot) {
	t.Helper()
	c := l.Certificate
	if c == nil || c.Number != "88/1" || len(c.Elements) != 2 || c.Elements[0].Symbol != "Pb" || c.Elements[0].PPM != 200 || c.Elements[1].Symbol != "Si" || c.Elements[1].PPM != 39_000 {
		t.Errorf("lot %s has the certificate %+v", l.ID, c)
	}
}

// wants checks what a lot is, what it holds, and from where.
func (f *foundry) wants(l ledger.Lot, form ledger.Form, grams int64, from ledger.Account, owner string) {
	f.Helper()
	if l.Form != form || l.Owner != owner || len(l.From) != 1 || l.From[0].Account != from || f.book.Held(ledger.Acct(ledger.OfLot, l.ID)) != ledger.Mass(grams)*ledger.Gram {
		f.Errorf("%s: %+v, want %d g of %s from %s", fmt.Sprint(f.book.Held(ledger.Acct(ledger.OfLot, l.ID))), l, grams, form, from)
	}
}
