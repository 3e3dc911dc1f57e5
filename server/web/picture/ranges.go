package picture

import (
	"fmt"
	"html"
	"html/template"
	"math"
	"strings"
)

// Ranges are amounts that are known only within bounds, one below the other on one
// scale, and one amount that they are held against.
type Ranges struct {
	ID    string // of the drawing on its page
	Title string
	Words string // what it shows, for who cannot see it
	Rows  []Range
	Level *Level // what they are held against, or nil
	Show  func(float64) string
}

// Range is one of them.
type Range struct {
	Name              string
	Low, Middle, High float64
	Faint             bool // it does not hold any more
}

// Sizes of the drawing, in its own units; a phone shows about one to a pixel.
const (
	rangeWide = 400.0
	rangeRow  = 58.0
	rangeSide = 10.0
	rangeFoot = 38.0
)

// SVG draws the ranges.
func (r *Ranges) SVG() template.HTML {
	from, to := math.Inf(1), math.Inf(-1)
	see := func(v float64) { from, to = math.Min(from, v), math.Max(to, v) }
	for _, x := range r.Rows {
		see(x.Low)
		see(x.High)
	}
	if r.Level != nil {
		see(r.Level.Value)
	}
	if from > to {
		from, to = 0, 1
	}
	if to-from < 1e-9*math.Max(1, math.Abs(to)) {
		from, to = from-1, to+1
	}
	x := func(v float64) float64 { return rangeSide + (rangeWide-2*rangeSide)*(v-from)/(to-from) }
	high := rangeRow*float64(len(r.Rows)) + rangeFoot
	var b strings.Builder
	open(&b, "chart", r.ID, r.Title, r.Words, rangeWide, high)
	for i, row := range r.Rows {
		y, class := rangeRow*float64(i), "band"
		if row.Faint {
			class = "band faint"
		}
		fmt.Fprintf(&b, `<text class="name" x="%g" y="%.1f">%s</text><text class="amount" x="%g" y="%.1f" text-anchor="end">%s</text>`,
			rangeSide, y+16, html.EscapeString(row.Name), rangeWide-rangeSide, y+16, html.EscapeString(r.Show(row.Middle)))
		fmt.Fprintf(&b, `<rect class="%s" x="%.1f" y="%.1f" width="%.1f" height="22"/><path class="middle" d="M%.1f %.1fv28"/>`,
			class, x(row.Low), y+25, math.Max(x(row.High)-x(row.Low), 1), x(row.Middle), y+22)
	}
	foot := high - rangeFoot
	if l := r.Level; l != nil {
		anchor := "middle"
		switch at := x(l.Value); {
		case at < rangeWide/3:
			anchor = "start"
		case at > 2*rangeWide/3:
			anchor = "end"
		}
		fmt.Fprintf(&b, `<path class="level" d="M%.1f 20V%.1f"/><text class="strong" x="%.1f" y="%.1f" text-anchor="%s">%s</text>`,
			x(l.Value), foot+4, x(l.Value), foot+18, anchor, html.EscapeString(l.Words))
	}
	fmt.Fprintf(&b, `<text class="tick" x="%g" y="%.1f">%s</text><text class="tick" x="%g" y="%.1f" text-anchor="end">%s</text></svg>`,
		rangeSide, high-4, html.EscapeString(r.Show(from)), rangeWide-rangeSide, high-4, html.EscapeString(r.Show(to)))
	return template.HTML(b.String()) //nolint:gosec // every text in it is escaped above
}

// open begins a drawing, with what is read to who cannot see it.
func open(b *strings.Builder, class, id, title, words string, wide, high float64) {
	fmt.Fprintf(b, `<svg class="%s" viewBox="0 0 %g %.1f" role="img" aria-labelledby="%s-title %s-desc"><title id="%s-title">%s</title><desc id="%s-desc">%s</desc>`,
		class, wide, high, id, id, id, html.EscapeString(title), id, html.EscapeString(words))
}
