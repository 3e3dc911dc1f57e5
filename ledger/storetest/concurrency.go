package storetest

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"example.org/remelt/ledger"
)

// concurrency tests that updates are as if one after another, and that views
// beside them are each of one moment.
func (s *suite) concurrency(t *testing.T) {
	st := s.whole(t)
	const writers, each, lots = 8, 40, 4
	shops := []string{Shop, "south"}
	for _, shop := range shops {
		Put(t, st, shop, Move("supplier/S1", "lot/0", 10_000))
	}
	stop := make(chan struct{})
	var readers, writing sync.WaitGroup
	for i := range 3 {
		readers.Add(1)
		go func() {
			defer readers.Done()
			shop, last := shops[i%2], int64(0)
			for {
				select {
				case <-stop:
					return
				default:
				}
				viewOf(t, st, shop, func(r ledger.Reader) {
					head := must[ledger.Head](t)(r.Head())
					var sum ledger.Mass
					for _, h := range must[[]ledger.Holding](t)(r.Holdings("lot", "lot", "", all)) {
						sum += h.Mass
					}
					log := must[[]ledger.Sealed](t)(r.Log(head.Seq-1, all))
					if sum != 10_000 || len(log) != 1 || log[0].Hash != head.Hash || head.Seq < last {
						t.Errorf("%s at %d (after %d): lots sum to %d, log ends %v", shop, head.Seq, last, sum, seqs(log))
					}
					last = head.Seq
				})
			}
		}()
	}
	var mu sync.Mutex
	seen := map[string]bool{}
	for w := range writers {
		writing.Add(1)
		go func() {
			defer writing.Done()
			shop := shops[w%2]
			for i := range each {
				from, to := ledger.Acct("lot", fmt.Sprint((w+i)%lots)), ledger.Acct("lot", fmt.Sprint((w+i+1)%lots))
				var key string
				err := st.Update(context.Background(), shop, func(tx ledger.Tx) error {
					m, err := tx.Balance(from) // read, then write what follows from it
					if err != nil {
						return err
					}
					sealed, err := Append(tx, shop, Move(from, to, (m+1)/2))
					key = fmt.Sprint(shop, sealed.Seq)
					return err
				})
				if err != nil {
					t.Errorf("writer %d: %v", w, err)
				}
				mu.Lock()
				if seen[key] {
					t.Errorf("%s was given out twice", key)
				}
				seen[key] = true
				mu.Unlock()
			}
		}()
	}
	writing.Wait()
	close(stop)
	readers.Wait()
	for _, shop := range shops {
		viewOf(t, st, shop, func(r ledger.Reader) {
			if h := must[ledger.Head](t)(r.Head()); h.Seq != 1+writers/2*each {
				t.Errorf("%s ends at %d, want %d", shop, h.Seq, 1+writers/2*each)
			}
		})
	}
}

// context tests giving up, and closing.
func (s *suite) context(t *testing.T) {
	t.Run("an update whose caller gave up is not run", func(t *testing.T) {
		st := s.fresh(t)
		ctx, cancel := context.WithCancel(context.Background())
		cancel()
		for what, err := range map[string]error{
			"Update": st.Update(ctx, Shop, func(ledger.Tx) error { t.Error("run"); return nil }),
			"View":   st.View(ctx, Shop, func(ledger.Reader) error { t.Error("run"); return nil }),
		} {
			if !errors.Is(err, context.Canceled) || !errors.Is(err, ledger.ErrUnavailable) {
				t.Errorf("%s: %v", what, err)
			}
			if says := strings.Contains(err.Error(), ledger.NothingRecorded); says != (what == "Update") {
				t.Errorf("%s: %v", what, err)
			}
		}
	})

	t.Run("nor has one any effect whose caller gives up while it waits", func(t *testing.T) {
		st := s.fresh(t)
		hold, release := make(chan struct{}), make(chan struct{})
		first := make(chan error, 1)
		go func() {
			first <- st.Update(context.Background(), Shop, func(tx ledger.Tx) error {
				close(hold)
				<-release
				_, err := Append(tx, Shop, Move("supplier/S1", "lot/L1", 1))
				return err
			})
		}()
		<-hold
		ctx, cancel := context.WithTimeout(context.Background(), 30*time.Millisecond)
		defer cancel()
		within(t, "giving up", func() {
			err := st.Update(ctx, Shop, func(tx ledger.Tx) error {
				_, err := Append(tx, Shop, Move("supplier/S1", "lot/late", 1))
				return err
			})
			if !errors.Is(err, context.DeadlineExceeded) || !errors.Is(err, ledger.ErrUnavailable) {
				t.Errorf("error %v", err)
			}
		})
		close(release)
		if err := <-first; err != nil {
			t.Error(err)
		}
		Put(t, st, Shop, Move("supplier/S1", "lot/L1", 1))
		view(t, st, func(r ledger.Reader) {
			if m := must[ledger.Mass](t)(r.Balance("lot/late")); m != 0 {
				t.Errorf("it put %d into its lot", m)
			}
		})
	})

	t.Run("giving up during an update does not lie about it", func(t *testing.T) {
		st := s.fresh(t)
		ctx, cancel := context.WithCancel(context.Background())
		err := st.Update(ctx, Shop, func(tx ledger.Tx) error {
			_, err := Append(tx, Shop, Move("supplier/S1", "lot/L1", 1))
			cancel()
			return err
		})
		view(t, st, func(r ledger.Reader) {
			if saved := must[ledger.Head](t)(r.Head()).Seq == 1; saved != (err == nil) {
				t.Errorf("saved: %v, error: %v", saved, err)
			}
		})
	})

	t.Run("a closed store is closed", func(t *testing.T) {
		st := OnlyInTurn{s.open(t)}
		Put(t, st, Shop, Move("supplier/S1", "lot/L1", 1))
		started, end := make(chan struct{}), make(chan struct{})
		running := make(chan error, 1)
		go func() {
			running <- st.Update(context.Background(), Shop, func(tx ledger.Tx) error {
				close(started)
				<-end
				_, err := Append(tx, Shop, Move("supplier/S1", "lot/L1", 1))
				return err
			})
		}()
		<-started
		closed := make(chan error, 1)
		go func() { closed <- st.Close() }()
		select {
		case err := <-closed:
			t.Errorf("closed while a transaction was running: %v", err)
			closed <- err
		case <-time.After(30 * time.Millisecond):
		}
		close(end)
		if err := <-running; err != nil {
			t.Errorf("the running transaction: %v", err)
		}
		if err := <-closed; err != nil {
			t.Errorf("Close: %v", err)
		}
		_, shopsErr := st.Shops(context.Background())
		for what, err := range map[string]error{
			"Update": st.Update(context.Background(), Shop, func(ledger.Tx) error { return nil }),
			"View":   st.View(context.Background(), Shop, func(ledger.Reader) error { return nil }),
			"Shops":  shopsErr,
		} {
			if !errors.Is(err, ledger.ErrUnavailable) {
				t.Errorf("%s after Close: %v, want ErrUnavailable", what, err)
			}
		}
		if err := st.Close(); err != nil {
			t.Errorf("Close again: %v", err)
		}
	})
}
