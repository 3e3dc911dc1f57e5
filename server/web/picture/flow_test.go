package picture

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"testing"
)

// drawn reads the bars at either side of a flow, and its texts.
func drawn(t *testing.T, svg string) (left, right float64, texts []string) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(svg))
	in := ""
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return left, right, texts
		}
		if err != nil {
			t.Fatal(err)
		}
		switch x := token.(type) {
		case xml.StartElement:
			in = x.Name.Local
			at := map[string]string{}
			for _, a := range x.Attr {
				at[a.Name.Local] = a.Value
			}
			high, _ := strconv.ParseFloat(at["height"], 64)
			switch {
			case in != "rect" || at["class"] == "melt" || at["class"] == "hatch-ground":
			case at["x"] == "0.0":
				left += high
			default:
				right += high
			}
		case xml.CharData:
			if s := strings.TrimSpace(string(x)); s != "" {
				texts = append(texts, s)
			}
		}
	}
}

// TestFlowIsAsWideOnBothSides: what comes in is drawn as wide as what goes out, also
// when a balance says that more came out than went in; and each stream is named.
func TestFlowIsAsWideOnBothSides(t *testing.T) {
	f := &Flow{Title: "Where it went", In: []Stream{{Name: "ingot", Amount: 60_000}, {Name: "<gating>", Amount: 40_000}},
		Out: []Stream{{Name: "castings", Amount: 55_000, Sort: Product}, {Name: "returns", Amount: 53_000, Sort: Back},
			{Name: "nothing", Sort: Gone}, {Name: "unaccounted", Amount: -8_000, Sort: Gone, Provisional: true}},
		Show: func(mg int64) string { return fmt.Sprint(mg, " mg") }}
	left, right, texts := drawn(t, string(f.SVG()))
	if d := left - right; d < -0.2 || d > 0.2 {
		t.Errorf("%.1f wide at the left, %.1f at the right", left, right)
	}
	all := strings.Join(texts, "\n")
	for _, want := range []string{"<gating>", "≈ unaccounted", "8000 mg", "In: ingot 60000 mg, <gating> 40000 mg, unaccounted 8000 mg. Out: castings 55000 mg, returns 53000 mg."} {
		if !strings.Contains(all, want) {
			t.Errorf("%q is not drawn:\n%s", want, all)
		}
	}
	if strings.Contains(all, "nothing") || strings.Contains(all, "-8000") {
		t.Errorf("a stream of nothing, or of less, is drawn:\n%s", all)
	}
}
