package postgres

import (
	"context"
	"errors"
	"time"

	"github.com/jackc/pgx/v5"

	"example.org/remelt/ledger"
)

const columnsOfSecret = `kind, id, holder, hash, made, expires`

// KeepSecret implements ledger.Secrets.
func (s *Store) KeepSecret(ctx context.Context, shop string, x ledger.Secret) error {
	return s.withSecrets(ctx, func(c *pgx.Conn) error {
		var b pgx.Batch // one transaction
		b.Queue(`DELETE FROM secret WHERE shop = $1 AND expires < $2`, shop, x.Made.UnixMilli())
		var expires *int64
		if !x.Expires.IsZero() {
			expires = new(x.Expires.UnixMilli())
		}
		b.Queue(`INSERT INTO secret (shop, kind, id, holder, hash, made, expires) VALUES ($1, $2, $3, $4, $5, $6, $7)
			ON CONFLICT (shop, kind, id) DO UPDATE SET holder = excluded.holder, hash = excluded.hash, made = excluded.made, expires = excluded.expires`,
			shop, string(x.Kind), x.ID, x.For, append([]byte{}, x.Hash...), x.Made.UnixMilli(), expires)
		return c.SendBatch(ctx, &b).Close()
	})
}

// Secret implements ledger.Secrets.
func (s *Store) Secret(ctx context.Context, shop string, kind ledger.SecretKind, id string) (ledger.Secret, bool, error) {
	return s.oneSecret(ctx, `SELECT `+columnsOfSecret+` FROM secret WHERE shop = $1 AND kind = $2 AND id = $3`, shop, kind, id)
}

// TakeSecret implements ledger.Secrets.
func (s *Store) TakeSecret(ctx context.Context, shop string, kind ledger.SecretKind, id string) (ledger.Secret, bool, error) {
	return s.oneSecret(ctx, `DELETE FROM secret WHERE shop = $1 AND kind = $2 AND id = $3 RETURNING `+columnsOfSecret, shop, kind, id)
}

func (s *Store) oneSecret(ctx context.Context, query, shop string, kind ledger.SecretKind, id string) (x ledger.Secret, found bool, err error) {
	if !isText(shop, string(kind), id) {
		return x, false, nil
	}
	err = s.withSecrets(ctx, func(c *pgx.Conn) error {
		x, err = scanSecret(c.QueryRow(ctx, query, shop, string(kind), id))
		found = err == nil
		if errors.Is(err, pgx.ErrNoRows) {
			return nil
		}
		return err
	})
	return x, found && err == nil, err
}

// AllSecrets implements ledger.Secrets.
func (s *Store) AllSecrets(ctx context.Context, shop string) (all []ledger.Secret, err error) {
	err = s.withSecrets(ctx, func(c *pgx.Conn) error {
		rows, err := c.Query(ctx, `SELECT `+columnsOfSecret+` FROM secret WHERE shop = $1 ORDER BY kind, id`, shop)
		if err == nil {
			all, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (ledger.Secret, error) { return scanSecret(row) })
		}
		return err
	})
	return all, err
}

func scanSecret(row pgx.Row) (x ledger.Secret, err error) {
	var made int64
	var expires *int64
	err = row.Scan(&x.Kind, &x.ID, &x.For, &x.Hash, &made, &expires)
	x.Made = time.UnixMilli(made).UTC()
	if expires != nil {
		x.Expires = time.UnixMilli(*expires).UTC()
	}
	return x, err
}

// withSecrets runs a statement or a batch of its own, again when it is given up
// in favour of another.
func (s *Store) withSecrets(ctx context.Context, fn func(*pgx.Conn) error) error {
	if err := s.begin(); err != nil {
		return err
	}
	defer s.running.Done()
	if err := ctx.Err(); err != nil {
		return unavailable("CANCELLED", err)
	}
	p, err := s.acquire(ctx, s.reading)
	if err != nil {
		return err
	}
	defer p.release()
	for try := 0; ; try++ {
		if err = fn(p.Conn); err == nil || !conflicted(err) {
			return storeError(err)
		}
		if err := pause(ctx, try); err != nil {
			return err
		}
	}
}
