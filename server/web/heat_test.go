package web_test

import (
	"cmp"
	"fmt"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
)

// planned is a heat to be melted, with two molds.
func (f *foundry) planned(id string) {
	f.Helper()
	f.book.Do(f.book.SetSupply(f.Context(), ledger.Meta{}, ledger.Supply{ID: "pocu", Name: "phosphor copper", Purpose: "deoxidiser"}))
	f.book.Do(f.book.ReceiveSupply(f.Context(), ledger.Meta{}, ledger.SupplyMove{Supply: "pocu", Amount: ledgertest.Grams(2000)}))
	f.book.Do(f.book.PlanHeat(f.Context(), ledger.Meta{}, ledger.PlanHeat{ID: id, Alloy: "C87300", Crucible: "A60", Molds: []ledger.MoldPlan{
		{Name: "heron", Metal: ledgertest.Grams(1500), Gating: ledgertest.Grams(600)}, {Name: "otter", Metal: ledgertest.Grams(900), Gating: ledgertest.Grams(400)}}}))
}

const inTheBook = `.textContent.startsWith("In the book as entry")`

// writes writes a deed down: by the keyboard alone, or by filling in its form.
func (b *browser) writes(byKeys bool, id string, fields ...string) {
	b.Helper()
	form := "#do-" + id
	b.until(id+" can be written", fmt.Sprintf(`document.querySelector("%s button.go")?.disabled === false`, form))
	if byKeys {
		b.tabTo(id, fmt.Sprintf(`document.activeElement === document.querySelector("#deed-%s > summary")`, id))
		if !js[bool](b, fmt.Sprintf(`document.getElementById("deed-%s").open`, id)) {
			b.do(chromedp.KeyEvent(kb.Enter))
		}
		for i := 0; i+1 < len(fields); i += 2 {
			b.tabTo(fields[i], fmt.Sprintf(`document.activeElement === document.querySelector('%s [name="%s"]')`, form, fields[i]))
			b.do(chromedp.KeyEvent(fields[i+1]))
		}
		b.tabTo("the button", fmt.Sprintf(`document.activeElement === document.querySelector("%s button.go")`, form))
		b.do(chromedp.KeyEvent(kb.Enter))
	} else {
		js[any](b, fmt.Sprintf(`for (let at = document.getElementById("deed-%s"); at; at = at.parentElement?.closest("details")) at.open = true; 0`, id))
		b.fills(form, fields...)
		b.presses(form + " button.go")
	}
}

// A heat from its plan to its settlement, all of it on its page: the charge is ticked
// off, temperatures, an addition, the molds, skimmings and pigs are written down, a
// casting and its gating come back, and the heat is settled. On a phone by touch, on a
// desk by the keyboard alone.
func TestHeatFromPlanToSettled(t *testing.T) {
	for _, s := range []size{phone, desk} {
		f := newFoundry(t)
		f.planned("42")
		keys := s == desk
		b := newBrowser(t, s)
		b.open(f.url("/heats/42/charge"))
		b.until("a charge is proposed", `document.getElementById("tally")?.textContent.startsWith("0 of ")`)
		n := js[int](b, `document.querySelectorAll("#pieces li").length`)
		for i := range n {
			box := fmt.Sprintf(`document.querySelectorAll("#pieces li > .tick input")[%d]`, i)
			if keys {
				b.tabTo("the next piece", `document.activeElement === `+box)
				b.do(chromedp.KeyEvent(" "))
			} else {
				js[any](b, box+`.click()`)
			}
			b.until("it is in", fmt.Sprintf(`document.querySelectorAll("#pieces .became")[%d].textContent.startsWith("in, entry")`, i))
		}
		b.until("what is in the crucible is shown", fmt.Sprintf(`document.querySelectorAll("#in li").length === %d`, n))
		in := f.book.Held("heat/42")
		b.open(f.url("/heats/42"))
		b.writes(keys, "temperature", "temperature.text", "1120")
		b.until("the temperature is in the book and on the page", `document.querySelector("#do-temperature .told")`+inTheBook+` && document.getElementById("now").innerText.includes("1120")`)
		b.writes(keys, "temperature", "temperature.text", "2080 F")
		b.until("and the next one", `document.getElementById("now").innerText.includes("2080 F")`)
		supply := "pocu"
		if keys {
			supply = "phos" // as a list is chosen from by typing
		}
		b.writes(keys, "add", "supply", supply, "amount.text", "20")
		b.until("the addition is in", `document.querySelector("#do-add .told")`+inTheBook)
		b.writes(keys, "skim", "weighing.net.text", "60", "added.text", "10")
		b.until("the skimmings are a lot, with a label to print", `document.querySelector("#do-skim .told a[href*='/paper/lots/']") !== null`)
		if keys {
			b.tabTo("the heron", `document.activeElement === document.querySelector("#pour-42-1 > .go")`)
			b.do(chromedp.KeyEvent(kb.Enter))
		} else {
			b.presses("#pour-42-1 > .go")
		}
		b.until("the heron is poured", `document.querySelector("#mold-42-1 .flag").textContent === "poured"`)
		b.fills("#pour-42-2", "amount.text", "1100")
		b.presses(`#pour-42-2 button[value=STATE_SHORT]`)
		b.until("the otter did not fill", `document.querySelector("#mold-42-2 .flag").textContent.startsWith("did not fill, 1")`)
		b.writes(keys, "pour-off", "weighing.net.text", "500", "weighing.pieces", "1")
		b.until("the pig is a lot", `document.querySelector("#do-pour-off .told a") !== null`)
		b.writes(keys, "finish")
		b.until("the pour is over", `document.querySelector(".sum").textContent.startsWith("poured")`)
		if held := f.book.Held("molds/42"); held <= 0 || held >= in || f.book.Held("heat/42") != 0 {
			t.Fatalf("of %d mg charged %d are in molds and %d in the crucible", in, held, f.book.Held("heat/42"))
		}
		b.writes(keys, "casting", "mold", map[bool]string{false: "shops/harrow/heats/42/molds/42-1", true: "42-1"}[keys], "weighing.net.text", "1500")
		b.until("the casting is on the page", `document.getElementById("facts").innerText.includes("heron, cut off")`)
		js[any](b, `document.querySelector('#ways a[href*="/weigh-in"]').click()`)
		b.until("its returns are weighed in as of this heat", `document.getElementById("chosen")?.textContent.includes("heat 42")`)
		b.open(f.url("/heats/42"))
		f.book.Do(f.book.WeighIn(t.Context(), ledger.Meta{}, ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "42"}}, Weighing: ledger.WeighingIn{Net: ledger.Quantity{Mass: f.book.Held("molds/42") - 100*ledger.Gram}}}))
		b.writes(keys, "settle")
		b.until("it is settled", `document.querySelector(".sum").textContent.startsWith("settled")`)
		for kind, want := range map[ledger.Kind]int{ledger.KindTemperature: 2, ledger.KindAdd: 2, ledger.KindSkim: 2, ledger.KindPour: 6, ledger.KindSettle: 1} {
			if n := f.count(kind); kind != ledger.KindPour && n != want && !(kind == ledger.KindTemperature && n > 2) {
				t.Errorf("%d entries of %s, want %d", n, kind, want)
			}
		}
		b.quiet()
		f.book.Verify()
	}
}

// Two people at one heat: what one writes is on the other's page, and what the other was
// typing meanwhile is still being typed. A page that is behind is told so before it
// changes anything, and keeps what was typed.
func TestTwoAtOneHeat(t *testing.T) {
	f := newFoundry(t)
	f.planned("42")
	f.book.Do(f.book.OpenHeat(t.Context(), ledger.Meta{}, "42"))
	first, second := newBrowser(t, phone), newBrowser(t, desk)
	first.open(f.url("/heats/42"))
	second.open(f.url("/heats/42"))
	second.until("the form is in hand", `document.querySelector("#do-give .go")?.disabled === false`)
	js[any](second, `document.getElementById("seldom").open = document.getElementById("deed-give").open = true; document.querySelector('#do-give [name="to"]').focus(); 0`)
	second.do(chromedp.KeyEvent("the op"))
	first.writes(false, "temperature", "temperature.text", "1090")
	second.until("what the first wrote is on the second's page", `document.getElementById("now").innerText.includes("1090")`)
	second.do(chromedp.KeyEvent("en day"))
	if got := js[string](second, `document.activeElement.name + ": " + document.activeElement.value`); got != "to: the open day" {
		t.Errorf("the second was typing %q", got)
	}
	first.open(f.url("/heats/42/charge"))
	second.open(f.url("/heats/42/charge"))
	for _, b := range []*browser{first, second} {
		b.until("a charge is proposed", `document.getElementById("tally")?.textContent.startsWith("0 of ")`)
	}
	js[any](first, `document.getElementById("who").value = "Mara"; document.querySelector("#pieces input").click()`)
	second.until("the second's page has the tick", `document.querySelector("#pieces input").checked && document.querySelector("#pieces .became").textContent.endsWith("by Mara")`)
	js[any](second, `document.querySelector("#pieces input").click()`)
	first.until("taken back by the second", `!document.querySelector("#pieces input").checked && document.querySelector("#pieces .became").textContent === "taken back"`)
	if n := f.count(ledger.KindCharge); n != 2 {
		t.Errorf("%d charges, one of them of heat 41", n)
	}

	js[any](second, `document.querySelector("#pieces input").click()`)
	first.until("it is in again", `document.querySelector("#pieces input").checked`)
	for _, b := range []*browser{first, second} {
		b.open(f.url("/heats/42"))
		b.until("the pour can be closed", `document.querySelector("#do-finish .go")?.disabled === false`)
	}
	js[any](second, `document.getElementById("deed-finish").open = document.getElementById("change-plan").open = true; 0`)
	second.fills("#do-finish", "heel.text", "200")
	second.fills("#plan", "heat.note", "the second's")
	first.fills("#plan", "heat.note", "the first's")
	first.presses("#plan .go")
	first.until("the first's plan is saved", `document.querySelector("#plan .told").textContent === "Saved."`)
	second.presses("#plan .go")
	second.until("the second sees both", `document.querySelector("#plan .theirs")?.textContent === "is now: the first's"`)
	second.presses("#do-finish .go")
	second.until("the second is told", `document.querySelector("#do-finish .told").textContent.includes("CHANGED_MEANWHILE")`)
	if got := js[string](second, `document.querySelector('#do-finish [name="heel.text"]').value`); got != "200" || f.count(ledger.KindFinishPour) != 1 {
		t.Errorf("%q is kept, %d pours closed", got, f.count(ledger.KindFinishPour))
	}
	second.presses("#do-finish .go")
	second.until("pressed again it is done", `document.querySelector(".sum").textContent.startsWith("poured")`)
	first.until("and the first sees it", `document.querySelector(".sum").textContent.startsWith("poured")`)
	first.quiet()
	second.quiet("409")
}

// What is wrong is said at its field with the reason that machines read, names as nobody
// should write them are names like others, and a server that is stopped between the
// press and the answer costs nothing: the same wish is sent once more, and is in the
// book once.
func TestHeatKeepsWhatIsTyped(t *testing.T) {
	f := newFoundry(t)
	f.planned("42")
	f.book.Do(f.book.OpenHeat(t.Context(), ledger.Meta{}, "42"))
	b := newBrowser(t, phone)
	b.open(f.url("/heats/42"))
	b.writes(false, "temperature", "temperature.text", "warm")
	b.until("it is said at the field", `document.querySelector('#do-temperature [aria-invalid="true"]')?.name === "temperature.text" && document.querySelector("#do-temperature .fault").textContent.includes("warm") && document.querySelector("#do-temperature .by-machine").textContent.trim() !== ""`)
	long := strings.Repeat("long ", 1000)
	b.fills("#do-mold", "mold.displayName", long, "mold.metal.text", "800")
	b.presses("#do-mold .go")
	b.until("a name of 5 000 characters is refused in words", `document.querySelector("#do-mold .told").classList.contains("bad")`)
	b.open(f.url("/heats/42"))
	b.until("and kept, with its form open", `document.querySelector('#do-mold [name="mold.displayName"]').value.length >= 4999 && document.getElementById("add-mold").open`)
	evil := `<script>document.title="owned"</script> 🔥`
	b.fills("#do-mold", "mold.displayName", evil)
	b.presses("#do-mold .go")
	b.until("the mold is there", `document.querySelector("#mold-42-3")?.innerText.includes("🔥")`)
	if js[string](b, "document.title") == "owned" {
		t.Error("the name ran")
	}
	before := f.count(ledger.KindTemperature)
	f.stop()
	b.writes(false, "temperature", "temperature.text", "1111")
	b.until("it says that nothing is lost", `document.querySelector("#do-temperature .told").textContent.includes("Nothing is lost")`)
	f.start()
	b.open(f.url("/heats/42"))
	b.until("it is still typed", `document.querySelector('#do-temperature [name="temperature.text"]').value === "1111"`)
	b.presses("#do-temperature .go")
	b.until("it is in the book", `document.querySelector("#do-temperature .told")`+inTheBook)
	if n := f.count(ledger.KindTemperature); n != before+1 {
		t.Errorf("%d temperatures, %d before", n, before)
	}
	b.quiet("400", "ERR_CONNECTION", "Failed to load")
}

// Everything that the API can record of a heat and its molds has its form on a page.
func TestEveryDeedHasItsForm(t *testing.T) {
	f := newFoundry(t)
	f.planned("42")
	f.planned("43")
	f.book.Do(f.book.OpenHeat(t.Context(), ledger.Meta{}, "42"))
	f.planned("44")
	f.book.Do(f.book.OpenHeat(t.Context(), ledger.Meta{}, "44"))
	f.book.Do(f.book.FinishPour(t.Context(), ledger.Meta{}, ledger.FinishPour{Heat: "44"}))
	forms := ""
	for _, page := range []string{"/heats/42", "/heats/43", "/heats/44", "/heats/42/charge"} {
		_, body := f.get(f.url(page))
		forms += body
	}
	seen := 0
	for _, file := range []protoreflect.FileDescriptor{pb.File_remelt_v1_heat_service_proto, pb.File_remelt_v1_mold_proto} {
		methods := file.Services().Get(0).Methods()
		for i := range methods.Len() {
			rule, _ := proto.GetExtension(methods.Get(i).Options(), annotations.E_Http).(*annotations.HttpRule)
			if rule.GetGet() != "" || methods.Get(i).Name() == "CreateHeat" { // which has a page of its own
				continue
			}
			seen++
			path := strings.NewReplacer("{name=", "", "{parent=", "", "{heat.name=", "", "{mold.name=", "", "}", "", "*", "[^\"/]+").Replace(cmp.Or(rule.GetPost(), rule.GetPatch()))
			if !regexp.MustCompile(`data-path="` + path + `"`).MatchString(forms) {
				t.Errorf("nothing on the pages of a heat is posted to %s", path)
			}
		}
	}
	if seen < 17 {
		t.Errorf("%d methods were looked at", seen)
	}
}

// A weight beside its gating is asked for by the same words wherever it is typed: nobody
// shall take it for all that is poured.
func TestCastingAndGatingAreAskedForAlike(t *testing.T) {
	f := newFoundry(t)
	f.furnish("for the mill pond")
	f.planned("42")
	for page, name := range map[string]string{"/plan-a-heat": "molds.0.", "/heats/42": "mold.", "/commissions/otters": "commission.patterns.0."} {
		_, body := f.get(f.url(page))
		for words, field := range map[string]string{"Casting alone, gating cut off": "metal", "Its gating, on top of that": "gating"} {
			if !regexp.MustCompile("<label>" + words + `, [a-z ]+<input name="` + regexp.QuoteMeta(name+field)).MatchString(body) {
				t.Errorf("%s does not ask for %s by %q", page, field, words)
			}
		}
	}
}

// A heat is planned from molds that wait in other heats, from what a commission has still
// to cast, and from a weight that is typed; its proposed charge follows. With the keyboard
// alone on a desk, by touch on a phone.
func TestPlanAHeat(t *testing.T) {
	for _, s := range []size{phone, desk} {
		f := newFoundry(t)
		f.furnish("for the mill pond")
		f.planned("42")
		b := newBrowser(t, s)
		b.open(f.url("/heats"))
		b.until("the list of heats leads there", `document.querySelector('a[href$="/plan-a-heat"]') !== null`)
		b.open(f.url("/plan-a-heat"))
		const form = "#plan-heat"
		b.until("the form is in hand", `document.querySelector("#plan-heat .go")?.disabled === false`)
		b.presses(form + " .go")
		js[any](b, `document.querySelector("#plan-heat").noValidate = true; 0`)
		b.presses(form + " .go")
		b.until("nothing is no plan", `document.querySelector("#plan-heat .told").textContent.includes("Nothing is to be poured")`)
		otter := `document.querySelector('[name="take.42-2"]')`
		if s == desk {
			b.tabTo("the otter", `document.activeElement === `+otter)
			b.do(chromedp.KeyEvent(" "))
			b.tabTo("a weight", `document.activeElement.name === "molds.0.metal.text"`)
			b.do(chromedp.KeyEvent("700"))
			b.tabTo("its gating", `document.activeElement.name === "molds.0.gating.text"`)
			b.do(chromedp.KeyEvent("0.12 kg"))
			b.tabTo("the crucible", `document.activeElement.name === "heat.crucible"`)
			b.do(chromedp.KeyEvent("no. 60"))
			b.tabTo("the button", `document.activeElement === document.querySelector("#plan-heat .go")`)
		} else {
			js[any](b, otter+`.click()`)
			b.fills(form, "molds.0.metal.text", "700", "molds.0.gating.text", "0.12 kg", "heat.crucible", "A60", "molds.1.displayName", strings.Repeat("long ", 1000))
			b.presses(form + " .go")
			b.until("a long name is refused at its field", `document.querySelector('#plan-heat [aria-invalid]')?.name === "molds.1.displayName"`)
			b.open(f.url("/plan-a-heat"))
			b.until("all that was typed and ticked is still there", otter+`.checked && document.querySelector('[name="molds.0.metal.text"]').value === "700" && document.querySelector('[name="heat.alloy"]').value === "C87300"`)
			b.fills(form, "molds.1.displayName", "")
		}
		if sum := js[string](b, `document.getElementById("sum").textContent`); sum != "2 molds of C87300: castings 1600 g + gating 520 g = 2120 g to be poured." {
			t.Errorf("the page says %q", sum)
		}
		if s == desk {
			b.do(chromedp.KeyEvent(kb.Enter))
		} else {
			b.presses(form + " .go")
		}
		b.until("its charge is proposed", `location.pathname.endsWith("/charge") && document.getElementById("tally")?.textContent.startsWith("0 of ")`)
		got, err := ledger.Get[ledger.Heat](t.Context(), f.book.Book, ledger.RecHeat, js[string](b, `location.pathname.split("/").at(-2)`))
		if err != nil || got.Value.Charge != 2120*ledger.Gram || got.Value.Crucible != "A60" {
			t.Errorf("%+v, %v", got.Value, err)
		}
		b.open(f.url("/heats/42"))
		b.until("the otter is no longer in heat 42", `document.getElementById("mold-42-1") !== null && document.getElementById("mold-42-2") === null`)
		b.quiet("400")
	}
}

// What was booked says of each entry the lots and castings that moved, and how much: the
// amounts are those of the worked heat in DEVELOPERS.md.
func TestWhatWasBookedSaysWhatMoved(t *testing.T) {
	f := newFoundry(t)
	f.book.Do(f.book.SetSupply(t.Context(), ledger.Meta{}, ledger.Supply{ID: "tablets", Name: "degassing tablets", Purpose: "degasser", InPieces: true}))
	f.book.Do(f.book.ReceiveSupply(t.Context(), ledger.Meta{}, ledger.SupplyMove{Supply: "tablets", Pieces: 40, From: "northmetal"}))
	f.book.Do(f.book.Add(t.Context(), ledger.Meta{Reason: "found in the notes"}, ledger.AddToHeat{Heat: "41", Supply: "tablets", Pieces: 3}))
	_, page := f.get(f.url("/heats/41"))
	_, page, _ = strings.Cut(page, "What was booked")
	charge := regexp.MustCompile(`(?s)<b>charge</b>.*?</li>`).FindString(page)
	for lot, grams := range map[string]int{f.heat.Ingots.ID: 30_000, f.heat.Cups.ID: 14_620, f.heat.PigsIn.ID: 15_380} {
		if want := fmt.Sprintf(`<a href="/shops/harrow/lots/%[1]s">lot %[1]s</a> <span class="amount">%d g</span>`, lot, grams); !strings.Contains(charge, want) {
			t.Errorf("no %s in\n%s", want, charge)
		}
	}
	if want := `<b>pour off</b> <a href="/shops/harrow/lots/` + f.heat.Pigs.ID; !strings.Contains(page, want) {
		t.Errorf("no %s in\n%s", want, page)
	}
	if want := `<b>add</b> supply tablets <span class="amount">3 pieces</span>`; !strings.Contains(page, want) {
		t.Errorf("no %s in\n%s", want, page)
	}
}
