package main

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode/utf8"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger/unit"
	"example.org/remelt/server/paper"
)

// table is text in columns. A heading that begins with ">" puts its column to the
// right, for figures.
type table struct {
	head []string
	rows [][]string
}

func newTable(head ...string) *table { return &table{head: head} }

func (t *table) add(cells ...string) { t.rows = append(t.rows, cells) }

// write prints the table, without the columns that are empty in every row.
func (t *table) write(w io.Writer) {
	width := make([]int, len(t.head))
	for i, h := range t.head {
		used := false
		for _, row := range t.rows {
			if i < len(row) && row[i] != "" {
				used = true
				width[i] = max(width[i], utf8.RuneCountInString(row[i]))
			}
		}
		if used {
			width[i] = max(width[i], utf8.RuneCountInString(strings.TrimPrefix(h, ">")))
		}
	}
	line := func(cells []string) {
		var b strings.Builder
		for i, c := range cells {
			if i >= len(width) || width[i] == 0 {
				continue
			}
			if b.Len() > 0 {
				b.WriteString("  ")
			}
			pad := strings.Repeat(" ", max(0, width[i]-utf8.RuneCountInString(c)))
			if strings.HasPrefix(t.head[i], ">") {
				b.WriteString(pad + c)
			} else {
				b.WriteString(c + pad)
			}
		}
		fmt.Fprintln(w, strings.TrimRight(b.String(), " "))
	}
	titles := make([]string, len(t.head))
	for i, h := range t.head {
		titles[i] = strings.TrimPrefix(h, ">")
	}
	if strings.Join(titles, "") != "" {
		line(titles)
	}
	for _, row := range t.rows {
		line(row)
	}
}

// figure is a mass as a bare number in the shop's unit, for a column that says
// which; "–" for nothing.
func (u units) figure(m *pb.Mass) string {
	if m.GetMg() == 0 {
		return "–"
	}
	return unit.FormatMassNumber(m.GetMg(), u.mass, 0)
}

// sortByID puts things in the order in which people count: heat 7 before heat 65.
func sortByID[T any](all []T, name func(T) string) {
	slices.SortStableFunc(all, func(x, y T) int { return paper.CompareIDs(last(name(x)), last(name(y))) })
}

// weight is a mass with its unit.
func (u units) weight(mg int64) string { return unit.FormatMass(mg, u.mass, 0) }

// share is a part of a whole in per cent with one decimal, rounded half away from
// zero; "" when there is no whole.
func share(part, whole int64) string {
	if whole == 0 {
		return ""
	}
	n := part * 1000
	half := whole / 2
	if (n < 0) != (whole < 0) {
		half = -half
	}
	n = (n + half) / whole
	sign := ""
	if n < 0 {
		sign, n = "-", -n
	}
	return fmt.Sprintf("%s%d.%d", sign, n/10, n%10)
}
