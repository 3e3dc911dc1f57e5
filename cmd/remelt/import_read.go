package main

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strings"
	"unicode/utf8"
)

// importColumns are the columns an import understands, and what they hold.
var importColumns = [][2]string{
	{"what", "receive or weigh-in"},
	{"weight", "the net weight, with its unit or with the column unit"},
	{"unit", "unit of the weights that name none"},
	{"gross", "everything on the scale, instead of weight"},
	{"tare", "the empty weight to take off gross"},
	{"saved_tare", "a saved tare to take off instead"},
	{"dirt", "per cent of the net that is grit or investment"},
	{"pieces", "how many"},
	{"scale", "the scale"},
	{"alloy", "by any of its names, or unknown"},
	{"form", "ingot, cup, gating, riser, pig, …"},
	{"heat", "weigh-in: the heat, or several with their shares: 41=60 42=40"},
	{"into", "weigh-in: an existing lot, or one of an earlier line"},
	{"supplier", "receive: who it was bought from"},
	{"customer", "receive: whose own metal it is"},
	{"here_already", "receive: yes when it was here before the book began"},
	{"owner", "weigh-in: whose own metal it is"},
	{"place", "where it is put"},
	{"label", "a label for people"},
	{"lot", "the new lot's id"},
	{"dirty", "yes when it is still to be cleaned"},
	{"unsure", "yes when the alloy is a guess"},
	{"price", "receive: a total 310.00 USD or a rate 4.85 USD/lb"},
	{"certificate", "receive: its number"},
	{"analysis", "receive: Cu=95.8 Si=3.9±0.1"},
	{"happened", "when, in the shop's time zone"},
	{"who", "who did it"},
	{"reason", "why, when it is unusual"},
}

// sheetKind is a kind of CSV file: its columns with what they hold, and which of them
// hold numbers.
type sheetKind struct {
	columns [][2]string
	numeric []string
	command string // that lists the columns in its help
}

var lotSheet = sheetKind{importColumns, []string{"weight", "gross", "tare", "dirt"}, "remelt import"}

// help lists the columns.
func (k sheetKind) help() string {
	var b strings.Builder
	for _, c := range k.columns {
		fmt.Fprintf(&b, "  %-12s %s\n", c[0], c[1])
	}
	return b.String()
}

// sheet is a CSV file as it was read.
type sheet struct {
	kind    sheetKind
	lines   []sheetLine
	bad     []badLine
	columns []string
	comma   rune
	decimal rune // ',' when the numbers of the file are written so
	marked  bool // it began with a byte order mark
}

// sheetLine is a line by its columns.
type sheetLine struct {
	number int
	cell   map[string]string
}

// badLine is a line that cannot be imported, and why.
type badLine struct {
	Line   int    `json:"line"`
	Column string `json:"column,omitempty"`
	Value  string `json:"value,omitempty"`
	Want   string `json:"want"`
	Reason string `json:"reason"`
}

const (
	maxImport = 16 << 20 // bytes
	maxLines  = 50_000
)

// readSheet reads a CSV file: separated by semicolons, commas or tabs, whichever
// makes its first line name the most columns; with decimal points or commas. An
// error is about the file as a whole; bad lines are listed.
func readSheet(raw []byte, kind sheetKind) (*sheet, error) {
	s := &sheet{kind: kind, decimal: '.'}
	if len(raw) > maxImport {
		return nil, refusedFile("TOO_LARGE", "is larger than 16 MiB; split it")
	}
	if bytes.HasPrefix(raw, []byte{0xFF, 0xFE}) || bytes.HasPrefix(raw, []byte{0xFE, 0xFF}) {
		return nil, refusedFile("NOT_UTF8", "is UTF-16; save it as CSV UTF-8")
	}
	raw, s.marked = bytes.CutPrefix(raw, []byte{0xEF, 0xBB, 0xBF})
	if !s.sniff(raw) {
		var names []string
		for _, c := range kind.columns {
			names = append(names, c[0])
		}
		return nil, refusedFile("NO_COLUMNS", "has a first line that names no column of "+strings.Join(names, ", "))
	}
	r := newCSV(raw, s.comma)
	for first := true; ; first = false {
		record, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		var parse *csv.ParseError
		switch {
		case errors.As(err, &parse):
			s.bad = append(s.bad, badLine{Line: parse.StartLine, Want: "has quotes that do not close or stand inside a cell: " + parse.Err.Error(), Reason: "BAD_CSV"})
		case err != nil:
			return nil, err
		case first:
			if err := s.head(record); err != nil {
				return nil, err
			}
		default:
			line, _ := r.FieldPos(0)
			s.take(line, record)
		}
		if len(s.lines)+len(s.bad) > maxLines {
			return nil, refusedFile("TOO_MANY_LINES", "has more than 50 000 lines; split it")
		}
	}
	s.sniffDecimal()
	return s, nil
}

func newCSV(raw []byte, comma rune) *csv.Reader {
	r := csv.NewReader(bytes.NewReader(raw))
	// Blanks before a quote are forgiven; between tabs they would be the cells.
	r.Comma, r.FieldsPerRecord, r.TrimLeadingSpace = comma, -1, comma != '\t'
	return r
}

// sniff finds the separator: the one with which the first line names the most
// columns. It reports whether it names any.
func (s *sheet) sniff(raw []byte) bool {
	first, _, _ := bytes.Cut(raw, []byte("\n"))
	most := 0
	for _, comma := range []rune{';', ',', '\t'} {
		r := newCSV(first, comma)
		record, err := r.Read()
		if err != nil {
			continue
		}
		n := 0
		for _, cell := range record {
			if s.kind.knows(columnName(cell)) {
				n++
			}
		}
		if n > most {
			most, s.comma = n, comma
		}
	}
	return most > 0
}

func columnName(cell string) string {
	return strings.NewReplacer(" ", "_", "-", "_").Replace(strings.ToLower(strings.TrimSpace(cell)))
}

func (k sheetKind) knows(name string) bool {
	return slices.ContainsFunc(k.columns, func(c [2]string) bool { return c[0] == name })
}

func (s *sheet) head(record []string) error {
	for _, cell := range record {
		name := columnName(cell)
		switch {
		case name != "" && !s.kind.knows(name):
			return refusedFile("UNKNOWN_COLUMN", fmt.Sprintf("has a column %q that is not understood; rename it or take it out (%s --help lists the columns)", cell, s.kind.command))
		case name != "" && slices.Contains(s.columns, name):
			return refusedFile("TWICE", fmt.Sprintf("has two columns %q", cell))
		}
		s.columns = append(s.columns, name)
	}
	return nil
}

// take keeps a line, unless it is empty.
func (s *sheet) take(number int, record []string) {
	l := sheetLine{number, map[string]string{}}
	for i, cell := range record {
		cell = strings.TrimSpace(cell)
		if cell == "" {
			continue
		}
		switch {
		case !utf8.ValidString(cell):
			s.bad = append(s.bad, badLine{Line: number, Column: s.columnAt(i), Value: strings.ToValidUTF8(cell, "\uFFFD"), Want: "is not UTF-8 text; save the file as CSV UTF-8", Reason: "NOT_UTF8"})
			return
		case i >= len(s.columns) || s.columns[i] == "":
			s.bad = append(s.bad, badLine{Line: number, Column: fmt.Sprint(i + 1), Value: cell, Want: "has no column heading above it; a comma inside a number or a text needs quotes", Reason: "EXTRA_CELL"})
			return
		}
		l.cell[s.columns[i]] = cell
	}
	if len(l.cell) > 0 {
		s.lines = append(s.lines, l)
	}
}

func (s *sheet) columnAt(i int) string {
	if i < len(s.columns) {
		return s.columns[i]
	}
	return fmt.Sprint(i + 1)
}

var (
	plainComma   = regexp.MustCompile(`^[0-9]+,(?:[0-9]{1,2}|[0-9]{4,})(?:[^0-9,.]|$)|^0,[0-9]+`)
	doubtfulOnly = regexp.MustCompile(`^[1-9][0-9]{0,2},[0-9]{3}([^0-9,.].*)?$`)
	doubtfulDot  = regexp.MustCompile(`^([1-9][0-9]{0,2})\.([0-9]{3})([^0-9,.].*)?$`)
)

// sniffDecimal settles what a comma in a number of this file means. "1,200" alone
// could be either; in a file whose other numbers are plainly written with decimal
// commas, and none with a point, it is a number with three decimals. "1.234" is one
// unless others are written with decimal commas: then nobody knows.
func (s *sheet) sniffDecimal() {
	commas, points := false, false
	for _, l := range s.lines {
		for _, c := range s.kind.numeric {
			commas = commas || plainComma.MatchString(l.cell[c])
			points = points || strings.Contains(l.cell[c], ".")
		}
	}
	switch {
	case commas && points:
		s.lines = slices.DeleteFunc(s.lines, s.doubtful)
	case commas:
		s.decimal = ','
		for _, l := range s.lines {
			for _, c := range s.kind.numeric {
				if doubtfulOnly.MatchString(l.cell[c]) {
					l.cell[c] = strings.Replace(l.cell[c], ",", ".", 1)
				}
			}
		}
	}
}

// doubtful tells whether a line has a number whose point may group thousands, and
// lists it as bad.
func (s *sheet) doubtful(l sheetLine) bool {
	for _, c := range s.kind.numeric {
		if m := doubtfulDot.FindStringSubmatch(l.cell[c]); m != nil {
			s.bad = append(s.bad, badLine{Line: l.number, Column: c, Value: l.cell[c], Reason: "AMBIGUOUS_POINT",
				Want: fmt.Sprintf("has a point that may group thousands, as other numbers of the file have decimal commas; write %s%s%s or %s,%s0%s", m[1], m[2], m[3], m[1], m[2], m[3])})
			return true
		}
	}
	return false
}

// describe says how the file was read.
func (s *sheet) describe() string {
	out := plural(len(s.lines), "line") + ", separated by " + map[rune]string{';': "semicolons", ',': "commas", '\t': "tabs"}[s.comma]
	if s.decimal == ',' {
		out += ", with decimal commas"
	}
	if s.marked {
		out += ", with a byte order mark"
	}
	return out
}
