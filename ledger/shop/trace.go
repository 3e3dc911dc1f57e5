package shop

import (
	"context"
	"errors"
	"maps"
	"slices"
	"strings"
	"sync"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/lineage"
)

// tracer keeps a shop's lineage graph in memory. It is built from the log at the
// first question and brought up to the head at each later one, so it is never
// staler than the question; it holds nothing that the log does not, and is built
// again when the book is another.
type tracer struct {
	mu    sync.Mutex
	graph *lineage.Graph
	tail
}

// transfersOf are an entry's movements between nodes. Metal from suppliers,
// customers and additions enters the book where it arrives. When several accounts
// give to several, each giver is emptied in the order of the postings.
func transfersOf(e *ledger.Entry) []lineage.Transfer { return appendTransfers(nil, e) }

func appendTransfers(out []lineage.Transfer, e *ledger.Entry) []lineage.Transfer {
	const most = 8 // of nearly any entry, which then takes no memory
	give, take := make([]ledger.Posting, 0, most), make([]ledger.Posting, 0, most)
	for _, p := range e.Postings {
		switch {
		case p.Account.CountsSupplies(), p.Mass == 0: // no metal
		case p.Mass < 0:
			p.Mass = -p.Mass
			give = append(give, p)
		default:
			take = append(take, p)
		}
	}
	for len(give) > 0 && len(take) > 0 {
		m := min(give[0].Mass, take[0].Mass)
		t := lineage.Transfer{Seq: e.Seq, From: string(give[0].Account), To: string(take[0].Account), Mg: int64(m),
			Melt: e.Kind == ledger.KindCharge && take[0].Account.Heat() != ""}
		if outside(give[0].Account) {
			t.From = ""
		}
		if t.From != t.To {
			out = append(out, t)
		}
		if give[0].Mass -= m; give[0].Mass == 0 {
			give = give[1:]
		}
		if take[0].Mass -= m; take[0].Mass == 0 {
			take = take[1:]
		}
	}
	return out
}

// outside reports whether metal that an account gives enters the book.
func outside(a ledger.Account) bool {
	switch a.Kind() {
	case ledger.Supplier, ledger.Customer, ledger.Before, ledger.Additive, ledger.Count:
		return true
	}
	return false
}

// reverse strikes the entry that e takes back. Where e is not its exact opposite, as when
// the metal that a casting had given goes to the molds, or metal was used meanwhile, the
// two together moved something: that stands where the struck entry stood, so that every
// node holds what the book says and what came after it is of that metal.
func reverse(g *lineage.Graph, e *ledger.Entry) error {
	both := &ledger.Entry{Seq: e.Seq}
	net := map[ledger.Account]ledger.Mass{}
	for _, t := range g.Transfers(e.Reverses) {
		net[insider(t.From)] -= ledger.Mass(t.Mg)
		net[insider(t.To)] += ledger.Mass(t.Mg)
		if t.Melt {
			both.Kind = ledger.KindCharge
		}
	}
	for _, p := range e.Postings {
		if !p.Account.CountsSupplies() {
			net[insider(string(p.Account))] += p.Mass
		}
	}
	if err := g.Reverse(e.Seq, e.Reverses); err != nil {
		return err
	}
	for _, a := range slices.Sorted(maps.Keys(net)) {
		if net[a] != 0 {
			both.Postings = append(both.Postings, ledger.Posting{Account: a, Mass: net[a]})
		}
	}
	if len(both.Postings) == 0 {
		return nil
	}
	return g.Insert(e.Seq, e.Reverses, transfersOf(both)...)
}

// insider is a node's account, "" for all by which metal enters the book.
func insider(node string) ledger.Account {
	if a := ledger.Account(node); !outside(a) {
		return a
	}
	return ""
}

// lineage brings the graph up to the head of the book.
func (s *Shop) lineage(ctx context.Context) (*lineage.Graph, int64, error) {
	t := &s.trace
	t.mu.Lock()
	defer t.mu.Unlock()
	err := s.view(ctx, func(r ledger.Reader) error {
		same, err := t.still(r)
		if err != nil {
			return err
		}
		head, err := r.Head() // of a moment after the last question: nobody was faster
		if err != nil {
			return err
		}
		same = same && head.Seq >= t.seq
		if t.graph == nil || !same {
			t.graph, t.tail = lineage.New(), tail{}
		}
		entries := ledger.LogReader(r)
		if w, ok := r.(ledger.Walker); ok && t.seq == 0 {
			if entries, err = w.Entries(); err != nil {
				return err
			}
		}
		next, stop := ledger.ReadAhead(entries, t.seq)
		defer stop()
		var e ledger.Entry
		var ts []lineage.Transfer
		for {
			log, err := next()
			if err != nil {
				return err
			}
			for _, sealed := range log {
				if err := sealed.OpenPostings(&e); err != nil {
					return err
				}
				if e.Reverses != 0 {
					err = reverse(t.graph, &e)
				} else if ts = appendTransfers(ts[:0], &e); len(ts) > 0 {
					err = t.graph.Append(ts...)
				}
				if err != nil {
					return &ledger.Error{Class: ledger.ErrCorrupt, Reason: "LINEAGE", Field: "entry", Cause: err}
				}
				t.add(e.Seq, sealed.Hash)
			}
			if len(log) < ledger.Batch {
				return ctx.Err()
			}
		}
	})
	return t.graph, t.seq, err
}

// Trace is where the metal of a lot, heat or casting came from.
type Trace struct {
	Of      string      // account, such as "lot/L1042-8"
	Mass    ledger.Mass // what it holds, or last held; of a heat what went in
	Sources []Source
	Via     []lineage.Share
	Age     lineage.Age
	Seq     int64
}

// Source is an account by which metal entered the book: a lot that was received,
// or metal of unknown origin.
type Source struct {
	lineage.Share
	Mass        ledger.Mass // of Trace.Mass; all together add up to it
	Alloy       string
	From        ledger.Account // the supplier or customer it came from, when one is known
	Certificate string         // number of its certificate, the maker's heat
}

// TraceBack says where metal came from: the lots by which it entered the shop,
// with mass fractions that add up to one, what it came through, and how often it
// was melted.
func (s *Shop) TraceBack(ctx context.Context, a ledger.Account) (out Trace, err error) {
	g, seq, err := s.lineage(ctx)
	if err != nil {
		return out, err
	}
	out = Trace{Of: string(a), Seq: seq}
	sources, err := g.Back(string(a), lineage.Latest)
	if err != nil {
		return out, traceError(a, err)
	}
	if err := s.describe(ctx, a, &out, sources); err != nil {
		return out, err
	}
	if out.Via, err = g.Via(string(a), lineage.Latest); err != nil {
		return out, traceError(a, err)
	}
	out.Age, err = g.Age(string(a), lineage.Latest)
	return out, traceError(a, err)
}

// describe adds to fractions of sources what they come to and who they are.
func (s *Shop) describe(ctx context.Context, a ledger.Account, out *Trace, sources []lineage.Share) error {
	return s.view(ctx, func(r ledger.Reader) (err error) {
		if out.Mass, err = s.heldOrLastHeld(r, a); err != nil {
			return err
		}
		fractions := make([]float64, len(sources))
		for i, x := range sources {
			fractions[i] = x.Fraction
		}
		parts := lineage.Apportion(int64(out.Mass), fractions)
		out.Sources = make([]Source, len(sources))
		for i, x := range sources {
			out.Sources[i] = Source{Share: x, Mass: ledger.Mass(parts[i])}
			of := ledger.Account(x.Node)
			if of.Kind() != ledger.OfLot {
				continue
			}
			rec, found, err := r.Record(ledger.RecLot, of.Ref())
			if err != nil || !found {
				return err
			}
			var l ledger.Lot
			if err := rec.Into(&l); err != nil {
				return err
			}
			out.Sources[i].Alloy = l.Alloy
			if l.Certificate != nil {
				out.Sources[i].Certificate = l.Certificate.Number
			}
			for _, from := range l.From {
				if k := from.Account.Kind(); k == ledger.Supplier || k == ledger.Customer {
					out.Sources[i].From = from.Account
				}
			}
		}
		return nil
	})
}

// heldOrLastHeld is what a lot or casting holds, or, when it is empty, all that
// ever came into the lot and what the casting weighed at last; of a heat it is
// what went in.
func (s *Shop) heldOrLastHeld(r ledger.Reader, a ledger.Account) (ledger.Mass, error) {
	if a.Kind() == ledger.InHeat {
		b, err := s.heatBalance(r, a.Ref(), AsOf{})
		return b.In(), err
	}
	held, err := r.Balance(a)
	if err != nil || held > 0 {
		return held, err
	}
	if a.Kind() == ledger.OfCasting {
		var k ledger.Casting
		rec, found, err := r.Record(ledger.RecCasting, a.Ref())
		if err != nil || !found {
			return 0, err
		}
		err = rec.Into(&k)
		return k.Weights[k.Stage], err
	}
	entries, err := historyOf(r, string(a), AsOf{})
	for _, e := range entries {
		for _, p := range e.Postings {
			if p.Account == a && (p.Mass > 0) == (e.Reverses == 0) { // came in, or its coming in was taken back
				held += p.Mass
			}
		}
	}
	return max(0, held), err
}

// Recall is everything that holds metal of a lot, heat or casting.
type Recall struct {
	Of       string
	Holdings []lineage.Holding // what holds some of it now, or had some of it
	Seq      int64
}

// TraceForward answers a recall: what contains metal of this, and how much.
func (s *Shop) TraceForward(ctx context.Context, a ledger.Account) (out Recall, err error) {
	g, seq, err := s.lineage(ctx)
	if err != nil {
		return out, err
	}
	out = Recall{Of: string(a), Seq: seq}
	out.Holdings, err = g.Forward(string(a), lineage.Latest)
	return out, traceError(a, err)
}

func traceError(a ledger.Account, err error) error {
	switch {
	case err == nil:
		return nil
	case errors.Is(err, lineage.ErrUnknown), errors.Is(err, lineage.ErrNothing):
		return &ledger.Error{Class: ledger.ErrNotFound, Reason: "NO_METAL", Field: string(a.Kind()), Value: a.Ref(), Want: "never held metal"}
	}
	return &ledger.Error{Class: ledger.ErrInvalid, Reason: "NOT_TRACED", Field: string(a.Kind()), Value: a.Ref(), Cause: err}
}

// TraceAccount reads what is asked about: "lot/L1042-8", "heat/41", "casting/C7".
func TraceAccount(subject string) (ledger.Account, error) {
	kind, id, ok := strings.Cut(subject, "/")
	a := ledger.Acct(ledger.AccountKind(kind), id)
	switch a.Kind() {
	case ledger.OfLot, ledger.InHeat, ledger.OfCasting:
		if ok && a.Valid() {
			return a, nil
		}
	}
	return "", &ledger.Error{Class: ledger.ErrInvalid, Reason: "BAD_SUBJECT", Field: "subject", Value: subject, Want: "must be lot/…, heat/… or casting/…"}
}
