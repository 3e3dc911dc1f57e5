package ledger

import (
	"bytes"
	"maps"
	"testing"
	"time"
)

// whole is an entry that has some of everything.
func whole() *Entry {
	return &Entry{
		Shop: "harrow", Seq: 7, Kind: "poured", Request: RequestID{1, 2, 3}, Digest: [16]byte{4, 5},
		Happened: time.UnixMilli(1_700_000_000_000), Recorded: time.UnixMilli(1_700_000_100_000),
		Who: "ana", Device: "bench", Reason: "größer", Flags: []Flag{{FlagLate, "late"}, {FlagHeld, ""}}, Reverses: 3,
		Postings: []Posting{
			{"heat/41", -300, Weighed}, {"oxide/41", 20, ByDifference}, {"lot/L5-1", -60, Weighed}, {"lot/L5-1", 340, Estimated},
			{"supplied/flux", -5, Weighed}, {"supply/flux", 5, Weighed},
		},
		Weighings: []Weighing{{Subject: "lot/L5-1", Scale: "floor", Gross: Quantity{"340 mg", 340}, Net: Quantity{"", 340}, DirtPPM: 2, Pieces: 1}},
		Records: []Record{
			{Kind: "lot", ID: "L5-1", Parent: "heat/41", Body: []byte(`{"alloy":"C87300"}`)},
			{Kind: "heat", ID: "41", Body: []byte(`{}`)}, {Kind: "lot", ID: "L5-1", Body: []byte(`{}`)}, {Kind: "shop"},
		},
		Costs: []Cost{{"lot/L5-1", "EUR", 1250}},
	}
}

// tallies holds what the tally of a log makes of an entry's bytes against Decode and
// checker, which are what a fault is named by: it is right for all or for none, and
// counts what they say is in it.
func tallies(t *testing.T, raw []byte) (right bool) {
	t.Helper()
	s := Sealed{Seq: 7, Bytes: raw, Hash: Chain(Hash{}, raw)}
	what := newChecker().entry("harrow", 7, Hash{}, s)
	got := &logTally{Tally: newTally(), held: map[uint64]Mass{}, parts: 1}
	if right = got.entry("harrow", 7, s); right != (what == "") {
		t.Fatalf("the tally takes it for right: %v; named: %q\n%x", right, what, raw)
	}
	if !right {
		return false
	}
	e, err := Decode(raw)
	if err != nil {
		t.Fatal(err)
	}
	want := got.like()
	holds, last := map[Account]Mass{}, map[string]Record{}
	for _, p := range e.Postings {
		want.Balance(want.Name([]byte(p.Account)), p.Mass)
		holds[p.Account] += p.Mass
	}
	for _, r := range e.Records {
		last[string(r.Kind)+"/"+r.ID] = r
	}
	for key, r := range last {
		want.Count(r.Kind, 1)
		want.Record(want.Name([]byte(key)), []byte(r.Parent), e.Seq, int64(bytes.Index(raw, r.Body)+1), int64(len(r.Body)))
	}
	want.Request(e.Request[:], e.Seq)
	for _, subject := range e.Subjects() {
		want.Touch(want.Name([]byte(subject)), e.Seq)
	}
	if !got.equal(want) {
		t.Errorf("%+v of %+v, want %+v", got.Tally, e, want)
	}
	maps.DeleteFunc(holds, func(a Account, m Mass) bool { return m == 0 || !a.HasFloor() })
	if len(got.held) != len(holds) {
		t.Errorf("%d accounts hold something, want %v", len(got.held), holds)
	}
	for a, m := range holds {
		if held := got.held[got.Name([]byte(a))]; held != m {
			t.Errorf("%s holds %d, want %d", a, held, m)
		}
	}
	return true
}

// TestTallyRefusesWhatIsNamed changes each byte of an entry in each way, cuts it short
// at each, and puts one in or takes one out.
func TestTallyRefusesWhatIsNamed(t *testing.T) {
	raw := Encode(whole())
	if !tallies(t, raw) {
		t.Fatal("the entry itself is not right")
	}
	right := 0
	for i := range raw {
		for x := range 256 {
			changed := bytes.Clone(raw)
			if changed[i] = byte(x); tallies(t, changed) {
				right++
			}
		}
		tallies(t, raw[:i])
		tallies(t, append(raw[:i:i], raw[i+1:]...))
		tallies(t, append(append(raw[:i:i], 'a'), raw[i:]...))
	}
	if all := 256 * len(raw); right < all/10 || right > all*9/10 {
		t.Errorf("%d of %d changes leave it right: this does not try both", right, all)
	}
	e := whole()
	e.Postings[0].Mass--
	e.Postings[4].Mass--
	for range 2 {
		if tallies(t, Encode(e)) {
			t.Errorf("postings that do not sum to nothing are right: %+v", e.Postings)
		}
		e.Postings[0].Mass++
	}
	e = whole()
	e.Postings[0].Mass, e.Postings[3].Mass = 0, 40
	if tallies(t, Encode(e)) {
		t.Errorf("a lot below nothing is right: %+v", e.Postings)
	}
	e.Postings = []Posting{{"spill/41", 1 << 62, Weighed}, {"spill/42", 1 << 62, Weighed}, {"spill/43", -1 << 63, Weighed}}
	if tallies(t, Encode(e)) {
		t.Error("postings too large to add up are right")
	}
}

// FuzzTally: of no bytes the tally of a log says something else than what names faults.
func FuzzTally(f *testing.F) {
	f.Add(Encode(whole()))
	f.Add(Encode(&Entry{Shop: "harrow", Seq: 7, Happened: time.UnixMilli(0), Recorded: time.UnixMilli(0)}))
	f.Fuzz(func(t *testing.T, raw []byte) { tallies(t, raw) })
}
