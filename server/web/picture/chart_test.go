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

// TestChartDrawsAnything: whatever values and words there are, the drawing is well
// formed, holds no number that is none, and every mark lies within it.
func TestChartDrawsAnything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 400).Draw(t, "n")
		value := rapid.OneOf(rapid.Float64Range(-1e6, 1e6), rapid.Just(math.NaN()), rapid.Just(0.0))
		c := &Chart{ID: "c", Title: rapid.String().Draw(t, "title"), Words: "<&>", Unit: "%"}
		for i := range n {
			c.Places = append(c.Places, "<b>")
			c.Low, c.High = append(c.Low, value.Draw(t, "low")), append(c.High, value.Draw(t, "high"))
			c.Line = append(c.Line, value.Draw(t, "line"))
			if v := value.Draw(t, "mark"); !math.IsNaN(v) {
				c.Marks = append(c.Marks, Mark{At: i, Value: v, Out: i%7 == 0, Words: `"'`})
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
		_, s := c.scale()
		for _, m := range c.Marks {
			if y := s.y(m.Value); y < chartTop-0.01 || y > chartHigh-chartBottom+0.01 {
				t.Fatalf("a mark at %g of %+v", y, s)
			}
		}
	})
}

// clean leaves out characters that XML does not know and HTML shows as nothing.
func clean(s string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' && r != '\t' && r != '\n' || r == 0xFFFE || r == 0xFFFF {
			return -1
		}
		return r
	}, s)
}

// TestTicks: steps are 1, 2 or 5 times a power of ten, and a level is where it says.
func TestTicks(t *testing.T) {
	c := &Chart{Line: []float64{0.3, 4.9}, Places: []string{"1", "2"}}
	step, s := c.scale()
	if step != 2 || s.from != 0 || s.to != 6 {
		t.Errorf("step %g from %g to %g", step, s.from, s.to)
	}
	if got := tick(0.30000000000000004, 0.1); got != "0.3" {
		t.Errorf("%q", got)
	}
	if got := tick(-1e-17, 0.5); got != "0.0" {
		t.Errorf("%q", got)
	}
}
