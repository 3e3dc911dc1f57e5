package postgres

import (
	"fmt"

	"github.com/jackc/pgx/v5"

	"example.org/remelt/ledger"
)

// keptLists are the lists of everything kept beside the log.
var keptLists = []struct {
	query string
	scan  func(pgx.CollectableRow) (ledger.Kept, error)
}{
	{`SELECT kind, ref, mass FROM account WHERE shop = $1`, func(row pgx.CollectableRow) (ledger.Kept, error) {
		var kind, ref string
		var m ledger.Mass
		err := row.Scan(&kind, &ref, &m)
		return ledger.Kept{Balance: &ledger.KeptBalance{Account: ledger.Acct(ledger.AccountKind(kind), ref), Mass: m}}, err
	}},
	{`SELECT kind, id, parent, seq, body FROM record WHERE shop = $1`, func(row pgx.CollectableRow) (ledger.Kept, error) {
		var rec ledger.Record
		err := row.Scan(&rec.Kind, &rec.ID, &rec.Parent, &rec.Seq, &rec.Body)
		return ledger.Kept{Record: &rec}, err
	}},
	{`SELECT request, seq FROM entry WHERE shop = $1`, func(row pgx.CollectableRow) (ledger.Kept, error) {
		var q ledger.KeptRequest
		err := row.Scan((*[16]byte)(&q.ID), &q.Seq)
		return ledger.Kept{Request: &q}, err
	}},
	{`SELECT subject, seq FROM touch WHERE shop = $1`, func(row pgx.CollectableRow) (ledger.Kept, error) {
		var t ledger.Touch
		err := row.Scan(&t.Subject, &t.Seq)
		return ledger.Kept{Touch: &t}, err
	}},
	{`SELECT kind, n FROM made WHERE shop = $1`, func(row pgx.CollectableRow) (ledger.Kept, error) {
		var c ledger.KeptCount
		err := row.Scan(&c.Kind, &c.N)
		return ledger.Kept{Count: &c}, err
	}},
}

// Kept implements ledger.Reader. It reads through a cursor, so that fn may ask
// the reader while it lists.
func (r *reader) Kept(fn func(ledger.Kept) error) error {
	if !isText(r.shop) {
		return r.ready()
	}
	for _, list := range keptLists {
		if err := r.ready(); err != nil {
			return err
		}
		r.cursors++
		cursor := fmt.Sprintf("kept_%d", r.cursors)
		if _, err := r.c.Exec(r.ctx, `DECLARE `+cursor+` NO SCROLL CURSOR FOR `+list.query, pgx.QueryExecModeExec, r.shop); err != nil {
			return r.fault(err)
		}
		for {
			page, err := all(r, list.scan, `FETCH 4096 FROM `+cursor, pgx.QueryExecModeExec)
			if err != nil {
				return err
			}
			for _, k := range page {
				if err := fn(k); err != nil {
					return err // the cursor ends with the transaction
				}
			}
			if len(page) == 0 {
				break
			}
		}
		if _, err := r.c.Exec(r.ctx, `CLOSE `+cursor, pgx.QueryExecModeExec); err != nil {
			return r.fault(err)
		}
	}
	return nil
}
