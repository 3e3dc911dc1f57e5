package web_test

import (
	"fmt"
	"net/http"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"example.org/remelt/ledger"
)

// owned makes the first person of the shop and signs a browser in as them.
func (f *foundry) owned(b *browser) {
	f.Helper()
	c, err := f.door().Invite(f.Context(), "harrow", "")
	if err == nil {
		_, err = f.door().Join(f.Context(), "192.0.2.1", "harrow", c.Code, "mo", "Mo Marsh", pass)
	}
	if err != nil {
		f.Fatal(err)
	}
	b.signsIn(f, "mo")
}

// with adds somebody with a password.
func (f *foundry) with(id string, may ledger.Duty) {
	f.Helper()
	f.book.Do(f.book.SetPerson(f.Context(), ledger.Meta{}, ledger.Person{ID: id, Name: strings.ToUpper(id), Duty: may}))
	c, err := f.door().Invite(f.Context(), "harrow", id)
	if err == nil {
		_, err = f.door().Join(f.Context(), "192.0.2.1", "harrow", c.Code, "", "", pass)
	}
	if err != nil {
		f.Fatal(err)
	}
}

func (b *browser) signsIn(f *foundry, who string) {
	b.Helper()
	b.open("http://" + f.addr + "/sign-in?shop=harrow")
	b.until("asked who", `document.activeElement?.id === "person"`)
	b.keys(who, pass)
	b.until("in", `document.querySelector(".who") !== null`)
}

// personOf is somebody as the book has them.
func (f *foundry) personOf(id string) ledger.Person {
	f.Helper()
	got, err := ledger.Get[ledger.Person](f.Context(), f.book.Book, ledger.RecPerson, id)
	if err != nil {
		f.Fatal(err)
	}
	return got.Value
}

// With the keyboard alone: whoever is first in an open shop makes everybody sign in,
// lets somebody in by a link that is shown once, and sees what they may do.
func TestPeopleByKeyboard(t *testing.T) {
	f := newFoundry(t)
	b := newBrowser(t, phone)
	b.open(f.url("/people"))
	b.until("the form is ready", `document.querySelector("#new-person .go")?.disabled === false`)
	if text := js[string](b, "document.body.innerText"); !strings.Contains(text, "Nobody has to sign in") {
		t.Errorf("an open shop's page says:\n%s", text)
	}
	b.tabTo("the name", `document.activeElement.name === "person.displayName"`)
	b.keys("Mo Marsh", "mo")
	b.until("the link has the keyboard", `document.activeElement.classList.contains("shown-once")`)
	b.accessible("a link that is shown once")
	if !js[bool](b, `document.querySelector(".shown-once svg.code") !== null`) {
		t.Error("no QR code of the link")
	}
	link := js[string](b, `document.querySelector(".once-text").textContent`)
	b.open(f.url("/people"))
	if strings.Contains(js[string](b, "document.documentElement.outerHTML"), link[strings.Index(link, "#")+1:]) {
		t.Error("the link is shown again")
	}
	b.open(link)
	b.until("the code is in the form", `document.getElementById("code")?.value.length > 10`)
	b.keys("")
	b.until("a password is asked for", `document.activeElement?.id !== "code" && document.getElementById("password") !== null`)
	b.tabTo("the password", `document.activeElement.id === "password"`)
	b.keys(pass, pass)
	b.until("in", `document.querySelector(".who") !== null`)
	if p := f.personOf("mo"); !p.Manages() || p.Name != "Mo Marsh" {
		t.Errorf("the first is %+v", p)
	}

	b.open(f.url("/people"))
	b.until("the form is ready", `document.querySelector("#new-person .go")?.disabled === false`)
	b.tabTo("the name of the next", `document.activeElement.name === "person.displayName" && document.activeElement.form?.getAttribute("id") === "new-person"`)
	b.keys("Jo Marsh", "jo")
	b.until("the link is there", `document.querySelector("#new-person .shown-once") !== null`)
	b.tabTo("that it is passed on", `document.activeElement.textContent === "It is passed on"`)
	b.do(chromedp.KeyEvent(kb.Enter))
	b.until("they are on the page", `document.getElementById("person-jo")?.textContent.includes("may weigh in, has no password yet")`)
	b.tabTo("them", `document.activeElement.tagName === "SUMMARY" && document.activeElement.parentElement.id === "person-jo"`)
	b.do(chromedp.KeyEvent(kb.Enter))
	b.accessible("people")
	b.quiet()
}

// What signs in for somebody is shown once, works, is listed and ended; a duty is
// lowered, somebody is shut out and let in again; the last who manages stays.
func TestPeopleOnThePage(t *testing.T) {
	f := newFoundry(t)
	b := newBrowser(t, desk)
	f.owned(b)
	f.with("jo", ledger.MayRun)
	b.open(f.url("/people#person-jo"))
	form := func(of string) string { return fmt.Sprintf(`#person-jo form[data-path$=%q]`, of) }
	b.fills(form("/tokens"), "token.displayName", `stock sheet <script>document.title="owned"</script> 🔥`)
	b.presses(form("/tokens") + " .go")
	b.until("its secret is shown", `document.querySelector("#person-jo .once-text")?.textContent.startsWith("remelt~harrow~token-")`)
	as := func(secret, method, path, body string) int {
		t.Helper()
		r, err := http.NewRequestWithContext(t.Context(), method, "http://"+f.addr+path, strings.NewReader(body))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Authorization", "Bearer "+secret)
		resp, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		_ = resp.Body.Close()
		return resp.StatusCode
	}
	secret := js[string](b, `document.querySelector("#person-jo .once-text").textContent`)
	if read, write := as(secret, "GET", "/v1/shops/harrow/stock", ""), as(secret, "POST", "/v1/shops/harrow/lots:weighIn", "{}"); read != 200 || write != 403 {
		t.Errorf("with the token: reads %d, writes %d", read, write)
	}
	b.presses(`#person-jo .shown-once button:last-of-type`)
	b.until("it is listed, and who it is for is still open", `document.getElementById("person-jo")?.open && document.querySelector('#person-jo form[data-path$=":revoke"]') !== null`)
	b.fills(form(":revoke"), "reason", "no longer used")
	b.presses(form(":revoke") + " .go")
	b.until("it is ended", `document.querySelector('#person-jo form[data-path$=":revoke"]') === null && document.getElementById("person-jo")?.textContent.includes("program, may read, ended")`)
	if read := as(secret, "GET", "/v1/shops/harrow/stock", ""); read != 401 {
		t.Errorf("with the ended token: %d", read)
	}
	b.fills(form(":pair"), "displayName", "phone 3")
	b.presses(form(":pair") + " .go")
	b.until("a code to type is shown, and to scan", `/^[A-Z0-9]{4}-[A-Z0-9]{4}$/.test(document.querySelector("#person-jo .shown-once .sum")?.textContent) && document.querySelector("#person-jo svg.code") !== null`)

	b.open(f.url("/people#person-jo"))
	b.until("open", `document.getElementById("person-jo").open`)
	b.fills("#person-jo form.changes", "person.duty", "DUTY_READ")
	b.presses("#person-jo form.changes .go")
	b.until("they may do less", `document.getElementById("person-jo").textContent.includes("may read, password")`)
	js[any](b, `document.querySelector('#person-jo [name="person.disabled"]').click()`)
	b.presses("#person-jo form.changes .go")
	b.until("they are shut out", `document.getElementById("person-jo").textContent.includes("may not sign in any more") && document.querySelector('#person-jo form[data-path$=":invite"]') === null`)
	if p := f.personOf("jo"); p.Duty != ledger.MayRead || !p.Disabled {
		t.Errorf("%+v", p)
	}
	js[any](b, `document.querySelector('#person-jo [name="person.disabled"]').click()`)
	b.presses("#person-jo form.changes .go")
	b.until("they are let in again", `document.querySelector('#person-jo form[data-path$=":invite"]') !== null`)
	b.fills("#person-mo form.changes", "person.duty", "DUTY_READ")
	b.presses("#person-mo form.changes .go")
	b.until("the last who manages stays", `document.querySelector("#person-mo form.changes .told").textContent.includes("nobody else can manage")`)
	if js[string](b, "document.title") == "owned" || !f.personOf("mo").Manages() {
		t.Error("a name ran, or nobody manages the shop")
	}
	b.quiet("400")
}

// Somebody sees where they are signed in, and ends it here or everywhere. What their
// duty does not allow is not offered.
func TestYourSignIns(t *testing.T) {
	f := newFoundry(t)
	f.furnish("for the mill pond")
	f.orders("by telephone")
	b := newBrowser(t, phone)
	f.owned(b)
	f.with("rae", ledger.MayRead)
	other := newBrowser(t, desk)
	b.signsIn(f, "rae")
	other.signsIn(f, "rae")
	other.open(f.url("/you"))
	other.accessible("you")
	if n := js[int](other, `[...document.querySelectorAll(".history li")].length`); n != 3 { // one from setting the password
		t.Errorf("%d sign-ins", n)
	}
	for _, page := range pages {
		other.open(f.url(page))
		if shown := js[[]string](other, `[...document.querySelectorAll('main form:not([action^="/sign-out"]) button.go, main .take-back, a[href$="/settings"], a[href$="/people"], a[href$="/weigh-in"], a[href*="/stocktake"]:not([href*="/paper/"])')].map((x) => x.textContent)`); len(shown) > 0 && page != "/weigh-in" {
			t.Errorf("%s offers somebody who reads: %q", page, shown)
		}
	}
	other.open(f.url("/you"))
	other.presses(`form[action="/sign-out-everywhere"] button`)
	other.until("signed out here", `location.pathname === "/sign-in"`)
	b.open(f.url("/you"))
	b.until("and elsewhere", `location.pathname === "/sign-in"`)
	b.quiet()
	other.quiet("403", "404")
}
