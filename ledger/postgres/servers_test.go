package postgres

import (
	"fmt"
	"math/rand/v2"
	"sync"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/postgres/postgrestest"
	"example.org/remelt/ledger/storetest"
)

// TestServersShareABook: sixteen clients of three servers on one database race
// for the same request ids, each of which has one effect and one answer. Every
// client also reads what it then writes, so a lost update would show in the sum.
//
//	go test -run ServersShareABook ./ledger/postgres -args -requests 10000
func TestServersShareABook(t *testing.T) {
	const clients = 16
	url := postgrestest.Database(t)
	var servers []*Store
	for range 3 {
		s := open(t, url)
		defer s.Close()
		servers = append(servers, s)
	}
	ids := make([]ledger.RequestID, *requests)
	for i := range ids {
		ids[i] = storetest.NewRequest()
	}
	answers := make([][]ledger.Hash, clients)
	var wg sync.WaitGroup
	for c := range clients {
		answers[c] = make([]ledger.Hash, len(ids))
		wg.Add(1)
		go func() {
			defer wg.Done()
			r := rand.New(rand.NewPCG(1, uint64(c)))
			for k := range ids {
				i := max(0, min(len(ids)-1, k+r.IntN(9)-4)) // all near the same place
				if k%8 == 0 {
					i = k // and each id is asked for
				}
				s := servers[r.IntN(len(servers))]
				if err := s.Update(t.Context(), "harrow", func(tx ledger.Tx) error {
					sealed, found, err := tx.ByRequest(ids[i])
					if err != nil || found {
						answers[c][i] = sealed.Hash
						return err
					}
					count, err := tx.Balance("lot/L1")
					if err != nil {
						return err
					}
					e := storetest.Move("supplier/S1", "lot/L1", 1, storetest.Rec("lot", "L1", "", fmt.Sprintf(`{"count":%d}`, count+1)))
					e.Request = ids[i]
					sealed, err = storetest.Append(tx, "harrow", e)
					answers[c][i] = sealed.Hash
					return err
				}); err != nil {
					t.Errorf("client %d: %v", c, err)
				}
			}
		}()
	}
	wg.Wait()
	made := map[ledger.Hash]bool{}
	for i := range ids {
		var one ledger.Hash
		for c := range clients {
			if a := answers[c][i]; a != (ledger.Hash{}) && one != (ledger.Hash{}) && a != one {
				t.Errorf("request %d was answered with two entries", i)
			} else if a != (ledger.Hash{}) {
				one = a
			}
		}
		if one != (ledger.Hash{}) {
			made[one] = true
		}
	}
	if err := servers[0].View(t.Context(), "harrow", func(r ledger.Reader) error {
		head, err := r.Head()
		if err != nil {
			return err
		}
		m, err := r.Balance("lot/L1")
		if err != nil {
			return err
		}
		rec, _, err := r.Record("lot", "L1")
		if head.Seq != int64(len(made)) || int64(m) != head.Seq || string(rec.Body) != fmt.Sprintf(`{"count":%d}`, m) {
			t.Errorf("%d requests were answered; the book has %d entries, a sum of %d and %s", len(made), head.Seq, m, rec.Body)
		}
		return err
	}); err != nil {
		t.Error(err)
	}
	storetest.VerifyAll(t, servers[1])
}
