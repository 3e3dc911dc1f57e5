package web_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"example.org/remelt/ledger"
)

// Two people change one crucible: the second is told, sees what the first typed beside
// what was typed here, and nothing is written over unseen.
func TestTwoChangeOneThing(t *testing.T) {
	f := newFoundry(t)
	pot := func() ledger.Pot {
		got, err := ledger.Get[ledger.Pot](t.Context(), f.book.Book, ledger.RecPot, "A60")
		if err != nil {
			t.Fatal(err)
		}
		return got.Value
	}
	const form = `form[data-path="/v1/shops/harrow/pots/A60"]`
	first, second := newBrowser(t, phone), newBrowser(t, desk)
	for _, b := range []*browser{first, second} {
		b.open(f.url("/settings/crucibles"))
	}
	first.fills(form, "pot.displayName", "the old sixty", "pot.capacity.text", "60 kg")
	first.presses(form + " .go")
	first.until("it is saved", `document.querySelector('`+form+` .told').textContent === "Saved."`)
	second.fills(form, "pot.displayName", "number sixty")
	second.presses(form + " .go")
	second.until("it says that somebody else changed it", `document.querySelector('`+form+` .told').textContent.startsWith("Somebody else")`)
	if p := pot(); p.Name != "the old sixty" {
		t.Errorf("it is called %q", p.Name)
	}
	if said := js[string](second, `[...document.querySelectorAll('`+form+` .theirs')].map((x) => x.textContent).join("; ")`); !strings.Contains(said, "the old sixty") || !strings.Contains(said, "60000 g") {
		t.Errorf("beside the fields stands %q", said)
	}
	second.presses(form + " .go")
	second.until("saved again", `document.querySelector('`+form+` .told').textContent === "Saved."`)
	if p := pot(); p.Name != "number sixty" || p.Capacity != 60_000*ledger.Gram {
		t.Errorf("%q of %d mg", p.Name, p.Capacity)
	}
	first.quiet()
	second.quiet("409")
}

// Only what was changed is sent: a weight shown in another unit is not rounded by the way.
func TestSettingsChangeOnlyWhatWasTyped(t *testing.T) {
	f := newFoundry(t)
	f.book.Do(f.book.SetTare(t.Context(), ledger.Meta{}, ledger.Tare{ID: "bin", Name: "bin", Mass: ledger.Quantity{Mass: 1_234_567}}))
	b := newBrowser(t, desk)
	b.open(f.url("/settings/places?unit=lb"))
	const form = `form[data-path="/v1/shops/harrow/tares/bin"]`
	b.fills(form, "tare.displayName", "blue bin")
	b.presses(form + " .go")
	b.until("saved", `document.querySelector('`+form+` .told').textContent === "Saved."`)
	got, err := ledger.Get[ledger.Tare](t.Context(), f.book.Book, ledger.RecTare, "bin")
	if err != nil || got.Value.Name != "blue bin" || got.Value.Mass.Mass != 1_234_567 {
		t.Errorf("%+v, %v", got.Value, err)
	}
	b.fills(form, "tare.mass.text", "three")
	b.presses(form + " .go")
	b.until("what is wrong is marked", `document.querySelector('`+form+` [aria-invalid]')?.name === "tare.mass.text"`)
	b.quiet("400")
}

// Names as nobody should write them: a very long one is refused in words and kept in the
// field, an emoji and markup are names like others, and a name that is taken is not
// written over.
func TestStrangeNames(t *testing.T) {
	f := newFoundry(t)
	before := f.count(ledger.KindSetUp)
	b := newBrowser(t, phone)
	b.open(f.url("/settings/places"))
	const form = `form[data-path="/v1/shops/harrow/places"]`
	long := strings.Repeat("long", 1250)
	b.fills(form, "id", "shelf", "place.displayName", long)
	b.presses(form + " .go")
	b.until("it is refused in words", `document.querySelector('`+form+` .told').textContent.includes("place.display_name")`)
	b.open(f.url("/settings/places"))
	b.until("nothing typed is lost", `document.querySelector('`+form+` [name="place.displayName"]').value.length === 5000`)
	evil := `<script>document.title="owned"</script> 🔥`
	b.fills(form, "place.displayName", evil)
	b.presses(form + " .go")
	b.until("it is there", `document.getElementById("main").innerText.includes("🔥") && document.title !== "owned"`)
	b.fills(form, "id", "rack", "place.displayName", "another rack")
	b.presses(form + " .go")
	b.until("it says that the name is taken", `document.querySelector('`+form+` .told').textContent.includes("already")`)
	got, err := ledger.Get[ledger.Place](t.Context(), f.book.Book, ledger.RecPlace, "shelf")
	if err != nil || got.Value.Name != evil {
		t.Errorf("%+v, %v", got.Value, err)
	}
	if n := f.count(ledger.KindSetUp); n != before+1 {
		t.Errorf("%d things set up, %d before", n, before)
	}
	b.quiet("400")
}

// The keyboard alone finds a setting by its question and changes it.
func TestSettingsByKeyboard(t *testing.T) {
	f := newFoundry(t)
	b := newBrowser(t, phone)
	b.open(f.url("/settings"))
	b.tabTo("the question of the crucibles", `document.activeElement.tagName === "A" && document.activeElement.textContent.includes("Which crucible for what")`)
	b.do(chromedp.KeyEvent(kb.Enter))
	b.until("its page is open", `location.pathname.endsWith("/settings/crucibles") && document.querySelector("form.changes .go")?.disabled === false`)
	b.tabTo("a crucible", `document.activeElement.tagName === "SUMMARY"`)
	b.do(chromedp.KeyEvent(kb.Enter))
	b.tabTo("how long it lasts", `document.activeElement.name === "pot.lifeHeats"`)
	b.do(chromedp.KeyEvent("80"), chromedp.KeyEvent(kb.Enter))
	b.until("it is saved", `document.activeElement.form?.querySelector(".told").textContent === "Saved."`)
	got, err := ledger.List[ledger.Pot](t.Context(), f.book.Book, ledger.RecPot, "", "", 10)
	if err != nil || !slices.ContainsFunc(got, func(p ledger.Stamped[ledger.Pot]) bool { return p.Value.LifeHeats == 80 }) {
		t.Errorf("%+v, %v", got, err)
	}
	b.quiet()
}

// What work and metal cost is set from the beginning of a day where the shop is; those
// the shop deals with, its supplies and its own alloys are put in the book and changed.
func TestSettingsOfTheOffice(t *testing.T) {
	f := newFoundry(t)
	b := newBrowser(t, desk)
	saved := func(page, form string, fields ...string) {
		t.Helper()
		b.open(f.url(page))
		js[any](b, `window.before = true`)
		b.fills(form, fields...)
		b.presses(form + " .go")
		b.until(page+" is saved", `!window.before || document.querySelector('`+form+` .told')?.textContent === "Saved."`)
	}
	b.open(f.url("/settings/shop"))
	saved("/settings/shop", "form.changes", "shop.timeZone", "Europe/Berlin")
	saved("/settings/rates", "form.sets", "rateCard.fromTime", "2026-01-15", "rateCard.work.0.kind", "molding", "rateCard.work.0.hourPrice", "36", "rateCard.overheadPercent", "60", "rateCard.moldPrice", "12..14..20")
	saved("/settings/rates", "form.sets", "rateCard.fromTime", "2026-07-01", "rateCard.work.1.kind", "chasing", "rateCard.work.1.hourPrice", "42 USD")
	rates, err := ledger.List[ledger.Rates](t.Context(), f.book.Book, ledger.RecRates, "", "", 10)
	if err != nil || len(rates) != 2 || len(rates[1].Value.Work) != 2 || rates[1].Value.Work[0].Minor != 3600 || rates[1].Value.Overhead != 600_000 {
		t.Fatalf("%+v, %v", rates, err)
	}
	// Berlin is an hour before UTC in winter and two in summer.
	if winter, summer := rates[0].Value.From.UTC().Format("01-02 15:04"), rates[1].Value.From.UTC().Format("01-02 15:04"); winter != "01-14 23:00" || summer != "06-30 22:00" {
		t.Errorf("they hold from %s and %s", winter, summer)
	}
	if _, page := f.get(f.url("/settings/rates")); !strings.Contains(page, "Molding 36 USD an hour, 60 % of labour for overhead, a mold 12..14..20 USD.") || !strings.Contains(page, "from 1 Jul 2026") {
		t.Errorf("the page says:\n%s", page)
	}
	saved("/settings/costing", "form.sets", "costing.fromTime", "2026-03-10", "costing.method", "METHOD_FIRST_IN", "costing.normalLosses.0.alloy", "C87300", "costing.normalLosses.0.percent", "learned",
		"costing.wear.0.pot", "A60", "costing.wear.0.price", "4.20")
	costings, err := ledger.List[ledger.Costing](t.Context(), f.book.Book, ledger.RecCosting, "", "", 10)
	if err != nil || len(costings) != 1 || costings[0].Value.Method != "first-in" || !costings[0].Value.Normal[0].Learned || costings[0].Value.Wear[0].Minor != 420 {
		t.Fatalf("%+v, %v", costings, err)
	}

	const supplier = `form.adds[aria-label^="They sell"]`
	saved("/settings/partners", supplier, "id", "eastmetal", "party.displayName", "East Metal")
	b.open(f.url("/settings/partners"))
	const east = `form[data-path="/v1/shops/harrow/parties/eastmetal"]`
	js[any](b, `document.querySelector('`+east+` [value=ROLE_CUSTOMER]').click()`)
	b.presses(east + " .go")
	b.until("saved", `document.querySelector('`+east+` .told').textContent === "Saved."`)
	if got, err := ledger.Get[ledger.Party](t.Context(), f.book.Book, ledger.RecParty, "eastmetal"); err != nil || len(got.Value.Roles) != 2 {
		t.Errorf("%+v, %v", got.Value, err)
	}

	saved("/supplies", `form.adds`, "id", "rod", "supply.displayName", "rod of silicon bronze", "supply.purpose", "welding rod", "supply.orderBelow.text", "500 g")
	const rod = `#supply-rod form[data-path$=":`
	saved("/supplies", rod+`receive"]`, "amount.text", "2 kg", "price", "31")
	saved("/supplies", rod+`use"]`, "amount.text", "1.4 kg", "for", "the otters")
	saved("/supplies", rod+`count"]`, "amount.text", "450 g")
	if left := f.book.Held(ledger.Acct(ledger.InSupply, "rod")); left != 450*ledger.Gram {
		t.Errorf("%d mg of rod", left)
	}
	if _, page := f.get(f.url("/supplies")); !strings.Contains(page, "To be ordered: rod of silicon bronze.") {
		t.Errorf("the page says:\n%s", page)
	}

	saved("/settings/alloys", `form.adds`, "id", "harrow-red", "alloy.own.names.0", "our red", "alloy.own.family", "red brass", "alloy.own.pourFrom.text", "1150",
		"alloy.own.limits.0.element", "Zn", "alloy.own.limits.0.maxPercent", "6", "alloy.own.limits.1.element", "Cu", "alloy.own.source", "our own melts")
	js[any](b, `document.querySelector('form[data-path$="/alloys/harrow-red"] [name="alloy.own.limits.1.remainder"]').click()`)
	b.presses(`form[data-path$="/alloys/harrow-red"] .go`)
	b.until("saved", `document.querySelector('form[data-path$="/alloys/harrow-red"] .told').textContent === "Saved."`)
	if got, err := ledger.Get[ledger.Alloy](t.Context(), f.book.Book, ledger.RecAlloy, "harrow-red"); err != nil || len(got.Value.Limits) != 2 || !got.Value.Limits[1].Rest || len(got.Value.Names) != 1 {
		t.Errorf("%+v, %v", got.Value, err)
	}
	f.book.Verify()
	b.quiet()
}

// A crucible is kept for one of the families there are; what an old book says stays to be
// seen.
func TestFamilyOfACrucibleIsChosen(t *testing.T) {
	f := newFoundry(t)
	metals := f.book.Metals
	f.book.Metals = nil // as a program that did not look families up
	f.book.Do(f.book.SetPot(t.Context(), ledger.Meta{}, ledger.Pot{ID: "odd", Kind: ledger.PotCrucible, Name: "odd one", Family: "old bronze"}))
	f.book.Metals = metals
	_, page := f.get(f.url("/settings/crucibles"))
	for _, want := range []string{`<option value="silicon bronze" selected>silicon bronze</option>`, `<option value="leaded tin bronze">leaded tin bronze</option>`, `<option value="old bronze" selected>old bronze</option>`} {
		if !strings.Contains(page, want) {
			t.Errorf("no %s among the choices", want)
		}
	}
	if strings.Contains(page, `<option value="unknown"`) {
		t.Error("a crucible can be kept for metal that nobody knows")
	}
}
