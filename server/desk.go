package server

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/timestamppb"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/alloy"
	"example.org/remelt/ledger/shop"
	"example.org/remelt/server/signin"
)

// counter is where a call comes in: it finds the book that the call is about.
type counter struct {
	books func(ctx context.Context, shop string) (*shop.Shop, error)
}

// desk is a shop's book opened for one call. It reads what the call says and
// writes the answer, both in the shop's units. It keeps the first error: after
// one, everything it reads or writes is zero and nothing is recorded, so a
// handler says what it wants in one go and asks once, with reply. It lives for
// one call, which is why it holds the call's context.
type desk struct {
	*shop.Shop
	ctx      context.Context
	err      error
	settings ledger.Shop
	ids      []string // in the call's name or parent, the shop's first
	meta     ledger.Meta
	inside   protoreflect.MessageDescriptor // the resource whose fields the book's errors name
	at       string                         // the request's field that holds it
	own      *ledger.Entry                  // what the call recorded; in a dry run what it would record
	held     map[ledger.Account]ledger.Mass // what those accounts hold
	minded   map[string][]alloy.Caution     // what to mind of a list of heats

	table    *alloy.Table
	inPieces map[string]bool // supplies → whether they are counted
}

// read opens the book that a name such as "shops/harrow/lots/L7-9" is in. pattern
// is the name's, such as "shops/*/lots/*".
func (c counter) read(ctx context.Context, field, name, pattern string) *desk {
	d := c.open(ctx, field, name, pattern)
	if d.err != nil {
		return d
	}
	s, err := d.Settings(ctx)
	d.settings = s.Value
	return d.fail(err)
}

func (c counter) open(ctx context.Context, field, name, pattern string) *desk {
	d := &desk{ctx: ctx, inPieces: map[string]bool{}}
	ids, err := parseName(field, name, pattern)
	if err != nil {
		return d.fail(err)
	}
	d.ids = ids
	d.Shop, err = c.books(ctx, ids[0])
	return d.fail(err)
}

// writeRequest is what every request that writes has.
type writeRequest interface {
	GetRequestId() string
	GetValidateOnly() bool
	GetHappenedTime() *timestamppb.Timestamp
	GetReason() string
	GetWho() string
	GetDevice() string
}

// write opens the book for a call that records something. It may go by the
// settings that were read last: the book refuses what was read by others, and then
// the call is made again.
func (c counter) write(ctx context.Context, r writeRequest, field, name, pattern string) *desk {
	d := c.open(ctx, field, name, pattern)
	if d.err != nil {
		return d
	}
	s := d.lastSettings()
	if s.Seq == 0 {
		var err error
		if s, err = d.Settings(ctx); err != nil {
			return d.fail(err)
		}
	}
	d.settings = s.Value
	d.takeMeta(r)
	d.meta.Settings = s.Seq
	return d
}

// takeMeta reads what every write carries.
func (d *desk) takeMeta(r writeRequest) {
	d.meta = ledger.Meta{Happened: d.time("happened_time", r.GetHappenedTime()), Who: r.GetWho(), Device: r.GetDevice(),
		Reason: r.GetReason(), DryRun: r.GetValidateOnly()}
	if c, signedIn := signin.From(d.ctx); signedIn { // they and nobody else, whatever is said
		d.meta.Who = c.Person
		if c.Device != "" {
			d.meta.Device = c.Device
		}
	}
	if id := r.GetRequestId(); id != "" {
		var err error
		d.meta.Request, err = ledger.ParseRequestID(id)
		d.fail(err)
	}
	if e, ok := r.(interface{ GetEtag() string }); ok {
		d.takeEtag("etag", e.GetEtag())
	}
}

// takeEtag says that the thing about to be changed must be as it was read: by
// the field, or by the header If-Match of a REST call.
func (d *desk) takeEtag(field, etag string) {
	if etag == "" {
		if match := metadata.ValueFromIncomingContext(d.ctx, ifMatch); len(match) == 1 && match[0] != "*" {
			etag = match[0]
		}
	}
	if etag == "" {
		return
	}
	seq, err := strconv.ParseInt(strings.Trim(strings.TrimPrefix(etag, "W/"), `"`), 10, 64)
	if err != nil || seq <= 0 {
		d.invalid("BAD_ETAG", field, etag, "must be the etag of what you read")
		return
	}
	d.meta.Unchanged = seq
}

// ifMatch is the metadata key under which the gateway passes the header If-Match.
const ifMatch = "if-match"

func etag(seq int64) string {
	if seq == 0 {
		return ""
	}
	return `"` + strconv.FormatInt(seq, 10) + `"`
}

// fail keeps the first error.
func (d *desk) fail(err error) *desk {
	if d.err == nil {
		d.err = err
	}
	return d
}

func (d *desk) invalid(reason, field, value, want string) {
	d.fail(&ledger.Error{Class: ledger.ErrInvalid, Reason: reason, Field: field, Value: value, Want: want})
}

// id is the last id of the call's name.
func (d *desk) id() string {
	if len(d.ids) == 0 {
		return ""
	}
	return d.ids[len(d.ids)-1]
}

// heatID is the heat in the name of a heat or something below it.
func (d *desk) heatID() string {
	if len(d.ids) < 2 {
		return ""
	}
	return d.ids[1]
}

// record runs a use case of the book, unless something was wrong already, and
// returns the entry, nil on an error.
func record[C any](d *desk, use func(*shop.Shop, context.Context, ledger.Meta, C) (*ledger.Entry, error), c C) *ledger.Entry {
	return d.recordBy(func() (*ledger.Entry, error) { return use(d.Shop, d.ctx, d.meta, c) })
}

func (d *desk) recordBy(use func() (*ledger.Entry, error)) *ledger.Entry {
	if d.err != nil {
		return nil
	}
	e, err := use()
	if err != nil {
		d.fail(d.named(err))
		return nil
	}
	d.noteWritten()
	if e.Left != nil { // not an earlier one that a repeated request found
		d.own = e
	}
	return e
}

// ownNames are request fields that the book calls otherwise.
var ownNames = map[string]string{"happened": "happened_time", "expected": "expected_time", "after": "after_sequence"}

// named makes a domain error name the field of the request: one of a resource
// carries the field that the resource is in.
func (d *desk) named(err error) error {
	var e *ledger.Error
	if !errors.As(err, &e) {
		return err
	}
	first, _, _ := strings.Cut(e.Field, ".")
	first, _, _ = strings.Cut(first, "[")
	shown := *e
	switch {
	case ownNames[e.Field] != "":
		shown.Field = ownNames[e.Field]
	case first != "" && d.inside != nil && d.inside.Fields().ByName(protoreflect.Name(first)) != nil:
		shown.Field = d.at + "." + e.Field
	default:
		return err
	}
	return &shown
}

// reply gives a call's answer, or the first error.
func reply[R any](d *desk, r *R) (*R, error) {
	if d.err != nil {
		return nil, d.err
	}
	return r, nil
}

// drafted is what would be recorded, in a dry run.
func (d *desk) drafted() *ledger.Entry {
	if !d.meta.DryRun {
		return nil
	}
	return d.own
}

// load reads a thing as it is now; what the call itself changed as it was or would
// be right after that.
func load[T any](d *desk, kind ledger.RecordKind, id string) (s ledger.Stamped[T]) {
	if d.err != nil || id == "" {
		return s
	}
	if d.own != nil {
		if found, err := d.own.Find(kind, id, &s.Value); found {
			d.fail(err)
			s.Seq = d.own.Seq
			return s
		}
	}
	s, err := ledger.Get[T](d.ctx, d.Book, kind, id)
	d.fail(err)
	return s
}

// balance is what an account holds now; one that the call itself posted to what it
// held or would hold right after that.
func (d *desk) balance(a ledger.Account) ledger.Mass {
	if d.err != nil {
		return 0
	}
	if d.own != nil {
		if m, posted := d.own.Left[a]; posted {
			return m
		}
	}
	if m, known := d.held[a]; known {
		return m
	}
	m, err := d.BalanceOf(d.ctx, a)
	d.fail(err)
	return m
}

// lookUp reads what the accounts of a list hold, all at once.
func lookUp[T any](d *desk, all []ledger.Stamped[T], id func(T) string, kinds ...ledger.AccountKind) {
	var accounts []ledger.Account
	for _, v := range all {
		for _, kind := range kinds {
			accounts = append(accounts, ledger.Acct(kind, id(v.Value)))
		}
	}
	if d.err == nil {
		var err error
		d.held, err = d.BalancesOf(d.ctx, accounts)
		d.fail(err)
	}
}

// made is the first record of a kind in an entry: what its use case made.
func made[T any](d *desk, e *ledger.Entry, kind ledger.RecordKind) (v T, found bool) {
	if d.err != nil || e == nil {
		return v, false
	}
	found, err := e.First(kind, &v)
	d.fail(err)
	return v, found
}

// mustMake is made for a use case that always makes one.
func mustMake[T any](d *desk, e *ledger.Entry, kind ledger.RecordKind) T {
	v, found := made[T](d, e, kind)
	if d.err == nil && !found {
		d.fail(fmt.Errorf("entry %d made no %s", e.Seq, kind))
	}
	return v
}

// alloys is the alloy table of the shop.
func (d *desk) alloys() alloy.Table {
	if d.table == nil && d.err == nil {
		t, err := d.Table(d.ctx)
		d.fail(err)
		d.table = &t
	}
	if d.table == nil {
		return alloy.Table{}
	}
	return *d.table
}
