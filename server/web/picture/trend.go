package picture

import (
	"fmt"
	"html"
	"html/template"
	"math"
	"slices"
	"strings"
)

// Trend is how several shares of one whole go from month to month. Each has its own
// line, mark and name at its end, so that they are told apart without colour. A value
// that can still change is drawn hollow.
type Trend struct {
	ID     string // of the drawing on its page
	Title  string
	Words  string // what it shows, for who cannot see it
	Unit   string // of the values, on the axis
	Places []string
	Open   []bool // places whose values can still change
	Shares []Share
}

// Share is one line of a Trend, NaN where there is no value.
type Share struct {
	Name   string
	Values []float64
}

// trendNames is the room for the names at the right, in the drawing's units.
const trendNames = 88.0

// SVG draws the trend.
func (t *Trend) SVG() template.HTML {
	var values [][]float64
	for _, s := range t.Shares {
		values = append(values, s.Values)
	}
	step, s := scaled(append(slices.Concat(values...), 0), len(t.Places))
	s.right = trendNames
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="chart trend" viewBox="0 0 %g %g" role="img" aria-labelledby="%s-title %s-desc">`, chartWide, chartHigh, t.ID, t.ID)
	fmt.Fprintf(&b, `<title id="%s-title">%s</title><desc id="%s-desc">%s</desc>`, t.ID, html.EscapeString(t.Title), t.ID, html.EscapeString(t.Words))
	s.axis(&b, step, t.Unit)
	at := t.ends(s)
	for k, share := range t.Shares {
		class := fmt.Sprintf("share%d", k+1)
		line(&b, "line "+class, share.Values, s)
		for i, v := range share.Values {
			if !math.IsNaN(v) {
				shape(&b, k, class, s.x(i), s.y(v), i < len(t.Open) && t.Open[i])
			}
		}
		fmt.Fprintf(&b, `<text class="tick strong" x="%g" y="%.1f">%s</text>`, chartWide-trendNames+10, at[k]+4, html.EscapeString(share.Name))
	}
	s.below(&b, t.Places)
	b.WriteString(`</svg>`)
	return template.HTML(b.String()) //nolint:gosec // every text in it is escaped above
}

// ends are the heights of the names: where their lines end, moved apart.
func (t *Trend) ends(s scale) []float64 {
	const apart = 15.0
	at := make([]float64, len(t.Shares))
	order := make([]int, len(t.Shares))
	for k, share := range t.Shares {
		order[k], at[k] = k, s.y(0)
		for _, v := range share.Values {
			if !math.IsNaN(v) {
				at[k] = s.y(v)
			}
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return int(math.Copysign(1, at[a]-at[b])) })
	for i := 1; i < len(order); i++ {
		at[order[i]] = math.Max(at[order[i]], at[order[i-1]]+apart)
	}
	return at
}

// shape draws the mark of the k-th share: a dot, a square, a triangle.
func shape(b *strings.Builder, k int, class string, x, y float64, open bool) {
	if class = "mark " + class; open {
		class += " open"
	}
	switch k % 3 {
	case 0:
		fmt.Fprintf(b, `<circle class="%s" cx="%.1f" cy="%.1f" r="4"/>`, class, x, y)
	case 1:
		fmt.Fprintf(b, `<rect class="%s" x="%.1f" y="%.1f" width="7.5" height="7.5"/>`, class, x-3.75, y-3.75)
	default:
		fmt.Fprintf(b, `<path class="%s" d="M%.1f %.1fl5 8.5h-10Z"/>`, class, x, y-5.5)
	}
}
