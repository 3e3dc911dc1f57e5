package web_test

import (
	"fmt"
	"log/slog"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"example.org/remelt/ledger"
	"example.org/remelt/server/signin"
)

// door makes links and codes for a foundry's shop, as its server does.
func (f *foundry) door() *signin.Door {
	return signin.New(f.store, func() time.Time { return f.book.Now }, slog.New(slog.DiscardHandler))
}

// keys types words with the keyboard alone, a Tab between them, and Enter at the end.
func (b *browser) keys(words ...string) {
	b.Helper()
	for i, w := range words {
		if i > 0 {
			b.do(chromedp.KeyEvent(kb.Tab))
		}
		if w != "" {
			b.do(chromedp.KeyEvent(w))
		}
	}
	b.do(chromedp.KeyEvent(kb.Enter))
}

// accessible applies axe-core to the page that is open.
func (b *browser) accessible(page string) {
	b.Helper()
	if axe() == "" {
		skip(b.T, "axe-core is not installed (npm ci in .web): the pages were not checked by it")
	}
	js[any](b, axe()+"; 0")
	for _, v := range js[[]string](b, `axe.run().then((r) => r.violations.filter((v) => v.impact === "serious" || v.impact === "critical").map((v) => v.id + ": " + v.help + " at " + v.nodes[0].html.slice(0, 200)))`) {
		b.Errorf("%s: %s", page, v)
	}
	if wide := js[int](b, `document.documentElement.scrollWidth - document.documentElement.clientWidth`); wide > 0 {
		b.Errorf("%s: %d pixels stand out at the side", page, wide)
	}
}

const pass = "seven bells of bronze"

// On a phone, with nothing but keys: the first person follows the one-time link, sets
// a password, signs out, mistypes, and signs in again; before that the pages say
// loudly that nobody has to.
func TestSignInByKeyboard(t *testing.T) {
	f := newFoundry(t)
	b := newBrowser(t, phone)
	b.open(f.url(""))
	if text := js[string](b, "document.body.innerText"); !strings.Contains(text, "No sign-in") {
		t.Errorf("an open shop does not say so:\n%s", text)
	}
	c, err := f.door().Invite(t.Context(), "harrow", "")
	if err != nil {
		t.Fatal(err)
	}
	b.open("http://" + f.addr + c.Path)
	b.until("the code is in the form and not in the address", fmt.Sprintf(`document.getElementById("code").value === %q && location.hash === ""`, c.Code))
	b.accessible("the code of a link")
	b.keys("")
	b.until("who asks is asked for", `document.activeElement?.id === "display_name"`)
	b.accessible("the first person")
	b.keys("Mo Marsh", "mo", "short", "short")
	js[any](b, `document.querySelector("form.enter").noValidate = true; 0`) // the server says so too
	b.keys("")
	b.until("a short password is refused", `document.getElementById("fault")?.textContent.includes("at least 12 characters")`)
	b.accessible("a refused password")
	b.keys("Mo Marsh", "", pass, pass)
	b.until("in", `location.pathname === "/shops/harrow" && document.body.innerText.includes("Mo Marsh")`)
	b.accessible("signed in")

	b.open("http://" + f.addr + c.Path)
	b.until("the link is in the form", `document.getElementById("code").value !== ""`)
	b.keys("")
	b.until("it works once", `document.getElementById("fault")?.textContent.includes("was used")`)

	b.open(f.url("/heats"))
	js[any](b, `document.querySelector(".who button").focus(); 0`)
	b.keys("")
	b.until("signed out", `location.pathname === "/sign-in" && document.activeElement?.id === "shop"`)
	b.accessible("sign in")
	b.open(f.url("/heats?unit=lb"))
	b.until("asked to sign in to this shop", `document.activeElement?.id === "person" && document.getElementById("shop").value === "harrow"`)
	b.keys("mo", "seven bells of bras")
	b.until("refused, with the field to mend", `document.getElementById("fault") !== null && document.activeElement?.id === "password"`)
	b.accessible("a wrong password")
	b.keys(pass)
	b.until("back where it was going", `location.pathname + location.search === "/shops/harrow/heats?unit=lb"`)
	b.quiet("400", "403")
}

// A phone of the shop floor signs in with a code, may weigh in and no more, and what
// waits on it is not lost when it is signed out.
func TestPairedPhone(t *testing.T) {
	f := newFoundry(t)
	door := f.door()
	c, err := door.Invite(t.Context(), "harrow", "")
	if err == nil {
		_, err = door.Join(t.Context(), "192.0.2.1", "harrow", c.Code, "mo", "Mo Marsh", pass)
	}
	if err != nil {
		t.Fatal(err)
	}
	pair := func() (string, signin.Code) {
		t.Helper()
		e := f.book.Do(f.book.AddToken(t.Context(), ledger.Meta{}, ledger.Token{Person: "mo", Name: "phone 3", Duty: ledger.MayWeighIn, Device: true}))
		code, err := door.Pair(t.Context(), "harrow", e.Records[0].ID)
		if err != nil {
			t.Fatal(err)
		}
		return e.Records[0].ID, code
	}
	b := newBrowser(t, phone)
	token, code := pair()
	b.open(f.url("/pair"))
	b.accessible("pair")
	b.keys(strings.ToLower(strings.ReplaceAll(code.Code, "-", " ")))
	b.until("weighing in", `location.pathname === "/shops/harrow/weigh-in" && document.body.innerText.includes("phone 3")`)
	b.ready()
	b.chooses("heat", "41")
	b.chooses("unit", "kg")
	b.types("2.31")
	b.until("in the book", booked+" === 1")
	b.open(f.url("/settings"))
	b.until("what a phone may not", `document.body.innerText.includes("NOT_ALLOWED")`)
	b.open(f.url("/weigh-in"))
	b.until("the page's script runs", `document.getElementById("chosen").textContent.includes("·")`)

	f.book.Do(f.book.RevokeToken(t.Context(), ledger.Meta{}, token)) // as another server on the same store does
	b.until("the server has noticed", `fetch("/v1/shops/harrow/stock").then((r) => r.status === 401)`)
	b.chooses("heat", "41")
	b.chooses("unit", "kg")
	b.types("3.05")
	b.until("it waits, and says why", `document.getElementById("list").textContent.includes("signed out")`)
	if n := f.count(ledger.KindWeighIn); n != 1 {
		t.Errorf("%d in the book", n)
	}
	b.open(f.url("/weigh-in"))
	b.until("asked to sign in", `location.pathname === "/sign-in"`)
	_, code = pair()
	b.open("http://" + f.addr + code.Path)
	b.until("the code is in the form", fmt.Sprintf(`document.getElementById("code").value === %q`, code.Code))
	b.keys("")
	b.until("what waited is in the book", `location.pathname === "/shops/harrow/weigh-in" && `+booked+` >= 1`)
	for end := time.Now().Add(20 * time.Second); f.count(ledger.KindWeighIn) != 2; time.Sleep(50 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("%d in the book, want 2", f.count(ledger.KindWeighIn))
		}
	}
	if n := f.said(ledger.KindWeighIn, "mo", "phone 3"); n != 2 {
		t.Errorf("%d of them say who and on what device", n)
	}
	b.quiet("401", "403")
}

// said counts the entries of a kind by somebody on a device.
func (f *foundry) said(kind ledger.Kind, who, device string) (n int) {
	f.Helper()
	if err := f.store.View(f.Context(), "harrow", func(r ledger.Reader) error {
		log, err := r.Log(0, 10000)
		for _, s := range log {
			e, err := s.Open()
			if err != nil {
				return err
			}
			if e.Kind == kind && e.Who == who && e.Device == device {
				n++
			}
		}
		return err
	}); err != nil {
		f.Fatal(err)
	}
	return n
}

// Who signs in is sent on to a page of this site and to no other, however browsers read
// the address: they leave tabs and newlines out and take \ for / (WHATWG URL Standard, 4.4).
func TestSignInLeadsToNoOtherSite(t *testing.T) {
	f := newFoundry(t)
	f.with("boss", ledger.MayManage)
	client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	for next, want := range map[string]string{
		"/shops/harrow/lots?of=1": "/shops/harrow/lots?of=1",
		"/\t/evil.example/x":      "/",
		"//evil.example":          "/",
		"/\\evil.example":         "/",
		"/\n/evil.example":        "/",
		"http://evil.example":     "/",
		"":                        "/",
	} {
		r, err := client.PostForm("http://"+f.addr+"/sign-in", url.Values{"shop": {"harrow"}, "person": {"boss"}, "password": {pass}, "next": {next}})
		if err != nil {
			t.Fatal(err)
		}
		_ = r.Body.Close()
		if got := r.Header.Get("Location"); r.StatusCode != http.StatusSeeOther || got != want {
			t.Errorf("%q: HTTP %d to %q, want %q", next, r.StatusCode, got, want)
		}
	}
}
