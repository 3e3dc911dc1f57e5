package storetest

import (
	"context"
	"errors"
	"fmt"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/memory"
)

// machine runs random operations on the store and on the memory store, and
// every answer must be the same. Each run has shops of its own in one store.
func (s *suite) machine(t *testing.T) {
	m := &machine{t: t, suite: s, store: s.open(t), oracle: memory.New()}
	defer func() { m.store.Close() }()
	run := 0
	rapid.Check(t, func(rt *rapid.T) {
		run++
		m.rt, m.shops = rt, []string{fmt.Sprintf("north-%d", run), fmt.Sprintf("South-%d", run)}
		rt.Repeat(map[string]func(*rapid.T){
			"write":  m.write,
			"ask":    m.ask,
			"reopen": m.reopen,
		})
		for _, shop := range m.shops {
			m.same("the whole book of "+shop, dump(t, m.store, shop), dump(t, m.oracle, shop))
		}
	})
	m.same("the shops", must[[]string](t)(m.store.Shops(context.Background())), must[[]string](t)(m.oracle.Shops(context.Background())))
	VerifyAll(t, m.store)
	VerifyAll(t, m.oracle)
}

type machine struct {
	rt     *rapid.T
	t      *testing.T
	suite  *suite
	store  ledger.Store
	oracle ledger.Store
	shops  []string
}

// Few names, so that operations meet.
var machineRefs = []string{"1", "a", "A", "a-1"}

func (m *machine) same(what string, got, oracle any) {
	m.t.Helper()
	if diff := cmp.Diff(oracle, got, cmpopts.EquateEmpty(), cmpopts.EquateErrors()); diff != "" {
		m.rt.Fatalf("%s (-memory +store):\n%s", what, diff)
	}
}

// write runs one update of one or several appends and reads, which may fail, on
// both stores.
func (m *machine) write(rt *rapid.T) {
	shop := rapid.SampledFrom(m.shops).Draw(rt, "shop")
	steps := rapid.SliceOfN(rapid.Custom(drawStep), 1, 4).Draw(rt, "steps")
	fails := rapid.IntRange(0, 4).Draw(rt, "fails") == 0
	run := func(st ledger.Store) (answers []any, err error) {
		err = st.Update(context.Background(), shop, func(tx ledger.Tx) error {
			answers = nil
			for _, step := range steps {
				answer, err := step.run(tx, shop)
				answers = append(answers, answer, class(err))
				if err != nil {
					return err
				}
			}
			if fails {
				return errNo
			}
			return nil
		})
		return answers, err
	}
	got, err := run(m.store)
	want, wantErr := run(m.oracle)
	m.same("answers in an update of "+shop, got, want)
	m.same("outcome of an update of "+shop, class(err), class(wantErr))
}

// class is what a caller may rely on in an error.
func class(err error) string {
	switch {
	case err == nil:
		return ""
	case errors.Is(err, errNo):
		return "own"
	case errors.Is(err, ledger.ErrCorrupt):
		return "refused"
	}
	return err.Error()
}

// ask compares single answers.
func (m *machine) ask(rt *rapid.T) {
	shop := rapid.SampledFrom(m.shops).Draw(rt, "shop")
	q := rapid.Custom(drawQuestion).Draw(rt, "question")
	run := func(st ledger.Store) (answer any) {
		if err := st.View(context.Background(), shop, func(r ledger.Reader) (err error) {
			answer, err = q.ask(r)
			return err
		}); err != nil {
			rt.Fatalf("%+v: %v", q, err)
		}
		return answer
	}
	m.same(fmt.Sprintf("%+v in %s", q, shop), run(m.store), run(m.oracle))
}

func (m *machine) reopen(rt *rapid.T) {
	if m.suite.reopen == nil || rapid.IntRange(0, 3).Draw(rt, "reopens") > 0 {
		rt.Skip("not durable, or not now")
	}
	m.store = m.suite.reopen(m.t, m.store)
}

// step is one thing done in a transaction: an append, or a question.
type step struct {
	Entry    *ledger.Entry
	SeqShift int64 // of an append out of order
	Question question
}

func (s step) run(tx ledger.Tx, shop string) (any, error) {
	if s.Entry == nil {
		return s.Question.ask(tx)
	}
	head, err := tx.Head()
	if err != nil {
		return nil, err
	}
	head.Seq += s.SeqShift
	sealed, e := Seal(head, shop, *s.Entry)
	return sealed, tx.Append(sealed, e)
}

func drawStep(rt *rapid.T) step {
	if rapid.IntRange(0, 2).Draw(rt, "asks") == 0 {
		return step{Question: drawQuestion(rt)}
	}
	ref := rapid.SampledFrom(machineRefs)
	// Request ids of one byte: some are used twice, which is refused.
	e := &ledger.Entry{Request: ledger.RequestID{0: 1, 15: rapid.Byte().Draw(rt, "request")}}
	var sum ledger.Mass
	for range rapid.IntRange(0, 4).Draw(rt, "postings") {
		// Only kinds of metal: those of supplies would have to sum to zero by item.
		kind := rapid.SampledFrom([]ledger.AccountKind{ledger.OfLot, ledger.OfLot, ledger.OfCasting, ledger.InHeat, ledger.InMolds, ledger.Oxide}).Draw(rt, "account")
		mass := ledger.Mass(rapid.Int64Range(-20, 40).Draw(rt, "mass"))
		e.Postings = append(e.Postings, ledger.Posting{Account: ledger.Acct(kind, ref.Draw(rt, "ref")), Mass: mass, Basis: 'w'})
		sum += mass
	}
	if len(e.Postings) > 0 {
		e.Postings = append(e.Postings, ledger.Posting{Account: ledger.Acct(ledger.Supplier, ref.Draw(rt, "supplier")), Mass: -sum, Basis: 'w'})
	}
	for range rapid.IntRange(0, 3).Draw(rt, "records") {
		parent := rapid.SampledFrom([]string{"", "heat/1", "heat/a", "lot/A", "molds/1"}).Draw(rt, "parent")
		kind := rapid.SampledFrom(machineRecords).Draw(rt, "record")
		e.Records = append(e.Records, Rec(kind, ref.Draw(rt, "id"), parent, fmt.Sprintf(`{"v":%d}`, rapid.IntRange(0, 99).Draw(rt, "body"))))
	}
	s := step{Entry: e}
	if rapid.IntRange(0, 19).Draw(rt, "disorder") == 0 {
		s.SeqShift = rapid.SampledFrom([]int64{-1, 1, 7}).Draw(rt, "shift")
	}
	return s
}

var machineRecords = []ledger.RecordKind{"lot", "heat", "mold", "oxide"}

// question is one call of a Reader.
type question struct {
	Call          string
	Kind, Ref     string
	Parent, After string
	Seq           int64
	Limit         int
	Request       byte
}

func drawQuestion(rt *rapid.T) question {
	return question{
		Call:    rapid.SampledFrom([]string{"Head", "Log", "History", "ByRequest", "Balance", "Holdings", "Record", "Records", "CountRecords"}).Draw(rt, "call"),
		Kind:    rapid.SampledFrom([]string{"lot", "heat", "molds", "casting", "supplier", "mold", "oxide"}).Draw(rt, "kind"),
		Ref:     rapid.SampledFrom(machineRefs).Draw(rt, "ref"),
		Parent:  rapid.SampledFrom([]string{"", "heat/1", "heat/a", "lot/A", "molds/1"}).Draw(rt, "parent"),
		After:   rapid.SampledFrom([]string{"", "", "1", "A", "Z", "a"}).Draw(rt, "after"),
		Seq:     rapid.Int64Range(0, 12).Draw(rt, "seq"),
		Limit:   rapid.SampledFrom([]int{0, 1, 2, 100}).Draw(rt, "limit"),
		Request: rapid.Byte().Draw(rt, "request"),
	}
}

func (q question) ask(r ledger.Reader) (any, error) {
	type found[T any] struct {
		V     T
		Found bool
	}
	switch q.Call {
	case "Head":
		return r.Head()
	case "Log":
		return r.Log(q.Seq, q.Limit)
	case "History":
		return r.History(q.Kind+"/"+q.Ref, q.Seq, q.Limit)
	case "ByRequest":
		s, ok, err := r.ByRequest(ledger.RequestID{0: 1, 15: q.Request})
		return found[ledger.Sealed]{s, ok}, err
	case "Balance":
		return r.Balance(ledger.Acct(ledger.AccountKind(q.Kind), q.Ref))
	case "Holdings":
		return r.Holdings(ledger.AccountKind(q.Kind), ledger.RecordKind(q.Kind), q.After, q.Limit)
	case "Record":
		rec, ok, err := r.Record(ledger.RecordKind(q.Kind), q.Ref)
		return found[ledger.Record]{rec, ok}, err
	case "Records":
		return r.Records(ledger.RecordKind(q.Kind), q.Parent, q.After, q.Limit)
	default:
		return r.CountRecords(ledger.RecordKind(q.Kind))
	}
}
