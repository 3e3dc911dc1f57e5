package picture

import (
	"encoding/xml"
	"errors"
	"io"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// TestTrendDrawsAnything: whatever shares there are, the drawing is well formed, holds no
// number that is none, and the names at the right stand clear of each other.
func TestTrendDrawsAnything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 40).Draw(t, "n")
		value := rapid.OneOf(rapid.Float64Range(-100, 200), rapid.Just(math.NaN()), rapid.Just(50.0))
		c := &Trend{ID: "t", Title: rapid.String().Draw(t, "title"), Words: "<&>", Unit: "%", Shares: []Share{{Name: "<b>"}, {Name: "b"}, {Name: "c"}}}
		for i := range n {
			c.Places, c.Open = append(c.Places, "<b>"), append(c.Open, i%3 == 0)
			for k := range c.Shares {
				c.Shares[k].Values = append(c.Shares[k].Values, value.Draw(t, "value"))
			}
		}
		svg := string(c.SVG())
		if strings.Contains(svg, "NaN") || strings.Contains(svg, "Inf") || strings.Contains(svg, "<b>") {
			t.Fatalf("%.300s", svg)
		}
		d := xml.NewDecoder(strings.NewReader(clean(svg)))
		for {
			if _, err := d.Token(); errors.Is(err, io.EOF) {
				break
			} else if err != nil {
				t.Fatalf("%v in %.300s", err, svg)
			}
		}
		at := c.ends(scale{from: -100, to: 200, n: n})
		for k := range at {
			for l := range k {
				if math.Abs(at[k]-at[l]) < 15-1e-9 {
					t.Fatalf("names at %v", at)
				}
			}
		}
	})
}

// TestTrendTellsSharesApart: each share has a mark of its own, hollow where its value can
// still change.
func TestTrendTellsSharesApart(t *testing.T) {
	c := &Trend{ID: "t", Title: "months", Words: "words", Unit: "%", Places: []string{"Jan", "Feb"}, Open: []bool{false, true},
		Shares: []Share{{"castings", []float64{45, 30}}, {"returned", []float64{52, 40}}, {"gone", []float64{2, 1}}}}
	svg := string(c.SVG())
	for _, want := range []string{`<title id="t-title">months</title>`, `<desc id="t-desc">words</desc>`, `>castings</text>`, `>returned</text>`, `>gone</text>`,
		`<circle class="mark share1" `, `<circle class="mark share1 open" `, `<rect class="mark share2" `, `<rect class="mark share2 open" `, `<path class="mark share3" `, `<path class="mark share3 open" `} {
		if strings.Count(svg, want) != 1 {
			t.Errorf("%d times %s in %s", strings.Count(svg, want), want, svg)
		}
	}
}
