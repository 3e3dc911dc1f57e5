package paper_test

import (
	"bytes"
	"encoding/csv"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/server/paper"
)

var march = paper.Period{From: time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC), To: time.Date(2026, 4, 1, 0, 0, 0, 0, time.UTC)}

// evil are texts that spreadsheets take for formulas (OWASP, "CSV Injection").
var evil = []string{`=HYPERLINK("http://example.org","x")`, "+1+2", "-3", "@SUM(A1)", "=1+1"}

// Every table is read back from its workbook: numbers as numbers, dates as dates, and
// text that looks like a formula as text; and from CSV with the same rows.
func TestTablesAreReadBack(t *testing.T) {
	f := newFoundry(t)
	f.BringHome()
	for _, label := range evil {
		f.Do(f.Receive(t.Context(), ledger.Meta{Reason: label}, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Form: ledger.Ingot, Label: label, Weighing: ledgertest.Net(1_234)}))
	}
	for _, name := range paper.Tables {
		table, err := f.Table(t.Context(), harrow, name, march)
		if err != nil {
			t.Fatal(name, err)
		}
		var book, text bytes.Buffer
		if err := table.XLSX(&book); err != nil {
			t.Fatal(name, err)
		}
		if err := table.CSV(&text); err != nil {
			t.Fatal(name, err)
		}
		x, err := excelize.OpenReader(&book)
		if err != nil {
			t.Fatal(name, err)
		}
		rows, err := x.GetRows(name)
		if err != nil {
			t.Fatal(name, err)
		}
		lines, err := csv.NewReader(&text).ReadAll()
		if err != nil || len(lines) != len(rows) || len(rows) != len(table.Rows)+1 || len(rows) < 2 || !slices.Equal(lines[0], rows[0]) {
			t.Errorf("%s: %d rows as CSV, %d in the workbook, %d of the table, %v", name, len(lines), len(rows), len(table.Rows)+1, err)
		}
		for n := range table.Rows {
			for i, head := range rows[0] {
				at, _ := excelize.CoordinatesToCellName(i+1, n+2)
				kind, err := x.GetCellType(name, at)
				if err != nil {
					t.Fatal(err)
				}
				value, _ := x.GetCellValue(name, at, excelize.Options{RawCellValue: true})
				formula, _ := x.GetCellFormula(name, at)
				isText := kind == excelize.CellTypeInlineString || kind == excelize.CellTypeSharedString
				switch {
				case formula != "":
					t.Errorf("%s %s is a formula: %s", name, at, formula)
				case value == "":
				case strings.HasSuffix(head, "_g") || slices.Contains([]string{"pieces", "lots", "amount", "price", "castings", "heats", "cost", "recovered", "owed", "happened", "recorded", "poured", "from", "until"}, head):
					if isText {
						t.Errorf("%s %s: %s %q is text", name, at, head, value)
					}
				case slices.Contains([]string{"lot", "heat", "alloy", "label", "reason", "account"}, head):
					if !isText {
						t.Errorf("%s %s: %s %q is no text", name, at, head, value)
					}
				}
			}
		}
		_ = x.Close()
	}
}

// The workbook says what the worked heat weighs, when it was poured, and the shop's
// own words as they are.
func TestWorkbookValues(t *testing.T) {
	f := newFoundry(t)
	cell := func(name, head string, row int, raw bool) string {
		t.Helper()
		x := openTable(t, f, name)
		defer func() { _ = x.Close() }()
		rows, err := x.GetRows(name)
		if err != nil {
			t.Fatal(err)
		}
		at, err := excelize.CoordinatesToCellName(slices.Index(rows[0], head)+1, row)
		if err != nil {
			t.Fatal(err)
		}
		v, err := x.GetCellValue(name, at, excelize.Options{RawCellValue: raw})
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	if v := cell("heats", "metal_in_g", 2, true); v != "60000" {
		t.Errorf("metal in is %q", v)
	}
	// 2 March 2026, 08:00 is day 46083 and a third since 30 December 1899 (Julian days
	// 2461102 and 2415019, Meeus, Astronomical Algorithms, by hand).
	if v := cell("heats", "poured", 2, true); !strings.HasPrefix(v, "46083.333333") {
		t.Errorf("poured at %q", v)
	}
	if v := cell("heats", "poured", 2, false); v != "2026-03-02 08:00" {
		t.Errorf("poured, as shown: %q", v)
	}
	f.Do(f.Receive(t.Context(), ledger.Meta{}, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Form: ledger.Ingot, LotID: "A", Label: evil[0], Weighing: ledgertest.Net(1_234)}))
	if v := cell("lots", "label", 2, false); v != evil[0] {
		t.Errorf("the label is %q", v)
	}
	if _, err := f.Table(t.Context(), harrow, "everything", march); reason(err) != "UNKNOWN_TABLE" {
		t.Errorf("a table of everything: %v", err)
	}
}

func openTable(t *testing.T, f *foundry, name string) *excelize.File {
	t.Helper()
	table, err := f.Table(t.Context(), harrow, name, march)
	if err != nil {
		t.Fatal(err)
	}
	var book bytes.Buffer
	if err := table.XLSX(&book); err != nil {
		t.Fatal(err)
	}
	x, err := excelize.OpenReader(&book)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

// LibreOffice opens the workbook and shows what is in it. It is too large to install
// for one check, so this is tried only with REMELT_OFFICE=1 where it is.
func TestLibreOfficeOpensTheWorkbook(t *testing.T) {
	office, err := exec.LookPath("libreoffice")
	if err != nil || os.Getenv("REMELT_OFFICE") != "1" {
		t.Skip("LibreOffice is missing, or REMELT_OFFICE=1 is not set: the workbook was read back by excelize only")
	}
	f := newFoundry(t)
	dir := t.TempDir()
	x := openTable(t, f, "heats")
	if err := x.SaveAs(filepath.Join(dir, "heats.xlsx")); err != nil {
		t.Fatal(err)
	}
	c := exec.Command(office, "--headless", "-env:UserInstallation=file://"+dir+"/profile", "--convert-to", "csv", "--outdir", dir, filepath.Join(dir, "heats.xlsx"))
	if out, err := c.CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	raw, err := os.ReadFile(filepath.Join(dir, "heats.csv"))
	if err != nil || !strings.Contains(string(raw), "\n41,C87300,,late,TRUE,A60,,,2026-03-02 08:00:00,60000,") {
		t.Errorf("%v: %s", err, raw)
	}
}

// The stocktake sheet has every lot under its place and no weight of the book; a
// place can be asked for alone.
func TestStocktakeSheet(t *testing.T) {
	f := newFoundry(t)
	lot := ledgertest.MadeLot(t, f.Do(f.Receive(t.Context(), ledger.Meta{}, ledger.Receive{Supplier: "northmetal", Alloy: "C95400", Form: ledger.Ingot, Place: "rack", Label: "blue paint", Weighing: ledgertest.Net(4_321)})))
	d := made(f.StocktakeSheet(t.Context(), harrow, "", paper.A4))(t)
	wants(t, d, "Stocktake", "rack · ingot rack: 1", lot.ID, "C95400", "“blue paint”", "No place said: 3", f.Pigs.ID, "to be worked up", "counted by", "weighs, g")
	if said := text(t, d); strings.Contains(said, "4321") || strings.Contains(said, "6300") {
		t.Errorf("the book's weights are on the sheet:\n%s", said)
	}
	onPaper(t, d.PDF, 5)
	if said := text(t, made(f.StocktakeSheet(t.Context(), harrow, "rack", paper.Letter))(t)); strings.Contains(said, f.Pigs.ID) {
		t.Errorf("lots of other places are on the sheet:\n%s", said)
	}
	for range 60 {
		f.Do(f.Receive(t.Context(), ledger.Meta{}, ledger.Receive{Supplier: "northmetal", Alloy: "C95400", Form: ledger.Ingot, Place: "rack", Weighing: ledgertest.Net(1_000)}))
	}
	d = made(f.StocktakeSheet(t.Context(), harrow, "", paper.A4))(t)
	wants(t, d, "page 3 of 3")
	onPaper(t, d.PDF, 5)
}

// The period report says what the worked heat says: bought 60 000 g, out in castings
// 27 410, gone 785 once it is settled (oxide 380, kerf 120, unaccounted 285).
func TestPeriodReport(t *testing.T) {
	f := newFoundry(t)
	f.BringHome()
	f.Do(f.Settle(t.Context(), ledger.Meta{}, "41"))
	d := made(f.PeriodReport(t.Context(), harrow, march, paper.A4))(t)
	wants(t, d, "Period 2026-03-01 to 2026-03-31", "C87300 – – 60000", "785", "1 60000 27410 31090 – 715 – 785", "C87300 285", "45.7 %", "not yet usable is in skimmings", "oxide 380", "kerf 120", "nothing that was weighed 285", "all 785 1.3", "Money", "together what left, was lost or used, and is here at the end")
	onPaper(t, d.PDF, 5)
	for typed, days := range map[string]float64{"2026-03-02": 1, "2026-02": 28, "2026": 365, "2026-01..2026-05": 151, "2026-01-12..2026-05-15": 124, "2025..2026-01-01": 366} {
		if when, err := paper.ParsePeriod(typed, time.UTC); err != nil || when.To.Sub(when.From).Hours() != 24*days {
			t.Errorf("period %q: %v, %v", typed, when, err)
		}
	}
	for _, typed := range []string{"", "march", "2026-13", "26", "..", "2026..", "..2026", "2026-01..2026-05..2026-06"} {
		if _, err := paper.ParsePeriod(typed, time.UTC); reason(err) != "UNKNOWN_PERIOD" {
			t.Errorf("period %q: %v", typed, err)
		}
	}
}
