package paper

import (
	"encoding/csv"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"github.com/xuri/excelize/v2"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger/unit"
)

// titles are the headings with the unit in its place.
func (t *Table) titles() []string {
	out := make([]string, len(t.Head))
	for i, h := range t.Head {
		out[i] = strings.ReplaceAll(h, "UNIT", string(t.unit))
	}
	return out
}

// formula reports whether a spreadsheet would take a text for a formula
// (OWASP, "CSV Injection").
func formula(text string) bool { return text != "" && strings.ContainsRune("=+-@\t\r", rune(text[0])) }

// exact is a mass as a decimal number in the table's unit, to the milligram.
func (t *Table) exact(m *pb.Mass) string { return unit.FormatMassNumber(m.GetMg(), t.unit, 1) }

// local is a moment as the shop's clock shows it.
func (t *Table) local(at *timestamppb.Timestamp) time.Time { return at.AsTime().In(t.zone) }

// CSV writes the table as RFC 4180 has it: masses are exact numbers, and text that a
// spreadsheet would take for a formula begins with an apostrophe.
func (t *Table) CSV(w io.Writer) error {
	out := csv.NewWriter(w)
	if err := out.Write(t.titles()); err != nil {
		return err
	}
	for _, row := range t.Rows {
		cells := make([]string, len(row))
		for i, v := range row {
			cells[i] = t.cell(v)
		}
		if err := out.Write(cells); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

func (t *Table) cell(v any) string {
	switch v := v.(type) {
	case *pb.Mass:
		return t.exact(v)
	case *timestamppb.Timestamp:
		if v == nil {
			return ""
		}
		return t.local(v).Format("2006-01-02 15:04")
	case Number:
		return string(v)
	case string:
		if formula(v) {
			return "'" + v
		}
		return v
	}
	return fmt.Sprint(v)
}

// XLSX writes the table as a workbook (ISO/IEC 29500): numbers are numbers, moments
// are dates by the shop's clock, and text is text, formatted as such where it looks
// like a formula so that it stays so when it is edited.
func (t *Table) XLSX(w io.Writer) (err error) {
	f := excelize.NewFile()
	defer func() { err = firstOf(err, f.Close()) }()
	const sheet = "Sheet1"
	date := "yyyy-mm-dd hh:mm"
	var styles [3]int // of headings, of dates, of text that looks like a formula
	for i, s := range []*excelize.Style{{Font: &excelize.Font{Bold: true}}, {CustomNumFmt: &date}, {NumFmt: 49}} {
		if styles[i], err = f.NewStyle(s); err != nil {
			return err
		}
	}
	out, err := f.NewStreamWriter(sheet)
	if err != nil {
		return err
	}
	if err := out.SetPanes(&excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"}); err != nil {
		return err
	}
	if err := out.SetColWidth(1, max(1, len(t.Head)), 16); err != nil {
		return err
	}
	heads := make([]any, len(t.Head))
	for i, h := range t.titles() {
		heads[i] = excelize.Cell{StyleID: styles[0], Value: h}
	}
	if err := out.SetRow("A1", heads); err != nil {
		return err
	}
	for n, row := range t.Rows {
		cells := make([]any, len(row))
		for i, v := range row {
			if cells[i], err = t.value(v, styles[1], styles[2]); err != nil {
				return err
			}
		}
		if err := out.SetRow("A"+strconv.Itoa(n+2), cells); err != nil {
			return err
		}
	}
	if err := out.Flush(); err != nil {
		return err
	}
	if err := f.SetSheetName(sheet, t.Name); err != nil {
		return err
	}
	return f.Write(w)
}

// value is a cell of a workbook. Its numbers are those that the exact text reads as.
func (t *Table) value(v any, date, text int) (any, error) {
	switch v := v.(type) {
	case *pb.Mass:
		if v == nil {
			return nil, nil
		}
		return strconv.ParseFloat(t.exact(v), 64)
	case *timestamppb.Timestamp:
		if v == nil {
			return nil, nil
		}
		at := t.local(v) // a cell holds what a clock shows, of no zone
		return excelize.Cell{StyleID: date, Value: time.Date(at.Year(), at.Month(), at.Day(), at.Hour(), at.Minute(), at.Second(), 0, time.UTC)}, nil
	case Number:
		if v == "" {
			return nil, nil
		}
		return strconv.ParseFloat(string(v), 64)
	case string:
		if formula(v) {
			return excelize.Cell{StyleID: text, Value: v}, nil
		}
		return v, nil
	}
	return v, nil
}

func firstOf(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}
