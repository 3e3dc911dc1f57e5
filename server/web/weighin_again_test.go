package web_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
)

// says presses the first button of the round that says so.
func (b *browser) says(word string) {
	b.Helper()
	find := fmt.Sprintf(`[...document.querySelectorAll("#list button")].find((x) => x.textContent === %q)`, word)
	b.until("a button says "+word, find+` !== undefined`)
	js[any](b, find+`.click()`)
}

// A refused weighing that is typed again has all that was chosen for it, whatever was
// chosen since, and the next piece has what was chosen since.
func TestWeighInMended(t *testing.T) {
	f := newFoundry(t)
	f.stop()
	f.book.Now = time.Now().UTC() // an answer's date is the machine's
	f.start()
	f.pours("72", 8000)
	m := ledger.Meta{}
	f.book.Do(f.book.SetPlace(t.Context(), m, ledger.Place{ID: "rack", Name: "rack"}))
	f.book.Do(f.book.SetTare(t.Context(), m, ledger.Tare{ID: "pan", Name: "pan", Mass: ledgertest.Grams(500)}))
	b := newBrowser(t, phone)
	b.scripted(f.url("/weigh-in"))
	js[any](b, `(async () => {
		const box = await import("/static/outbox.js"), id = box.requestID();
		await box.keep({ id, shop: "harrow", typedAt: Date.now() - 2 * 3600e3, text: "refused", state: "refused", attempts: 1, error: "no",
			body: { requestId: id, form: "FORM_RISER", dirty: true, heats: [{ heat: "72" }], place: "rack", weighing: { gross: { text: "12 lb" }, savedTare: "pan", pieces: "3" } } });
	})()`)
	b.do(chromedp.Reload())
	b.until("the page's script runs", `document.getElementById("chosen").textContent.includes("·")`)
	b.chooses("heat", "41")
	b.chooses("unit", "kg")
	b.says("Type it again")
	const fields = `["weight", "unit", "heat", "place", "tare", "pieces"].map((id) => document.getElementById(id).value).join(" ") + " " + document.querySelector("[name=form]:checked").value + document.querySelector("[name=dirty]:checked").value`
	if got := js[string](b, fields); got != "12 lb 72 rack pan 3 FORM_RISERyes" {
		t.Errorf("the fields hold %s", got)
	}
	// The page is closed before another takes its place.
	b.do(chromedp.Reload())
	b.says("Type it again")
	js[any](b, `document.getElementById("go").click()`)
	b.until("it is in the book, in the place of the other", booked+` === 1 && document.querySelectorAll("#list li").length === 1`)
	if got := js[string](b, fields); got != " kg 41    FORM_GATING" {
		t.Errorf("for the next piece the fields hold %s", got)
	}
	if age := js[float64](b, `import("/static/outbox.js").then((box) => box.list("harrow")).then((l) => (Date.now() - l[0].typedAt) / 3600e3)`); age < 1.9 {
		t.Errorf("it is %v hours old", age)
	}
	// 12 lb is 5443 g, of which the pan is 500.
	if left := f.book.Held(ledger.Acct("molds", "72")); left < 3056*ledger.Gram || left > 3058*ledger.Gram {
		t.Errorf("%d mg are left in the molds", left)
	}
	b.quiet()
}

// Without the network: what was never sent is thrown away; what may be in the book and
// what is there is taken back once the server can be reached, and said so until then.
func TestWeighInTakenBackWithoutTheNetwork(t *testing.T) {
	f := newFoundry(t)
	b := newBrowser(t, phone)
	b.open(f.url("/weigh-in"))
	b.ready()
	b.chooses("heat", "41")
	b.chooses("unit", "kg")
	b.types("1.1")
	b.until("it is in the book", booked+" === 1")
	f.stop()
	b.says("Take back")
	b.until("it says when", `document.querySelector("#list li.booked small").textContent.includes("taken back when the network is there again")`)
	b.types("2.2") // behind the first, so never sent
	b.says("Throw away")
	b.until("it is gone", weighedHere+" === 1")
	js[any](b, `(async () => {
		const box = await import("/static/outbox.js"), id = box.requestID();
		await box.keep({ id, shop: "harrow", typedAt: Date.now(), text: "may be in the book", state: "waiting", attempts: 1,
			body: { requestId: id, form: "FORM_CUP", heats: [{ heat: "41" }], weighing: { net: { text: "3.3 kg" } } } });
	})()`)
	b.do(chromedp.Reload()) // still without it
	b.says("Take back")
	b.until("it says when", `document.querySelector("#list li.waiting small").textContent.includes("it is taken back when the network is there again")`)
	f.start()
	b.until("both are taken back", `document.querySelectorAll("#list li.undone").length === 2 && document.getElementById("line").hidden`)
	if in, out := f.count(ledger.KindWeighIn), f.count(ledger.KindReverse); in != 2 || out != 2 {
		t.Errorf("%d in the book, %d taken back", in, out)
	}
	f.book.Want(52_605, "molds/41")
	f.book.Verify()
	b.quiet("ERR_", "Failed to load resource")
}

// A weight is doubted that is unlike its kind, or more than is left of the heat after
// what was booked since the page came; a saved tare counts; the label is there at once.
func TestWeighInDoubts(t *testing.T) {
	f := newFoundry(t)
	m := ledger.Meta{}
	f.pours("72", 8000)
	f.book.Do(f.book.SetTare(t.Context(), m, ledger.Tare{ID: "pan", Name: "pan", Mass: ledgertest.Grams(500)}))
	for range 5 {
		f.book.Do(f.book.WeighIn(t.Context(), m, ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "41"}}, Form: ledger.Gating, Weighing: ledgertest.Net(2000)}))
	}
	b := newBrowser(t, phone)
	b.scripted(f.url("/weigh-in"))
	puts := func(weight, want string) {
		t.Helper()
		js[any](b, fmt.Sprintf(`document.getElementById("weight").value = %q; document.getElementById("weight").dispatchEvent(new Event("input", { bubbles: true })); document.getElementById("go").click()`, weight))
		if got := js[string](b, `document.getElementById("doubt").hidden ? "" : document.getElementById("doubt").textContent`); got != want {
			t.Errorf("of %s it says %q, not %q", weight, got, want)
		}
	}
	b.chooses("heat", "72")
	b.chooses("unit", "g")
	for _, weight := range []string{"7000", "7 kg", "7,0 KG", "15 lb 6.918 oz"} {
		puts(weight, "7000 g is unlike the last 5 of this kind (2000 g to 2000 g). Is it right?")
	}
	js[any](b, `document.querySelector("[value=FORM_RISER]").click()`)
	puts("8001", "By the book heat 72 has only 8000 g left in its molds. Is it of this heat?")
	b.chooses("tare", "pan")
	puts("3.5 kg", "")
	b.until("it is in the book", booked+" === 1")
	f.book.Want(5000, "molds/72")
	if code, pdf := f.get(js[string](b, `document.querySelector("#list a").href`)); code != 200 || !strings.HasPrefix(pdf, "%PDF-") {
		t.Errorf("its label: HTTP %d", code)
	}
	b.chooses("tare", "")
	puts("5.001 kg", "By the book heat 72 has only 5000 g left in its molds. Is it of this heat?")
	b.quiet()
}

// The lot may be cleaned and the heat settled while a weighing of it waits: that is explained,
// and nothing is dropped.
func TestWeighInOfWhatWasClosedMeanwhile(t *testing.T) {
	f := newFoundry(t)
	m := ledger.Meta{}
	f.pours("72", 8000)
	dirty := ledgertest.MadeLot(t, f.book.Do(f.book.WeighIn(t.Context(), m, ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "72"}}, Form: ledger.Gating, Dirty: true, Weighing: ledgertest.Net(2000)})))
	b := newBrowser(t, phone)
	b.open(f.url("/weigh-in"))
	b.ready()
	f.stop()
	b.chooses("heat", "72")
	b.chooses("unit", "kg")
	b.types("1.5")
	js[any](b, fmt.Sprintf(`document.getElementById("lot").value = %q; document.getElementById("lot").dispatchEvent(new Event("input", { bubbles: true }))`, dirty.ID))
	b.types("1.9")
	f.book.Do(f.book.Clean(t.Context(), m, ledger.CleanLot{Lot: dirty.ID, Weighing: ledgertest.Net(1950)}))
	f.book.Do(f.book.Settle(t.Context(), ledger.Meta{Reason: "the rest is lost"}, "72"))
	f.start()
	b.until("the heat is explained", `document.querySelector("#list li.booked small")?.textContent.includes("heat 72 was settled")`)
	b.until("the lot is explained", `document.querySelector("#list li.refused small")?.textContent.includes("clean already")`)
	b.says("Type it again")
	b.until("the lot is back", `document.getElementById("lot").value === "`+dirty.ID+`" && document.getElementById("weight").value === "1.9"`)
	if n := js[int](b, weighedHere); n != 2 {
		t.Errorf("%d are shown", n)
	}
	f.book.Verify()
	b.quiet("ERR_", "Failed to load resource")
}
