package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"google.golang.org/protobuf/proto"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
	"example.org/remelt/ledger"
)

// importLine is a line made into the request of a write.
type importLine struct {
	sheetLine
	req   proto.Message // *pb.ReceiveLotRequest or *pb.WeighInRequest
	check proto.Message // what to validate instead, when req leans on an earlier line
}

// importer makes requests of lines.
type importer struct {
	*app
	client  *client.Client
	parent  string
	assumed string                // what a line is that does not say
	made    map[string]importLine // lots that earlier lines of the file make
}

// refusedFile is an error about a file as a whole.
func refusedFile(reason, want string) error {
	return &ledger.Error{Class: ledger.ErrInvalid, Reason: reason, Field: "FILE", Want: want}
}

// cellError is what is wrong with one cell.
type cellError struct{ column, value, want, reason string }

func (e cellError) Error() string { return e.want }

// line makes the request of a line.
func (im *importer) line(ctx context.Context, w *write, id string, l sheetLine) (importLine, error) {
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
	elements, err := readElements([]string{l.cell["analysis"]})
	if err != nil {
		return out, cellError{"analysis", l.cell["analysis"], "must be such as Cu=95.8 Si=3.9±0.1", "BAD_ANALYSIS"}
	}
	var useless []string
	switch columnName(what) {
	case "receive":
		useless = []string{"heat", "into", "owner", "unsure"}
		req := &pb.ReceiveLotRequest{Parent: im.parent, LotId: l.cell["lot"], Supplier: l.cell["supplier"], Customer: l.cell["customer"], Alloy: l.cell["alloy"],
			Form: form, Dirty: dirty, Place: l.cell["place"], Label: l.cell["label"], Weighing: weighing, Price: l.cell["price"]}
		if l.cell["certificate"] != "" || len(elements) > 0 {
			req.Certificate = &pb.Certificate{Number: l.cell["certificate"], Elements: elements}
		}
		out.req = req
	case "weigh_in":
		useless = []string{"supplier", "customer", "price", "certificate", "analysis"}
		heats, err := readShares(im.parent, strings.FieldsFunc(l.cell["heat"], func(r rune) bool { return unicode.IsSpace(r) || r == ';' }))
		if err != nil {
			return out, cellError{"heat", l.cell["heat"], "must be a heat, or several with their shares such as 41=60 42=40", "BAD_HEAT"}
		}
		out.req = &pb.WeighInRequest{Parent: im.parent, LotId: l.cell["lot"], Into: l.cell["into"], Heats: heats, Alloy: l.cell["alloy"], Unsure: unsure,
			Form: form, Dirty: dirty, Owner: l.cell["owner"], Place: l.cell["place"], Label: l.cell["label"], Weighing: weighing}
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
	return out, im.finish(ctx, w, id, &out)
}

// finish fills in what every write carries and settles what a line leans on.
func (im *importer) finish(ctx context.Context, w *write, id string, l *importLine) error {
	one := *w
	one.requestID = id
	for column, field := range map[string]*string{"who": &one.who, "reason": &one.reason, "happened": &one.happened} {
		if l.cell[column] != "" {
			*field = l.cell[column]
		}
	}
	if err := im.fill(ctx, &one, l.req); err != nil {
		if l.cell["happened"] != "" {
			return cellError{"happened", l.cell["happened"], "must be a time such as 2026-03-02 14:00", "BAD_TIME"}
		}
		return err
	}
	l.check = l.req
	if lot := l.cell["lot"]; lot != "" {
		if first, taken := im.made[lot]; taken {
			return cellError{"lot", lot, fmt.Sprintf("is the new lot of line %d already; say into to add to it", first.number), "TWICE"}
		}
		im.made[lot] = *l
	}
	if first, found := im.made[l.cell["into"]]; found { // not there yet: check it as a lot of its own
		req := proto.CloneOf(l.req.(*pb.WeighInRequest))
		req.Into = ""
		if req.GetAlloy() == "" && len(req.GetHeats()) == 0 {
			req.Alloy, req.Heats = first.cell["alloy"], nil
			if of, ok := first.req.(*pb.WeighInRequest); ok {
				req.Heats = of.GetHeats()
			}
		}
		l.check = req
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

// badLineOf says what was wrong with a line, by the error of checking it.
func badLineOf(l sheetLine, err error) badLine {
	b := badLine{Line: l.number, Want: err.Error(), Reason: "UNEXPECTED"}
	var cell cellError
	var refused *ledger.Error
	switch {
	case errors.As(err, &cell):
		b.Column, b.Value, b.Want, b.Reason = cell.column, cell.value, cell.want, cell.reason
	case errors.As(err, &refused):
		field, _, _ := strings.Cut(refused.Field, "[")
		b.Column, b.Value, b.Want, b.Reason = field, refused.Value, refused.Want, refused.Reason
		if c := columnOf[field]; c != "" {
			b.Column = c
		} else if strings.HasPrefix(field, "certificate.") {
			b.Column = "analysis"
		}
		if b.Want == "" {
			b.Want = refused.Error()
		}
		if errors.Is(err, ledger.ErrNeedsReason) {
			var why []string
			for _, f := range refused.Flags {
				why = append(why, f.Code+": "+f.Text)
			}
			b.Column, b.Want = "reason", "is unusual, so it must say why: "+strings.Join(why, "; ")
		}
	}
	return b
}
