package postgres

import (
	"context"
	"flag"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/postgres/postgrestest"
	"example.org/remelt/ledger/storetest"
)

var crashes = flag.Int("crashes", 2, "how often the database is killed under load")

// TestCrash kills the database under the load of clients of two servers who ask
// again, with the same request id, until they are answered. Then every answered
// request has the one entry it was answered with, and no request has two.
//
//	go test -run Crash ./ledger/postgres -args -crashes 100
func TestCrash(t *testing.T) {
	url := postgrestest.Database(t)
	servers := []*Store{open(t, url), open(t, url)}
	for _, s := range servers {
		defer s.Close()
	}
	stop := make(chan struct{})
	answered := map[ledger.RequestID]ledger.Sealed{}
	var mu sync.Mutex
	var wg sync.WaitGroup
	var failures atomic.Int64
	for client := range 8 {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for {
				select {
				case <-stop:
					return
				default:
				}
				id := storetest.NewRequest()
				for {
					sealed, err := once(servers[client%2], id)
					if err == nil {
						mu.Lock()
						answered[id] = sealed
						mu.Unlock()
						break
					}
					failures.Add(1)
					time.Sleep(5 * time.Millisecond) // and again, with the same id
				}
			}
		}()
	}
	enough := func(n int) { // so that every crash is one under load
		for range 3000 {
			mu.Lock()
			have := len(answered)
			mu.Unlock()
			if have >= n {
				return
			}
			time.Sleep(10 * time.Millisecond)
		}
		t.Error("the clients do not recover")
	}
	for round := range *crashes {
		enough(40 * (round + 1))
		postgrestest.Crash(t)
	}
	enough(40 * (*crashes + 1))
	close(stop)
	wg.Wait()
	if failures.Load() == 0 {
		t.Error("no client noticed anything: the test has not tested")
	}
	if err := servers[0].View(t.Context(), "harrow", func(r ledger.Reader) error {
		for id, want := range answered {
			got, found, err := r.ByRequest(id)
			if err != nil {
				return err
			}
			if !found || got.Seq != want.Seq || got.Hash != want.Hash {
				t.Errorf("request %s was answered with entry %d; found %v, entry %d", id, want.Seq, found, got.Seq)
			}
		}
		head, err := r.Head()
		if head.Seq != int64(len(answered)) {
			t.Errorf("%d requests were answered, the book has %d entries", len(answered), head.Seq)
		}
		return err
	}); err != nil {
		t.Error(err)
	}
	storetest.VerifyAll(t, servers[1])
	t.Logf("%d requests answered over %d crashes, %d tries failed", len(answered), *crashes, failures.Load())
}

// once asks for the entry of a request id, and has it made if there is none.
func once(s *Store, id ledger.RequestID) (sealed ledger.Sealed, err error) {
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	err = s.Update(ctx, "harrow", func(tx ledger.Tx) (err error) {
		var found bool
		if sealed, found, err = tx.ByRequest(id); err != nil || found {
			return err
		}
		e := storetest.Move("supplier/S1", "lot/L1", 1)
		e.Request = id
		sealed, err = storetest.Append(tx, "harrow", e)
		return err
	})
	return sealed, err
}
