package storetest

import (
	"context"
	"testing"

	"github.com/google/go-cmp/cmp"

	"example.org/remelt/ledger"
)

// records tests what is current, what is counted and how lists are cut.
func (s *suite) records(t *testing.T) {
	t.Run("the newest is current", func(t *testing.T) {
		st := s.fresh(t)
		Put(t, st, Shop,
			Note(Rec("mold", "M1", "heat/41", `{"v":1}`), Rec("mold", "M2", "", `{"v":1}`)),
			Note(Rec("mold", "M1", "heat/42", `{"v":22}`)),
			Note(Rec("mold", "M2", "heat/42", `{"v":3}`), Rec("mold", "M2", "", `{"v":4}`))) // the last in an entry wins
		view(t, st, func(r ledger.Reader) {
			wantRecord(t, r, "mold", "M1", &ledger.Record{Kind: "mold", ID: "M1", Parent: "heat/42", Body: []byte(`{"v":22}`), Seq: 2})
			wantRecord(t, r, "mold", "M2", &ledger.Record{Kind: "mold", ID: "M2", Body: []byte(`{"v":4}`), Seq: 3})
			wantRecord(t, r, "mold", "M3", nil)
			wantRecord(t, r, "mold", "m1", nil)
			wantRecord(t, r, "mol", "M1", nil)
			wantRecord(t, r, "lot", "M1", nil)
			wantRecord(t, r, "mold", "", nil)
			wantRecords(t, r, "mold", "heat/41") // moved away
			wantRecords(t, r, "mold", "heat/42", "M1")
			wantRecords(t, r, "mold", "", "M1", "M2")
		})
	})

	t.Run("a name that only has entries about it is no record", func(t *testing.T) {
		st := s.fresh(t)
		Put(t, st, Shop, Move("supplier/S1", "lot/L1", 1), Note(Rec("mold", "M1", "heat/41", `{}`)))
		view(t, st, func(r ledger.Reader) {
			wantRecord(t, r, "lot", "L1", nil)
			wantRecord(t, r, "heat", "41", nil)
			wantRecords(t, r, "lot", "")
			wantRecords(t, r, "heat", "")
		})
	})

	t.Run("are counted when made, not when changed", func(t *testing.T) {
		st := s.fresh(t)
		count := func(r ledger.Reader, kind ledger.RecordKind, want int64) {
			t.Helper()
			if n := must[int64](t)(r.CountRecords(kind)); n != want {
				t.Errorf("%d records of kind %s counted, want %d", n, kind, want)
			}
		}
		Put(t, st, Shop,
			Note(Rec("mold", "M1", "", `{}`), Rec("mold", "M2", "", `{}`), Rec("heat", "41", "", `{}`)),
			Note(Rec("mold", "M1", "", `{"v":2}`), Rec("mold", "M3", "", `{}`), Rec("mold", "M3", "", `{"again":1}`)))
		view(t, st, func(r ledger.Reader) {
			count(r, "mold", 3)
			count(r, "heat", 1)
			count(r, "lot", 0)
			count(r, "mol", 0)
		})
		if err := st.Update(context.Background(), Shop, func(tx ledger.Tx) error {
			appendAll(t, tx, Shop, Note(Rec("mold", "M4", "", `{}`)))
			count(tx, "mold", 4)
			return nil
		}); err != nil {
			t.Error(err)
		}
	})

	t.Run("lists are by parent and by kind, each whole", func(t *testing.T) {
		st := s.fresh(t)
		Put(t, st, Shop, Note(
			Rec("mold", "M2", "heat/41", `{"n":2}`), Rec("mold", "M1", "heat/41", `{"n":1}`), Rec("mold", "M10", "heat/41", `{"n":10}`),
			Rec("mold", "M3", "heat/4", `{"n":3}`), Rec("mold", "M4", "heat/411", `{"n":4}`), Rec("mold", "M5", "Heat/41", `{"n":5}`),
			Rec("molder", "M1", "heat/41", `{"n":6}`), Rec("mold-2", "M1", "heat/41", `{"n":7}`), Rec("mol", "d", "heat/41", `{"n":8}`), Rec("mold0", "M1", "heat/41", `{}`), Rec("mold.", "M1", "heat/41", `{}`),
			Rec("reading", "M1", "heat/41", `{"n":9}`)))
		view(t, st, func(r ledger.Reader) {
			wantRecords(t, r, "mold", "", "M1", "M10", "M2", "M3", "M4", "M5")
			wantRecords(t, r, "mold", "heat/41", "M1", "M10", "M2")
			wantRecords(t, r, "mold", "heat/4", "M3")
			wantRecords(t, r, "mold", "heat", []string{}...)
			wantRecords(t, r, "reading", "heat/41", "M1")
			wantRecords(t, r, "mol", "heat/41", "d")
			wantRecords(t, r, "mold-2", "", "M1")
		})
	})

	t.Run("bodies are kept as they stand", func(t *testing.T) {
		st := s.fresh(t)
		bodies := []string{`{}`, `{"a": 1 }`, "{\"t\":\"\\u0000 \x00 \u2028 é \U0001F525\"}", `{"b":"` + string(make([]byte, 20_000)) + `"}`, `0`,
			`{"like":"%_\\'\"--;"}`}
		for i, b := range bodies {
			// The bytes of one body are inside another's: each is found all the same.
			Put(t, st, Shop, Note(Rec("note", string(rune('a'+i)), "", `{"x":`+b+`}`), Rec("lot", string(rune('a'+i)), "", b)))
		}
		view(t, st, func(r ledger.Reader) {
			for i, b := range bodies {
				rec, found, err := r.Record("lot", string(rune('a'+i)))
				if err != nil || !found || string(rec.Body) != b {
					t.Errorf("body %d comes back as %.60q (%v)", i, rec.Body, err)
				}
			}
		})
	})
}

func wantRecord(t testing.TB, r ledger.Reader, kind ledger.RecordKind, id string, want *ledger.Record) {
	t.Helper()
	got, found, err := r.Record(kind, id)
	switch {
	case err != nil:
		t.Errorf("record %s/%s: %v", kind, id, err)
	case want == nil && (found || !cmp.Equal(got, ledger.Record{})):
		t.Errorf("record %s/%s found: %+v", kind, id, got)
	case want != nil && !found:
		t.Errorf("record %s/%s not found", kind, id)
	case want != nil:
		if diff := cmp.Diff(*want, got); diff != "" {
			t.Errorf("record %s/%s (-want +got):\n%s", kind, id, diff)
		}
	}
}

func wantRecords(t testing.TB, r ledger.Reader, kind ledger.RecordKind, parent string, ids ...string) {
	t.Helper()
	got := []string{}
	for _, rec := range must[[]ledger.Record](t)(r.Records(kind, parent, "", all)) {
		got = append(got, rec.ID)
		one, found, err := r.Record(kind, rec.ID)
		if err != nil || !found || !cmp.Equal(one, rec) {
			t.Errorf("record %s/%s listed as %+v, alone it is %+v (%v)", kind, rec.ID, rec, one, err)
		}
	}
	if diff := cmp.Diff(append([]string{}, ids...), got); diff != "" {
		t.Errorf("records of kind %s of parent %q (-want +got):\n%s", kind, parent, diff)
	}
}
