package paper

// kind is what a column of a sheet holds.
type kind int

const (
	words  kind = iota // text, over two lines where it must be
	figure             // a number, to the right
	strong             // text that is looked for
	tick               // a box to tick
	blank              // a box to write in
)

// column is one of a table on a sheet: as wide as is said, or a share of what the
// others leave.
type column struct {
	head  string
	kind  kind
	width float64 // mm; 0 takes a share
	share float64 // 1 unless said
}

// grid draws tables.
type grid struct {
	*sheet
	columns []column
	x, w    []float64
	row     float64 // least height of a row
	pt      float64
}

const cellPad = 1.2

func (s *sheet) grid(row float64, columns ...column) *grid {
	g := &grid{sheet: s, columns: columns, row: row * s.tight, pt: 9.5}
	left, shares := s.right-s.left, 0.0
	for i, c := range columns {
		if c.width == 0 && c.share == 0 {
			g.columns[i].share = 1
		}
		left -= c.width
		shares += g.columns[i].share
	}
	x := s.left
	for _, c := range g.columns {
		w := c.width + c.share*left/max(shares, 1e-9)
		g.x, g.w = append(g.x, x), append(g.w, w)
		x += w
	}
	return g
}

// heads writes the names of the columns.
func (g *grid) heads() {
	g.room(g.row + 8)
	g.font(8, false)
	for i, c := range g.columns {
		text := g.fit(c.head, g.w[i]-2*cellPad)
		if c.kind == figure {
			g.rightText(g.x[i]+g.w[i]-cellPad, g.y+3.2, text)
		} else {
			g.at(g.x[i]+cellPad, g.y+3.2, text)
		}
	}
	g.y += 4.4
	g.rule(g.y, thick/2)
}

// add draws a row; a cell for a box is not read, and cells that are not given are
// empty. On a new page the names of the columns come first.
func (g *grid) add(cells ...string) {
	line := g.pt * mmOfPt * 1.25
	texts := make([][]string, len(g.columns))
	h := g.row
	for i, c := range g.columns {
		if i >= len(cells) || c.kind == tick || c.kind == blank {
			continue
		}
		g.font(g.pt, c.kind == strong)
		most := 2
		if c.kind == figure {
			most = 1
		}
		texts[i] = g.wrap(cells[i], g.w[i]-2*cellPad, most)
		h = max(h, float64(len(texts[i]))*line+1.4)
	}
	if g.room(h) {
		g.heads()
	}
	for i, c := range g.columns {
		switch c.kind {
		case tick:
			side := min(h-1.6, 5.5)
			g.box(g.x[i]+cellPad, g.y+(h-side)/2, side, side, 0.35)
		case blank:
			g.box(g.x[i]+0.8, g.y+0.7, g.w[i]-1.6, h-1.4, 0.35)
		default:
			g.font(g.pt, c.kind == strong)
			y := g.y + (h-float64(len(texts[i]))*line)/2 + g.pt*mmOfPt*0.95
			for _, t := range texts[i] {
				if c.kind == figure {
					g.rightText(g.x[i]+g.w[i]-cellPad, y, t)
				} else {
					g.at(g.x[i]+cellPad, y, t)
				}
				y += line
			}
		}
	}
	g.y += h
	g.rule(g.y, thin)
}

// total draws a row below a heavier line, in bold.
func (g *grid) total(cells ...string) {
	g.rule(g.y, thick/2)
	was := make([]kind, len(g.columns))
	for i, c := range g.columns {
		if was[i] = c.kind; c.kind == words {
			g.columns[i].kind = strong
		}
	}
	g.add(cells...)
	for i := range g.columns {
		g.columns[i].kind = was[i]
	}
}

// field is a named value, or a named box to write in.
type field struct {
	name, value string
	box         bool
}

// fields draws named values side by side, so many a line; empty ones that are no
// boxes are left out.
func (s *sheet) fields(across int, boxed float64, all ...field) {
	var shown []field
	for _, f := range all {
		if f.box || f.value != "" {
			shown = append(shown, f)
		}
	}
	w := (s.right - s.left) / float64(across)
	for from := 0; from < len(shown); from += across {
		line := shown[from:min(len(shown), from+across)]
		h := 9.2
		if line[0].box {
			h = boxed * s.tight
		}
		s.room(h)
		for i, f := range line {
			x := s.left + float64(i)*w
			s.font(8, false)
			if f.box {
				s.box(x+0.4, s.y+0.6, w-0.8, h-1.2, 0.35)
				s.at(x+1.6, s.y+3.8, s.fit(f.name, w-3.2))
				continue
			}
			s.at(x, s.y+2.8, s.fit(f.name, w-2))
			s.font(11, true)
			s.at(x, s.y+7.2, s.fit(f.value, w-2))
		}
		s.y += h
	}
}
