package web_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"example.org/remelt/ledger"
)

// fills types into the fields of a form, by what they are called.
func (b *browser) fills(form string, fields ...string) {
	b.Helper()
	for i := 0; i+1 < len(fields); i += 2 {
		js[any](b, fmt.Sprintf(`{ const f = document.querySelector(%q); f.closest("details")?.setAttribute("open", ""); f.focus(); f.value = %q;
			for (const e of ["input", "change"]) f.dispatchEvent(new Event(e, { bubbles: true })); }`, form+` [name="`+fields[i]+`"]`, fields[i+1]))
	}
}

// presses presses a form's button.
func (b *browser) presses(selector string) {
	b.Helper()
	b.until(selector+" can be pressed", fmt.Sprintf(`document.querySelector(%q)?.disabled === false`, selector))
	js[any](b, fmt.Sprintf(`document.querySelector(%q).click()`, selector))
}

func (f *foundry) rates() {
	f.Helper()
	f.book.Do(f.book.SetRates(f.Context(), ledger.Meta{}, ledger.Rates{ID: "2026-01-01", From: f.book.Now.AddDate(-1, 0, 0), Margin: 200_000, Overhead: 600_000,
		Work: []ledger.WorkRate{{Kind: "molding", Typed: "36 USD"}, {Kind: "chasing", Typed: "42 USD"}}}))
}

// furnish fills the book with what the pages of money and orders show. What a person
// writes is text.
func (f *foundry) furnish(text string) {
	f.Helper()
	f.rates()
	m := ledger.Meta{Who: text, Reason: text}
	f.book.Do(f.book.SetCommission(f.Context(), m, ledger.Commission{ID: "otters", Title: "Otters " + text, Customer: "iris", Note: text,
		Patterns: []ledger.Pattern{{Name: "otter " + text, Alloy: "C87300", Copies: 2, Metal: ledger.Range{Typed: "4..5..7 kg"}}}}))
	for _, hours := range []string{"4..6..12 h", "4..5..7 h"} {
		f.book.Do(f.book.MakeQuote(f.Context(), m, ledger.MakeQuote{Commission: "otters", Note: text, Prices: []ledger.NamedRange{{Name: "C87300", Range: ledger.Range{Typed: "11 USD/kg"}}},
			Hours: []ledger.NamedRange{{Name: "chasing", Range: ledger.Range{Typed: hours}}}, Bought: []ledger.NamedRange{{Name: "rod " + text, Range: ledger.Range{Typed: "20..30 USD"}}}}))
	}
	f.book.Do(f.book.RecordLabour(f.Context(), m, ledger.RecordLabour{Commission: "otters", Kind: "chasing", Hours: "7 h"}))
}

// When a customer asks what a casting costs: it is written down, reckoned, shown, and
// only then kept; the server may be gone in the middle, and two tabs do not keep it twice.
func TestQuoteFromThePage(t *testing.T) {
	f := newFoundry(t)
	f.rates()
	for i, s := range []size{phone, desk} {
		b := newBrowser(t, s)
		id := []string{"heron", "hare"}[i]
		b.open(f.url("/commissions"))
		b.fills("#new-commission", "commission.displayName", `Heron <script>document.title="owned"</script> 🔥`, "id", id, "commission.customer", "iris",
			"commission.patterns.0.displayName", "bird", "commission.patterns.0.alloy", "C87300", "commission.patterns.0.metal", "4..5..7 kg")
		b.presses("#new-commission .go")
		b.until("its page is open", `location.pathname.endsWith("/commissions/`+id+`") && document.getElementById("new-quote") !== null`)
		b.fills("#new-quote", "hours.0.figure", "some", "prices.0.figure", "11 USD/kg")
		b.presses("#new-quote .go")
		b.until("a wrong figure is marked and explained", `document.querySelector("#new-quote [aria-invalid]")?.name === "hours.0.figure" && document.querySelector("#new-quote .told").textContent.includes("some")`)
		b.fills("#new-quote", "hours.0.figure", "4..5..9", "hours.1.figure", "6 h", "prices.0.figure", "11 USD/kg", "boughtIn.0.what", "rod", "boughtIn.0.figure", "20..30 USD", "note", "by telephone")
		before := f.count(ledger.KindQuote)
		b.presses("#new-quote .go")
		b.until("it is reckoned", `document.querySelector("#preview .sum")?.textContent.includes("50 of 100") && !document.getElementById("keep").hidden`)
		if f.count(ledger.KindQuote) != before {
			t.Error("a quote was kept before anybody said so")
		}
		f.stop()
		b.presses("#keep")
		b.until("the page says that the server is gone", `document.querySelector("#new-quote .told").textContent.includes("Nothing is lost")`)
		f.start()
		b.presses("#keep")
		b.until("the quote is on the page", `document.querySelector("svg[aria-labelledby^=quotes]") !== null && document.querySelector('a[href*="/paper/quotes/"]') !== null`)
		if n := f.count(ledger.KindQuote); n != before+1 {
			t.Errorf("%d quotes in the book, %d before", n, before)
		}
		if got := js[string](b, `document.querySelector('#new-quote [name="hours.0.figure"]').value`); got != "4..5..9 h" {
			t.Errorf("the next version begins with %q", got)
		}
		code, pdf := f.get(js[string](b, `document.querySelector('a[href*="/paper/quotes/"]').href`))
		if code != 200 || !strings.HasPrefix(pdf, "%PDF-") {
			t.Errorf("the printed quote: HTTP %d, %.20q", code, pdf)
		}
		if title := js[string](b, "document.title"); !strings.HasPrefix(title, `Heron <script>document.title="owned"</script> 🔥`) {
			t.Errorf("the title is %q", title)
		}
		b.quiet("400", "ERR_", "Failed to load resource")
	}
}

// The keyboard alone makes a quote: the preview is where the keyboard is when it comes.
func TestQuoteByKeyboard(t *testing.T) {
	f := newFoundry(t)
	f.furnish("for the mill pond")
	before := f.count(ledger.KindQuote)
	b := newBrowser(t, desk)
	b.open(f.url("/commissions/otters"))
	b.until("the form is ready", `document.querySelector("#new-quote .go").disabled === false`)
	b.tabTo("the price", `document.activeElement.name === "prices.0.figure"`)
	b.do(chromedp.KeyEvent("11 USD/kg"))
	b.tabTo("the margin", `document.activeElement.name === "marginPercent"`)
	b.do(chromedp.KeyEvent("25"), chromedp.KeyEvent(kb.Enter))
	b.until("the preview has the keyboard", `document.activeElement.id === "preview"`)
	b.tabTo("the button", `document.activeElement.id === "keep"`)
	b.do(chromedp.KeyEvent(kb.Enter))
	b.until("it is on the page", `document.querySelectorAll('a[href*="/paper/quotes/"]').length === 3`)
	if n := f.count(ledger.KindQuote); n != before+1 {
		t.Errorf("%d quotes, %d before", n, before)
	}
	b.quiet()
}

// tabTo presses Tab until something is so.
func (b *browser) tabTo(what, expression string) {
	b.Helper()
	for i := 0; !js[bool](b, expression); i++ {
		if i > 60 {
			b.Fatalf("%s cannot be reached", what)
		}
		b.do(chromedp.KeyEvent(kb.Tab))
	}
}

// A short name that is taken is not written over.
func TestCommissionOfTheSameName(t *testing.T) {
	f := newFoundry(t)
	f.book.Do(f.book.SetCommission(t.Context(), ledger.Meta{}, ledger.Commission{ID: "heron", Title: "the first"}))
	b := newBrowser(t, desk)
	b.open(f.url("/commissions"))
	b.fills("#new-commission", "commission.displayName", "the second", "id", "heron")
	b.presses("#new-commission .go")
	b.until("it says so", `document.querySelector("#new-commission .told").textContent.includes("already")`)
	if n := f.count(ledger.KindSetCommission); n != 1 {
		t.Errorf("%d entries of commissions", n)
	}
	b.quiet()
}

// Hours and what is bought for a commission are typed on its page and taken back there;
// its head says who it is for by name, and a foreign price its rate.
func TestWorkOnTheCommissionPage(t *testing.T) {
	f := newFoundry(t)
	f.furnish("for the mill pond")
	b := newBrowser(t, phone)
	b.open(f.url("/commissions/otters"))
	if head := js[string](b, `document.querySelector("h1").innerText`); !strings.HasSuffix(head, "for Iris Vale") {
		t.Errorf("it is headed %q", head)
	}
	b.until("the form is ready", `document.querySelector("#labour .go").disabled === false`)
	b.tabTo("how long", `document.activeElement.name === "labour.hours"`)
	b.do(chromedp.KeyEvent("2 h 30 min"), chromedp.KeyEvent(kb.Enter))
	b.until("it is booked", `document.getElementById("hours").parentElement.textContent.includes("2 h 30 min molding")`)
	b.fills("#bought-in", "boughtIn.what", "stone", "boughtIn.price", "50 EUR")
	b.presses("#bought-in .go")
	b.until("a rate is asked for", `document.querySelector("#bought-in .told").textContent.includes("1.05 USD/EUR") && document.querySelector("#bought-in [aria-invalid]").name === "boughtIn.price"`)
	b.fills("#bought-in", "boughtIn.price", "50 EUR at 1.08 USD/EUR", "happenedTime", "2026-02-27")
	b.presses("#bought-in .go")
	b.until("it is booked", `/27 Feb 2026 stone 54.00 USD 50 EUR at/.test(document.getElementById("bought").parentElement.innerText)`)
	b.presses(`section[aria-labelledby=hours] .take-back`)
	b.until("it is taken back", `document.querySelector("section[aria-labelledby=hours] .undone") !== null`)
	if n := f.count(ledger.KindReverse); n != 1 {
		t.Errorf("%d entries taken back", n)
	}
	f.book.Verify()
	b.quiet("400")
}
