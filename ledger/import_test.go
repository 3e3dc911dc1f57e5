package ledger_test

import (
	"errors"
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/ledger/memory"
	"example.org/remelt/ledger/storetest"
)

// delivery is rows of which the third adds to the lot of the second.
func delivery() []ledger.Row {
	return []ledger.Row{
		{In: ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(10_000)}},
		{In: ledger.WeighIn{LotID: "cups", Alloy: "art bronze", Form: ledger.Cup, Weighing: ledgertest.Net(1_250)}, Meta: ledger.Meta{Who: "Ada"}},
		{In: ledger.WeighIn{Into: "cups", Weighing: ledgertest.Net(2_600)}},
		{In: ledger.Receive{Customer: "iris", Alloy: "C87300", Weighing: ledgertest.Net(700)}, Meta: ledger.Meta{Happened: time.Date(2026, 2, 1, 9, 0, 0, 0, time.UTC)}},
	}
}

func head(t *testing.T, b *ledgertest.Shop) int64 {
	t.Helper()
	h, err := b.HeadOf(ctx)
	if err != nil {
		t.Fatal(err)
	}
	return h.Seq
}

// TestImportIsItsRows: an import leaves the entries that its rows leave when each is
// recorded by itself.
func TestImportIsItsRows(t *testing.T) {
	together, apart := ledgertest.Open(t), ledgertest.Open(t)
	m := ledger.Meta{Request: storetest.NewRequest(), Who: "Jo", Device: "scale by the door", Reason: "the week's lists"}
	before := head(t, together)
	got, err := together.Import(ctx, m, delivery())
	if err != nil {
		t.Fatal(err)
	}
	var want []*ledger.Entry
	for _, row := range delivery() {
		own := m
		own.Request = ledger.RequestID{}
		if row.Who != "" {
			own.Who = row.Who
		}
		own.Happened = row.Happened
		switch in := row.In.(type) {
		case ledger.Receive:
			want = append(want, apart.Do(apart.Receive(ctx, own, in)))
		case ledger.WeighIn:
			want = append(want, apart.Do(apart.WeighIn(ctx, own, in)))
		}
	}
	if d := cmp.Diff(want, got, cmpopts.IgnoreFields(ledger.Entry{}, "Request", "Digest", "Hash", "Left"), cmpopts.IgnoreUnexported(ledger.Entry{}), cmpopts.EquateEmpty()); d != "" {
		t.Errorf("an import is not its rows (-one by one +import):\n%s", d)
	}
	if got[0].Request != m.Request || head(t, together) != before+4 {
		t.Errorf("request id %v and %d entries", got[0].Request, head(t, together)-before)
	}
	together.Want(3_850, "lot/cups")
	together.Verify()
}

// TestImportAgain: the same import again gives the same entries; its id is refused for
// anything else.
func TestImportAgain(t *testing.T) {
	b := ledgertest.Open(t)
	m := ledger.Meta{Request: storetest.NewRequest()}
	first, err := b.Import(ctx, m, delivery())
	if err != nil {
		t.Fatal(err)
	}
	end := head(t, b)
	for _, dry := range []bool{false, true} {
		m.DryRun = dry
		again, err := b.Import(ctx, m, delivery())
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(first, again, cmpopts.IgnoreFields(ledger.Entry{}, "Left"), cmpopts.IgnoreUnexported(ledger.Entry{}), cmpopts.EquateEmpty()); d != "" {
			t.Errorf("again, dry %t:\n%s", dry, d)
		}
	}
	m.DryRun = false
	other := delivery()
	other[2].In = ledger.WeighIn{Into: "cups", Weighing: ledgertest.Net(2_601)}
	swapped := delivery()
	swapped[0], swapped[3] = swapped[3], swapped[0]
	more := append(delivery(), delivery()[0])
	for what, rows := range map[string][]ledger.Row{
		"another row": other, "another order": swapped, "one row less": delivery()[:3], "one row more": more, "the first alone": delivery()[:1],
	} {
		if _, err := b.Import(ctx, m, rows); !errors.Is(err, ledger.ErrRequestReused) {
			t.Errorf("%s: %v", what, err)
		}
	}
	if _, err := b.Receive(ctx, m, delivery()[0].In.(ledger.Receive)); !errors.Is(err, ledger.ErrRequestReused) {
		t.Errorf("a write of its own with the id: %v", err)
	}
	if _, err := b.Import(ctx, ledger.Meta{Request: first[1].Request}, delivery()); !errors.Is(err, ledger.ErrRequestReused) {
		t.Errorf("an import with the id of a row: %v", err)
	}
	own := b.Do(b.Receive(ctx, ledger.Meta{Request: storetest.NewRequest()}, delivery()[0].In.(ledger.Receive)))
	if _, err := b.Import(ctx, ledger.Meta{Request: own.Request}, delivery()); !errors.Is(err, ledger.ErrRequestReused) {
		t.Errorf("an import with the id of a write of its own: %v", err)
	}
	if head(t, b) != end+1 {
		t.Errorf("%d entries too many", head(t, b)-end-1)
	}
}

// TestImportAllOrNone: when rows are wrong all of them are told, each with its reason,
// and none is recorded, whether or not it is a dry run.
func TestImportAllOrNone(t *testing.T) {
	for _, dry := range []bool{false, true} {
		b := ledgertest.Open(t)
		rows := append(delivery(),
			ledger.Row{In: ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "99"}}, Weighing: ledgertest.Net(5)}},
			ledger.Row{In: ledger.WeighIn{LotID: "lost", Alloy: "C87300", Weighing: ledger.WeighingIn{Net: ledger.Quantity{Typed: "0 g"}}}},
			ledger.Row{In: ledger.WeighIn{Into: "lost", Weighing: ledgertest.Net(5)}}, // of a row that is told already
			ledger.Row{In: ledger.Receive{LotID: "cups", Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(5)}},
			ledger.Row{In: ledger.WeighIn{Alloy: "no such", Weighing: ledgertest.Net(5)}},
			ledger.Row{In: ledger.WeighIn{Alloy: "C87300", Weighing: ledgertest.Net(5)}, Meta: ledger.Meta{Happened: b.Now.AddDate(0, 0, 9)}},
			ledger.Row{In: ledger.WeighIn{Alloy: "C87300", Weighing: ledgertest.Net(5)}, Meta: ledger.Meta{Who: "\x00"}},
			ledger.Row{In: ledger.WeighIn{}, Fault: &ledger.Error{Class: ledger.ErrInvalid, Reason: "BAD_NAME", Field: "into", Value: "?"}})
		before := head(t, b)
		_, err := b.Import(ctx, ledger.Meta{DryRun: dry}, rows)
		var e *ledger.Error
		if !errors.As(err, &e) || !errors.Is(err, ledger.ErrInvalid) {
			t.Fatal(err)
		}
		var told []string
		for _, f := range append([]*ledger.Error{e}, e.More...) {
			told = append(told, f.Reason+" "+f.Field)
		}
		want := []string{"NOT_FOUND rows[4].weigh_in.heats[0].heat", "ZERO rows[5].weigh_in.weighing.net", "ALREADY_EXISTS rows[7].receive.lot", "UNKNOWN_ALLOY rows[8].weigh_in.alloy",
			"NEEDS_REASON rows[9].weigh_in.reason", "CONTROL_CHARACTER rows[10].weigh_in.who", "BAD_NAME rows[11].weigh_in.into"}
		if d := cmp.Diff(want, told); d != "" {
			t.Errorf("dry %t (-want +told):\n%s", dry, d)
		}
		if head(t, b) != before {
			t.Error("something was recorded")
		}
		b.Verify()
	}
}

func TestImportDryRun(t *testing.T) {
	b := ledgertest.Open(t)
	before := head(t, b)
	m := ledger.Meta{Request: storetest.NewRequest(), DryRun: true}
	tried, err := b.Import(ctx, m, delivery())
	if err != nil || head(t, b) != before {
		t.Fatalf("%v, %d entries", err, head(t, b)-before)
	}
	m.DryRun = false
	done, err := b.Import(ctx, m, delivery())
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(done, tried, cmpopts.IgnoreUnexported(ledger.Entry{})); d != "" {
		t.Errorf("the dry run answered otherwise (-real +dry):\n%s", d)
	}
}

func TestImportBounds(t *testing.T) {
	b := ledgertest.Open(t)
	row := ledger.Row{In: ledger.WeighIn{Alloy: "C87300", Weighing: ledgertest.Net(5)}}
	for _, n := range []int{0, ledger.MaxRows + 1} {
		_, err := b.Import(ctx, ledger.Meta{}, slices.Repeat([]ledger.Row{row}, n))
		var e *ledger.Error
		if !errors.As(err, &e) || e.Reason != "OUT_OF_RANGE" || e.Field != "rows" {
			t.Errorf("%d rows: %v", n, err)
		}
	}
	all, err := b.Import(ctx, ledger.Meta{}, slices.Repeat([]ledger.Row{row}, ledger.MaxRows))
	if err != nil || len(all) != ledger.MaxRows {
		t.Fatal(len(all), err)
	}
	ids := map[ledger.RequestID]bool{}
	for _, e := range all {
		ids[e.Request] = true
	}
	if len(ids) != ledger.MaxRows {
		t.Errorf("%d request ids for %d rows", len(ids), ledger.MaxRows)
	}
	row.In = ledger.WeighIn{Alloy: "C87300", Weighing: ledgertest.Net(0)}
	var e *ledger.Error
	if _, err := b.Import(ctx, ledger.Meta{}, slices.Repeat([]ledger.Row{row}, ledger.MaxRows)); !errors.As(err, &e) || len(e.More)+1+e.Unsaid != ledger.MaxRows {
		t.Errorf("not all of %d faults are told or counted: %v", ledger.MaxRows, err)
	}
}

// TestImportLostAnswers: whatever was saved and whatever was answered, who asks again
// with the same id ends with each row once.
func TestImportLostAnswers(t *testing.T) {
	for _, plan := range [][]storetest.Outcome{
		{storetest.NotSaved}, {storetest.SavedButLost}, {storetest.NotSavedLost}, {storetest.NotSavedLost, storetest.SavedButLost, storetest.NotSaved},
	} {
		t.Run(fmt.Sprint(plan), func(t *testing.T) {
			faulty := &storetest.Faulty{Store: memory.New(), Plan: func() storetest.Outcome { return storetest.Saved }}
			b := ledgertest.OpenIn(t, faulty)
			before := head(t, b)
			faulty.Plan = func() storetest.Outcome {
				if len(plan) == 0 {
					return storetest.Saved
				}
				next := plan[0]
				plan = plan[1:]
				return next
			}
			m := ledger.Meta{Request: storetest.NewRequest()}
			for tries := 0; ; tries++ {
				all, err := b.Import(ctx, m, delivery())
				if err == nil {
					if len(all) != 4 || all[0].Seq != before+1 || head(t, b) != before+4 || tries == 0 {
						t.Errorf("%d entries answered, %d in the book after %d tries", len(all), head(t, b)-before, tries)
					}
					break
				}
				if tries > 5 {
					t.Fatal(err)
				}
			}
			b.Verify()
		})
	}
}
