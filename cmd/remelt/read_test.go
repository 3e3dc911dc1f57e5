package main

import (
	"bytes"
	"errors"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
)

func TestReadPiece(t *testing.T) {
	for typed, want := range map[string]piece{
		"12.4 lb cup":              {weight: "12.4 lb", form: pb.Form_FORM_CUP},
		"12 lb 6 oz":               {weight: "12 lb 6 oz"},
		"cup 5,2 kg":               {weight: "5,2 kg", form: pb.Form_FORM_CUP},
		"18 lb Gating 3 pcs":       {weight: "18 lb 3 pcs", form: pb.Form_FORM_GATING},
		"1 kg scrap-casting":       {weight: "1 kg", form: pb.Form_FORM_SCRAP_CASTING},
		"2 kg because of the rain": {weight: "2 kg", reason: "of the rain"},
	} {
		got, err := readPiece(typed)
		if err != nil || got != want {
			t.Errorf("%q: got %+v, %v, want %+v", typed, got, err, want)
		}
	}
	for _, typed := range []string{"2 kg cup riser", "2 kg because"} {
		if _, err := readPiece(typed); err == nil {
			t.Errorf("%q was taken", typed)
		}
	}
}

func TestReadPieces(t *testing.T) {
	for typed, want := range map[string]struct {
		rest   string
		pieces int64
	}{
		"18.2 kg 2 pcs": {"18.2 kg", 2}, "18.2 kg": {"18.2 kg", 0}, "3 pieces": {"", 3}, "1 pc": {"", 1}, "": {"", 0}, "pcs": {"pcs", 0},
	} {
		rest, pieces, err := readPieces(typed)
		if err != nil || rest != want.rest || pieces != want.pieces {
			t.Errorf("%q: got %q, %d, %v, want %+v", typed, rest, pieces, err, want)
		}
	}
	for _, typed := range []string{"2 kg 0 pcs", "2 kg some pcs", "2 kg -1 pcs"} {
		if _, _, err := readPieces(typed); err == nil {
			t.Errorf("%q was taken", typed)
		}
	}
}

func TestReadMold(t *testing.T) {
	got, err := readMold("panel A; metal=12,4 kg; gating=5 kg; commission=gate ; volume=1.2 l")
	want := &pb.Mold{DisplayName: "panel A", Metal: &pb.Mass{Text: "12,4 kg"}, Gating: &pb.Mass{Text: "5 kg"}, Commission: "gate", Volume: &pb.Volume{Text: "1.2 l"}}
	if d := cmp.Diff(want, got, protocmp.Transform()); err != nil || d != "" {
		t.Errorf("%v\n%s", err, d)
	}
	if _, err := readMold("panel; mass=3"); err == nil {
		t.Error("an unknown word was taken")
	}
}

func TestWords(t *testing.T) {
	if got := word(pb.Form_FORM_SCRAP_CASTING); got != "scrap-casting" {
		t.Errorf("got %q", got)
	}
	for _, w := range words[pb.Form]() {
		f, err := readWord[pb.Form]("form", strings.ToUpper(w))
		if err != nil || word(f) != w {
			t.Errorf("%q was read as %v, %v", w, f, err)
		}
	}
	if _, err := readWord[pb.Stage]("stage", "unspecified"); err == nil {
		t.Error("the unspecified value was taken")
	}
}

// Times are the shop's, also across a change of the clocks (United States, 2026:
// forward on 8 March, back on 1 November; 15 U.S.C. 260a).
func TestReadTime(t *testing.T) {
	zone, err := time.LoadLocation("America/Chicago")
	if err != nil {
		t.Fatal(err)
	}
	a := &app{own: &pb.Shop{TimeZone: "America/Chicago"}, now: func() time.Time { return time.Date(2026, 3, 9, 1, 0, 0, 0, time.UTC) }}
	for _, c := range []struct {
		typed string
		alone day
		want  string
	}{
		{"2026-03-02 14:00", noon, "2026-03-02T20:00:00Z"},
		{"2026-07-02 14:00", noon, "2026-07-02T19:00:00Z"},
		{"2026-03-02", noon, "2026-03-02T18:00:00Z"},
		{"2026-03-02", dayStart, "2026-03-02T06:00:00Z"},
		{"2026-03-08", dayEnd, "2026-03-09T04:59:59.999Z"}, // a day of 23 hours
		{"2026-11-01", dayEnd, "2026-11-02T05:59:59.999Z"}, // and one of 25
		{"14:00", noon, "2026-03-08T19:00:00Z"},            // today, where it is still the 8th
		{"2026-03-08 1:59", noon, "2026-03-08T07:59:00Z"},
		{"2026-03-08 03:00", noon, "2026-03-08T08:00:00Z"},
		{"2026-11-01 01:30", noon, "2026-11-01T06:30:00Z"}, // there are two, of which the first is taken
		{"2026-03-02T14:00:00+02:00", noon, "2026-03-02T12:00:00Z"},
	} {
		got, err := a.readTime(t.Context(), "--happened", c.typed, c.alone)
		if err != nil || got.AsTime().Format(time.RFC3339Nano) != c.want {
			t.Errorf("%q: got %v, %v, want %s (%s)", c.typed, got.AsTime(), err, c.want, zone)
		}
	}
	for _, typed := range []string{"2026-03-08 02:00", "2026-03-08 02:30", "2026-03-08T02:59:59", "2:30"} { // never shown there; today is the 8th
		if _, err := a.readTime(t.Context(), "--happened", typed, noon); err == nil || !strings.Contains(err.Error(), "no such time in America/Chicago") {
			t.Errorf("%q: %v", typed, err)
		}
	}
	for _, typed := range []string{"tomorrow", "2026-13-02", "2026-02-30", "25:00", "2.3.2026", "03/02/2026"} {
		if _, err := a.readTime(t.Context(), "--happened", typed, noon); err == nil {
			t.Errorf("%q was taken", typed)
		}
	}
}

func TestSpan(t *testing.T) {
	for _, c := range []struct{ args, from, to string }{
		{"2026", "2026-01-01", "2027-01-01"}, {"2026-02", "2026-02-01", "2026-03-01"}, {"2028-02-29", "2028-02-29", "2028-03-01"},
		{"2026-01-01 2026-03-31", "2026-01-01", "2026-04-01"}, {"2026-11 2026-12", "2026-11-01", "2027-01-01"},
	} {
		from, to, err := readSpan(strings.Fields(c.args), time.UTC)
		if err != nil || from.Format(time.DateOnly) != c.from || to.Format(time.DateOnly) != c.to {
			t.Errorf("%q: %v to %v, %v", c.args, from, to, err)
		}
	}
}

// share must be the quotient rounded to a tenth of a per cent, for any mass a book
// can hold.
func TestShare(t *testing.T) {
	for _, c := range []struct{ part, whole int64 }{{27410, 60000}, {285, 60000}, {-5, 60000}, {1, 3}, {1e15, 1e15}, {1e15, 3}, {0, 5}, {1, 2000}, {-1, 2000}} {
		got, err := strconv.ParseFloat(share(c.part, c.whole), 64)
		if err != nil {
			t.Fatal(err)
		}
		exact := 100 * float64(c.part) / float64(c.whole)
		if math.Abs(got-exact) > 0.0500001+math.Abs(exact)*1e-12 {
			t.Errorf("%d of %d is %v, want %v", c.part, c.whole, got, exact)
		}
	}
	if share(1, 0) != "" {
		t.Error("a share of nothing is a figure")
	}
}

func TestReadSheet(t *testing.T) {
	for name, c := range map[string]struct {
		raw     string
		comma   rune
		decimal rune
		weights string // of the good lines
		bad     string // reasons of the bad ones
	}{
		"commas":                 {"weight,alloy\n1.2,A\n3,B\n", ',', '.', "1.2 3", ""},
		"semicolons":             {"weight;alloy\n1,2;A\n0,125;B\n", ';', ',', "1,2 0,125", ""},
		"tabs and mark":          {"\ufeffWeight\tAlloy\r\n1.2\tA\r\n", '\t', '.', "1.2", ""},
		"empty cells and tabs":   {"weight\tlabel\talloy\n1.2\t\tA\n\tx\tB\n", '\t', '.', "1.2 ", ""},
		"blanks":                 {"weight, alloy\n 1.2 , \"A\"\n", ',', '.', "1.2", ""},
		"a heading not closed":   {"weight,\"alloy\n1,A\n", 0, '.', "", "NO_COLUMNS"},
		"doubt settled":          {"weight;alloy\n5,25;A\n1,200;B\n", ';', ',', "5,25 1.200", ""},
		"doubt left":             {"weight;alloy\n1,200;B\n", ';', '.', "1,200", ""},
		"doubt left by a point":  {"weight;alloy\n5,25;A\n3.5;A\n1,200;B\n", ';', '.', "5,25 3.5 1,200", ""},
		"a point in doubt":       {"weight;alloy\n5,2 kg;A\n1.234 kg;B\n1.5;A\n0.125;A\n", ';', '.', "5,2 kg 1.5 0.125", "AMBIGUOUS_POINT"},
		"points only":            {"weight;alloy\n5.2;A\n1.234;B\n", ';', '.', "5.2 1.234", ""},
		"quoted":                 {"weight,label\n\"5,25\",\"a \"\"b\"\"\"\n", ',', ',', "5,25", ""},
		"empty lines":            {"weight,alloy\n\n,\n1,A\n", ',', '.', "1", ""},
		"a comma too many":       {"weight,alloy\n5,2,A\n1,A\n", ',', '.', "1", "EXTRA_CELL"},
		"a quote that is open":   {"weight,label\n1,\"x\n2,y\n", ',', '.', "", "BAD_CSV"},
		"not UTF-8":              {"weight,label\n1,\xe9\n2,y\n", ',', '.', "2", "NOT_UTF8"},
		"a comma in the heading": {"weight;\"a, b\"\n", ';', '.', "", "UNKNOWN_COLUMN"},
		"the same column twice":  {"weight,weight\n", ',', '.', "", "TWICE"},
		"nothing known":          {"kilos,metal\n", 0, '.', "", "NO_COLUMNS"},
		"empty":                  {"", 0, '.', "", "NO_COLUMNS"},
		"UTF-16":                 {"\xff\xfew\x00", 0, '.', "", "NOT_UTF8"},
	} {
		t.Run(name, func(t *testing.T) {
			s, err := readSheet([]byte(c.raw), lotSheet)
			var refused *ledger.Error
			if errors.As(err, &refused) {
				if refused.Reason != c.bad {
					t.Errorf("refused with %v, want %q", err, c.bad)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			var weights, bad []string
			for _, l := range s.lines {
				weights = append(weights, l.cell["weight"])
			}
			for _, b := range s.bad {
				bad = append(bad, b.Reason)
			}
			if s.comma != c.comma || s.decimal != c.decimal || strings.Join(weights, " ") != c.weights || strings.Join(bad, " ") != c.bad {
				t.Errorf("separator %q, decimal %q, weights %q, bad %v", s.comma, s.decimal, weights, s.bad)
			}
		})
	}
}

// FuzzReadSheet: no file makes the reader panic or run for ever, and every line
// it keeps is text of known columns.
func FuzzReadSheet(f *testing.F) {
	for _, seed := range []string{"weight,alloy\n1,A\n", "weight;label\n\"5,2\";x\n", "\ufeffweight\tlot\n1\t\"", "what\n\xff"} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, raw []byte) {
		s, err := readSheet(raw, lotSheet)
		if err != nil {
			return
		}
		if n := bytes.Count(raw, []byte("\n")); len(s.lines)+len(s.bad) > n+bytes.Count(raw, []byte("\r"))+1 {
			t.Errorf("%d lines out of %d", len(s.lines)+len(s.bad), n)
		}
		for _, l := range s.lines {
			for c := range l.cell {
				if !lotSheet.knows(c) {
					t.Errorf("line %d has a column %q", l.number, c)
				}
			}
		}
		_ = s.describe()
	})
}
