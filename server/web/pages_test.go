package web_test

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
)

// newFront serves a handler of the test's own, on loopback.
func newFront(t *testing.T, h http.Handler) string {
	s := httptest.NewServer(h)
	t.Cleanup(s.Close)
	return s.URL
}

// pages are the pages of the worked heat's shop.
var pages = []string{"", "?alloy=C87300", "/weigh-in", "/heats", "/heats/41", "/entries", "/heats/41/charge", "/stocktake", "/to-buy", "/what-is-lost", "/heats/none",
	"/commissions", "/commissions/otters", "/orders", "/orders/P1", "/orders/P2", "/settings", "/people", "/you", "/supplies", "/entries/whole", "/metal-in",
	"/settings/shop", "/settings/scales", "/settings/crucibles", "/settings/places", "/settings/partners", "/settings/alloys", "/settings/rates", "/settings/costing"}

// The rules of axe-core find nothing serious on any page, in light and in dark, on a
// phone and on a desk, and no page writes an error to the console.
func TestPagesAreAccessible(t *testing.T) {
	if axe() == "" {
		skip(t, "axe-core is not installed (npm ci in .web): the pages were not checked by it")
	}
	f := newFoundry(t)
	f.furnish("for the mill pond")
	f.orders("by telephone")
	f.planned("42")
	f.planned("43")
	f.book.Do(f.book.OpenHeat(t.Context(), ledger.Meta{}, "42"))
	pages := append(pages, "/lots/"+f.lots[0], "/heats/42", "/heats/42/charge", "/heats/43", "/plan-a-heat")
	for _, s := range []size{phone, desk} {
		b := newBrowser(t, s)
		for _, dark := range []bool{false, true} {
			if dark {
				b.dark()
			}
			for _, page := range pages {
				b.open(f.url(page))
				js[any](b, `document.querySelectorAll("details").forEach((d) => { d.removeAttribute("name"); d.open = true; })`)
				js[any](b, axe()+"; 0")
				for _, v := range js[[]string](b, `axe.run().then((r) => r.violations.filter((v) => v.impact === "serious" || v.impact === "critical").map((v) => v.id + ": " + v.help + " at " + v.nodes[0].html.slice(0, 200)))`) {
					t.Errorf("%s at %d wide, dark %v: %s", page, s.w, dark, v)
				}
				if wide := js[int](b, `document.documentElement.scrollWidth - document.documentElement.clientWidth`); wide > 0 {
					t.Errorf("%s at %d wide: %d pixels stand out at the side", page, s.w, wide)
				}
			}
		}
		b.quiet("404") // of the page that is not there
	}
}

// What a shop writes is text wherever it is shown, never markup; and very long or
// strange names are shown.
func TestTextIsNeverMarkup(t *testing.T) {
	f := newFoundry(t)
	evil := `<script>document.title="owned"</script><img src=x onerror='document.title="owned"'>`
	m := ledger.Meta{Who: evil, Reason: evil, Device: evil}
	f.book.Do(f.book.SetPlace(t.Context(), m, ledger.Place{ID: "evil", Name: evil}))
	f.book.Do(f.book.SetScale(t.Context(), m, ledger.Scale{ID: "evil", Name: evil, Division: ledgertest.Grams(10)}))
	f.book.Do(f.book.SetTare(t.Context(), m, ledger.Tare{ID: "evil", Name: evil, Mass: ledgertest.Grams(10)}))
	w := ledgertest.Net(500)
	lot := ledgertest.MadeLot(t, f.book.Do(f.book.WeighIn(t.Context(), m, ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "41"}}, Label: evil + " 🔥", Place: "evil", Weighing: w})))
	f.furnish(evil)
	f.orders(evil)
	b := newBrowser(t, phone)
	for _, page := range append(pages, "/lots/"+lot.ID) {
		b.open(f.url(page))
		if page == "/weigh-in" {
			b.until("the page's script runs", `document.getElementById("chosen").textContent.includes("·")`)
		}
		if js[string](b, "document.title") == "owned" {
			t.Errorf("%s ran what the shop wrote", page)
		}
	}
	b.open(f.url("/lots/" + lot.ID))
	if text := js[string](b, "document.body.innerText"); !strings.Contains(text, evil+" 🔥") {
		t.Errorf("the label is not shown as it was written:\n%s", text)
	}
	b.quiet("404")
}

// In a list on a narrow phone no name is broken within a word, however long the words are that
// stand for the amount beside it.
func TestLongAmountLeavesTheNameItsRoom(t *testing.T) {
	f := newFoundry(t)
	f.furnish("for the mill pond")
	f.orders("by telephone")
	f.planned("42")
	f.book.Do(f.book.OpenHeat(t.Context(), ledger.Meta{}, "42"))
	f.book.Do(f.book.Charge(t.Context(), ledger.Meta{}, ledger.ChargeHeat{Heat: "42", Items: []ledger.ChargeItem{{Lot: f.heat.Pigs.ID, Mass: ledgertest.Grams(1000)}}}))
	f.book.Do(f.book.FinishPour(t.Context(), ledger.Meta{}, ledger.FinishPour{Heat: "42"}))
	f.book.Do(f.book.WeighIn(t.Context(), ledger.Meta{Reason: "it was weighed twice"}, ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "42"}}, Weighing: ledgertest.Net(1234)}))
	b := newBrowser(t, size{360, 740})
	for _, page := range []string{"/heats", "?alloy=C87300", "/commissions", "/orders"} {
		b.open(f.url(page))
		js[any](b, `document.querySelectorAll("details").forEach((d) => d.open = true); 0`)
		if page == "/heats" {
			if said := js[string](b, `document.querySelector('.lots a[href$="/42"] .amount')?.textContent`); said != "234 g more came back than was poured" {
				t.Errorf("heat 42 says %q", said)
			}
		} else {
			js[any](b, `document.querySelectorAll(".lots .amount").forEach((a) => a.textContent = "1 234.56 lb more came back than was poured"); 0`)
		}
		const broken = `[...document.querySelectorAll(".lots li:has(.amount) b")].filter((b) => {
			const text = document.createRange();
			text.selectNodeContents(b);
			return Math.round(text.getBoundingClientRect().height / parseFloat(getComputedStyle(b).lineHeight)) > b.textContent.trim().split(" ").length;
		}).map((b) => b.textContent)`
		if n := js[int](b, `document.querySelectorAll(".lots li:has(.amount) b").length`); n == 0 {
			t.Errorf("%s has no list with amounts", page)
		}
		for _, name := range js[[]string](b, broken) {
			t.Errorf("%s: %q takes more lines than it has words", page, name)
		}
	}
	b.quiet()
}

// Another person's weighing appears without a reload, and not while somebody types.
func TestPagesFollowTheBook(t *testing.T) {
	f := newFoundry(t)
	b := newBrowser(t, desk)
	b.open(f.url(""))
	b.until("the page listens", `performance.getEntriesByType("resource").some((r) => r.name.includes("/live?")) || new Promise((r) => setTimeout(r, 500)).then(() => true)`)
	f.book.Do(f.book.WeighIn(t.Context(), ledger.Meta{}, ledger.WeighIn{Alloy: "C95400", Weighing: ledgertest.Net(7777)}))
	b.until("the new metal is shown", `document.getElementById("main").innerText.includes("C95400") && document.getElementById("main").innerText.includes("7777")`)
	b.quiet()
}

// A page that could not be renewed is, as soon as that can be: nobody else needs to book
// anything for it.
func TestPageIsRenewedAgain(t *testing.T) {
	f := newFoundry(t)
	b := newBrowser(t, desk)
	b.open(f.url(""))
	b.until("the page listens", `performance.getEntriesByType("resource").some((r) => r.name.includes("/live?")) || new Promise((r) => setTimeout(r, 500)).then(() => true)`)
	js[any](b, `window.quick = fetch; window.tries = [];
		window.fetch = (at, how) => {
			tries.push(at);
			if (tries.length === 1) return Promise.reject(new Error("no network"));
			if (tries.length === 2) return Promise.resolve(new Response("<main id=main>busy</main>", { status: 503 }));
			return quick(at, how);
		}`)
	f.book.Do(f.book.WeighIn(t.Context(), ledger.Meta{}, ledger.WeighIn{Alloy: "C95400", Weighing: ledgertest.Net(7777)}))
	b.until("the new metal is shown", `document.getElementById("main").innerText.includes("C95400") && document.getElementById("main").innerText.includes("7777")`)
	if n := js[int](b, `tries.length`); n != 3 {
		t.Errorf("asked for %d times", n)
	}
	b.quiet()
}

// A page whose line for news was refused asks for one again, and for what it missed.
func TestPageListensAgain(t *testing.T) {
	f := newFoundry(t)
	b := newBrowser(t, desk)
	b.before(`window.Source = window.EventSource; window.sources = 0;
		window.EventSource = class extends Source { constructor(to) { super(++sources === 1 ? "/no-such-page" : to); } };
		window.later = setTimeout; window.setTimeout = (f, ms, ...more) => later(f, ms === 60000 ? 1000 : ms, ...more)`)
	b.open(f.url(""))
	f.book.Do(f.book.WeighIn(t.Context(), ledger.Meta{}, ledger.WeighIn{Alloy: "C95400", Weighing: ledgertest.Net(7777)}))
	b.until("what was missed is shown", `document.getElementById("main").innerText.includes("C95400")`)
	b.until("it listens again", `sources === 2`)
	f.book.Do(f.book.WeighIn(t.Context(), ledger.Meta{}, ledger.WeighIn{Alloy: "C95500", Weighing: ledgertest.Net(3333)}))
	b.until("and hears", `document.getElementById("main").innerText.includes("3333")`)
	b.quiet("404")
}

// The front page with all it loads is small, and says what is here: the amounts are
// those of the worked heat's table in DEVELOPERS.md (6.3 kg of pigs usable, 52.605 kg
// in molds, 0.475 kg of metal in skimmings).
func TestFrontPage(t *testing.T) {
	f := newFoundry(t)
	code, page := f.get("http://" + f.addr + "/")
	for _, want := range []string{"Harrow Lane Foundry", "6300", "52605", "475", "C87300", "Local codes"} {
		if !strings.Contains(page, want) {
			t.Errorf("no %q on the page", want)
		}
	}
	if code != 200 || strings.Contains(page, "style=") || strings.Contains(page, "http://") || strings.Contains(page, "https://") {
		t.Errorf("HTTP %d, or the page needs more than its headers allow, or something from elsewhere", code)
	}
	// 6.3 kg / 0.45359237 kg = 13.889… lb, 52.605 kg = 115.974… lb (NIST SP 811, appendix B.8)
	if _, page := f.get(f.url("?unit=lb")); !strings.Contains(page, "13.89") || !strings.Contains(page, "115.97") {
		t.Errorf("in lb:\n%s", page)
	}
	if code, page := f.get(f.url("?unit=stone")); code != 400 || !strings.Contains(page, "UNKNOWN_UNIT") {
		t.Errorf("in stone: HTTP %d\n%s", code, page)
	}
	if code, page := f.get("http://" + f.addr + "/shops/nobody"); code != 404 || !strings.Contains(page, "NO_SUCH_SHOP") {
		t.Errorf("of nobody: HTTP %d\n%s", code, page)
	}
	b := newBrowser(t, phone)
	b.open(f.url(""))
	js[any](b, `new Promise((r) => setTimeout(r, 300)).then(() => 0)`)
	bytes := js[int](b, `performance.getEntries().filter((e) => e.decodedBodySize).reduce((s, e) => s + e.decodedBodySize, 0)`)
	if bytes == 0 || bytes > 100_000 {
		t.Errorf("the front page and what it loads are %d bytes", bytes)
	}
	b.quiet()
}
