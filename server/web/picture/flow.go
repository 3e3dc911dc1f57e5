// Package picture draws what figures alone do not show: where a heat's metal went,
// how losses run, how a stock will last. Each picture is one SVG without scripts or
// inline styles, drawn to be read at arm's length on a phone and in black on white
// on paper: kinds of things differ by pattern and word, never by colour alone. It
// has a title and a description for who cannot see it, and a table with the same
// figures goes beside it.
//
// The package knows numbers and words, and nothing of the book.
package picture

import (
	"fmt"
	"html"
	"html/template"
	"strings"
)

// Sort is what became of a stream of metal.
type Sort string

// The sorts of streams, each drawn in its own way.
const (
	Charged Sort = "charged" // came in
	Product Sort = "product" // left as what was wanted
	Back    Sort = "back"    // came back to be melted again
	Waiting Sort = "waiting" // not known yet
	Gone    Sort = "gone"    // lost
)

// Stream is an amount of metal on its way, in milligrams.
type Stream struct {
	Name        string
	Amount      int64 // below zero: it goes the other way, and is drawn and named so
	Sort        Sort
	Provisional bool

	odd bool // drawn on the other side
}

// Flow is metal coming in at the left and going where it went at the right, with
// widths to scale.
type Flow struct {
	Title  string
	Middle string
	In     []Stream
	Out    []Stream
	Show   func(mg int64) string
}

// Sizes of the drawing, in its own units; a phone shows about one to a pixel.
const (
	flowWide   = 400.0
	flowSum    = 190.0 // the width of all that came in
	flowSlot   = 46.0  // the least room for a stream and its words
	flowBar    = 12.0
	flowMiddle = 150.0
	flowTop    = 8.0
)

// band is a stream with its place.
type band struct {
	Stream
	y, thick float64 // at the side
	my       float64 // at the middle
}

// SVG draws the flow.
func (f *Flow) SVG() template.HTML {
	from, to := f.sides()
	per := flowSum / float64(max(sum(from), sum(to), 1))
	left, hl := stack(from, per)
	right, hr := stack(to, per)
	high := max(hl, hr)
	center(left, hl, high, per)
	center(right, hr, high, per)
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="flow" viewBox="0 0 %g %.1f" role="img" aria-labelledby="flow-title flow-desc">`, flowWide, high+2*flowTop)
	fmt.Fprintf(&b, `<title id="flow-title">%s</title><desc id="flow-desc">%s</desc>`, html.EscapeString(f.Title), html.EscapeString(f.words(from, to)))
	b.WriteString(`<defs><pattern id="hatch" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><rect class="hatch-ground" width="6" height="6"/><path class="hatch-line" d="M0 0V6"/></pattern></defs>`)
	top := flowTop + (high-flowSum)/2
	for _, s := range left {
		ribbon(&b, s, flowBar, flowMiddle, s.y, s.my)
	}
	for _, s := range right {
		ribbon(&b, s, flowMiddle+flowBar, flowWide-flowBar, s.my, s.y)
	}
	fmt.Fprintf(&b, `<rect class="melt" x="%g" y="%.1f" width="%g" height="%.1f"/>`, flowMiddle, top, flowBar, flowSum)
	for _, s := range left {
		f.label(&b, s, flowBar+6, "start")
	}
	for _, s := range right {
		f.label(&b, s, flowWide-flowBar-6, "end")
	}
	b.WriteString(`</svg>`)
	return template.HTML(b.String()) //nolint:gosec // every text in it is escaped above
}

// sides are the streams as they are drawn. What went in less than nothing came out,
// and what more came out than went in came from somewhere: else the two sides would
// not be of the same width.
func (f *Flow) sides() (from, to []Stream) {
	turned := func(s Stream) Stream {
		s.Amount, s.odd = -s.Amount, true
		return s
	}
	for _, s := range f.In {
		if s.Amount < 0 {
			to = append(to, turned(s))
		} else if s.Amount > 0 {
			from = append(from, s)
		}
	}
	var back []Stream
	for _, s := range f.Out {
		if s.Amount < 0 {
			from = append(from, turned(s))
		} else if s.Amount > 0 {
			back = append(back, s)
		}
	}
	return from, append(back, to...)
}

func sum(streams []Stream) (all int64) {
	for _, s := range streams {
		all += s.Amount
	}
	return all
}

// stack gives each stream its room from the top, and says how high all are.
func stack(streams []Stream, per float64) (bands []band, high float64) {
	for _, s := range streams {
		thick := max(float64(s.Amount)*per, 1)
		room := max(thick+6, flowSlot)
		bands = append(bands, band{Stream: s, y: high + (room-thick)/2, thick: thick})
		high += room
	}
	return bands, max(high, flowSum)
}

// center moves a side's streams to the middle of the drawing and stacks their
// other ends on the bar without gaps.
func center(bands []band, high, whole, per float64) {
	my := flowTop + (whole-flowSum)/2
	for i := range bands {
		bands[i].y += flowTop + (whole-high)/2
		bands[i].my = my
		my += float64(bands[i].Amount) * per
	}
}

// ribbon draws a stream between two heights.
func ribbon(b *strings.Builder, s band, x0, x1, y0, y1 float64) {
	class := string(s.Sort)
	if s.Sort == "" {
		class = string(Charged)
	}
	if s.Provisional {
		class += " provisional"
	}
	if s.odd {
		class += " odd"
	}
	mid := (x0 + x1) / 2
	fmt.Fprintf(b, `<path class="%s" d="M%.1f %.1fC%.1f %.1f %.1f %.1f %.1f %.1fV%.1fC%.1f %.1f %.1f %.1f %.1f %.1fZ"/>`,
		class, x0, y0, mid, y0, mid, y1, x1, y1, y1+s.thick, mid, y1+s.thick, mid, y0+s.thick, x0, y0+s.thick)
	side := x0 - flowBar
	if x0 > flowMiddle {
		side = x1
	}
	fmt.Fprintf(b, `<rect class="%s" x="%.1f" y="%.1f" width="%g" height="%.1f"/>`, class, side, s.y, flowBar, s.thick)
}

// label writes a stream's name and amount beside it.
func (f *Flow) label(b *strings.Builder, s band, x float64, anchor string) {
	y := s.y + s.thick/2
	name := s.Name
	if s.Provisional {
		name = "≈ " + name
	}
	fmt.Fprintf(b, `<text class="name" x="%.1f" y="%.1f" text-anchor="%s">%s</text><text class="amount" x="%.1f" y="%.1f" text-anchor="%s">%s</text>`,
		x, y-2, anchor, html.EscapeString(name), x, y+13, anchor, html.EscapeString(f.Show(s.Amount)))
}

// words says the flow in one paragraph.
func (f *Flow) words(from, to []Stream) string {
	list := func(streams []Stream) string {
		var parts []string
		for _, s := range streams {
			parts = append(parts, s.Name+" "+f.Show(s.Amount))
		}
		return strings.Join(parts, ", ")
	}
	return "In: " + list(from) + ". Out: " + list(to) + "."
}
