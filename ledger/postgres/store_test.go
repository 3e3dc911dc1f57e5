package postgres

import (
	"flag"
	"os"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/postgres/postgrestest"
	"example.org/remelt/ledger/storetest"
)

var requests = flag.Int("requests", 60, "request ids that clients of several servers race for")

func TestMain(m *testing.M) {
	// Each run of the random operations opens the store some times, which takes
	// long here. -rapid.checks asks for more.
	if err := flag.Set("rapid.checks", "10"); err != nil {
		panic(err)
	}
	os.Exit(postgrestest.Main(m))
}

func TestStore(t *testing.T) {
	postgrestest.Need(t)
	urls := map[ledger.Store]string{}
	storetest.Run(t,
		func(t *testing.T) ledger.Store {
			url := postgrestest.Emptied(t, "schema_step")
			s := open(t, url)
			urls[s] = url
			return s
		},
		storetest.Durable(func(t *testing.T, s ledger.Store) ledger.Store {
			if err := s.Close(); err != nil {
				t.Error(err)
			}
			again := open(t, urls[s])
			urls[again] = urls[s]
			return again
		}))
}

func open(t testing.TB, url string) *Store {
	t.Helper()
	s, err := Open(t.Context(), url, Options{})
	if err != nil {
		t.Fatalf("Open: %v", err)
	}
	return s
}
