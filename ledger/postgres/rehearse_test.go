package postgres

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/postgres/postgrestest"
	"example.org/remelt/ledger/storetest"
)

// TestThoseWhoWaitAskTogether: functions that wait for their turn, each with a
// request id, a new id by count and a lot that others take from too, are answered by
// a few questions of the database, not by some for each. One in five has a request
// id that was used before, and is told of the entry it made.
func TestThoseWhoWaitAskTogether(t *testing.T) {
	s := open(t, postgrestest.Database(t))
	defer s.Close()
	const n = 50
	storetest.Put(t, s, "harrow", storetest.Move("supplier/S1", "lot/pool", n))
	weighIn := func(request ledger.RequestID) (again bool, err error) {
		err = s.Update(t.Context(), "harrow", func(tx ledger.Tx) error {
			if _, again, err = tx.ByRequest(request); again || err != nil {
				return err
			}
			made, err := tx.CountRecords("lot")
			if err != nil {
				return err
			}
			id := fmt.Sprint(made + 1)
			if _, found, err := tx.Record("lot", id); found || err != nil {
				return fmt.Errorf("lot %s is there already (%w)", id, err)
			}
			e := storetest.Move("lot/pool", ledger.Acct("lot", id), 1, storetest.Rec("lot", id, "", `{}`))
			e.Request = request
			_, err = storetest.Append(tx, "harrow", e)
			return err
		})
		return again, err
	}
	used := storetest.NewRequest()
	if again, err := weighIn(used); again || err != nil {
		t.Fatal(again, err)
	}
	l := s.lane("harrow")
	hold, release := make(chan struct{}), make(chan struct{})
	var wg sync.WaitGroup
	wg.Go(func() {
		if err := (storetest.OnlyInTurn{Store: s}).Update(context.Background(), "harrow", func(ledger.Tx) error { close(hold); <-release; return nil }); err != nil {
			t.Error(err)
		}
	})
	<-hold
	before := l.book.asks
	for i := range n {
		wg.Go(func() {
			request := used
			if i%5 > 0 {
				request = storetest.NewRequest()
			}
			if again, err := weighIn(request); err != nil || again != (i%5 == 0) {
				t.Error(i, again, err)
			}
		})
	}
	for l.waiting.Load() < n {
		time.Sleep(time.Millisecond)
	}
	close(release)
	wg.Wait()
	if asked := l.book.asks - before; asked > n/5 {
		t.Errorf("the database was asked %d times for %d functions", asked, n)
	}
	storetest.VerifyAll(t, s)
}

// TestQuestionsGoByTheirIndex: however many names are asked for at once, each is one
// look into an index, and no table is read whole. A planner that may join them as it
// likes reads all entries of a shop to see which request ids were used.
func TestQuestionsGoByTheirIndex(t *testing.T) {
	url := postgrestest.Database(t)
	s := open(t, url)
	defer s.Close()
	storetest.Fill(t, s, "harrow", storetest.ShopEntries(6000))
	names := slices.Repeat([]string{"lot"}, 60)
	ids := make([][16]byte, 60)
	if err := s.read(t.Context(), func(c *pgx.Conn) error {
		if _, err := c.Exec(t.Context(), `ANALYZE`); err != nil {
			return err
		}
		for query, args := range map[string][]any{
			massesOf:  {"harrow", names, names},
			recordsOf: {"harrow", names, names},
			usedOf:    {"harrow", ids},
		} {
			rows, err := c.Query(t.Context(), `EXPLAIN `+query, args...)
			if err != nil {
				return err
			}
			lines, err := pgx.CollectRows(rows, pgx.RowTo[string])
			if err != nil {
				return err
			}
			plan := strings.Join(lines, "\n")
			if strings.Contains(plan, "Seq Scan") || strings.Contains(plan, "Hash Join") || strings.Contains(plan, "Merge Join") || !strings.Contains(plan, "Index") {
				t.Errorf("%s is answered by\n%s", query, plan)
			}
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
}

// TestRehearsalStandsStill: what a function is told while it is rehearsed stays so, though
// others go on meanwhile.
func TestRehearsalStandsStill(t *testing.T) {
	b := newBook(ledger.Head{Seq: 7})
	key := recordKey{"lot", "L1"}
	record := func(body string) *ledger.Record {
		r := storetest.Rec("lot", "L1", "", body)
		r.Seq = 3
		return &r
	}
	b.known.masses["lot/pool"], b.known.made["lot"], b.known.records[key] = 1000, 5, record(`{"n":1}`)
	tells := func(r *rehearsal) string {
		m, err1 := r.Balance("lot/pool")
		n, err2 := r.CountRecords("lot")
		rec, _, err3 := r.Record("lot", "L1")
		h, err4 := r.Head()
		return fmt.Sprintf("%d %d %s %d %v", m, n, rec.Body, h.Seq, errors.Join(err1, err2, err3, err4))
	}
	l := &lane{coming: map[*rehearsal]struct{}{}, book: b}
	before, after := "", ""
	l.prepare(func(tx ledger.Tx) error {
		r := tx.(*rehearsal)
		before = tells(r)
		b.mu.Lock()
		b.known.masses["lot/pool"], b.known.made["lot"], b.known.records[key] = 998, 6, record(`{"n":2}`)
		b.head.Seq = 8
		b.mu.Unlock()
		after = tells(r)
		return nil
	})
	if before != after || before == "" {
		t.Errorf("first %q, then %q", before, after)
	}
}
