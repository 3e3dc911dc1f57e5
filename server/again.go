package server

import (
	"context"

	"google.golang.org/grpc"

	"example.org/remelt/ledger"
)

// relied says by which settings of which book a call read what it was sent, when
// it did not ask whether they still hold.
type relied struct {
	book  *ledger.Book
	on    int64 // the entry that wrote them
	fresh bool  // the call is to ask
	wrote bool  // the call recorded something, and is not to be made again
}

type reliedKey struct{}

// lastSettings are the settings that were read last, if the call may go by them;
// else none.
func (d *desk) lastSettings() ledger.Stamped[ledger.Shop] {
	r, ok := d.ctx.Value(reliedKey{}).(*relied)
	if !ok || r.fresh {
		return ledger.Stamped[ledger.Shop]{}
	}
	s := d.LastSettings()
	r.book, r.on = d.Book, s.Seq
	return s
}

// noteWritten says that the call has recorded something.
func (d *desk) noteWritten() {
	if r, ok := d.ctx.Value(reliedKey{}).(*relied); ok {
		r.wrote = true
	}
}

// bySettings makes a call, and makes it again when it failed and the settings it
// relied on are no longer the shop's. To ask for them before each write would open
// a snapshot for each, which is an eighth of its whole cost.
func bySettings(ctx context.Context, req any, next grpc.UnaryHandler) (any, error) {
	r := &relied{}
	ctx = context.WithValue(ctx, reliedKey{}, r)
	resp, err := next(ctx, req)
	if err == nil || r.on == 0 || r.wrote {
		return resp, err
	}
	if now, unread := r.book.Settings(ctx); unread != nil || now.Seq == r.on {
		return resp, err
	}
	r.fresh = true
	return next(ctx, req)
}
