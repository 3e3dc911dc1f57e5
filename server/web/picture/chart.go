package picture

import (
	"fmt"
	"html"
	"html/template"
	"math"
	"slices"
	"strconv"
	"strings"
)

// Chart is values along a row of heats or days: a band of what is expected, lines,
// and marks. All slices have one value for each place of the row, NaN for none.
type Chart struct {
	ID     string // of the drawing on its page
	Title  string
	Words  string   // what it shows, for who cannot see it
	Unit   string   // of the values, on the axis
	Places []string // what stands below some of the places
	Low    []float64
	High   []float64 // the band from Low to High
	Line   []float64
	Marks  []Mark
	Levels []Level
}

// Mark is a value of its own; one that stands out is drawn larger, with its words.
type Mark struct {
	At    int
	Value float64
	Out   bool
	Words string
}

// Level is a value that matters along the whole row.
type Level struct {
	Value float64
	Words string
}

// Sizes of the drawing, in its own units.
const (
	chartWide   = 400.0
	chartHigh   = 240.0
	chartLeft   = 44.0
	chartRight  = 8.0
	chartTop    = 22.0
	chartBottom = 26.0
	mostPlaces  = 5 // that are named below
)

// scale turns values into places on the drawing.
type scale struct {
	from, to float64
	n        int
	right    float64 // room beside the drawing
}

func (s scale) x(i int) float64 {
	return chartLeft + (chartWide-chartLeft-s.right)*(float64(i)+0.5)/float64(max(s.n, 1))
}

func (s scale) y(v float64) float64 {
	return chartTop + (chartHigh-chartTop-chartBottom)*(s.to-v)/(s.to-s.from)
}

// SVG draws the chart.
func (c *Chart) SVG() template.HTML {
	step, s := c.scale()
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="chart" viewBox="0 0 %g %g" role="img" aria-labelledby="%s-title %s-desc">`, chartWide, chartHigh, c.ID, c.ID)
	fmt.Fprintf(&b, `<title id="%s-title">%s</title><desc id="%s-desc">%s</desc>`, c.ID, html.EscapeString(c.Title), c.ID, html.EscapeString(c.Words))
	s.axis(&b, step, c.Unit)
	c.band(&b, s)
	for _, l := range c.Levels {
		fmt.Fprintf(&b, `<path class="level" d="M%g %.1fH%g"/><text class="tick" x="%g" y="%.1f" text-anchor="end">%s</text>`,
			chartLeft, s.y(l.Value), chartWide-chartRight, chartWide-chartRight, s.y(l.Value)-4, html.EscapeString(l.Words))
	}
	line(&b, "line", c.Line, s)
	for _, m := range c.Marks {
		mark(&b, m, s)
	}
	s.below(&b, c.Places)
	b.WriteString(`</svg>`)
	return template.HTML(b.String()) //nolint:gosec // every text in it is escaped above
}

// axis draws the lines across, with their values, and the unit above them.
func (s scale) axis(b *strings.Builder, step float64, unit string) {
	fmt.Fprintf(b, `<text class="unit" x="2" y="13">%s</text>`, html.EscapeString(unit))
	for v := s.from; v <= s.to+step/2; v += step {
		fmt.Fprintf(b, `<path class="grid" d="M%g %.1fH%g"/><text class="tick" x="%g" y="%.1f" text-anchor="end">%s</text>`,
			chartLeft, s.y(v), chartWide-s.right, chartLeft-5, s.y(v)+4, tick(v, step))
	}
}

// below names some of the places of the row.
func (s scale) below(b *strings.Builder, places []string) {
	every := max(1, (len(places)+mostPlaces-1)/mostPlaces)
	for i := 0; i < len(places); i += every {
		anchor := "middle"
		if i == 0 {
			anchor = "start"
		}
		fmt.Fprintf(b, `<text class="tick" x="%.1f" y="%g" text-anchor="%s">%s</text>`, s.x(i), chartHigh-8, anchor, html.EscapeString(places[i]))
	}
}

// scale holds every value.
func (c *Chart) scale() (step float64, s scale) {
	all := slices.Concat(c.Low, c.High, c.Line)
	for _, m := range c.Marks {
		all = append(all, m.Value)
	}
	for _, l := range c.Levels {
		all = append(all, l.Value)
	}
	return scaled(all, max(len(c.Places), len(c.Low), len(c.Line)))
}

// scaled is a scale for values and n places, with steps of 1, 2 or 5 times a power of ten.
func scaled(values []float64, n int) (step float64, s scale) {
	from, to := math.Inf(1), math.Inf(-1)
	for _, v := range values {
		if !math.IsNaN(v) && !math.IsInf(v, 0) {
			from, to = math.Min(from, v), math.Max(to, v)
		}
	}
	if from > to {
		from, to = 0, 1
	}
	if to-from < 1e-9*math.Max(1, math.Abs(to)) {
		from, to = from-1, to+1
	}
	raw := (to - from) / 4
	power := math.Pow(10, math.Floor(math.Log10(raw)))
	step = 10 * power
	for _, m := range []float64{1, 2, 5} {
		if m*power >= raw {
			step = m * power
			break
		}
	}
	return step, scale{math.Floor(from/step+1e-9) * step, math.Ceil(to/step-1e-9) * step, n, chartRight}
}

// tick writes a value with as many decimals as its step needs.
func tick(v, step float64) string {
	decimals := max(0, int(math.Ceil(-math.Log10(step)-1e-9)))
	if math.Abs(v) < step/2 {
		v = 0
	}
	return strconv.FormatFloat(v, 'f', decimals, 64)
}

// band draws what is between Low and High.
func (c *Chart) band(b *strings.Builder, s scale) {
	if len(c.Low) == 0 || len(c.Low) != len(c.High) {
		return
	}
	var there, back strings.Builder
	for i := range c.Low {
		j := len(c.Low) - 1 - i
		if !math.IsNaN(c.High[i]) {
			fmt.Fprintf(&there, "L%.1f %.1f", s.x(i), s.y(c.High[i]))
		}
		if !math.IsNaN(c.Low[j]) {
			fmt.Fprintf(&back, "L%.1f %.1f", s.x(j), s.y(c.Low[j]))
		}
	}
	if d := there.String() + back.String(); d != "" {
		fmt.Fprintf(b, `<path class="band" d="M%sZ"/>`, d[1:])
	}
}

// line joins values, with a gap where there is none.
func line(b *strings.Builder, class string, values []float64, s scale) {
	var d strings.Builder
	pen := "M"
	for i, v := range values {
		if math.IsNaN(v) {
			pen = "M"
			continue
		}
		fmt.Fprintf(&d, "%s%.1f %.1f", pen, s.x(i), s.y(v))
		pen = "L"
	}
	if d.Len() > 0 {
		fmt.Fprintf(b, `<path class="%s" d="%s"/>`, class, d.String())
	}
}

// mark draws a dot, or a larger square with words for one that stands out.
func mark(b *strings.Builder, m Mark, s scale) {
	x, y := s.x(m.At), s.y(m.Value)
	if !m.Out {
		fmt.Fprintf(b, `<circle class="dot" cx="%.1f" cy="%.1f" r="2.5"/>`, x, y)
		return
	}
	anchor := "middle"
	switch {
	case x > chartWide-40:
		anchor = "end"
	case x < chartLeft+20:
		anchor = "start"
	}
	fmt.Fprintf(b, `<rect class="out" x="%.1f" y="%.1f" width="9" height="9"/><text class="tick strong" x="%.1f" y="%.1f" text-anchor="%s">%s</text>`,
		x-4.5, y-4.5, x, y-8, anchor, html.EscapeString(m.Words))
}
