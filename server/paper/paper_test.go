package paper_test

import (
	"bytes"
	"image"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/status"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/server/paper"
)

const comesFirst = "Local codes, safety data sheets and licensed practice come first."

// The sheet of the worked heat after its pour says what the heat's balance says:
// the figures are those of the example in DEVELOPERS.md.
func TestHeatSheetSaysWhereTheMetalWent(t *testing.T) {
	f := newFoundry(t)
	d := made(f.HeatSheet(t.Context(), harrow+"/heats/41", paper.A4))(t)
	wants(t, d, "Heat 41", "C87300", "Harrow Lane Foundry", comesFirst, "provisional", "ingot, charged 30000", "cup, charged 14620", "in skimmings, estimated 475",
		"pigs 6300", "in molds 52605", "all 60000 60000", "heron left", "poured", "200 g borax", "page 1 of 1")
	if d.Pages != 1 || d.Name != "heat-41.pdf" {
		t.Errorf("%s has %d pages", d.Name, d.Pages)
	}
	onPaper(t, d.PDF, 5)
	wants(t, d, "Content: not measured: taken to be inside the limits of C87300.")
	f.BringHome()
	wants(t, made(f.HeatSheet(t.Context(), harrow+"/heats/41", paper.Letter))(t), "castings 27410", "returns 24790", "all 60000 60000", "C1 heron left cut off 11060")
	f.Do(f.ShipCasting(t.Context(), ledger.Meta{}, ledger.ShipCasting{Casting: "C1"}))
	wants(t, made(f.HeatSheet(t.Context(), harrow+"/heats/41", paper.Letter))(t), "C1 heron left shipped 11060")
}

// The sheet of a planned heat is one page with every lot of the proposed charge and
// every mold, on either paper; one that no charge can be proposed for has room to
// write one down.
func TestHeatSheetBeforeThePour(t *testing.T) {
	f := newFoundry(t)
	m := ledger.Meta{}
	w := ledgertest.Net(60_000)
	w.Pieces = 12
	ingots := ledgertest.MadeLot(t, f.Do(f.Receive(t.Context(), m, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Form: ledger.Ingot, Place: "rack", Weighing: w})))
	f.Do(f.PlanHeat(t.Context(), m, ledger.PlanHeat{ID: "42", Alloy: "C87300", Crucible: "A60", Note: "pour the otter first", Molds: []ledger.MoldPlan{
		{Name: "otter", Metal: ledgertest.Grams(12_000), Gating: ledgertest.Grams(6_000)}, {Name: "hand", Metal: ledgertest.Grams(1_500), Gating: ledgertest.Grams(900)}}}))
	for _, size := range []paper.Size{paper.A4, paper.Letter} {
		d := made(f.HeatSheet(t.Context(), harrow+"/heats/42", size))(t)
		wants(t, d, "Heat 42", comesFirst, "must be dry and preheated", ingots.ID, "ingot, piece 1", "rack", "otter", "18000", "hand", "2400", "in the order of pouring",
			"pour the otter first", "out of the furnace at", "skimmed, g", "pigs poured off, g", "page 1 of 1")
		onPaper(t, d.PDF, 5)
		if p := places(t, d.PDF)[0]; d.Pages != 1 || p.pw-size.W > 0.1 || p.ph-size.H > 0.1 {
			t.Errorf("%s: %d pages of %.1f x %.1f mm", size.Name, d.Pages, p.pw, p.ph)
		}
	}
	f.Do(f.PlanHeat(t.Context(), m, ledger.PlanHeat{ID: "43", Alloy: "C95400", Molds: []ledger.MoldPlan{{Name: "bell", Metal: ledgertest.Grams(5_000), Gating: ledgertest.Grams(100)}}}))
	wants(t, made(f.HeatSheet(t.Context(), harrow+"/heats/43", paper.A4))(t), "No charge can be proposed", "bell", "5100")
	f.Do(f.DropHeat(t.Context(), m, "43"))
	wants(t, made(f.HeatSheet(t.Context(), harrow+"/heats/43", paper.A4))(t), "This heat was not melted")
	if _, err := f.HeatSheet(t.Context(), harrow+"/heats/none", paper.A4); reason(err) != "NOT_FOUND" {
		t.Errorf("of no heat: %v", err)
	}
}

// A scanner reads each label's lot, on every kind of label, and a person reads it at
// arm's length: the letters of the lot are at least 5 mm high. ISO 9241-303 asks for
// 20 to 22 minutes of arc, which is about 4.5 mm at 0.7 m (from memory).
func TestLabelsAreRead(t *testing.T) {
	f := newFoundry(t)
	evil := ledgertest.MadeLot(t, f.Do(f.Receive(t.Context(), ledger.Meta{}, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Form: ledger.Ingot, LotID: "a-shop.own_id" + strings.Repeat("x", 51),
		Label: strings.Repeat("very long words ", 12), Weighing: ledgertest.Net(5_000)})))
	const dpi = 150
	at := func(mm float64) int { return int(mm * dpi / 25.4) }
	for _, on := range []string{"100x50mm", "50x25mm"} {
		stock, err := paper.ParseStock(on)
		if err != nil {
			t.Fatal(err)
		}
		for _, lot := range []string{f.Pigs.ID, evil.ID} {
			d := made(f.Labels(t.Context(), paper.LabelOrder{Shop: harrow, Lots: []string{harrow + "/lots/" + lot}, On: stock}))(t)
			if got := scanned(t, picture(t, d.PDF, 1, 203)); got != lot {
				t.Errorf("%s: a scanner reads %q, not %q", on, got, lot)
			}
			onPaper(t, d.PDF, 0)
			if lot == f.Pigs.ID {
				wants(t, d, lot, "C87300", "pig", "6300 g", "come first.")
				if p := places(t, d.PDF)[0]; p.word != lot || on == "100x50mm" && 0.62*(p.y2-p.y1) < 5 { // capitals are a little over half of the line's height
					t.Errorf("%s: %q is %.1f mm high", on, p.word, p.y2-p.y1)
				}
			}
		}
	}
	mind := func(lot, want string) {
		t.Helper()
		stock, err := paper.ParseStock("100x50mm")
		if err != nil {
			t.Fatal(err)
		}
		wants(t, made(f.Labels(t.Context(), paper.LabelOrder{Shop: harrow, Lots: []string{harrow + "/lots/" + lot}, On: stock}))(t), want)
	}
	for id, c := range map[string]struct {
		alloy, want string
		elements    []ledger.Element
	}{
		"BERY": {"C87300", "Mind: dry and preheat; holds lead; holds beryllium.", []ledger.Element{{Symbol: "Be", PPM: 20_000}, {Symbol: "Pb", PPM: 90_000}}},
		"TIN":  {"C93200", "holds lead.", nil},
		"ODD":  {"unknown", "Mind: not identified: do not melt; holds lead.", []ledger.Element{{Symbol: "Pb", PPM: 90_000}}},
	} {
		r := ledger.Receive{Supplier: "northmetal", Alloy: c.alloy, LotID: id, Weighing: ledgertest.Net(5_000)}
		if c.elements != nil {
			r.Certificate = &ledger.Certificate{Elements: c.elements}
		}
		e := f.Do(f.Receive(t.Context(), ledger.Meta{Reason: "as it came"}, r))
		mind(id, c.want)
		f.Do(f.Reverse(t.Context(), ledger.Meta{Reason: "sent back"}, ledger.ReverseEntry{Entry: e.Seq}))
	}
	lots := []string{f.Pigs.ID, f.Skimmings.ID, f.Swept.ID, evil.ID}
	for _, on := range []string{"A4", "Letter"} {
		stock, _ := paper.ParseStock(on)
		d := made(f.Labels(t.Context(), paper.LabelOrder{Shop: harrow, On: stock, Used: 1}))(t)
		if d.Pages != 1 {
			t.Fatalf("%s: %d pages", on, d.Pages)
		}
		page := picture(t, d.PDF, 1, dpi).(interface {
			SubImage(image.Rectangle) image.Image
		})
		w, h, top := at(101.6), at(67.7), at(13.1)
		if on == "Letter" {
			w, h, top = at(106.36), at(50.8), at(12.7)
		}
		var read []string
		for i := 1; i <= len(lots); i++ {
			x, y := i%2*w+at(4), top+i/2*h
			read = append(read, scanned(t, page.SubImage(image.Rect(x, y, x+w-at(6), y+h))))
		}
		slices.Sort(read)
		slices.Sort(lots)
		if !slices.Equal(read, lots) {
			t.Errorf("%s: a scanner reads %q, not %q", on, read, lots)
		}
	}
}

// The same book at the same stated moment gives the same bytes, and another moment
// shows.
func TestSameBytes(t *testing.T) {
	f := newFoundry(t)
	sheet := func() []byte { return made(f.HeatSheet(t.Context(), harrow+"/heats/41", paper.A4))(t).PDF }
	labels := func() []byte { return made(f.Labels(t.Context(), paper.LabelOrder{Shop: harrow}))(t).PDF }
	for name, draw := range map[string]func() []byte{"sheet": sheet, "labels": labels} {
		once := draw()
		for range 5 {
			if !bytes.Equal(once, draw()) {
				t.Fatalf("the same %s is not the same bytes", name)
			}
		}
		f.Now = f.Now.Add(24 * time.Hour)
		if bytes.Equal(once, draw()) {
			t.Errorf("the %s of another day is the same", name)
		}
	}
}

func TestRefusals(t *testing.T) {
	f := newFoundry(t)
	for _, typed := range []string{"A5", "", "letter paper"} {
		if _, err := paper.ParseSize(typed); reason(err) != "UNKNOWN_PAPER" {
			t.Errorf("paper %q: %v", typed, err)
		}
	}
	for _, typed := range []string{"", "10x10mm", "49x50mm", "400x50mm", "-100x50mm", "100x50", "1e2x50mm", "100x50mm; rm", "NaNxNaNmm"} {
		if _, err := paper.ParseStock(typed); reason(err) != "UNKNOWN_LABEL_SIZE" {
			t.Errorf("labels of %q: %v", typed, err)
		}
	}
	for want, o := range map[string]paper.LabelOrder{
		"LABELS_USED":      {Shop: harrow, Used: 8},
		"NOTHING_TO_PRINT": {Shop: harrow, Alloy: "C95400"},
		"NOT_FOUND":        {Shop: harrow, Lots: []string{harrow + "/lots/none"}},
		"NO_SUCH_SHOP":     {Shop: "shops/nobody"},
	} {
		if _, err := f.Labels(t.Context(), o); reason(err) != want {
			t.Errorf("%+v: %v, not %s", o, err, want)
		}
	}
}

// reason is an error's machine-readable reason.
func reason(err error) string {
	for _, d := range status.Convert(err).Details() {
		if info, ok := d.(*errdetails.ErrorInfo); ok {
			return info.GetReason()
		}
	}
	return ""
}
