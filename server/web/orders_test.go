package web_test

import (
	"encoding/json"
	"fmt"
	"html"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
)

// orders fills the book with an order that is late, one that is being written, and one
// that came.
func (f *foundry) orders(text string) {
	f.Helper()
	m := ledger.Meta{Who: text, Reason: text, Happened: f.book.Now.AddDate(0, 0, -9)}
	write := func(c ledger.WriteOrder) string {
		c.Supplier, c.Note = "northmetal", text
		f.book.Do(f.book.WriteOrder(f.Context(), m, c))
		return c.ID
	}
	ingots := []ledger.OrderItem{{Alloy: "C87300", Pieces: 3, Each: ledgertest.Grams(10_000), Price: "11 USD/kg"}, {Supply: "borax", Mass: ledgertest.Grams(5000), Price: "40 USD"}}
	write(ledger.WriteOrder{ID: "P1", Lines: ingots})
	late := write(ledger.WriteOrder{ID: "P2", Lines: ingots, Expected: f.book.Now.AddDate(0, 0, -4)})
	f.book.Do(f.book.PlaceOrder(f.Context(), m, ledger.PlaceOrder{Order: late}))
}

// Before ordering ingot: what is advised becomes an order, the order is received at the
// weight of each piece, and what was booked wrongly is taken back.
func TestOrderFromThePage(t *testing.T) {
	f := newFoundry(t)
	for i, s := range []size{phone, desk} {
		b := newBrowser(t, s)
		b.open(f.url("/orders?alloy=C87300&pieces=3&each=10+kg&price=11+USD/kg&supplier=northmetal&due=2026-03-12#new"))
		b.fills("#new-order", "purchaseOrder.note", `<script>document.title="owned"</script> 🔥`)
		before := f.count(ledger.KindPlaceOrder)
		b.presses("#new-order .go")
		b.until("the order's page is open", fmt.Sprintf(`location.pathname.endsWith("/orders/%d") && document.getElementById("receive") !== null`, i+1))
		if n := f.count(ledger.KindPlaceOrder); n != before+1 {
			t.Errorf("%d orders given, %d before", n, before)
		}
		if text := js[string](b, `document.getElementById("main").innerText`); !strings.Contains(text, "due 12 Mar 2026, in 10 days") || !strings.Contains(text, "<script>") {
			t.Errorf("the page says:\n%s", text)
		}
		b.fills("#receive", "lines.1.weights", "9.8 kg + ten + 10.05 kg", "place", "rack", "scale", "floor")
		b.presses("#receive .go")
		b.until("a wrong weight is explained", `document.querySelector("#receive .told").textContent.includes("ten")`)
		b.open(js[string](b, "location.href"))
		b.until("what was typed is still there", `document.querySelector('#receive [name="lines.1.weights"]').value.includes("ten")`)
		b.fills("#receive", "lines.1.weights", "9.8 kg + 10.12 kg + 10.05 kg", "certificates.of1.number", "88/1", "certificates.of1.elements.3.percent", "lots", "certificates.of1.elements.4.percent", "3.9")
		b.presses("#receive .go")
		b.until("a wrong content is marked, and shown", `document.querySelector('#receive [aria-invalid="true"]')?.name === "certificates.of1.elements.3.percent" && document.querySelector('#receive [aria-invalid="true"]').checkVisibility()`)
		b.fills("#receive", "certificates.of1.elements.3.percent", "0.02")
		b.presses("#receive .go")
		b.until("three lots are here, each with a label to print", `document.querySelectorAll('.history a[href*="/paper/lots/"]').length === 3 && document.querySelector(".sum").textContent.includes("all here")`)
		if code, pdf := f.get(js[string](b, `document.querySelector('.history a[href*="/paper/lots/"]').href`)); code != 200 || !strings.HasPrefix(pdf, "%PDF-") {
			t.Errorf("a label: HTTP %d", code)
		}
		if held := f.book.Held(ledger.Acct(ledger.OfLot, js[string](b, `document.querySelector('.history a[href*="/lots/"]').textContent`))); held != 9800*ledger.Gram {
			t.Errorf("the first lot holds %d mg", held)
		}
		certified(t, f.lastLot())
		b.presses(".take-back")
		b.until("it is taken back", `document.querySelector(".history .undone") !== null && document.querySelector(".sum").textContent.includes("due")`)
		if js[string](b, "document.title") == "owned" {
			t.Error("the note ran")
		}
		b.quiet("400")
	}
	f.book.Verify()
}

// The keyboard alone orders something and books what came of it.
func TestOrderByKeyboard(t *testing.T) {
	f := newFoundry(t)
	b := newBrowser(t, desk)
	b.open(f.url("/orders"))
	b.until("the form is ready", `document.querySelector("#new-order .go").disabled === false`)
	b.tabTo("the supplier", `document.activeElement.name === "purchaseOrder.supplier"`)
	b.do(chromedp.KeyEvent("North"))
	for _, typed := range [][2]string{{"purchaseOrder.lines.0.alloy", "C87300"}, {"purchaseOrder.lines.0.pieces", "2"}, {"purchaseOrder.lines.0.each.text", "10 kg"}, {"purchaseOrder.lines.0.price", "11 USD/kg"}} {
		b.tabTo(typed[0], fmt.Sprintf(`document.activeElement.name === %q`, typed[0]))
		b.do(chromedp.KeyEvent(typed[1]))
	}
	b.do(chromedp.KeyEvent(kb.Enter))
	b.until("the order's page is open", `location.pathname.endsWith("/orders/1") && document.querySelector("#receive .go")?.disabled === false`)
	b.tabTo("the weights", `document.activeElement.name === "lines.1.weights"`)
	b.do(chromedp.KeyEvent("9.9 kg + 10.1 kg"), chromedp.KeyEvent(kb.Enter))
	b.until("all is here", `document.querySelector(".sum").textContent.includes("all here")`)
	if n := f.count(ledger.KindReceiveOrder); n != 1 {
		t.Errorf("%d deliveries", n)
	}
	b.quiet()
}

// A delivery that somebody else booked meanwhile is not booked twice unseen.
func TestReceiveMeanwhile(t *testing.T) {
	f := newFoundry(t)
	f.orders("by telephone")
	b := newBrowser(t, desk)
	b.open(f.url("/orders/P2"))
	b.fills("#receive", "lines.1.weights", "29.9 kg", "lines.1.pieces", "3")
	f.book.Do(f.book.ReceiveOrder(t.Context(), ledger.Meta{}, ledger.ReceiveOrder{Order: "P2", Lines: []ledger.Delivered{{Line: 1, Weighing: ledger.WeighingIn{Net: ledgertest.Grams(29_900), Pieces: 3}}}}))
	b.presses("#receive .go")
	b.until("it says so", `document.querySelector("#receive .told").textContent.startsWith("Somebody else")`)
	if n := f.count(ledger.KindReceiveOrder); n != 1 {
		t.Errorf("%d deliveries", n)
	}
	b.presses("#receive .go")
	b.until("it is another delivery all the same", `document.querySelectorAll(".history li").length === 2`)
	b.open(f.url("/orders"))
	if text := js[string](b, `document.getElementById("main").innerText`); !strings.Contains(text, "P2 from North Metal is late") {
		t.Errorf("the list says:\n%s", text)
	}
	b.quiet()
}

// An order that is written down is given, and what does not come is given up.
func TestOrderGivenAndGivenUp(t *testing.T) {
	f := newFoundry(t)
	f.orders("by telephone")
	b := newBrowser(t, phone)
	b.open(f.url("/orders/P1"))
	b.fills("#place", "expectedTime", f.book.Now.AddDate(0, 0, 1).Format(time.DateOnly))
	b.presses("#place .go")
	b.until("it is ordered", `document.getElementById("give-up") !== null && document.querySelector(".sum").textContent.includes("in 1 day")`)
	b.fills("#give-up", "why", "they melt no more")
	b.presses("#give-up .go")
	b.until("it is given up", `document.querySelector(".sum").textContent.includes("they melt no more")`)
	b.quiet()
}

// What is to be bought stands on the page with all its reasons, and what is sold in
// bundles is ordered by its pieces.
func TestWhatToBuySaysWhy(t *testing.T) {
	f := newFoundry(t)
	week, m := 7, ledger.Meta{}
	f.book.Do(f.book.KeepOffer(t.Context(), m, ledger.NewOffer{Party: "northmetal", Alloy: "C87300", LeadDays: &week, Piece: ledgertest.Grams(10_000), Bundle: 4, Freight: "40 USD",
		Breaks: []ledger.NewOfferBreak{{Price: "11 USD/kg"}}}))
	f.book.Do(f.book.PlanHeat(t.Context(), m, ledger.PlanHeat{ID: "42", Alloy: "C87300", Planned: f.book.Now.AddDate(0, 0, 20), Charge: ledgertest.Grams(60_000),
		Molds: []ledger.MoldPlan{{Name: "heron", Metal: ledgertest.Grams(30_000), Gating: ledgertest.Grams(25_000)}}}))
	_, said := f.get("http://" + f.addr + "/v1/shops/harrow:adviseOrders")
	var answer struct {
		Advice []struct {
			Sentence, Packs       string
			Reasons, Alternatives []string
			Order                 bool
		}
	}
	if err := json.Unmarshal([]byte(said), &answer); err != nil || len(answer.Advice) == 0 || !answer.Advice[0].Order || len(answer.Advice[0].Reasons) == 0 {
		t.Fatalf("%v in %.300s", err, said)
	}
	_, page := f.get(f.url("/to-buy"))
	page = html.UnescapeString(page)
	for _, a := range answer.Advice {
		for _, words := range slices.Concat([]string{a.Sentence}, a.Reasons, a.Alternatives) {
			if !strings.Contains(page, words) {
				t.Errorf("the page does not say %q", words)
			}
		}
	}
	packs, err := strconv.Atoi(answer.Advice[0].Packs)
	if err != nil {
		t.Fatal(err)
	}
	if order := fmt.Sprintf("each=10000+g&freight=40+USD&pieces=%d&price=11+USD%%2Fkg&", 4*packs); !strings.Contains(page, order) {
		t.Errorf("no order of %s in %s", order, regexp.MustCompile(`href="[^"]*#new"`).FindAllString(page, -1))
	}
}
