package readout

import (
	"encoding/json"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// Patterns read the lines they should, and no others. The pages are held against
// the same table by TestLinePatterns in server/web.
func TestPatterns(t *testing.T) {
	raw, err := os.ReadFile(filepath.Join("..", "..", "testdata", "scales", "lines.json"))
	if err != nil {
		t.Fatal(err)
	}
	var table []struct{ Pattern, Line, Reads string }
	if err := json.Unmarshal(raw, &table); err != nil || len(table) < 10 {
		t.Fatalf("%d lines: %v", len(table), err)
	}
	for _, x := range table {
		p, err := ParsePattern(x.Pattern)
		if err != nil {
			t.Errorf("%q: %v", x.Pattern, err)
			continue
		}
		if r, _ := p.Read(x.Line); r.String() != x.Reads {
			t.Errorf("%q of %q is %q, not %q", x.Pattern, x.Line, r, x.Reads)
		}
	}
	for _, bad := range []string{"", "stands", "{weight} {weight}", "{weight} {unit} {unit}", "{weight}" + strings.Repeat("x", 200)} {
		if _, err := ParsePattern(bad); err == nil {
			t.Errorf("%.40q is taken for a pattern", bad)
		}
	}
}

func TestPorts(t *testing.T) {
	for text, want := range map[string]Port{"": {9600, 8, 'N', 1}, "2400": {2400, 8, 'N', 1}, " 9600 7e1 ": {9600, 7, 'E', 1}, "115200  8O2": {115200, 8, 'O', 2}} {
		if p, err := ParsePort(text); err != nil || p != want {
			t.Errorf("%q is %v, %v", text, p, err)
		}
	}
	for _, bad := range []string{"0", "9600 9N1", "9600 8X1", "9600 8N3", "fast", "9600,8N1", "-1", "99999999"} {
		if _, err := ParsePort(bad); err == nil {
			t.Errorf("%q is taken for the settings of a port", bad)
		}
	}
}

// However a stream is cut, its lines are the same; what is too long is dropped.
func TestLinesHoweverCut(t *testing.T) {
	stream := "first\r\nsecond\n\n\n" + strings.Repeat("x", 1<<20) + "12.3 kg\r\n\x02third\x03" + strings.Repeat("y", 200) + "\r" + strings.Repeat("z", 201) + "\rnot ended"
	want := []string{"first", "second", "third", strings.Repeat("y", 200)}
	for seed := range uint64(50) {
		rng := rand.New(rand.NewPCG(seed, 1))
		var l Lines
		var got []string
		for at := 0; at < len(stream); {
			n := 1 + rng.IntN(1+rng.IntN(4096))
			end := min(at+n, len(stream))
			got = append(got, l.Add([]byte(stream[at:end]))...)
			at = end
		}
		if !slices.Equal(got, want) {
			t.Fatalf("seed %d: %.80q", seed, got)
		}
		if cap(l.rest) > 1024 {
			t.Fatalf("seed %d: it keeps %d bytes", seed, cap(l.rest))
		}
	}
}

func TestSettled(t *testing.T) {
	var s Settled
	var got []string
	for _, w := range []string{"1", "2", "2", "2", "3", "2", "2"} {
		if s.Hear(Reading{Weight: w, Unit: "kg"}) {
			got = append(got, w)
		}
	}
	if want := []string{"2", "2", "2"}; !slices.Equal(got, want) {
		t.Errorf("%v count, not %v", got, want)
	}
	if s.Hear(Reading{Weight: "2", Unit: "lb"}) {
		t.Error("another unit is another weight")
	}
	patient := Settled{Lines: 4}
	for i := range 4 {
		if patient.Hear(Reading{Weight: "2"}) != (i == 3) {
			t.Errorf("after %d lines", i+1)
		}
	}
}

// A piece counts once, whatever is done to it, until the scale has been empty.
func TestPieces(t *testing.T) {
	p := Pieces{Empty: 100}
	for i, x := range []struct {
		mg   int64
		want On
	}{
		{5000, SamePiece}, // it lay there at the start
		{-101, BelowZero}, {5000, SamePiece},
		{40, Nothing}, {0, Nothing}, {5000, NewPiece}, {5010, SamePiece}, {9000, SamePiece}, {101, SamePiece}, {5000, SamePiece},
		{-100, Nothing}, {-5000, BelowZero}, {101, NewPiece}, {101, SamePiece},
	} {
		if got := p.Hear(x.mg); got != x.want {
			t.Errorf("%d: %d mg is %v, not %v", i, x.mg, got, x.want)
		}
	}
}

func FuzzLine(f *testing.F) {
	f.Add(Usual, "ST,GS,+ 12.3kg\r\n")
	f.Add("{weight}", "\x02\x0312")
	f.Fuzz(func(t *testing.T, pattern, stream string) {
		p, err := ParsePattern(pattern)
		if err != nil {
			return
		}
		var l Lines
		for _, line := range l.Add([]byte(stream)) {
			if r, ok := p.Read(line); ok && strings.Trim(r.Weight, "-.0123456789") != "" {
				t.Errorf("%q of %q reads %q", pattern, line, r.Weight)
			}
		}
	})
}
