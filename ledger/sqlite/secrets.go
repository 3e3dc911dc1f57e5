package sqlite

import (
	"context"
	"fmt"
	"time"

	"example.org/remelt/ledger"
)

const fromSecret = `SELECT kind, id, holder, hash, made, expires FROM secret` //nolint:gosec // names of columns

// KeepSecret implements ledger.Secrets.
func (s *Store) KeepSecret(ctx context.Context, shop string, x ledger.Secret) error {
	return s.changeSecrets(ctx, shop, func(t *tx) error {
		if err := t.c.exec(`DELETE FROM secret WHERE shop = ? AND expires < ?`, shop, x.Made.UnixMilli()); err != nil {
			return err
		}
		var expires any
		if !x.Expires.IsZero() {
			expires = x.Expires.UnixMilli()
		}
		return t.c.exec(`INSERT INTO secret (shop, kind, id, holder, hash, made, expires) VALUES (?, ?, ?, ?, ?, ?, ?)
			ON CONFLICT DO UPDATE SET holder = excluded.holder, hash = excluded.hash, made = excluded.made, expires = excluded.expires`,
			shop, string(x.Kind), x.ID, x.For, append([]byte{}, x.Hash...), x.Made.UnixMilli(), expires)
	})
}

// TakeSecret implements ledger.Secrets.
func (s *Store) TakeSecret(ctx context.Context, shop string, kind ledger.SecretKind, id string) (x ledger.Secret, found bool, err error) {
	err = s.changeSecrets(ctx, shop, func(t *tx) error {
		if found, err = oneSecret(t.c, shop, kind, id, &x); err != nil || !found {
			return err
		}
		return t.c.exec(`DELETE FROM secret WHERE shop = ? AND kind = ? AND id = ?`, shop, string(kind), id)
	})
	return x, found && err == nil, err
}

// changeSecrets runs fn in the writer's transaction, beside what others append.
func (s *Store) changeSecrets(ctx context.Context, shop string, fn func(*tx) error) error {
	return s.Update(ctx, shop, func(given ledger.Tx) error {
		t, ok := given.(*tx)
		if !ok {
			return fmt.Errorf("a transaction of %T", given)
		}
		if err := t.ready(); err != nil {
			return err
		}
		t.written = true
		return t.fault(fn(t))
	})
}

// Secret implements ledger.Secrets.
func (s *Store) Secret(ctx context.Context, shop string, kind ledger.SecretKind, id string) (x ledger.Secret, found bool, err error) {
	err = s.read(ctx, func(c *conn) error {
		found, err = oneSecret(c, shop, kind, id, &x)
		return storeError(err)
	})
	return x, found && err == nil, err
}

func oneSecret(c *conn, shop string, kind ledger.SecretKind, id string, x *ledger.Secret) (bool, error) {
	return c.one(fromSecret+` WHERE shop = ? AND kind = ? AND id = ?`, []any{shop, string(kind), id}, secretScan(x)...)
}

// AllSecrets implements ledger.Secrets.
func (s *Store) AllSecrets(ctx context.Context, shop string) (all []ledger.Secret, err error) {
	err = s.read(ctx, func(c *conn) error {
		rows, err := c.query(fromSecret+` WHERE shop = ? ORDER BY kind, id`, shop)
		if err != nil {
			return storeError(err)
		}
		return storeError(scanAll(rows, func() error {
			var x ledger.Secret
			err := rows.Scan(secretScan(&x)...)
			all = append(all, x)
			return err
		}))
	})
	return all, err
}

func secretScan(x *ledger.Secret) []any {
	return []any{kindOf{&x.Kind}, &x.ID, &x.For, &x.Hash, millis{&x.Made}, millis{&x.Expires}}
}

// kindOf reads a kind from its text.
type kindOf struct{ k *ledger.SecretKind }

// Scan implements scanner.
func (k kindOf) Scan(v any) error {
	text, ok := v.(string)
	*k.k = ledger.SecretKind(text)
	if !ok {
		return errDamaged("a %T where the kind of a secret should be", v)
	}
	return nil
}

// millis reads a moment from its milliseconds; NULL is none.
type millis struct{ t *time.Time }

// Scan implements scanner.
func (m millis) Scan(v any) error {
	switch v := v.(type) {
	case nil:
		*m.t = time.Time{}
	case int64:
		*m.t = time.UnixMilli(v).UTC()
	default:
		return fmt.Errorf("%T is no moment", v)
	}
	return nil
}
