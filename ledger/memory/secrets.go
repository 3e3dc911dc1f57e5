package memory

import (
	"bytes"
	"cmp"
	"context"
	"slices"
	"sync"

	"example.org/remelt/ledger"
)

// secrets are what sign-ins are checked against, of every shop.
type secrets struct {
	mu  sync.Mutex
	all map[secretKey]ledger.Secret
}

type secretKey struct {
	shop string
	kind ledger.SecretKind
	id   string
}

// KeepSecret implements ledger.Secrets.
func (s *Store) KeepSecret(ctx context.Context, shop string, x ledger.Secret) error {
	return s.withSecrets(ctx, func(all map[secretKey]ledger.Secret) {
		for k, old := range all {
			if k.shop == shop && !old.Expires.IsZero() && old.Expires.Before(x.Made) {
				delete(all, k)
			}
		}
		x.Hash = bytes.Clone(x.Hash)
		all[secretKey{shop, x.Kind, x.ID}] = x
	})
}

// Secret implements ledger.Secrets.
func (s *Store) Secret(ctx context.Context, shop string, kind ledger.SecretKind, id string) (x ledger.Secret, found bool, err error) {
	err = s.withSecrets(ctx, func(all map[secretKey]ledger.Secret) {
		x, found = all[secretKey{shop, kind, id}]
		x.Hash = bytes.Clone(x.Hash)
	})
	return x, found, err
}

// TakeSecret implements ledger.Secrets.
func (s *Store) TakeSecret(ctx context.Context, shop string, kind ledger.SecretKind, id string) (x ledger.Secret, found bool, err error) {
	err = s.withSecrets(ctx, func(all map[secretKey]ledger.Secret) {
		key := secretKey{shop, kind, id}
		x, found = all[key]
		delete(all, key)
	})
	return x, found, err
}

// AllSecrets implements ledger.Secrets.
func (s *Store) AllSecrets(ctx context.Context, shop string) (some []ledger.Secret, err error) {
	err = s.withSecrets(ctx, func(all map[secretKey]ledger.Secret) {
		for k, x := range all {
			if k.shop == shop {
				x.Hash = bytes.Clone(x.Hash)
				some = append(some, x)
			}
		}
	})
	slices.SortFunc(some, func(a, b ledger.Secret) int { return cmp.Or(cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.ID, b.ID)) })
	return some, err
}

func (s *Store) withSecrets(ctx context.Context, fn func(map[secretKey]ledger.Secret)) error {
	s.mu.Lock()
	closed := s.closed
	s.mu.Unlock()
	if closed {
		return errClosed()
	}
	if err := ctx.Err(); err != nil {
		return unavailable("CANCELLED", err)
	}
	s.secrets.mu.Lock()
	defer s.secrets.mu.Unlock()
	fn(s.secrets.all)
	return nil
}
