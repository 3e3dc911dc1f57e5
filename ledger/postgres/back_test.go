package postgres

import (
	"errors"
	"testing"

	"github.com/jackc/pgx/v5"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/postgres/postgrestest"
	"example.org/remelt/ledger/storetest"
)

// A database in which a book ends before what was recorded, as in a primary of old that
// comes back, is not written to; once the right one answers again, it goes on.
func TestBookThatWentBack(t *testing.T) {
	url := postgrestest.Database(t)
	s := open(t, url)
	defer s.Close()
	for range 3 {
		storetest.Put(t, s, "harrow", storetest.Move("supplier/S1", "lot/L1", 5))
	}
	c, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close(t.Context())
	sets := func(where string) {
		t.Helper()
		if _, err := c.Exec(t.Context(), `UPDATE book SET seq = e.seq, hash = e.hash FROM (`+where+`) e WHERE book.shop = 'harrow'`); err != nil {
			t.Fatal(err)
		}
	}
	write := func() error {
		return s.Update(t.Context(), "harrow", func(tx ledger.Tx) error {
			_, err := storetest.Append(tx, "harrow", storetest.Move("supplier/S1", "lot/L1", 5))
			return err
		})
	}
	for name, where := range map[string]string{
		"an end before":  `SELECT seq, hash FROM entry WHERE seq = 2`,
		"another hash":   `SELECT 3::bigint AS seq, hash FROM entry WHERE seq = 1`,
		"an empty shelf": `SELECT 1::bigint AS seq, hash FROM entry WHERE seq = 1`,
	} {
		sets(where)
		var e *ledger.Error
		if err := write(); !errors.As(err, &e) || e.Reason != "BOOK_WENT_BACK" || !errors.Is(err, ledger.ErrUnavailable) {
			t.Errorf("%s: %v", name, err)
		}
	}
	sets(`SELECT seq, hash FROM entry WHERE seq = 3`)
	if err := write(); err != nil {
		t.Errorf("it does not go on: %v", err)
	}
	storetest.VerifyAll(t, s)
}
