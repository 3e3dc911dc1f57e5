//go:build unix

package breaking

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"math/rand/v2"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/anishathalye/porcupine"
	"github.com/google/uuid"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/postgres"
	"example.org/remelt/ledger/postgres/postgrestest"
)

var (
	histories = flag.Int("histories", 60, "how many histories of concurrent clients of three servers are checked")
	pause     = flag.Duration("pause", 275*time.Millisecond, "how long on average until the next of the servers is killed")
	requests  = flag.Int("requests", 200, "on how many request ids clients of three servers race")
)

// A history is of some clients, who each do some operations on some lots.
const (
	historyLots    = 3
	historyClients = 6
	historyEach    = 24 // 144 operations in all
	atOnce         = 4  // histories, each of a shop of its own
)

// What a lot is asked. A lot is a number that can be added to, taken from unless
// that is more than there is, and read.
type ask struct {
	lot  int
	what string // "add", "take", "read"
	m    ledger.Mass
}

type told struct {
	refused bool // there was not enough
	m       ledger.Mass
}

const atFirst = ledger.Mass(5_000_000)

var lotModel = porcupine.Model{
	Partition: func(all []porcupine.Operation) [][]porcupine.Operation {
		parts := make([][]porcupine.Operation, historyLots)
		for _, o := range all {
			lot := o.Input.(ask).lot
			parts[lot] = append(parts[lot], o)
		}
		return parts
	},
	Init: func() any { return atFirst },
	Step: func(state, input, output any) (bool, any) {
		have, in, out := state.(ledger.Mass), input.(ask), output.(told)
		switch in.what {
		case "add":
			return !out.refused, have + in.m
		case "take":
			if out.refused {
				return in.m > have, have
			}
			return in.m <= have, have - in.m
		}
		return out.m == have, have
	},
}

// servers are three real servers on one database.
type servers struct {
	t   *testing.T
	url string
	at  [3]*address
	now [3]*program
}

func threeServers(t *testing.T) *servers {
	t.Helper()
	s := &servers{t: t, url: postgrestest.Database(t)}
	for i := range s.at {
		s.at[i] = &address{}
		s.now[i] = start(t, s.at[i], s.url)
	}
	for _, p := range s.now {
		p.await(t)
	}
	return s
}

// kill kills one server after another until stop is closed, and now and then the
// database; each is started again at once.
func (s *servers) kill(r *rand.Rand, stop <-chan struct{}) (kills int) {
	for {
		select {
		case <-stop:
			return kills
		case <-time.After(between(r, *pause/5, 2**pause-*pause/5)):
		}
		if kills++; kills%25 == 0 {
			postgrestest.Crash(s.t)
			continue
		}
		i := r.IntN(len(s.now))
		s.now[i].kill()
		s.now[i] = start(s.t, s.at[i], s.url)
	}
}

// clients gives one client of each server. Their calls are sent once.
func (s *servers) clients() (all [3]*client.Client) {
	for i, at := range s.at {
		all[i] = dialOne(s.t, at, client.Config{Tries: 1})
	}
	return all
}

// caller sends calls to any of the servers until one answers.
type caller struct {
	t      *testing.T
	to     [3]*client.Client
	r      *rand.Rand
	lose   bool // some answers are lost on the way
	unsaid *atomic.Int64
}

// do sends a call. Every answer but a loss of it is final.
func (c *caller) do(send func(ctx context.Context, to *client.Client) error) error {
	for !c.t.Failed() {
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		err := send(ctx, c.to[c.r.IntN(len(c.to))])
		cancel()
		switch {
		case err != nil && unanswered(err):
			c.unsaid.Add(1)
			time.Sleep(between(c.r, 5*time.Millisecond, 60*time.Millisecond)) // a server is down longer than that
		case c.lose && c.r.IntN(6) == 0:
			c.unsaid.Add(1) // answered, but nobody hears it
		default:
			return err
		}
	}
	return errors.New("given up")
}

// TestHistories lets clients of three servers on one database add to, take from and
// read lots while servers are killed and answers are lost. What they were told must
// be explained by some order of their calls, one after another, that agrees with
// when each was begun and answered.
//
//	go test -run Histories ./cmd/remelt/breaking -histories 10000 -pause 1s -timeout 5h
func TestHistories(t *testing.T) {
	postgrestest.Need(t)
	r := chance(t)
	s := threeServers(t)
	stop, killed := make(chan struct{}), make(chan int, 1)
	killer := rand.New(rand.NewPCG(r.Uint64(), 0))
	go func() { killed <- s.kill(killer, stop) }()
	var unsaid atomic.Int64
	var unknown, unseen int
	entries := map[string]int64{}
	var mu sync.Mutex
	var wait sync.WaitGroup
	free := make(chan [historyClients][3]*client.Client, atOnce)
	for range atOnce {
		var all [historyClients][3]*client.Client
		for i := range all {
			all[i] = s.clients()
		}
		free <- all
	}
	for n := range *histories {
		clients, r := <-free, rand.New(rand.NewPCG(r.Uint64(), 0))
		if t.Failed() {
			break
		}
		wait.Add(1)
		go func() {
			defer wait.Done()
			defer func() { free <- clients }()
			shop := fmt.Sprintf("shop-%d", n)
			h := history(t, shop, clients, r, &unsaid)
			verdict := porcupine.CheckOperationsTimeout(lotModel, h, 20*time.Second)
			if verdict == porcupine.Illegal {
				t.Errorf("history %d is not linearizable:\n%s", n, printed(h))
			}
			// One read that is off by a little must be found, or the test tests nothing.
			passes := spoil(h) && porcupine.CheckOperationsTimeout(lotModel, h, 20*time.Second) == porcupine.Ok
			mu.Lock()
			defer mu.Unlock()
			entries[shop] = 1 + historyLots + writes(h)
			if verdict == porcupine.Unknown {
				unknown++
			}
			if passes {
				unseen++
			}
			if len(entries)%500 == 0 {
				t.Logf("%d histories so far, %d unknown", len(entries), unknown)
			}
		}()
	}
	wait.Wait()
	close(stop)
	kills := <-killed
	s.have(entries)
	t.Logf("%d histories of %d operations, %d unknown; %d kills, %d tries without an answer", *histories, historyClients*historyEach, unknown, kills, unsaid.Load())
	if unknown*100 > *histories {
		t.Errorf("%d of %d histories could not be told", unknown, *histories)
	}
	if unseen > 0 {
		t.Errorf("%d histories with a wrong read were called right", unseen)
	}
	if kills == 0 || unsaid.Load() == 0 {
		t.Error("nothing was broken: the test has not tested")
	}
}

// history does one history in a shop of its own.
func history(t *testing.T, shop string, clients [historyClients][3]*client.Client, r *rand.Rand, unsaid *atomic.Int64) []porcupine.Operation {
	parent, began := "shops/"+shop, time.Now()
	first := &caller{t: t, to: clients[0], r: r, unsaid: unsaid}
	id := uuid.NewString()
	err := first.do(func(ctx context.Context, c *client.Client) error {
		_, err := c.Shops.CreateShop(ctx, &pb.CreateShopRequest{ShopId: shop, RequestId: id, Shop: &pb.Shop{DisplayName: shop, MassUnit: "g"}})
		return err
	})
	for lot := range historyLots {
		id := uuid.NewString()
		err = errors.Join(err, first.do(func(ctx context.Context, c *client.Client) error {
			_, err := c.Lots.WeighIn(ctx, &pb.WeighInRequest{Parent: parent, RequestId: id, LotId: fmt.Sprint(lot), Alloy: "C87300", Form: pb.Form_FORM_CUP, Weighing: weighing(atFirst)})
			return err
		}))
	}
	if err != nil {
		t.Error(err)
		return nil
	}
	var mu sync.Mutex
	var all []porcupine.Operation
	var wait sync.WaitGroup
	for i := range clients {
		c := &caller{t: t, to: clients[i], r: rand.New(rand.NewPCG(r.Uint64(), 0)), lose: true, unsaid: unsaid}
		wait.Add(1)
		go func() {
			defer wait.Done()
			for range historyEach {
				in := ask{lot: c.r.IntN(historyLots), what: []string{"add", "take", "take", "read"}[c.r.IntN(4)], m: ledger.Mass(1 + c.r.Int64N(2_000_000))}
				call := time.Since(began)
				out, err := c.ask(parent, in)
				back := time.Since(began)
				if err != nil {
					t.Error(err)
					return
				}
				mu.Lock()
				all = append(all, porcupine.Operation{ClientId: i, Input: in, Call: int64(call), Output: out, Return: int64(back)})
				mu.Unlock()
			}
		}()
	}
	wait.Wait()
	return all
}

// ask asks one thing of a lot.
func (c *caller) ask(parent string, in ask) (out told, err error) {
	id, lot := uuid.NewString(), fmt.Sprint(in.lot)
	err = c.do(func(ctx context.Context, to *client.Client) (err error) {
		switch in.what {
		case "add":
			_, err = to.Lots.WeighIn(ctx, &pb.WeighInRequest{Parent: parent, RequestId: id, Into: lot, Alloy: "C87300", Form: pb.Form_FORM_CUP, Weighing: weighing(in.m)})
		case "take":
			_, err = to.Lots.RemoveLot(ctx, &pb.RemoveLotRequest{Name: parent + "/lots/" + lot, RequestId: id, How: pb.Removal_REMOVAL_SOLD, Mass: mass(in.m)})
		default:
			var l *pb.GetLotResponse
			l, err = to.Lots.GetLot(ctx, &pb.GetLotRequest{Name: parent + "/lots/" + lot})
			out.m = ledger.Mass(l.GetLot().GetMass().GetMg())
		}
		return err
	})
	if in.what == "take" && errors.Is(err, ledger.ErrNeedsReason) {
		return told{refused: true}, nil
	}
	return out, err
}

// writes counts the operations that made an entry.
func writes(h []porcupine.Operation) (n int64) {
	for _, o := range h {
		if o.Input.(ask).what != "read" && !o.Output.(told).refused {
			n++
		}
	}
	return n
}

// have looks that the books of some shops are whole and have so many entries.
func (s *servers) have(entries map[string]int64) {
	s.t.Helper()
	st, err := postgres.Open(s.t.Context(), s.url, postgres.Options{})
	if err != nil {
		s.t.Fatal(err)
	}
	defer st.Close()
	for shop, want := range entries {
		if v, err := ledger.Verify(s.t.Context(), st, shop, nil); err != nil || v.Fault != nil || v.Entries != want {
			s.t.Errorf("the book of %s has %d entries, want %d; fault %+v (%v)", shop, v.Entries, want, v.Fault, err)
		}
	}
}

// spoil makes one read wrong; it tells whether there was one.
func spoil(h []porcupine.Operation) bool {
	for i := range h {
		if h[i].Input.(ask).what == "read" {
			h[i].Output = told{m: h[i].Output.(told).m + 1}
			return true
		}
	}
	return false
}

func printed(h []porcupine.Operation) (s string) {
	slices.SortFunc(h, func(a, b porcupine.Operation) int { return int(a.Call - b.Call) })
	for _, o := range h {
		s += fmt.Sprintf("%12d %12d  client %d  %+v: %+v\n", o.Call, o.Return, o.ClientId, o.Input, o.Output)
	}
	return s
}

// TestRaceOnRequests: sixteen clients of three servers, which are killed meanwhile,
// race on the same request ids. Each has one effect, and all are told of that one.
func TestRaceOnRequests(t *testing.T) {
	const racers = 16
	postgrestest.Need(t)
	r := chance(t)
	s := threeServers(t)
	var unsaid atomic.Int64
	first := &caller{t: t, to: s.clients(), r: rand.New(rand.NewPCG(r.Uint64(), 0)), unsaid: &unsaid}
	id := uuid.NewString()
	if err := first.do(func(ctx context.Context, c *client.Client) error {
		_, err := c.Shops.CreateShop(ctx, &pb.CreateShopRequest{ShopId: shopID, RequestId: id, Shop: &pb.Shop{DisplayName: "Harrow Lane Foundry", MassUnit: "g"}})
		return err
	}); err != nil {
		t.Fatal(err)
	}
	stop, killed := make(chan struct{}), make(chan int, 1)
	killer := rand.New(rand.NewPCG(r.Uint64(), 0))
	go func() { killed <- s.kill(killer, stop) }()
	ids, answers := make([]string, *requests), make([][]answered, racers)
	for i := range ids {
		ids[i] = uuid.NewString()
	}
	var wait sync.WaitGroup
	for racer := range racers {
		c := &caller{t: t, to: s.clients(), r: rand.New(rand.NewPCG(r.Uint64(), 0)), lose: true, unsaid: &unsaid}
		answers[racer] = make([]answered, len(ids))
		wait.Add(1)
		go func() {
			defer wait.Done()
			for i, id := range ids {
				if err := c.do(func(ctx context.Context, to *client.Client) error {
					a, err := to.Lots.WeighIn(ctx, &pb.WeighInRequest{Parent: parent, RequestId: id, LotId: fmt.Sprintf("lot-%d", i), Alloy: "C87300", Form: pb.Form_FORM_CUP, Weighing: weighing(grams(int64(i + 1)))})
					answers[racer][i] = answered{a.GetEntry().GetSequence(), a.GetEntry().GetHash()}
					return err
				}); err != nil {
					t.Error(err)
					return
				}
			}
		}()
	}
	wait.Wait()
	close(stop)
	kills := <-killed
	for i := range ids {
		for racer := range answers {
			if answers[racer][i] != answers[0][i] {
				t.Errorf("request %d was answered with entries %d and %d", i, answers[0][i].seq, answers[racer][i].seq)
			}
		}
	}
	s.have(map[string]int64{shopID: setUp + int64(len(ids))})
	t.Logf("%d requests by %d clients: %d kills, %d tries without an answer", len(ids), racers, kills, unsaid.Load())
}
