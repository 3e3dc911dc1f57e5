package web_test

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
)

// The camera and the serial port are not there in a test: stand-ins replay what such
// devices gave. They stand where the browser's own would, so all of the page's part is
// tried, and none of the browser's.

// before runs a script in each page before its own.
func (b *browser) before(script string) {
	b.Helper()
	if _, err := chromedp.Call(b.ctx, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: script}); err != nil {
		b.Fatal(err)
	}
}

// camera shows a picture and finds no code in it twice, then the one given.
func camera(code string) string {
	return fmt.Sprintf(`{
		const canvas = document.createElement("canvas");
		setInterval(() => canvas.getContext("2d").fillRect(0, 0, 9, 9), 50); // a stream of frames
		Object.defineProperty(navigator, "mediaDevices", { value: { getUserMedia: async () => (globalThis.stream = canvas.captureStream(5)) } });
		let seen = 0;
		globalThis.BarcodeDetector = class { async detect() { return ++seen < 3 ? [] : [{ rawValue: %q, format: "qr_code" }]; } };
	}`, code)
}

// scale gives recorded lines, broken off where they were: a weight that moves, one that
// stands, and noise.
func scale(chunks ...string) string {
	return fmt.Sprintf(`Object.defineProperty(navigator, "serial", { value: { requestPort: async () => ({
		open: async (o) => { globalThis.opened = o; },
		readable: new ReadableStream({ async start(c) { for (const s of JSON.parse(%q)) { c.enqueue(new TextEncoder().encode(s)); await 0; } } }),
	}) } });`, jsonOf(chunks))
}

func jsonOf(chunks []string) string {
	quoted := make([]string, len(chunks))
	for i, c := range chunks {
		quoted[i] = fmt.Sprintf("%q", c)
	}
	return "[" + strings.Join(quoted, ",") + "]"
}

// A lot that was weighed in dirty is found by the code on its label, and weighed clean;
// its new label is offered at once.
func TestLabelIsScanned(t *testing.T) {
	f := newFoundry(t)
	m := ledger.Meta{}
	for i, s := range []size{phone, desk} {
		lot := ledgertest.MadeLot(t, f.book.Do(f.book.WeighIn(t.Context(), m, ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "41"}}, Form: ledger.Gating, Dirty: true, Weighing: ledgertest.Net(2000)})))
		b := newBrowser(t, s)
		b.before(camera(lot.ID))
		b.open(f.url("/weigh-in"))
		b.until("the page's script runs", `document.getElementById("chosen").textContent.includes("·")`)
		b.presses("#scan")
		b.until("the lot is known", fmt.Sprintf(`document.getElementById("of-lot").textContent.startsWith("This is the clean weight of lot %s: C87300 gating")`, lot.ID))
		if !js[bool](b, `document.getElementById("camera").hidden && stream.getTracks().every((x) => x.readyState === "ended")`) {
			t.Error("the camera is still on")
		}
		if i == 1 {
			f.book.Do(f.book.Clean(t.Context(), m, ledger.CleanLot{Lot: lot.ID, Weighing: ledgertest.Net(1950)}))
		}
		b.chooses("unit", "kg")
		b.types("1.9")
		if i == 0 {
			b.until("it is in the book", booked+" === 1")
			if code, pdf := f.get(js[string](b, `document.querySelector("#list a").href`)); code != 200 || !strings.HasPrefix(pdf, "%PDF-") {
				t.Errorf("its label: HTTP %d", code)
			}
			if held := f.book.Held(ledger.Acct(ledger.OfLot, lot.ID)); held != 1900*ledger.Gram {
				t.Errorf("the lot holds %d mg", held)
			}
		} else { // somebody cleaned it meanwhile: it is explained, and nothing is lost
			b.until("it is refused in words", `document.querySelector("#list li.refused small")?.textContent.includes("`+lot.ID+`")`)
		}
		if n := f.count(ledger.KindClean); n != 1+i {
			t.Errorf("%d cleanings", n)
		}
		b.quiet("40")
	}
}

// A browser without a detector says so, and the label is typed.
func TestBrowserThatCannotScan(t *testing.T) {
	f := newFoundry(t)
	b := newBrowser(t, phone)
	b.before(`delete globalThis.BarcodeDetector; Object.defineProperty(navigator, "serial", { value: undefined }); delete Navigator.prototype.serial; delete navigator.serial`)
	b.open(f.url("/weigh-in"))
	b.until("the page's script runs", `document.getElementById("chosen").textContent.includes("·")`)
	if !js[bool](b, `document.getElementById("scan").hidden && document.getElementById("camera-says").textContent.includes("cannot read a label")`) {
		t.Error("it does not say that it cannot scan")
	}
	b.chooses("lot", f.lots[0])
	js[any](b, `document.getElementById("lot").dispatchEvent(new Event("input", { bubbles: true }))`)
	b.until("the lot is taken", `document.getElementById("chosen").textContent === "clean weight · lot `+f.lots[0]+`"`)
	b.quiet()
}

// A scale types its weight once it stands still, by a pattern that is kept.
func TestScaleTypesItsWeight(t *testing.T) {
	f := newFoundry(t)
	b := newBrowser(t, desk)
	b.before(scale("moves   12.1 kg\r\nmo", "ves 12.6 kg\r\nstands  12.34 kg\r\nst", "ands 12.34 kg\r\n", "zzz\r\n"))
	b.open(f.url("/weigh-in"))
	b.until("the page's script runs", `document.getElementById("chosen").textContent.includes("·")`)
	js[any](b, `document.getElementById("line-pattern").value = "stands {weight} {unit}"; document.getElementById("line-pattern").dispatchEvent(new Event("change", { bubbles: true }))`)
	b.presses("#read-scale")
	b.until("the weight is in the field", `document.getElementById("weight").value === "12.34" && document.getElementById("unit").value === "kg" && opened.baudRate === 9600`)
	b.open(f.url("/weigh-in"))
	b.until("the pattern is kept", `document.getElementById("line-pattern").value === "stands {weight} {unit}"`)
	js[any](b, `document.getElementById("line-pattern").value = "stands"`)
	b.presses("#read-scale")
	b.until("a pattern without a weight is explained", `document.getElementById("serial-says").textContent.includes("write {weight} there")`)
	b.quiet()
}

// Patterns read the lines they should, and no others; the command line is held
// against the same table by TestPatterns in ledger/readout.
func TestLinePatterns(t *testing.T) {
	f := newFoundry(t)
	b := newBrowser(t, desk)
	b.open(f.url("/weigh-in"))
	raw, err := os.ReadFile(filepath.Join("..", "..", "testdata", "scales", "lines.json"))
	if err != nil {
		t.Fatal(err)
	}
	var table []struct{ Pattern, Line, Reads string }
	if err := json.Unmarshal(raw, &table); err != nil || len(table) < 10 {
		t.Fatalf("%d lines: %v", len(table), err)
	}
	for _, x := range table {
		got := js[string](b, fmt.Sprintf(`import("/static/serial.js").then((m) => { const r = m.reader(%q)(%q); return r ? (r.weight + " " + r.unit).trim() : ""; })`, x.Pattern, x.Line))
		if got != x.Reads {
			t.Errorf("%q of %q is %q, not %q", x.Pattern, x.Line, got, x.Reads)
		}
	}
}

// A scale that another machine reads shows its weight in the field of the page that has
// it chosen, once each; a scale that is not set up is not asked for.
func TestScaleOfAnotherMachine(t *testing.T) {
	f := newFoundry(t)
	f.book.Do(f.book.SetScale(t.Context(), ledger.Meta{}, ledger.Scale{ID: "floor", Name: "floor scale", Division: ledger.Quantity{Typed: "10 g"}, Line: "ST,*{weight}{unit}"}))
	shows := func(text string) string {
		t.Helper()
		resp, err := http.Post(strings.TrimSuffix(f.url(""), "/shops/harrow")+"/v1/shops/harrow/scales/floor:showReading", "application/json",
			strings.NewReader(fmt.Sprintf(`{"weight": {"text": %q}, "device": "office"}`, text)))
		if err != nil {
			t.Fatal(err)
		}
		defer resp.Body.Close()
		body, err := io.ReadAll(resp.Body)
		if err != nil || resp.StatusCode != 200 {
			t.Fatalf("HTTP %d, %v: %s", resp.StatusCode, err, body)
		}
		return string(body)
	}
	for _, s := range []size{phone, desk} {
		b := newBrowser(t, s)
		b.open(f.url("/weigh-in"))
		b.until("the page's script runs", `document.getElementById("chosen").textContent.includes("·")`)
		b.chooses("scale", "floor")
		for range 400 {
			if strings.Contains(strings.ReplaceAll(shows("0.00 kg"), " ", ""), `"watchers":1`) {
				break
			}
			time.Sleep(25 * time.Millisecond)
		}
		shows("12.34 kg")
		b.until("the weight is in the field", `document.getElementById("weight").value === "12.34" && document.getElementById("unit").value === "kg"`)
		b.until("it says whose it is", `document.getElementById("shown").textContent === "floor scale: 12.34 kg, read on office"`)
		js[any](b, `document.getElementById("weight").value = ""`) // taken down
		shows("12.34 kg")
		shows("0.00 kg")
		b.until("the empty scale is shown", `document.getElementById("shown").textContent.includes("0.00 kg")`)
		if got := js[string](b, `document.getElementById("weight").value`); got != "" {
			t.Errorf("the same weight is in the field again: %q", got)
		}
		shows("7.10 lb")
		b.until("the next is", `document.getElementById("weight").value === "7.10" && document.getElementById("unit").value === "lb"`)
		b.chooses("scale", "")
		b.until("nobody watches it any more", `document.getElementById("shown").textContent === ""`)
		b.quiet()
	}
}
