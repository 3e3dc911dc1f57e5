package web_test

import (
	"strings"
	"testing"

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
		b.open(f.url("/settings"))
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
	b.open(f.url("/settings?unit=lb"))
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
	b.open(f.url("/settings"))
	const form = `form[data-path="/v1/shops/harrow/places"]`
	long := strings.Repeat("long", 1250)
	b.fills(form, "id", "shelf", "place.displayName", long)
	b.presses(form + " .go")
	b.until("it is refused in words", `document.querySelector('`+form+` .told').textContent.includes("place.display_name")`)
	b.open(f.url("/settings"))
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
