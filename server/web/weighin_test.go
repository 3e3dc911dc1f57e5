package web_test

import (
	"fmt"
	"net/http"
	"net/http/httputil"
	"net/url"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
)

const (
	weighedHere = `document.querySelectorAll("#list li").length`
	booked      = `document.querySelectorAll("#list li.booked").length`
)

// types puts a weight in by the page's own keys, as a glove does, and sends it; a
// second press says that an unusual weight is right.
func (b *browser) types(weight string) {
	b.Helper()
	before := js[int](b, weighedHere)
	for _, r := range weight {
		js[any](b, fmt.Sprintf(`[...document.querySelectorAll("#keys button")].find((b) => b.textContent === %q).click()`, string(r)))
	}
	js[any](b, `document.getElementById("go").click()`)
	b.until("the weight is taken or doubted", fmt.Sprintf(`!document.getElementById("doubt").hidden || %s > %d`, weighedHere, before))
	if js[int](b, weighedHere) == before {
		js[any](b, `document.getElementById("go").click()`)
		b.until("the weight is taken", fmt.Sprintf(`%s > %d`, weighedHere, before))
	}
}

func (b *browser) chooses(id, value string) {
	b.Helper()
	js[any](b, fmt.Sprintf(`{ const f = document.getElementById(%q); f.value = %q; f.dispatchEvent(new Event("change", { bubbles: true })); }`, id, value))
}

// ready waits until the page can do without the network.
func (b *browser) ready() {
	b.Helper()
	b.until("the page's script runs", `document.getElementById("chosen").textContent.includes("·")`)
	b.until("the page says that it is kept", `document.getElementById("offline").textContent.startsWith("This page is kept")`)
}

// Ten pieces in a row, the server gone in the middle, the page closed and opened
// again without it, and back: each weighing is in the book once.
func TestWeighInThroughAnOutage(t *testing.T) {
	t.Run("phone", func(t *testing.T) { weighInThroughAnOutage(t, phone) })
	t.Run("desk", func(t *testing.T) { weighInThroughAnOutage(t, desk) })
}

func weighInThroughAnOutage(t *testing.T, s size) {
	f := newFoundry(t)
	b := newBrowser(t, s)
	b.open(f.url("/weigh-in"))
	b.ready()
	b.chooses("heat", "41")
	b.chooses("unit", "kg")
	for _, w := range []string{"2.31", "4.1", "3.05"} {
		b.types(w)
	}
	b.until("three are in the book", booked+" === 3")
	if n := f.count(ledger.KindWeighIn); n != 3 {
		t.Fatalf("%d in the book", n)
	}
	f.stop()
	for _, w := range []string{"1.2", "5.5", "2.2", "3.3"} {
		b.types(w)
	}
	b.until("the page says what is not sent", `document.getElementById("line").textContent.startsWith("4 kept here")`)

	// The page is closed and opened again, still without the server.
	again := b.tab(s)
	again.open(f.url("/weigh-in"))
	again.until("what waits is still shown", `document.querySelectorAll("#list li.waiting").length === 4`)
	again.types("6.6")
	if n := f.count(ledger.KindWeighIn); n != 3 {
		t.Fatalf("%d in the book without a server", n)
	}

	f.start()
	again.until("all are in the book", booked+" === 8")
	b.until("the other tab knows", `new Promise((r) => setTimeout(r, 100)).then(() => document.getElementById("line").hidden)`)
	time.Sleep(300 * time.Millisecond) // for a tab that would send once more
	if n := f.count(ledger.KindWeighIn); n != 8 {
		t.Errorf("%d in the book, of 8", n)
	}
	f.book.Verify()
	b.quiet("ERR_CONNECTION_REFUSED", "Failed to load resource", "ERR_INCOMPLETE", "ERR_EMPTY", "net::")
}

// The answer is lost after the server has booked it: sending again books nothing.
func TestWeighInWhoseAnswerIsLost(t *testing.T) {
	f := newFoundry(t)
	target, err := url.Parse("http://" + f.addr)
	if err != nil {
		t.Fatal(err)
	}
	var losses atomic.Int32
	losses.Store(3)
	proxy := httputil.NewSingleHostReverseProxy(target)
	proxy.ModifyResponse = func(r *http.Response) error {
		if r.Request.Method == http.MethodPost && losses.Add(-1) >= 0 {
			panic(http.ErrAbortHandler)
		}
		return nil
	}
	front := newFront(t, proxy)
	b := newBrowser(t, phone)
	b.open(front + "/shops/harrow/weigh-in")
	b.until("the page's script runs", `document.getElementById("chosen").textContent.includes("·")`)
	b.chooses("heat", "41")
	b.types("2.5")
	b.until("it is in the book", booked+" === 1")
	if n := f.count(ledger.KindWeighIn); n != 1 {
		t.Errorf("%d in the book", n)
	}
	if left := losses.Load(); left >= 0 {
		t.Errorf("no answer was lost")
	}
	b.quiet("502", "ERR_")
}

// What the server refuses is shown, to be mended or thrown away, and what is booked
// can be taken back.
func TestWeighInRefusedAndTakenBack(t *testing.T) {
	f := newFoundry(t)
	b := newBrowser(t, desk)
	b.open(f.url("/weigh-in"))
	b.until("the page's script runs", `document.getElementById("chosen").textContent.includes("·")`)
	b.chooses("heat", "41")
	js[any](b, `document.getElementById("weight").value = "12 stone"; document.getElementById("go").click()`)
	b.until("it is refused in words", `document.querySelector("#list li.refused")?.textContent.includes("stone")`)
	b.says("Type it again")
	b.until("it is back to be typed, and still kept", `document.getElementById("weight").value === "12 stone" && document.querySelectorAll("#list li.refused").length === 1`)
	js[any](b, `document.getElementById("weight").value = ""`)
	b.chooses("unit", "kg")
	for _, key := range []string{"1", ".", "5"} {
		js[any](b, fmt.Sprintf(`[...document.querySelectorAll("#keys button")].find((b) => b.textContent === %q).click()`, key))
	}
	js[any](b, `document.getElementById("go").click()`)
	b.until("it is in the book, in the place of the other", booked+` === 1 && document.querySelectorAll("#list li").length === 1`)
	b.says("Take back")
	b.until("it is taken back", `document.querySelector("#list li.undone") !== null`)
	if n := f.count(ledger.KindReverse); n != 1 {
		t.Errorf("%d entries take something back", n)
	}
	f.book.Verify()
	b.quiet("400")
}

// Two hundred weighings wait, in two tabs that both send: each is booked once.
func TestWeighInOfALongQueue(t *testing.T) {
	f := newFoundry(t)
	b := newBrowser(t, phone)
	b.open(f.url("/weigh-in"))
	b.ready()
	f.stop()
	const n = 200
	js[any](b, fmt.Sprintf(`(async () => {
		const box = await import("/static/outbox.js");
		for (let i = 0; i < %d; i++) {
			const id = box.requestID();
			await box.keep({ id, shop: "harrow", typedAt: Date.now() + i, text: "piece " + i, state: "waiting", attempts: 0,
				body: { requestId: id, form: "FORM_GATING", heats: [{ heat: "41" }], weighing: { net: { text: (100 + i) + " g" } } } });
		}
	})()`, n))
	other := b.tab(phone)
	other.open(f.url("/weigh-in"))
	other.until("they wait", fmt.Sprintf(`document.getElementById("line").textContent.startsWith("%d kept here")`, n))
	f.start()
	b.do(chromedp.Reload())
	other.until("none waits", `new Promise((r) => setTimeout(r, 200)).then(() => document.getElementById("line").hidden)`)
	if got := f.count(ledger.KindWeighIn); got != n {
		t.Errorf("%d in the book, of %d", got, n)
	}
	b.quiet("ERR_", "Failed to load resource")
	other.quiet("ERR_", "Failed to load resource")
}

// A phone whose clock is three days fast weighs in without the network, and sends two
// hours later: the book has the time that it really was.
func TestWeighInByAWrongClock(t *testing.T) {
	f := newFoundry(t)
	f.stop()
	f.book.Now = time.Now().UTC() // an answer's date is the machine's
	f.start()
	b := newBrowser(t, phone)
	b.before(`globalThis.fast = 3 * 864e5; { const right = Date.now; Date.now = () => right() + fast; }`)
	b.open(f.url("/weigh-in"))
	b.until("the page's script runs", `document.getElementById("chosen").textContent.includes("·")`)
	b.chooses("heat", "41")
	b.chooses("unit", "kg")
	b.types("1.1")
	b.until("the server's clock is known", booked+" === 1")
	f.stop()
	b.types("2.2")
	b.until("it waits", `document.querySelectorAll("#list li.waiting").length === 1`)
	// One that was tried keeps the time it was given: this one was typed before any try.
	js[any](b, `(async () => {
		const box = await import("/static/outbox.js"), id = box.requestID();
		await box.keep({ id, shop: "harrow", typedAt: Date.now() - 2 * 3600e3, text: "typed two hours ago", state: "waiting", attempts: 0,
			body: { requestId: id, form: "FORM_CUP", heats: [{ heat: "41" }], weighing: { net: { text: "1 kg" } } } });
	})()`)
	f.start()
	b.until("all are in the book", booked+" === 3")
	var times []time.Duration
	err := f.store.View(t.Context(), "harrow", func(r ledger.Reader) error {
		log, err := r.Log(0, 10000)
		for _, s := range log {
			e, err := s.Open()
			if err != nil {
				return err
			}
			if e.Kind == ledger.KindWeighIn {
				times = append(times, f.book.Now.Sub(e.Happened).Round(time.Hour))
			}
		}
		return err
	})
	if err != nil || len(times) != 3 || !slices.Contains(times, 2*time.Hour) || slices.Max(times) > 2*time.Hour || slices.Min(times) < 0 {
		t.Errorf("weighed in %v before now, %v", times, err)
	}
	b.quiet("ERR_", "Failed to load resource")
}

// The keyboard alone weighs in.
func TestWeighInByKeyboard(t *testing.T) {
	f := newFoundry(t)
	b := newBrowser(t, desk)
	b.open(f.url("/weigh-in"))
	b.until("the page's script runs", `document.getElementById("chosen").textContent.includes("·")`)
	for i := 0; js[string](b, "document.activeElement.id") != "heat"; i++ {
		if i > 30 {
			t.Fatal("the heat cannot be reached")
		}
		b.do(chromedp.KeyEvent(kb.Tab))
	}
	b.do(chromedp.KeyEvent("4")) // the heat whose name begins so
	for i := 0; js[string](b, "document.activeElement.id") != "weight"; i++ {
		if i > 30 {
			t.Fatal("the weight cannot be reached")
		}
		b.do(chromedp.KeyEvent(kb.Tab))
	}
	b.do(chromedp.KeyEvent("950 g"), chromedp.KeyEvent(kb.Enter))
	b.until("it is in the book", booked+" === 1")
	if text := js[string](b, `document.querySelector("#list li").textContent`); !strings.Contains(text, "heat 41") {
		t.Errorf("it says %q", text)
	}
	b.quiet()
}

// pours takes another heat to the end of its pour: so many grams are in its mold.
func (f *foundry) pours(id string, grams int64) {
	f.Helper()
	ctx, m := f.Context(), ledger.Meta{}
	lot := ledgertest.MadeLot(f.T, f.book.Do(f.book.Receive(ctx, m, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Form: ledger.Ingot, Weighing: ledgertest.Net(grams)})))
	f.book.Do(f.book.PlanHeat(ctx, m, ledger.PlanHeat{ID: id, Alloy: "C87300", Crucible: "A60", Molds: []ledger.MoldPlan{{Name: "otter"}}}))
	f.book.Do(f.book.OpenHeat(ctx, m, id))
	f.book.Do(f.book.Charge(ctx, m, ledger.ChargeHeat{Heat: id, Items: []ledger.ChargeItem{{Lot: lot.ID}}}))
	f.book.Do(f.book.Pour(ctx, m, ledger.PourMold{Heat: id, Mold: id + "-1"}))
	f.book.Do(f.book.FinishPour(ctx, m, ledger.FinishPour{Heat: id}))
}

// scripted opens the weigh-in page and waits for its script.
func (b *browser) scripted(url string) {
	b.Helper()
	b.open(url)
	b.until("the page's script runs", `document.getElementById("chosen").textContent.includes("·")`)
}

// The link on a heat's page weighs in that heat's returns, whatever was weighed last
// on this phone; what is chosen after it stays chosen.
func TestWeighInOfTheHeatThatLinksToIt(t *testing.T) {
	f := newFoundry(t)
	f.pours("72", 8000)
	b := newBrowser(t, phone)
	b.scripted(f.url("/weigh-in"))
	b.chooses("heat", "41")
	b.open(f.url("/heats/72"))
	js[any](b, `document.querySelector('a[href*="/weigh-in#"]').click()`)
	b.until("heat 72 is chosen and shown", `document.getElementById("heat")?.value === "72" && document.getElementById("chosen").textContent.endsWith("heat 72, C87300")`)
	b.chooses("unit", "kg")
	b.types("1.5")
	b.until("it is in the book", booked+" === 1")
	f.book.Want(6500, "molds/72")
	f.book.Want(52_605, "molds/41")

	b.chooses("heat", "41")
	b.do(chromedp.Reload())
	b.until("the choice made since stays", `document.getElementById("chosen").textContent.endsWith("heat 41, C87300")`)
	// A page that was kept may be older than the heat.
	js[any](b, `document.getElementById("lot").value = "x1"; location.hash = "heat=99"`)
	b.until("the heat that it does not know is chosen", `document.getElementById("chosen").textContent.endsWith("heat 99, newer than this page")`)
	b.types("1")
	b.until("the book says that there is none", `document.querySelector("#list li.refused small")?.textContent.includes("99")`)
	b.quiet("400", "404")
}

// On a first visit with a phone the weight, its unit and all keys are on the screen,
// below the heat.
func TestWeighInOnAPhoneNeedsNoScrolling(t *testing.T) {
	f := newFoundry(t)
	b := newBrowser(t, phone)
	b.scripted(f.url("/weigh-in"))
	for _, id := range []string{"heat", "chosen", "weight", "unit", "keys"} {
		if bottom := js[float64](b, fmt.Sprintf(`document.getElementById(%q).getBoundingClientRect().bottom`, id)); bottom > float64(phone.h) || bottom <= 0 {
			t.Errorf("%s ends at %v of %d", id, bottom, phone.h)
		}
	}
	b.quiet()
}

// A lot to be cleaned is offered also when it comes after so many others that a page of
// the list that is asked has nothing of it.
func TestLotToBeCleanedAmongMany(t *testing.T) {
	f := newFoundry(t)
	rows := make([]ledger.Row, ledger.MaxRows)
	for i := range rows {
		rows[i].In = ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(1_000)}
	}
	if _, err := f.book.Import(t.Context(), ledger.Meta{}, rows); err != nil {
		t.Fatal(err)
	}
	if _, err := f.book.WeighIn(t.Context(), ledger.Meta{}, ledger.WeighIn{LotID: "ZZ", Dirty: true, Heats: []ledger.HeatShare{{Heat: "41"}}, Weighing: ledgertest.Net(700)}); err != nil {
		t.Fatal(err)
	}
	if code, body := f.get(f.url("/weigh-in")); code != http.StatusOK || !strings.Contains(body, `"ZZ"`) {
		t.Errorf("%d: the dirty lot is not on the page", code)
	}
}
