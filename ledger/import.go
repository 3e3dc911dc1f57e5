package ledger

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"strings"
)

// MaxRows is the most rows of one import: the others who write wait as long as all of
// them take.
const MaxRows = 1000

// Incoming is what a row of an import can be: [Receive] or [WeighIn].
type Incoming interface {
	kind() Kind
	draft(*draft) error
	alloys() []string // by the names given
	made() string     // the id chosen for the new lot
	into() string     // the lot it is added to
}

// Row is one row of an import and becomes an entry of its own.
type Row struct {
	In Incoming
	// Of its Meta only Happened, Who, Device and Reason are used, each when the row says
	// something else than the call.
	Meta
	// Fault, when the row was wrong before the book was asked, is told beside what the
	// book finds wrong with the others.
	Fault *Error
}

// Import records rows in their order, all of them or none. A later row sees what an
// earlier one did. The first row has the request id of the call and the others have ids
// made of it, so the same call again gives the same entries; with other rows, or another
// number of them, it is refused. When rows cannot be, the error is ErrInvalid: it is
// about the first of them and has the others, up to a hundred, in More, each with the
// reason it would have had by itself and a field such as
// "rows[17].weigh_in.weighing.net".
func (b *Book) Import(ctx context.Context, m Meta, rows []Row) ([]*Entry, error) {
	if len(rows) == 0 || len(rows) > MaxRows {
		return nil, invalid("OUT_OF_RANGE", "rows", fmt.Sprint(len(rows)), fmt.Sprintf("must be between 1 and %d rows at once", MaxRows))
	}
	if err := m.check(); err != nil {
		return nil, err
	}
	if m.Request == (RequestID{}) {
		m.Request = newRequestID()
	}
	im := &importing{book: b, rows: rows, wishes: make([]*wish, len(rows)), alloys: alloyNames{}}
	for i := range rows {
		if err := im.read(i, m); err != nil {
			return nil, err
		}
	}
	err := b.Store.Update(ctx, b.Shop, func(tx Tx) error {
		if err := im.record(tx); err != nil || !m.DryRun {
			return err
		}
		return errDryRun
	})
	if err != nil && !errors.Is(err, errDryRun) {
		return nil, err
	}
	return im.entries, nil
}

// importing is an import under way.
type importing struct {
	book   *Book
	rows   []Row
	wishes []*wish // nil for a row that is wrong already
	alloys alloyNames

	// Of one try of the transaction.
	entries []*Entry
	faults  []*Error
	missing map[string]bool // lots that wrong rows were to make
}

// read makes a wish of a row.
func (im *importing) read(i int, call Meta) error {
	row := &im.rows[i]
	if row.Fault != nil {
		return nil
	}
	m := call
	m.Request = call.Request.ofRow(i)
	m.Who, m.Device, m.Reason = cmp.Or(row.Who, m.Who), cmp.Or(row.Device, m.Device), cmp.Or(row.Reason, m.Reason)
	if !row.Happened.IsZero() {
		m.Happened = row.Happened
	}
	w, err := newWish(m, row.In.kind(), row.In, len(im.rows), row.In.draft)
	if err != nil {
		return refusedAs(err, &row.Fault)
	}
	w.alloys = im.alloys
	im.wishes[i] = w
	return nil
}

func (im *importing) record(tx Tx) error {
	im.entries, im.faults, im.missing = make([]*Entry, 0, len(im.rows)), nil, map[string]bool{}
	clear(im.alloys)
	// Alloys come first: to look one up may read a list, and what was appended before
	// that could not be taken back without what others wrote in the same transaction.
	for _, row := range im.rows {
		if row.Fault == nil {
			for _, name := range row.In.alloys() {
				_, _, _ = im.alloys.find(im.book, tx, "alloy", name) // what is wrong with it is said where it is used
			}
		}
	}
	repeated := false
	for i, w := range im.wishes {
		if w == nil {
			im.refuse(i, im.rows[i].Fault)
			continue
		}
		old, err := w.granted(tx)
		if err != nil {
			return err
		}
		if i == 0 {
			repeated = old != nil
		}
		switch {
		case repeated != (old != nil):
			return w.reused("was used for another import; use a new id for new facts")
		case repeated:
			im.entries = append(im.entries, old)
			continue
		}
		if err := im.append(tx, w); err != nil {
			var fault *Error
			if err := refusedAs(err, &fault); err != nil {
				return err
			}
			im.refuse(i, fault)
		}
	}
	if len(im.faults) == 0 {
		return nil
	}
	return oneOf(im.faults)
}

func (im *importing) append(tx Tx, w *wish) error {
	d, s, err := w.entry(im.book, tx)
	if err != nil {
		return err
	}
	im.entries = append(im.entries, d.e)
	return tx.Append(s, d.e)
}

// refuse notes what is wrong with a row. That the lot of another wrong row is missing
// is not.
func (im *importing) refuse(i int, fault *Error) {
	in := im.rows[i].In
	if id := in.made(); id != "" {
		im.missing[id] = true
	}
	if fault.Reason == "NOT_FOUND" && fault.Field == "into" && im.missing[in.into()] {
		return
	}
	shown := *fault
	shown.Class, shown.Field = ErrInvalid, fmt.Sprintf("rows[%d].%s.%s", i, strings.ReplaceAll(string(in.kind()), "-", "_"), fault.Field)
	if errors.Is(fault.Class, ErrNeedsReason) {
		var why []string
		for _, f := range fault.Flags {
			why = append(why, f.Code+": "+f.Text)
		}
		shown.Flags, shown.Want = nil, "is unusual, so it must say why: "+strings.Join(why, "; ")
	}
	im.faults = append(im.faults, &shown)
}

// refusedAs takes what is wrong with a fact, or gives back an error that is no such
// thing: of the store, or about the call as a whole.
func refusedAs(err error, fault **Error) error {
	var e *Error
	if errors.As(err, &e) {
		for _, class := range []error{ErrInvalid, ErrNotFound, ErrExists, ErrState, ErrNeedsReason} {
			if errors.Is(e.Class, class) {
				*fault = e
				return nil
			}
		}
	}
	return err
}

// ofRow is the request id of a row of a call: the call's own for the first, and for the
// others a UUID version 8 of RFC 9562 made of it by SHA-256. Those of one call differ at
// the end only, so that they lie together in a store's index.
func (r RequestID) ofRow(i int) RequestID {
	if i == 0 {
		return r
	}
	id := r
	sum := sha256.Sum256(r[:])
	copy(id[6:14], sum[:])
	binary.BigEndian.PutUint16(id[14:], uint16(i)) //nolint:gosec // it is below MaxRows
	id[6], id[8] = id[6]&0x0f|0x80, id[8]&0x3f|0x80
	return id
}

func (c Receive) alloys() []string { return []string{c.Alloy} }
func (c Receive) made() string     { return c.LotID }
func (Receive) into() string       { return "" }

func (c WeighIn) alloys() []string {
	if c.Alloy == "" { // the heat's
		return nil
	}
	return []string{c.Alloy}
}
func (c WeighIn) made() string { return c.LotID }
func (c WeighIn) into() string { return c.Into }
