package main

import (
	"context"
	"strings"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/postgres"
	"example.org/remelt/ledger/sqlite"
)

// openStore opens the books in a file or in a PostgreSQL database.
func openStore(ctx context.Context, db string) (ledger.Store, error) {
	if isDatabase(db) {
		return asStore(postgres.Open(ctx, db, postgres.Options{}))
	}
	return asStore(sqlite.Open(ctx, db, sqlite.Options{}))
}

// asStore keeps a store that could not be opened from passing for one.
func asStore[S ledger.Store](s S, err error) (ledger.Store, error) {
	if err != nil {
		return nil, err
	}
	return s, nil
}

// isDatabase tells whether db is the URL of a PostgreSQL database, not a file.
func isDatabase(db string) bool {
	return strings.HasPrefix(db, "postgres://") || strings.HasPrefix(db, "postgresql://")
}

// storeName names a store in what people read, without a password.
func storeName(s ledger.Store) string {
	switch s := s.(type) {
	case *postgres.Store:
		return s.String()
	case *sqlite.Store:
		return s.Path()
	}
	return ""
}
