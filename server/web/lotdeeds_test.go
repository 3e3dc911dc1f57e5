package web_test

import (
	"cmp"
	"regexp"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
)

// What weigh-in itself sets apart is said to be something and free again, on the page of
// its lot; then it is set apart and freed, put elsewhere, said to be of its heat, parted
// and put with another. Metal is sold with what is wrong said at its field, and taken back;
// skimmings are worked up. By touch on a phone, by the keyboard alone on a desk.
func TestLotOnItsPage(t *testing.T) {
	for _, s := range []size{phone, desk} {
		f := newFoundry(t)
		found := ledgertest.MadeLot(t, f.book.Do(f.book.WeighIn(t.Context(), ledger.Meta{}, ledger.WeighIn{Alloy: "unknown", Weighing: ledgertest.Net(2_000)})))
		b, keys := newBrowser(t, s), s == desk
		now := func() (l ledger.Lot) {
			got, err := f.book.GetLot(t.Context(), found.ID)
			if err != nil {
				t.Fatal(err)
			}
			return got.Lot
		}
		b.open(f.url("/lots/" + found.ID))
		b.until("what it is can be said", `document.querySelector("#do-identify .go")?.disabled === false && document.getElementById("do-release") === null`)
		if keys {
			b.writes(true, "identify", "alloy", "C873")
		} else {
			b.writes(false, "identify", "alloy", "C87300", "certificate.elements.4.percent", "3.9")
		}
		b.until("it is usable", `document.querySelector(".facts").innerText.includes("usable")`)
		if l := now(); l.Alloy != "C87300" || l.Condition != ledger.Clean || keys != (l.Certificate == nil) || !keys && (len(l.Certificate.Elements) != 1 || l.Certificate.Elements[0].Symbol != "Si" || l.Certificate.Elements[0].PPM != 39_000) {
			t.Errorf("%+v, %+v", l, l.Certificate)
		}
		b.writes(keys, "hold", "why", "a crack in it")
		b.until("it is set apart", `document.querySelector(".facts").innerText.includes("a crack in it") && document.getElementById("do-hold") === null`)
		b.writes(keys, "release")
		b.until("it is free", `document.querySelector(".facts").innerText.includes("usable")`)
		b.writes(keys, "move", "place", map[bool]string{false: "rack", true: "ing"}[keys])
		b.until("it lies there", `document.querySelector(".facts").innerText.includes("rack")`)
		b.writes(keys, "assign", "heats.0.heat", map[bool]string{false: "41", true: "heat 41"}[keys])
		b.until("its heat is known", `document.querySelector(".facts").innerText.includes("heat 41") && document.getElementById("do-assign") === null`)
		b.writes(false, "split", "parts.0.weighing.net.text", "300")
		b.until("the part has its label", `document.querySelector("#do-split .told a[href*='/paper/lots/']") !== null`)
		f.book.Want(1_700, ledgertest.LotAcct(found))
		b.writes(false, "combine", "into", f.heat.Pigs.ID)
		b.until("nothing is left of it", `document.querySelector(".sum").innerText.startsWith("0") && document.getElementById("doing") === null`)

		b.open(f.url("/lots/" + f.heat.Pigs.ID))
		b.writes(false, "remove", "mass.text", "1000", "for", "cheap")
		b.until("it is said at the field", `document.querySelector('#do-remove [aria-invalid="true"]')?.name === "for"`)
		b.fills("#do-remove", "for", "3 USD/kg")
		b.presses("#do-remove .go")
		b.until("it is gone", `document.querySelector("#do-remove .told")`+inTheBook)
		f.book.Want(1_000, ledger.Acct(ledger.Left, "sold"))
		b.until("and in its history", `document.querySelector(".history li b").textContent === "remove"`)
		js[any](b, `document.querySelector(".history .back").open = true; 0`)
		b.fills(".history .back form", "reason", "they did not come")
		b.presses(".history .back form button")
		b.until("it is taken back", `document.querySelector(".history li.undone") !== null`)
		f.book.Want(8_000, ledgertest.LotAcct(f.heat.Pigs))

		b.open(f.url("/lots/" + f.heat.Skimmings.ID))
		b.writes(keys, "work-up", "recovered.net.text", "390")
		b.until("nothing is left of them", `document.getElementById("doing") === null`)
		if n := f.count(ledger.KindWorkUp); n != 1 {
			t.Errorf("%d entries", n)
		}
		f.book.Want(0, ledgertest.LotAcct(f.heat.Skimmings))
		b.quiet("400")
		f.book.Verify()
	}
}

// Everything that the API can record of a lot has its form on a page.
func TestEveryDeedOfALotHasItsForm(t *testing.T) {
	f := newFoundry(t)
	found := ledgertest.MadeLot(t, f.book.Do(f.book.WeighIn(t.Context(), ledger.Meta{}, ledger.WeighIn{Alloy: "C87300", Dirty: true, Weighing: ledgertest.Net(2_000)})))
	held := ledgertest.MadeLot(t, f.book.Do(f.book.WeighIn(t.Context(), ledger.Meta{}, ledger.WeighIn{Alloy: "C87300", Unsure: true, Weighing: ledgertest.Net(2_000)})))
	forms := ""
	for _, page := range []string{"/metal-in", "/lots/" + found.ID, "/lots/" + held.ID, "/lots/" + f.heat.Skimmings.ID} {
		_, body := f.get(f.url(page))
		forms += body
	}
	seen := 0
	methods := pb.File_remelt_v1_lot_service_proto.Services().Get(0).Methods()
	for i := range methods.Len() {
		rule, _ := proto.GetExtension(methods.Get(i).Options(), annotations.E_Http).(*annotations.HttpRule)
		switch methods.Get(i).Name() {
		case protoreflect.Name("WeighIn"), protoreflect.Name("ImportLots"): // by a page without forms, and by programs
			continue
		}
		if rule.GetGet() != "" {
			continue
		}
		seen++
		path := strings.NewReplacer("{name=", "", "{parent=", "", "}", "", "*", "[^\"/]+").Replace(cmp.Or(rule.GetPost(), rule.GetPatch()))
		if !regexp.MustCompile(`data-path="` + path + `"`).MatchString(forms) {
			t.Errorf("nothing on the pages of a lot is posted to %s", path)
		}
	}
	if seen < 12 {
		t.Errorf("%d methods were looked at", seen)
	}
}
