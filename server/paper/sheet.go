package paper

import (
	"bytes"
	"fmt"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
)

// sheet is a document being drawn. Lengths are in mm, sizes of letters in points,
// y goes down, and text stands on its y.
type sheet struct {
	pdf         *fpdf.Fpdf
	left, right float64 // where the lines of a page begin and end
	top, bottom float64
	y           float64 // where the next thing is drawn
	running     string  // what stands at the top of later pages and at the foot
	pages       int     // how many pages there will be; 0 while nobody knows
	tight       float64 // share of the usual height of rows
}

const (
	margin = 14.0
	mmOfPt = 25.4 / 72
	thin   = 0.15
	thick  = 0.5
)

// newSheet begins a document. stated is the moment it speaks of; it is the only
// time in the file.
func newSheet(size Size, title string, stated time.Time) *sheet {
	pdf := fpdf.NewCustom(&fpdf.InitType{UnitStr: "mm", Size: fpdf.SizeType{Wd: size.W, Ht: size.H}})
	pdf.SetCreationDate(stated)
	pdf.SetModificationDate(stated)
	pdf.SetCatalogSort(true)
	pdf.SetProducer("remelt", true)
	pdf.SetTitle(cut(plain(title), 200), true)
	pdf.SetLang("en")
	pdf.SetMargins(0, 0, 0)
	pdf.SetAutoPageBreak(false, 0)
	pdf.AddUTF8FontFromBytes(fontName, "", goregular.TTF)
	pdf.AddUTF8FontFromBytes(fontName, "B", gobold.TTF)
	return &sheet{pdf: pdf, left: margin, right: size.W - margin, top: margin, bottom: size.H - margin, tight: 1}
}

// render draws a document with numbered pages: once to count them, then for good.
// A document that would run a little over a page is set tighter first.
func render(size Size, title, running string, stated time.Time, draw func(*sheet)) (*sheet, error) {
	var s *sheet
	pages := 0
	for _, tight := range []float64{1, 0.86, 0.74} {
		s = newSheet(size, title, stated)
		s.running, s.tight = running, tight
		s.page()
		draw(s)
		if pages = s.pdf.PageCount(); pages == 1 {
			break
		}
	}
	tight := s.tight
	if pages > 1 {
		tight = 1
	}
	for {
		s = newSheet(size, title, stated)
		s.running, s.tight, s.pages = running, tight, pages
		s.page()
		draw(s)
		if s.pdf.PageCount() == pages {
			return s, s.pdf.Error()
		}
		pages = s.pdf.PageCount()
	}
}

// document ends the drawing; name is the file's without its ending.
func (s *sheet) document(name string) (*Document, error) {
	pages := s.pdf.PageCount()
	var out bytes.Buffer
	if err := s.pdf.Output(&out); err != nil {
		return nil, err
	}
	return &Document{Name: name + ".pdf", PDF: out.Bytes(), Pages: pages}, nil
}

// page begins a page, with its foot.
func (s *sheet) page() {
	s.pdf.AddPage()
	s.y = s.top
	n := ""
	if s.pages > 0 {
		n = fmt.Sprintf("page %d of %d", s.pdf.PageCount(), s.pages)
	}
	s.font(8, false)
	foot := s.bottom + 6
	s.rightText(s.right, foot, n)
	s.at(s.left, foot, s.fit(s.running, s.right-s.left-30))
	if s.pdf.PageCount() > 1 {
		s.at(s.left, s.y+2.5, s.fit(s.running, s.right-s.left))
		s.rule(s.y+4, thin)
		s.y += 9
	}
}

// room begins a new page unless so much is left on this one; it reports whether
// it did.
func (s *sheet) room(h float64) bool {
	if s.y+h <= s.bottom {
		return false
	}
	s.page()
	return true
}

func (s *sheet) font(pt float64, bold bool) {
	style := ""
	if bold {
		style = "B"
	}
	s.pdf.SetFont(fontName, style, pt)
}

// width is that of a text in the font that is set.
func (s *sheet) width(text string) float64 { return s.pdf.GetStringWidth(text) }

// at writes a text that is plain already.
func (s *sheet) at(x, y float64, text string) { s.pdf.Text(x, y, text) }

func (s *sheet) rightText(x, y float64, text string) { s.at(x-s.width(text), y, text) }

// rule draws a line over the width; a thin one is grey, so that boxes stand out.
func (s *sheet) rule(y, weight float64) {
	if weight <= thin {
		s.pdf.SetDrawColor(150, 150, 150)
		defer s.pdf.SetDrawColor(0, 0, 0)
	}
	s.pdf.SetLineWidth(weight)
	s.pdf.Line(s.left, y, s.right, y)
}

func (s *sheet) box(x, y, w, h, weight float64) {
	s.pdf.SetLineWidth(weight)
	s.pdf.Rect(x, y, w, h, "D")
}

// fit makes a text plain and cuts it to a width, with an ellipsis where it is cut.
func (s *sheet) fit(text string, w float64) string {
	text = plain(text)
	if s.width(text) <= w {
		return text
	}
	runes := []rune(text)
	keep, over := 0, len(runes)
	for keep+1 < over { // the longest beginning that fits
		mid := (keep + over) / 2
		if s.width(string(runes[:mid])+"…") <= w {
			keep = mid
		} else {
			over = mid
		}
	}
	return strings.TrimRight(string(runes[:keep]), " ") + "…"
}

// wrap breaks a text into at most so many lines; the last is cut where it must be.
func (s *sheet) wrap(text string, w float64, most int) []string {
	words := strings.Fields(plain(text))
	var lines []string
	for len(words) > 0 {
		if len(lines) == most-1 {
			return append(lines, s.fit(strings.Join(words, " "), w))
		}
		line := s.fit(words[0], w)
		for words = words[1:]; len(words) > 0 && s.width(line+" "+words[0]) <= w; words = words[1:] {
			line += " " + words[0]
		}
		lines = append(lines, line)
	}
	return lines
}

// paragraph writes a text over the whole width, in at most so many lines.
func (s *sheet) paragraph(text string, pt float64, bold bool, most int) {
	s.font(pt, bold)
	for _, line := range s.wrap(text, s.right-s.left, most) {
		h := pt * mmOfPt * 1.3
		if s.room(h) {
			s.font(pt, bold)
		}
		s.at(s.left, s.y+pt*mmOfPt, line)
		s.y += h
	}
}

// heading writes the name of a part, and keeps it with what follows.
func (s *sheet) heading(text string) {
	s.y += 3.5 * s.tight
	s.room(18)
	s.font(12, true)
	s.at(s.left, s.y+4.4, s.fit(text, s.right-s.left))
	s.y += 6.6
}

// fill is the largest size, at most so many points, at which a text is not wider
// than w.
func (s *sheet) fill(text string, w, most float64, bold bool) float64 {
	s.font(most, bold)
	if have := s.width(text); have > w {
		return most * w / have
	}
	return most
}
