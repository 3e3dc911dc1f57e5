package server

import (
	"context"
	"errors"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/shop"
)

// setting is a kind of thing that a shop sets up and changes: how it is stored
// (T), asked for (C) and shown (P), and the use case that keeps it.
type setting[T, C any, P proto.Message] struct {
	kind       ledger.RecordKind
	collection string
	field      string // of an update request
	show       func(d *desk, v T, seq int64) P
	read       func(d *desk, field string, p P, id string) C
	set        func(s *shop.Shop, ctx context.Context, m ledger.Meta, c C) (*ledger.Entry, error)
	key        func(v T) string
	full       func(d *desk, p P, id string) // adds what is not in the record; may be nil
	absent     func(d *desk, id string)      // refuses what cannot be changed as it was never set up, if the book's words do not do; may be nil
}

func (s setting[T, C, P]) pattern() string {
	if s.collection == "" { // the shop itself
		return "shops/*"
	}
	return "shops/*/" + s.collection + "/*"
}

// now shows a thing as it is.
func (s setting[T, C, P]) now(d *desk, id string) (p P) {
	got := load[T](d, s.kind, id)
	if d.err != nil {
		return p
	}
	return s.shown(d, got)
}

// after shows a thing as an entry left it, so that a change that is sent again answers what
// it answered first, whatever others changed since.
func (s setting[T, C, P]) after(d *desk, id string, e *ledger.Entry) (p P) {
	was := ledger.Stamped[T]{}
	if d.err != nil {
		return p
	}
	if e == nil || d.meta.DryRun {
		return s.now(d, id)
	}
	found, err := e.Find(s.kind, id, &was.Value)
	if d.fail(err); err != nil {
		return p
	}
	if !found {
		return s.now(d, id)
	}
	was.Seq = e.Seq
	return s.shown(d, was)
}

func (s setting[T, C, P]) shown(d *desk, got ledger.Stamped[T]) P {
	p := s.show(d, got.Value, got.Seq)
	if s.full != nil {
		s.full(d, p, s.key(got.Value))
	}
	return p
}

func (s setting[T, C, P]) get(ctx context.Context, c counter, name string) (*desk, P) {
	d := c.read(ctx, "name", name, s.pattern())
	return d, s.now(d, d.id())
}

func (s setting[T, C, P]) list(ctx context.Context, c counter, r interface {
	listRequest
	GetParent() string
}) (*desk, []P, string) {
	d := c.read(ctx, "parent", r.GetParent(), "shops/*")
	got, next := list[T](d, r, s.kind, "", nil)
	return d, showAll(got, func(v ledger.Stamped[T]) P { return s.shown(d, v) }), next
}

type updateRequest interface {
	writeRequest
	GetUpdateMask() *fieldmaskpb.FieldMask
}

// tries is how often an update that carried no etag is begun again because
// somebody else changed the thing between reading and writing it.
const tries = 4

// update changes a thing that a name stands for, or adds it. The change is made
// to the thing as it was when the request came first, so that a retry asks for
// exactly the same.
func (s setting[T, C, P]) update(ctx context.Context, c counter, r updateRequest, sent P, name string, missing bool) (*desk, P, *ledger.Entry) {
	for try := 1; ; try++ {
		d := c.write(ctx, r, sub(s.field, "name"), name, s.pattern())
		d.at, d.inside = s.field, sent.ProtoReflect().Descriptor()
		d.takeEtag(sub(s.field, "etag"), any(sent).(interface{ GetEtag() string }).GetEtag())
		mine := d.meta.Unchanged == 0
		e := s.change(d, sent, r.GetUpdateMask(), missing)
		if mine && try < tries && errors.Is(d.err, ledger.ErrStale) {
			continue
		}
		return d, s.after(d, d.id(), e), e
	}
}

func (s setting[T, C, P]) change(d *desk, sent P, mask *fieldmaskpb.FieldMask, missing bool) *ledger.Entry {
	was, found := base[T](d, s.kind, d.id())
	if d.err == nil && !found && !missing {
		if s.absent != nil {
			s.absent(d, d.id())
		}
		load[T](d, s.kind, d.id()) // says that it is not there, in the book's words
	}
	if d.err != nil {
		return nil
	}
	onto := s.show(d, was.Value, 0)
	d.merge(s.field, onto, sent, mask)
	if d.meta.Unchanged == 0 {
		d.meta.Unchanged = was.Seq
	}
	return record(d, s.set, s.read(d, s.field, onto, d.id()))
}

// base is a thing as it was before this request changed it: as it is now, unless
// the request was recorded already.
func base[T any](d *desk, kind ledger.RecordKind, id string) (s ledger.Stamped[T], found bool) {
	if d.err != nil {
		return s, false
	}
	d.fail(d.Store.View(d.ctx, d.Book.Shop, func(r ledger.Reader) error {
		rec, ok, err := recordBefore(r, d.meta.Request, kind, id)
		if err != nil || !ok {
			return err
		}
		found, s.Seq = true, rec.Seq
		return rec.Into(&s.Value)
	}))
	return s, found
}

func recordBefore(r ledger.Reader, request ledger.RequestID, kind ledger.RecordKind, id string) (ledger.Record, bool, error) {
	if request == (ledger.RequestID{}) {
		return r.Record(kind, id)
	}
	done, found, err := r.ByRequest(request)
	if err != nil {
		return ledger.Record{}, false, err
	}
	if !found {
		return r.Record(kind, id)
	}
	for before := done.Seq; ; {
		log, err := r.History(string(kind)+"/"+id, before, 16)
		if err != nil || len(log) == 0 {
			return ledger.Record{}, false, err
		}
		for _, sealed := range log {
			e, err := sealed.Open()
			if err != nil {
				return ledger.Record{}, false, err
			}
			for _, rec := range e.Records {
				if rec.Kind == kind && rec.ID == id {
					return rec, true, nil
				}
			}
			before = sealed.Seq
		}
	}
}
