package picture

import (
	"fmt"
	"html"
	"html/template"
	"math"
	"strings"
)

// Reasons are what makes up a difference: bars to the right add to it, those to the
// left take from it, and all have one scale.
type Reasons struct {
	ID    string // of the drawing on its page
	Title string
	Words string // what it shows, for who cannot see it
	Rows  []Reason
	More  string // what the right side means
	Less  string // and the left
	Show  func(float64) string
}

// Reason is one of them.
type Reason struct {
	Name   string
	Amount float64
}

const reasonRow = 46.0

// SVG draws the reasons.
func (r *Reasons) SVG() template.HTML {
	most := 0.0
	for _, x := range r.Rows {
		most = math.Max(most, math.Abs(x.Amount))
	}
	if most == 0 {
		most = 1
	}
	const middle = rangeWide / 2
	high := reasonRow*float64(len(r.Rows)) + 22
	var b strings.Builder
	open(&b, "chart", r.ID, r.Title, r.Words, rangeWide, high)
	fmt.Fprintf(&b, `<text class="tick" x="%g" y="13" text-anchor="end">← %s</text><text class="tick" x="%g" y="13">%s →</text>`,
		middle-6, html.EscapeString(r.Less), middle+6, html.EscapeString(r.More))
	for i, row := range r.Rows {
		y := 22 + reasonRow*float64(i)
		wide := (middle - rangeSide) * math.Abs(row.Amount) / most
		x, class := middle, "more"
		if row.Amount < 0 {
			x, class = middle-wide, "less"
		}
		fmt.Fprintf(&b, `<text class="name" x="%g" y="%.1f">%s</text><text class="amount" x="%g" y="%.1f" text-anchor="end">%s</text>`,
			rangeSide, y+16, html.EscapeString(row.Name), rangeWide-rangeSide, y+16, html.EscapeString(r.Show(row.Amount)))
		fmt.Fprintf(&b, `<rect class="%s" x="%.1f" y="%.1f" width="%.1f" height="16"/><path class="axis" d="M%g %.1fv22"/>`, class, x, y+23, math.Max(wide, 1), middle, y+20)
	}
	b.WriteString(`</svg>`)
	return template.HTML(b.String()) //nolint:gosec // every text in it is escaped above
}
