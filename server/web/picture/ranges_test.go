package picture

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func amount(v float64) string { return fmt.Sprintf("<%.0f>", v) }

// wellFormed fails when a drawing is not, or holds a number that is none.
func wellFormed(t *rapid.T, svg string) {
	if strings.Contains(svg, "NaN") || strings.Contains(svg, "Inf") {
		t.Fatalf("%.300s", svg)
	}
	for d := xml.NewDecoder(strings.NewReader(clean(svg))); ; {
		if _, err := d.Token(); errors.Is(err, io.EOF) {
			return
		} else if err != nil {
			t.Fatalf("%v in %.300s", err, svg)
		}
	}
}

var rects = regexp.MustCompile(`<rect class="([a-z ]+)" x="([-0-9.]+)" y="[-0-9.]+" width="([-0-9.]+)"`)

// bars are the class, place and width of every bar of a drawing.
func bars(svg string) (out []struct {
	class   string
	x, wide float64
}) {
	for _, m := range rects.FindAllStringSubmatch(svg, -1) {
		x, _ := strconv.ParseFloat(m[2], 64)
		wide, _ := strconv.ParseFloat(m[3], 64)
		out = append(out, struct {
			class   string
			x, wide float64
		}{m[1], x, wide})
	}
	return out
}

// TestRangesDrawAnything: whatever the amounts are, each bar lies within the drawing,
// and one that is twice as wide is drawn so.
func TestRangesDrawAnything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := &Ranges{ID: "r", Title: rapid.String().Draw(t, "title"), Words: "<&>", Show: amount}
		for range rapid.IntRange(0, 9).Draw(t, "n") {
			low := rapid.Float64Range(-1e9, 1e9).Draw(t, "low")
			span := rapid.Float64Range(0, 1e6).Draw(t, "span")
			r.Rows = append(r.Rows, Range{Name: rapid.String().Draw(t, "name"), Low: low, Middle: low + span/2, High: low + span})
		}
		if rapid.Bool().Draw(t, "level") {
			r.Level = &Level{Value: rapid.Float64Range(-1e9, 1e9).Draw(t, "at"), Words: "\"'<"}
		}
		svg := string(r.SVG())
		wellFormed(t, svg)
		drawn := bars(svg)
		if len(drawn) != len(r.Rows) {
			t.Fatalf("%d bars of %d", len(drawn), len(r.Rows))
		}
		for _, d := range drawn {
			if d.x < rangeSide-0.1 || d.x+d.wide > rangeWide-rangeSide+1.1 {
				t.Fatalf("a bar from %g to %g", d.x, d.x+d.wide)
			}
		}
	})
	drawn := bars(string((&Ranges{Rows: []Range{{Low: 100, Middle: 150, High: 200}, {Low: 100, Middle: 120, High: 150}}, Show: amount}).SVG()))
	if drawn[0].wide != 380 || drawn[1].wide != 190 {
		t.Errorf("%v", drawn)
	}
}

// TestReasonsAreToScale: bars begin at the middle, to the right when they add, and are
// as long as they are large.
func TestReasonsAreToScale(t *testing.T) {
	r := &Reasons{Rows: []Reason{{"weight", 200}, {"loss", -50}, {"fuel", 0}}, Show: amount}
	drawn := bars(string(r.SVG()))
	if d := drawn[0]; d.class != "more" || d.x != 200 || d.wide != 190 {
		t.Errorf("%v", d)
	}
	if d := drawn[1]; d.class != "less" || d.x != 152.5 || d.wide != 47.5 {
		t.Errorf("%v", d)
	}
	rapid.Check(t, func(t *rapid.T) {
		r := &Reasons{Title: rapid.String().Draw(t, "title"), Show: amount}
		for range rapid.IntRange(0, 20).Draw(t, "n") {
			r.Rows = append(r.Rows, Reason{rapid.String().Draw(t, "name"), rapid.Float64Range(-1e12, 1e12).Draw(t, "amount")})
		}
		wellFormed(t, string(r.SVG()))
	})
}
