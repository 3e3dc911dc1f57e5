package web_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"example.org/remelt/ledger"
)

// what nobody should type, and somebody does.
var strange = []string{
	"🔥🦦",
	`<script>alert(1)</script>"><img src=x onerror=alert(1)>`,
	strings.Repeat("long ", 1000),
	"\u202eשלום \u2067عليكم\u2069 \u200f",
}

// tried is what became of a form that was sent.
type tried struct {
	Gone  bool   // the page went on to another, or began anew
	Told  string // what the form says
	Bad   bool
	At    []string // fields that are marked
	Asked int      // fields that something was typed in
	Typed []string // what stands in those where something was typed
}

// typeAll puts one text into every field of a form that takes text, picks something
// where something must be picked, and presses the button. It marks the page, so that it
// can be seen whether it is still the same.
const typeAll = `(async (n, text, but) => {
	const form = document.querySelectorAll("form.asks, form.enter")[n];
	for (let d = form.closest("details"); d; d = d.parentElement.closest("details")) d.open = true;
	for (const d of form.querySelectorAll("details")) d.open = true;
	window.same = true;
	window.sent = form; // what it did may have taken it from the page, and moved the others up
	window.asked = 0;
	for (const f of form.querySelectorAll("input[name], textarea, select")) {
		if (f.matches("select[required]") && !f.value) f.value = [...f.options].find((o) => o.value)?.value ?? "";
		if (f.matches("select, [type=hidden], [type=checkbox], [type=radio], [type=date], [type=datetime-local], [type=password]") || f.closest("[hidden]") || f.readOnly) continue;
		f.value = but.includes(f.name) ? f.defaultValue : text;
		window.asked++;
		if (f.required && !f.value) f.value = "x";
		for (const e of ["input", "change"]) f.dispatchEvent(new Event(e, { bubbles: true }));
	}
	form.noValidate = true; // what the browser would refuse, the page and the server refuse too
	for (let i = 0; i < 3000 && form.querySelector("button:not([type=button])")?.disabled; i++) await new Promise((r) => setTimeout(r, 20));
	for (const told of form.querySelectorAll(".told")) told.hidden = true; // of the time before
	form.querySelector("button:not([type=button])").click();
})`

// whatBecame tells what a form says after it was sent, or that it is gone.
const whatBecame = `(() => {
	if (!window.same) return { Gone: true };
	const form = window.sent, told = form.querySelector(".told"), busy = [...form.querySelectorAll("button:not([type=button])")].some((b) => b.disabled);
	if (busy || !told || told.hidden && !form.querySelector(".shown-once") && document.getElementById("preview")?.hidden !== false) return {};
	return { Told: told.textContent || "shown", Bad: told.classList.contains("bad"), Asked: window.asked, At: [...form.querySelectorAll("[aria-invalid]")].map((f) => f.name),
		Typed: [...form.querySelectorAll("input[name]")].filter((f) => !f.matches("[type=hidden], [type=checkbox], [type=radio], [type=date], [type=datetime-local]")).map((f) => f.value) };
})`

// tries fills in a form of the page that is open, and says what became of it.
func (b *browser) tries(n int, text string, but []string) (was tried) {
	b.Helper()
	quoted := make([]string, len(but))
	for i, name := range but {
		quoted[i] = fmt.Sprintf("%q", name)
	}
	js[any](b, fmt.Sprintf("%s(%d, %q, [%s])", typeAll, n, text, strings.Join(quoted, ", ")))
	for end := time.Now().Add(60 * time.Second); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		var err error
		if was, err = chromedp.Run(b.ctx, chromedp.Evaluate[tried](whatBecame+"()")); err == nil && (was.Gone || was.Told != "") {
			return was
		}
	}
	b.Fatalf("form %d of %s answers nothing to %.40q: %s", n, js[string](b, `location.pathname`), text, js[string](b, `window.sent.outerHTML.slice(0, 2000)`))
	return was
}

// Every form of every page with what nobody should type in every field of it: it is
// taken as text, or refused in words at the field, and what was typed still stands there.
// Nothing of it runs, now or where it is shown later.
func TestStrangeTextInEveryForm(t *testing.T) {
	f := newFoundry(t)
	f.furnish("for the mill pond")
	f.orders("by telephone")
	f.planned("42")
	f.book.Do(f.book.OpenHeat(t.Context(), ledger.Meta{}, "42"))
	b := newBrowser(t, desk)
	forms, refused, taken := 0, 0, 0
	all := append([]string{"/pair", "/join"}, pages...)
	for _, page := range append(all, "/lots/"+f.lots[0], "/heats/42", "/plan-a-heat") {
		b.open(f.url(page))
		count := js[int](b, `document.querySelectorAll("form.asks, form.enter").length`)
		forms += count
		for n := range count {
			name := fmt.Sprintf("%s, form %d", page, n+1)
			for _, text := range strange {
				if n >= js[int](b, `document.querySelectorAll("form.asks, form.enter").length`) {
					break // it was taken, and there is nothing more to do
				}
				var mended []string
				for range 4 { // the fields that are refused are mended one after another
					was := b.tries(n, text, mended)
					if !was.Bad {
						taken++
						b.open(f.url(page))
						break
					}
					refused++
					if len(was.Told) > 1000 || !strings.Contains(was.Told, " ") {
						t.Errorf("%s says to %.20q: %.1200s", name, text, was.Told)
					}
					if len(was.At) == 0 && (strings.HasSuffix(was.Told, "USED_SINCE") || strings.HasSuffix(was.Told, "NOT_REVERSIBLE")) {
						break // it is the entry that is not taken back, whatever the reason
					}
					if len(was.At) == 0 {
						t.Errorf("%s marks no field for %.20q: %.300s", name, text, was.Told)
						break
					}
					if len(mended) == 0 && was.Asked > 0 && !strings.Contains(strings.Join(was.Typed, "\x00"), strings.TrimSpace(text)) {
						t.Errorf("%s has lost what was typed: %.20q", name, text)
					}
					if slices.Contains(mended, was.At[0]) {
						break // what it begins with is refused too
					}
					mended = append(mended, was.At...)
				}
			}
		}
		js[any](b, `localStorage.clear()`)
	}
	if forms < 30 || refused < 200 || taken < 20 {
		t.Errorf("%d forms; %d times refused, %d taken", forms, refused, taken)
	}
	for _, page := range pages {
		b.open(f.url(page))
	}
	b.quiet("400", "403", "404", "409", "429")
	f.book.Verify()
}
