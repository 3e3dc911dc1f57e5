package server

import (
	"cmp"
	"context"
	"errors"
	"strings"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
)

func (s lots) ImportLots(ctx context.Context, r *pb.ImportLotsRequest) (*pb.ImportLotsResponse, error) {
	d := s.write(ctx, r, "parent", r.GetParent(), "shops/*")
	if d.err != nil {
		return nil, d.err
	}
	rows := make([]ledger.Row, len(r.GetRows()))
	for i, p := range r.GetRows() {
		rows[i] = d.importRow(r.GetParent(), p)
	}
	entries, err := d.Import(ctx, d.meta, rows)
	if err != nil {
		return nil, inRows(err)
	}
	d.noteWritten()
	return reply(d, &pb.ImportLotsResponse{Rows: showAll(entries, d.importedRow)})
}

// importRow reads a row at a desk of its own, so that what is wrong with it is not the
// end of the others.
func (d *desk) importRow(parent string, p *pb.ImportRow) (row ledger.Row) {
	own := *d
	own.meta = ledger.Meta{}
	var said writeRequest
	var in string
	switch {
	case p.GetWeighIn() != nil:
		said, in, row.In = p.GetWeighIn(), p.GetWeighIn().GetParent(), own.weighIn(p.GetWeighIn())
	default:
		said, in, row.In = p.GetReceive(), p.GetReceive().GetParent(), own.receive(p.GetReceive())
	}
	own.takeMeta(said)
	switch {
	case in != "" && in != parent:
		own.invalid("CONTRADICTION", "parent", in, "must be that of the import, "+parent+", or not said")
	case said.GetRequestId() != "":
		own.invalid("CONTRADICTION", "request_id", said.GetRequestId(), "is said once, for the whole import")
	case said.GetValidateOnly():
		own.invalid("CONTRADICTION", "validate_only", "true", "is said once, for the whole import")
	}
	row.Meta = own.meta
	if own.err != nil && !errors.As(own.err, &row.Fault) {
		d.fail(own.err)
	}
	return row
}

func (d *desk) importedRow(e *ledger.Entry) *pb.ImportedRow {
	row := &pb.ImportedRow{Entry: d.entryName(e.Seq), Flags: flags(e.Flags)}
	for _, r := range e.Records {
		if r.Kind == ledger.RecLot {
			row.Lot = d.name("lots", r.ID)
		}
	}
	if n := len(e.Weighings); n > 0 {
		row.Net = d.quantity(e.Weighings[n-1].Net)
	}
	return row
}

// inRows makes the book's faults of rows name the fields of the request.
func inRows(err error) error {
	var e *ledger.Error
	if !errors.As(err, &e) || !strings.HasPrefix(e.Field, "rows[") {
		return err
	}
	named := func(e *ledger.Error) *ledger.Error {
		shown := *e
		at := strings.LastIndexByte(e.Field, '.') + 1
		shown.Field = e.Field[:at] + cmp.Or(ownNames[e.Field[at:]], e.Field[at:])
		return &shown
	}
	shown := named(e)
	shown.More = showAll(e.More, named)
	return shown
}

// adoptParent gives the rows of an import its parent where they say none.
func adoptParent(req any) {
	r, ok := req.(*pb.ImportLotsRequest)
	if !ok {
		return
	}
	for _, row := range r.GetRows() {
		switch {
		case row.GetReceive() != nil && row.GetReceive().GetParent() == "":
			row.GetReceive().Parent = r.GetParent()
		case row.GetWeighIn() != nil && row.GetWeighIn().GetParent() == "":
			row.GetWeighIn().Parent = r.GetParent()
		}
	}
}
