package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
	"example.org/remelt/ledger"
)

// importLine is a line made into a row of an import.
type importLine struct {
	sheetLine
	row   *pb.ImportRow
	from  int           // the line that makes the lot it adds to; 0: none
	alone *pb.ImportRow // what to check as long as that lot is not there
}

// importer makes rows of lines and sends them.
type importer struct {
	*app
	client  *client.Client
	parent  string
	write   *write
	assumed string                // what a line is that does not say
	made    map[string]importLine // lots that earlier lines of the file make
	ids     uuid.UUID             // name space of the request ids
}

// refusedFile is an error about a file as a whole.
func refusedFile(reason, want string) error {
	return &ledger.Error{Class: ledger.ErrInvalid, Reason: reason, Field: "FILE", Want: want}
}

// cellError is what is wrong with one cell.
type cellError struct{ column, value, want, reason string }

func (e cellError) Error() string { return e.want }

// line makes the row of a line.
func (im *importer) line(ctx context.Context, l sheetLine) (importLine, error) {
	out := importLine{sheetLine: l}
	what := l.cell["what"]
	if what == "" {
		what = im.assumed
	}
	weighing, err := readLineWeighing(l)
	if err != nil {
		return out, err
	}
	form, err := readWord[pb.Form]("form", l.cell["form"])
	if err != nil {
		return out, cellError{"form", l.cell["form"], "must be one of " + strings.Join(words[pb.Form](), ", "), "BAD_FORM"}
	}
	dirty, err := yes(l, "dirty")
	if err != nil {
		return out, err
	}
	unsure, err := yes(l, "unsure")
	if err != nil {
		return out, err
	}
	already, err := yes(l, "here_already")
	if err != nil {
		return out, err
	}
	elements, err := readElements([]string{l.cell["analysis"]})
	if err != nil {
		return out, cellError{"analysis", l.cell["analysis"], "must be such as Cu=95.8 Si=3.9±0.1", "BAD_ANALYSIS"}
	}
	at, err := im.readTime(ctx, "happened", l.cell["happened"], noon)
	if err != nil {
		return out, cellError{"happened", l.cell["happened"], "must be a time such as 2026-03-02 14:00", "BAD_TIME"}
	}
	var useless []string
	switch columnName(what) {
	case "receive":
		useless = []string{"heat", "into", "owner", "unsure"}
		req := &pb.ReceiveLotRequest{LotId: l.cell["lot"], Supplier: l.cell["supplier"], Customer: l.cell["customer"], HereAlready: already, Alloy: l.cell["alloy"],
			Form: form, Dirty: dirty, Place: l.cell["place"], Label: l.cell["label"], Weighing: weighing, Price: l.cell["price"],
			Who: l.cell["who"], Reason: l.cell["reason"], HappenedTime: at}
		if l.cell["certificate"] != "" || len(elements) > 0 {
			req.Certificate = &pb.Certificate{Number: l.cell["certificate"], Elements: elements}
		}
		out.row = &pb.ImportRow{Row: &pb.ImportRow_Receive{Receive: req}}
	case "weigh_in":
		useless = []string{"supplier", "customer", "here_already", "price", "certificate", "analysis"}
		heats, err := readShares(im.parent, strings.FieldsFunc(l.cell["heat"], func(r rune) bool { return unicode.IsSpace(r) || r == ';' }))
		if err != nil {
			return out, cellError{"heat", l.cell["heat"], "must be a heat, or several with their shares such as 41=60 42=40", "BAD_HEAT"}
		}
		out.row = &pb.ImportRow{Row: &pb.ImportRow_WeighIn{WeighIn: &pb.WeighInRequest{LotId: l.cell["lot"], Into: l.cell["into"], Heats: heats, Alloy: l.cell["alloy"], Unsure: unsure,
			Form: form, Dirty: dirty, Owner: l.cell["owner"], Place: l.cell["place"], Label: l.cell["label"], Weighing: weighing,
			Who: l.cell["who"], Reason: l.cell["reason"], HappenedTime: at}}}
	case "":
		return out, cellError{"what", "", "must be receive or weigh-in; say it in this column, or for all lines with --as", "REQUIRED"}
	default:
		return out, cellError{"what", what, "must be receive or weigh-in", "BAD_VALUE"}
	}
	for _, c := range useless {
		if l.cell[c] != "" {
			return out, cellError{c, l.cell[c], "has no meaning for a line that is a " + what, "CONTRADICTION"}
		}
	}
	return out, im.lean(&out)
}

// lean settles what a line has to do with earlier lines.
func (im *importer) lean(l *importLine) error {
	if lot := l.cell["lot"]; lot != "" {
		if first, taken := im.made[lot]; taken {
			return cellError{"lot", lot, fmt.Sprintf("is the new lot of line %d already; say into to add to it", first.number), "TWICE"}
		}
		im.made[lot] = *l
	}
	first, found := im.made[l.cell["into"]]
	if !found {
		return nil
	}
	l.from, l.alone = first.number, proto.CloneOf(l.row)
	in := l.alone.GetWeighIn()
	if in.Into = ""; in.GetAlloy() == "" && len(in.GetHeats()) == 0 {
		in.Alloy, in.Heats = first.cell["alloy"], first.row.GetWeighIn().GetHeats()
	}
	return nil
}

func readLineWeighing(l sheetLine) (*pb.Weighing, error) {
	withUnit := func(column string) *pb.Mass {
		text := l.cell[column]
		if text == "" {
			return nil
		}
		if u := l.cell["unit"]; u != "" && !strings.ContainsFunc(text, unicode.IsLetter) {
			text += " " + u
		}
		return mass(text)
	}
	w := &pb.Weighing{Net: withUnit("weight"), Gross: withUnit("gross"), Tare: withUnit("tare"), SavedTare: l.cell["saved_tare"], Scale: l.cell["scale"], DirtPercent: l.cell["dirt"]}
	if p := l.cell["pieces"]; p != "" {
		n, err := strconv.ParseInt(p, 10, 32)
		if err != nil || n < 0 {
			return nil, cellError{"pieces", p, "must be a whole number", "NOT_A_NUMBER"}
		}
		w.Pieces = n
	}
	if w.Net == nil && w.Gross == nil {
		return nil, cellError{"weight", "", "must say the weight, or gross with tare", "REQUIRED"}
	}
	return w, nil
}

func yes(l sheetLine, column string) (bool, error) {
	switch v := strings.ToLower(l.cell[column]); {
	case slices.Contains([]string{"yes", "y", "true", "1", "x"}, v):
		return true, nil
	case slices.Contains([]string{"", "no", "n", "false", "0"}, v):
		return false, nil
	}
	return false, cellError{column, l.cell[column], "must be yes or no", "BAD_VALUE"}
}

// columnOf maps the request's fields to the columns they came from.
var columnOf = map[string]string{
	"weighing.net": "weight", "weighing.gross": "gross", "weighing.tare": "tare", "weighing.saved_tare": "saved_tare", "weighing.scale": "scale",
	"weighing.dirt_percent": "dirt", "weighing.pieces": "pieces", "weighing": "weight", "lot_id": "lot", "happened_time": "happened",
	"certificate.number": "certificate", "heats": "heat",
}

// badLineOf says what was wrong with a line that could not be made a row.
func badLineOf(l sheetLine, err error) badLine {
	var cell cellError
	if errors.As(err, &cell) {
		return badLine{Line: l.number, Column: cell.column, Value: cell.value, Want: cell.want, Reason: cell.reason}
	}
	return badLine{Line: l.number, Want: err.Error(), Reason: "UNEXPECTED"}
}

// wrongRows says what is wrong with the lines that a refusal names, by their columns, and
// gives the lines that it does not name.
func wrongRows(err error, lines []importLine) (bad []badLine, left []importLine) {
	var refused *ledger.Error
	if !errors.As(err, &refused) {
		return nil, lines
	}
	named := map[int]bool{}
	for _, e := range append([]*ledger.Error{refused}, refused.More...) {
		i, field, ok := rowOf(e.Field)
		if !ok || i >= len(lines) {
			continue
		}
		named[i] = true
		column := field
		if c := columnOf[field]; c != "" {
			column = c
		} else if strings.HasPrefix(field, "certificate.") {
			column = "analysis"
		}
		bad = append(bad, badLine{Line: lines[i].number, Column: column, Value: lines[i].cell[column], Want: e.Want, Reason: e.Reason})
	}
	for i, l := range lines {
		if !named[i] {
			left = append(left, l)
		}
	}
	return bad, left
}

// rowOf takes a field such as rows[17].weigh_in.heats[0].heat apart: 17 and heats.
func rowOf(field string) (i int, of string, ok bool) {
	at, of, ok := strings.Cut(strings.TrimPrefix(field, "rows["), "].")
	if i, err := strconv.Atoi(at); ok && err == nil {
		_, of, _ = strings.Cut(of, ".")
		of, _, _ = strings.Cut(of, "[")
		return i, of, true
	}
	return 0, "", false
}
