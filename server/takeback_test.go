package server

import (
	"errors"
	"go/ast"
	"go/parser"
	"go/token"
	"log/slog"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/shop"
	"example.org/remelt/server/signin"
)

// kindsOf are the constants of a type in the ledger's source, by their values.
func kindsOf(t *testing.T, typ string) (all []string) {
	t.Helper()
	files, err := filepath.Glob("../ledger/*.go")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range files {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(f, func(n ast.Node) bool {
			c, ok := n.(*ast.ValueSpec)
			if !ok {
				return true
			}
			if of, ok := c.Type.(*ast.Ident); ok && of.Name == typ {
				for _, v := range c.Values {
					s, err := strconv.Unquote(v.(*ast.BasicLit).Value)
					if err != nil {
						t.Fatal(err)
					}
					all = append(all, s)
				}
			}
			return true
		})
	}
	return all
}

// Every kind of entry that there is names who records it, by methods that there are.
func TestEveryKindOfEntryHasADuty(t *testing.T) {
	kinds := kindsOf(t, "Kind")
	if len(kinds) < 50 {
		t.Fatalf("found only %d kinds of entry", len(kinds))
	}
	for _, k := range kinds {
		if recordedBy[ledger.Kind(k)] == "" && ledger.Kind(k) != ledger.KindSetUp {
			t.Errorf("%s is recorded by no method", k)
		}
	}
	for k, methods := range recordedBy {
		for m := range strings.FieldsSeq(methods) {
			if methodRules["/remelt.v1."+m] == "" {
				t.Errorf("%s: no rule of %s", k, m)
			}
		}
	}
	for k, methods := range setBy {
		for m := range strings.FieldsSeq(methods) {
			if methodRules["/remelt.v1."+m] == "" {
				t.Errorf("%s: no rule of %s", k, m)
			}
		}
	}
}

// Whatever is recorded over a shop's first weeks, by every method that writes: to take it
// back needs what the method itself needs.
func TestTakingBackNeedsWhatRecordingNeeds(t *testing.T) {
	b := newBench(t)
	seen := map[ledger.Kind]bool{}
	for i, r := range work() {
		resp, err := b.call(b.step(r))
		if err != nil {
			t.Fatalf("step %d: %v", i, err)
		}
		e, err := (&ledger.Book{Store: b.store, Shop: "harrow"}).Entry(t.Context(), b.entryOf(resp).GetSequence())
		if err != nil {
			t.Fatal(err)
		}
		seen[e.Kind] = true
		if rule := methodRules[path(methodOf(r))]; toRecord(e.Kind, e.Records) != rule {
			t.Errorf("%s needs %s, and to take back its %s entry %s", methodOf(r).Name(), rule, e.Kind, toRecord(e.Kind, e.Records))
		}
	}
	for _, k := range kindsOf(t, "Kind") {
		if !seen[ledger.Kind(k)] {
			t.Errorf("no %s entry was tried", k)
		}
	}
	if e := (&ledger.Entry{Kind: "new"}); toRecord(e.Kind, e.Records) != ledger.MayManage {
		t.Errorf("what nobody thought of needs %s", toRecord(e.Kind, e.Records))
	}
	if e := (&ledger.Entry{Kind: ledger.KindSetUp, Records: []ledger.Record{{Kind: ledger.RecTare}, {Kind: "new"}}}); toRecord(e.Kind, e.Records) != ledger.MayManage {
		t.Errorf("what nobody thought of needs %s", toRecord(e.Kind, e.Records))
	}
}

// What a page offers to take back is what somebody may.
func TestTakingBackIsOfferedToWhoMay(t *testing.T) {
	a := &admission{}
	who := func(d ledger.Duty) *signin.Caller {
		return &signin.Caller{Shop: "harrow", Person: "rae", Duty: d}
	}
	for _, c := range []struct {
		by   *signin.Caller
		kind ledger.Kind
		of   string
		want bool
	}{
		{nil, ledger.KindRemove, "", true},
		{who(ledger.MayManage), ledger.KindRemove, "mo", true},
		{who(ledger.MayRun), ledger.KindRemove, "mo", false}, // records none either
		{who(ledger.MayRun), ledger.KindCharge, "mo", true},
		{who(ledger.MayWeighIn), ledger.KindWeighIn, "rae", true},
		{who(ledger.MayWeighIn), ledger.KindWeighIn, "mo", false}, // somebody else's
		{who(ledger.MayWeighIn), ledger.KindCharge, "rae", false},
		{who(ledger.MayRead), ledger.KindWeighIn, "rae", false},
	} {
		if got := a.wouldTakeBack(c.by, c.kind, c.of); got != c.want {
			t.Errorf("%+v is offered to take back a %s entry of %q: %t", c.by, c.kind, c.of, got)
		}
	}
}

// left says of the kinds of entry that are not undone as soon as they are recorded why not.
// What is set up is by what it is of; what is changed of it is undone.
var left = map[string]string{
	"open-book": "NOT_REVERSIBLE", "reverse": "IS_A_REVERSAL",
	"person": "NOT_REVERSIBLE", "token": "NOT_REVERSIBLE",
	"place": "NOT_REVERSIBLE", "scale": "NOT_REVERSIBLE", "tare": "NOT_REVERSIBLE", "party": "NOT_REVERSIBLE", "pot": "NOT_REVERSIBLE",
	"supply": "NOT_REVERSIBLE", "alloy": "NOT_REVERSIBLE", "set-commission": "NOT_REVERSIBLE",
}

// Each entry of a shop's first weeks, as soon as it is recorded: either all that it moved
// goes back and all that it wrote is written again, or it is refused. And at the end of
// them: none is taken back of which nothing is undone.
func TestNoKindOfEntryIsTakenBackWithNothingUndone(t *testing.T) {
	b := newBench(t)
	book := shop.New(b.store, "harrow", func() time.Time { return b.now }).Book
	reverse := func(e *ledger.Entry) (*ledger.Entry, string) {
		t.Helper()
		back, err := book.Reverse(t.Context(), ledger.Meta{Reason: "a slip", DryRun: true}, ledger.ReverseEntry{Entry: e.Seq})
		var refused *ledger.Error
		if err != nil && !errors.As(err, &refused) {
			t.Fatal(err)
		}
		if err != nil {
			return nil, refused.Reason
		}
		return back, ""
	}
	var all []*ledger.Entry
	for i, r := range work() {
		resp, err := b.call(b.step(r))
		if err != nil {
			t.Fatalf("step %d: %v", i, err)
		}
		e, err := book.Entry(t.Context(), b.entryOf(resp).GetSequence())
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, e)
		kind := string(e.Kind)
		if e.Kind == ledger.KindSetUp {
			kind = string(e.Records[0].Kind)
		}
		back, reason := reverse(e)
		if reason != left[kind] {
			t.Errorf("step %d, %s: %q, not %q", i, kind, reason, left[kind])
		}
		if back == nil {
			continue
		}
		moved := map[ledger.Account]ledger.Mass{}
		for _, p := range append(e.Postings, back.Postings...) {
			moved[p.Account] += p.Mass
		}
		for a, m := range moved {
			if m != 0 {
				t.Errorf("step %d, %s: %d mg of %s are not taken back", i, kind, m, a)
			}
		}
		for _, r := range e.Records {
			if found, _ := back.Find(r.Kind, r.ID, &struct{}{}); !found && r.Kind != ledger.RecCount {
				t.Errorf("step %d, %s: %s %s stays", i, kind, r.Kind, r.ID)
			}
		}
	}
	undone := 0
	for _, e := range all {
		if back, _ := reverse(e); back != nil {
			if undone++; len(back.Postings) == 0 && len(back.Records) < 2 {
				t.Errorf("entry %d, %s: nothing of it is undone in the end", e.Seq, e.Kind)
			}
		}
	}
	if undone < 40 {
		t.Errorf("only %d entries can be taken back in the end", undone)
	}
}

// owner is the entry that made the first manager.
func (p *peopled) owner(t *testing.T) int64 {
	t.Helper()
	all, err := (&ledger.Book{Store: p.store, Shop: "harrow"}).Entries(t.Context(), 0, ledger.MaxPage)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range all {
		if found, _ := e.Find(ledger.RecPerson, "mo", &ledger.Person{}); found {
			return e.Seq
		}
	}
	t.Fatal("nobody manages the shop")
	return 0
}

// Nobody gets by taking an entry back what they may not do; who may do what is not taken
// back by anybody.
func TestTakingBackGivesNobodyMore(t *testing.T) {
	p := servePeople(t)
	people := pb.NewPersonServiceClient(p.conn)
	mo := p.as("harrow/mo")
	reverse := func(who string, e *pb.Entry) string {
		t.Helper()
		_, err := pb.NewEntryServiceClient(p.conn).ReverseEntry(p.as(who), &pb.ReverseEntryRequest{Name: e.GetName(), Reason: "a slip"})
		if err == nil {
			return ""
		}
		reason, _ := reasonOf(t, err)
		if want := map[string]codes.Code{"NOT_ALLOWED": codes.PermissionDenied, "NOT_REVERSIBLE": codes.FailedPrecondition}[reason]; status.Code(err) != want {
			t.Errorf("%s is %s", reason, status.Code(err))
		}
		return reason
	}
	must := func(e *pb.Entry, err error) *pb.Entry {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return e
	}
	set := func(person *pb.Person, fields ...string) *pb.Entry {
		r, err := people.UpdatePerson(mo, &pb.UpdatePersonRequest{UpdateMask: mask(fields...), Person: person})
		return must(r.GetEntry(), err)
	}
	made, err := people.CreateToken(mo, &pb.CreateTokenRequest{Parent: harrow + "/people/rae", Token: &pb.Token{DisplayName: "lost", Duty: pb.Duty_DUTY_READ}})
	must(made.GetEntry(), err)
	revoked, err := people.RevokeToken(mo, &pb.RevokeTokenRequest{Name: made.GetToken().GetName()})
	must(revoked.GetEntry(), err)
	invited, err := people.InvitePerson(mo, &pb.InvitePersonRequest{Name: harrow + "/people/rae"})
	must(invited.GetEntry(), err)
	phone, err := people.PairDevice(mo, &pb.PairDeviceRequest{Name: harrow + "/people/mo", DisplayName: "floor"})
	must(phone.GetEntry(), err)
	about := map[string]*pb.Entry{
		"raised":                                 set(&pb.Person{Name: harrow + "/people/ron", Duty: pb.Duty_DUTY_MANAGE}, "duty"),
		"lowered":                                set(&pb.Person{Name: harrow + "/people/ron", Duty: pb.Duty_DUTY_RUN_HEATS}, "duty"),
		"disabled":                               set(&pb.Person{Name: harrow + "/people/rae", Disabled: true}, "disabled"),
		"a token":                                made.GetEntry(),
		"revoked":                                revoked.GetEntry(),
		"invited":                                invited.GetEntry(),
		"paired":                                 phone.GetEntry(),
		"the first manager, with their password": {Name: harrow + "/entries/" + strconv.FormatInt(p.owner(t), 10)},
	}
	for what, e := range about {
		for _, who := range []string{"harrow/wim", "harrow/ron"} {
			if got := reverse(who, e); got != "NOT_ALLOWED" {
				t.Errorf("%s, by %s: %q", what, who, got)
			}
		}
		if got := reverse("harrow/mo", e); got != "NOT_REVERSIBLE" {
			t.Errorf("%s, by the manager: %q", what, got)
		}
	}
	closed, err := pb.NewCostServiceClient(p.conn).ClosePeriod(mo, &pb.ClosePeriodRequest{Parent: harrow, StartTime: day(-60), EndTime: day(-30)})
	must(closed.GetEntry(), err)
	if got := reverse("harrow/ron", closed.GetEntry()); got != "NOT_ALLOWED" {
		t.Errorf("a closed period, by who runs heats: %q", got)
	}
	renamed := func(name string) *pb.Entry {
		r, err := pb.NewPlaceServiceClient(p.conn).UpdatePlace(mo, &pb.UpdatePlaceRequest{AllowMissing: true, Place: &pb.Place{Name: harrow + "/places/rack", DisplayName: name}})
		return must(r.GetEntry(), err)
	}
	renamed("rack")
	place := renamed("the rack by the door")
	p.refused("POST", "/v1/"+place.GetName()+":reverse", `{"reason":"a slip"}`, 403, "NOT_ALLOWED", "duty", p.bearer("harrow/ron")...)
	now := func() time.Time { return time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC) }
	p.tokens["harrow/mo's phone"] = p.token(t, signin.New(p.store, now, slog.New(slog.DiscardHandler)), shop.New(p.store, "harrow", now),
		ledger.Token{Person: "mo", Name: "floor", Duty: ledger.MayWeighIn})
	if got := reverse("harrow/mo's phone", place); got != "NOT_ALLOWED" {
		t.Errorf("the manager's own, by their phone: %q", got)
	}
	if got := reverse("harrow/mo", place); got != "" {
		t.Errorf("a place, by the manager: %q", got)
	}
}
