//go:build unix

package breaking

import (
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"math/rand/v2"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
	"example.org/remelt/ledger"
)

const (
	shopID = "harrow"
	parent = "shops/" + shopID
	setUp  = 1 // entries before the load: the opening of the book
)

// answered is what a client was told of a call.
type answered struct {
	seq  int64
	hash string
}

// load is the work of some clients, and their own sums of it.
type load struct {
	t       *testing.T
	clients []*client.Client
	stop    chan struct{}
	wait    sync.WaitGroup
	retries atomic.Int64
	sent    atomic.Int64 // calls begun

	mu      sync.Mutex
	answers map[ledger.RequestID]answered
	mass    map[ledger.Account]ledger.Mass
	since   int // answers since the last turn
}

// dial connects clients to the server at an address. A try of theirs takes so long.
func dial(t *testing.T, at *address, n int, try time.Duration) *load {
	t.Helper()
	l := &load{t: t, stop: make(chan struct{}), answers: map[ledger.RequestID]answered{}, mass: map[ledger.Account]ledger.Mass{}}
	for range n {
		l.clients = append(l.clients, dialOne(t, at, client.Config{Tries: 50, Timeout: try, OnRetry: func(error, time.Duration) { l.retries.Add(1) }}))
	}
	return l
}

// dialOne connects a client to the server at an address, wherever it is then.
func dialOne(t *testing.T, at *address, c client.Config) *client.Client {
	t.Helper()
	c.Address, c.Dial, c.Wait = "passthrough:///server", []grpc.DialOption{grpc.WithContextDialer(at.dial)}, 4*time.Millisecond
	cl, err := client.Dial(c)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = cl.Close() })
	return cl
}

// begin sets every client to work. Their things have names of their own, so that
// each client's answers follow from its own calls.
func (l *load) begin(r *rand.Rand) {
	for i, c := range l.clients {
		w := &worker{load: l, c: c, name: fmt.Sprintf("%c", 'a'+i), r: rand.New(rand.NewPCG(r.Uint64(), 0))}
		l.wait.Add(1)
		go func() {
			defer l.wait.Done()
			for heat := 1; w.heat(fmt.Sprintf("%s%d", w.name, heat)); heat++ {
			}
		}()
	}
}

// end lets every client finish the call it is at, and waits for it.
func (l *load) end() {
	close(l.stop)
	l.wait.Wait()
}

// turn forgets how many answers there were.
func (l *load) turn() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.since = 0
}

// enough waits until clients were answered so often since the last turn, or have
// given up.
func (l *load) enough(n int) bool {
	for range 6000 {
		l.mu.Lock()
		have := l.since
		l.mu.Unlock()
		if have >= n {
			return true
		}
		if l.t.Failed() {
			return false
		}
		time.Sleep(5 * time.Millisecond)
	}
	l.t.Error("the clients do not recover")
	return false
}

// worker is one client at work.
type worker struct {
	*load
	c    *client.Client
	name string
	r    *rand.Rand
}

// move is how a call changes the sums.
type move map[ledger.Account]ledger.Mass

// do sends a call, again and again with the same request id, until it is answered.
// It tells whether there is more to do.
func (w *worker) do(what string, send func(ctx context.Context, id string) (*pb.Entry, error), sums move) bool {
	select {
	case <-w.stop:
		return false
	default:
	}
	w.sent.Add(1)
	id := uuid.New()
	for {
		e, err := send(context.Background(), id.String())
		if err == nil {
			w.keep(ledger.RequestID(id), e, sums)
			return true
		}
		if !unanswered(err) {
			w.t.Errorf("%s: %v", what, err)
			return false
		}
		if w.t.Failed() {
			return false
		}
		w.retries.Add(1)
		time.Sleep(10 * time.Millisecond)
	}
}

// unanswered tells whether nobody refused a call: sent again it may succeed.
func unanswered(err error) bool {
	switch status.Code(err) {
	case codes.Unavailable, codes.DeadlineExceeded, codes.Canceled:
		return !errors.Is(err, ledger.ErrCorrupt)
	}
	return false
}

func (l *load) keep(id ledger.RequestID, e *pb.Entry, sums move) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.answers[id] = answered{e.GetSequence(), e.GetHash()}
	for a, m := range sums {
		l.mass[a] += m
	}
	l.since++
}

func grams(g int64) ledger.Mass { return ledger.Mass(g * 1000) }

func weighing(m ledger.Mass) *pb.Weighing { return &pb.Weighing{Net: mass(m)} }

func mass(m ledger.Mass) *pb.Mass { return &pb.Mass{Mg: int64(m)} }

// heat weighs in six lots, one by one or together, charges them all in one entry, pours,
// weighs gating in and settles.
func (w *worker) heat(name string) bool {
	lots := map[string]ledger.Mass{}
	in := ledger.Mass(0)
	var items []*pb.ChargeItem
	charged := move{}
	together := w.r.IntN(2) == 0
	var rows []*pb.ImportRow
	arrived := move{}
	for i := range 6 {
		lot, m := fmt.Sprintf("%s-%d", name, i), grams(1000+w.r.Int64N(9000))
		lots[lot] = m
		take := m
		item := &pb.ChargeItem{Lot: lot}
		if i == 0 {
			take = m / 2
			item.Mass = mass(take)
		}
		items = append(items, item)
		in += take
		charged[ledger.Acct("lot", lot)] = -take
		if together {
			arrived[ledger.Acct("lot", lot)] = m
			rows = append(rows, &pb.ImportRow{Row: &pb.ImportRow_WeighIn{WeighIn: &pb.WeighInRequest{LotId: lot, Alloy: "C87300", Form: pb.Form_FORM_CUP, Weighing: weighing(m)}}})
			continue
		}
		if !w.do("weigh in", func(ctx context.Context, id string) (*pb.Entry, error) {
			a, err := w.c.Lots.WeighIn(ctx, &pb.WeighInRequest{Parent: parent, RequestId: id, LotId: lot, Alloy: "C87300", Form: pb.Form_FORM_CUP, Weighing: weighing(m)})
			return a.GetEntry(), err
		}, move{ledger.Acct("lot", lot): m}) {
			return false
		}
	}
	if together && !w.importRows(rows, arrived) {
		return false
	}
	inHeat, heat := ledger.Acct("heat", name), parent+"/heats/"+name
	charged[inHeat] = in
	out := in * 9 / 10
	return w.do("plan", func(ctx context.Context, id string) (*pb.Entry, error) {
		a, err := w.c.Heats.CreateHeat(ctx, &pb.CreateHeatRequest{Parent: parent, RequestId: id, HeatId: name, Heat: &pb.Heat{Alloy: "C87300"}, Molds: []*pb.Mold{{DisplayName: "heron"}}})
		return a.GetEntry(), err
	}, nil) && w.do("open", func(ctx context.Context, id string) (*pb.Entry, error) {
		a, err := w.c.Heats.OpenHeat(ctx, &pb.OpenHeatRequest{Name: heat, RequestId: id})
		return a.GetEntry(), err
	}, nil) && w.do("charge", func(ctx context.Context, id string) (*pb.Entry, error) {
		a, err := w.c.Heats.ChargeHeat(ctx, &pb.ChargeHeatRequest{Name: heat, RequestId: id, Items: items})
		return a.GetEntry(), err
	}, charged) && w.do("finish the pour", func(ctx context.Context, id string) (*pb.Entry, error) {
		a, err := w.c.Heats.FinishPour(ctx, &pb.FinishPourRequest{Name: heat, RequestId: id})
		return a.GetEntry(), err
	}, move{inHeat: -in, ledger.Acct("molds", name): in}) && w.do("weigh in gating", func(ctx context.Context, id string) (*pb.Entry, error) {
		a, err := w.c.Lots.WeighIn(ctx, &pb.WeighInRequest{Parent: parent, RequestId: id, LotId: name + "-g", Heats: []*pb.HeatShare{{Heat: name}}, Weighing: weighing(out)})
		return a.GetEntry(), err
	}, move{ledger.Acct("molds", name): -out, ledger.Acct("lot", name+"-g"): out})
}

// importRows books rows in by one call, and keeps what each became as if it had been
// answered by itself.
func (w *worker) importRows(rows []*pb.ImportRow, sums move) bool {
	w.sent.Add(int64(len(rows) - 1)) // a call, for each row
	var entries []*pb.Entry
	if !w.do("import", func(ctx context.Context, id string) (*pb.Entry, error) {
		a, err := w.c.Lots.ImportLots(ctx, &pb.ImportLotsRequest{Parent: parent, RequestId: id, Rows: rows})
		if err != nil {
			return nil, err
		}
		entries = nil
		for _, row := range a.GetRows() {
			e, err := w.c.Entries.GetEntry(ctx, &pb.GetEntryRequest{Name: row.GetEntry()})
			if err != nil {
				return nil, err
			}
			entries = append(entries, e.GetEntry())
		}
		return entries[0], nil
	}, sums) {
		return false
	}
	for i, e := range entries[1:] {
		if e.GetSequence() != entries[0].GetSequence()+int64(i)+1 {
			w.t.Errorf("row %d of an import is entry %d after entry %d", i+1, e.GetSequence(), entries[0].GetSequence())
		}
		id, err := uuid.Parse(e.GetRequestId())
		if err != nil {
			w.t.Error(err)
		}
		w.keep(ledger.RequestID(id), e, nil)
	}
	return true
}

// openBook opens the book that the load is for.
func (l *load) openBook() {
	l.t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	if _, err := l.clients[0].Shops.CreateShop(ctx, &pb.CreateShopRequest{ShopId: shopID, Shop: &pb.Shop{DisplayName: "Harrow Lane Foundry", MassUnit: "g"}}); err != nil {
		l.t.Fatal(err)
	}
}

// holds holds a book against what clients were told. Calls that were not answered
// yet may be in it or not, unless all were.
func (l *load) holds(st ledger.Store, all bool) {
	l.t.Helper()
	ctx := context.Background()
	v, err := ledger.Verify(ctx, st, shopID, nil)
	if err != nil {
		l.t.Errorf("verify: %v", err)
		return
	}
	if v.Fault != nil {
		l.t.Errorf("verify: entry %d %s", v.Fault.Seq, v.Fault.What)
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	known := int64(setUp + len(l.answers))
	if most := setUp + l.sent.Load(); v.Entries < known || v.Entries > most || all && v.Entries != known {
		l.t.Errorf("the book has %d entries; %d calls were answered, %d were sent", v.Entries, known-setUp, most-setUp)
	}
	if err := st.View(ctx, shopID, func(r ledger.Reader) error {
		for id, told := range l.answers {
			got, found, err := r.ByRequest(id)
			if err != nil {
				return err
			}
			if !found || got.Seq != told.seq || hex.EncodeToString(got.Hash[:]) != told.hash {
				l.t.Errorf("request %s was answered with entry %d; found %v, entry %d", id, told.seq, found, got.Seq)
			}
		}
		if !all {
			return nil
		}
		for account, want := range l.mass {
			if got, err := r.Balance(account); err != nil || got != want {
				l.t.Errorf("%s holds %d mg, want %d (%v)", account, got, want, err)
			}
		}
		return nil
	}); err != nil {
		l.t.Error(err)
	}
}

// shows holds what the server says of the stock against the clients' sums.
func (l *load) shows() {
	l.t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	seen, err := lotsOf(ctx, l.clients[0])
	if err != nil {
		l.t.Error(err)
		return
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	for account, want := range l.mass {
		if account.Kind() == "lot" && want != 0 && seen[account] != want {
			l.t.Errorf("the server says that %s holds %d mg, want %d", account, seen[account], want)
		}
		if account.Kind() == "lot" && want == 0 && seen[account] != 0 {
			l.t.Errorf("the server says that %s holds %d mg; it is used up", account, seen[account])
		}
	}
	for account := range seen {
		if l.mass[account] == 0 {
			l.t.Errorf("the server shows %s, which nobody was told of", account)
		}
	}
}

// lotsOf reads all lots.
func lotsOf(ctx context.Context, c *client.Client) (map[ledger.Account]ledger.Mass, error) {
	seen := map[ledger.Account]ledger.Mass{}
	err := client.Pages(func(token string) (string, error) {
		r, err := c.Lots.ListLots(ctx, &pb.ListLotsRequest{Parent: parent, PageSize: 500, PageToken: token})
		for _, lot := range r.GetLots() {
			seen[ledger.Acct("lot", lot.GetName()[len(parent+"/lots/"):])] = ledger.Mass(lot.GetMass().GetMg())
		}
		return r.GetNextPageToken(), err
	})
	return seen, err
}
