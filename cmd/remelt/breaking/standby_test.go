//go:build unix

package breaking

import (
	"flag"
	"testing"
	"time"

	"example.org/remelt/client"
	"example.org/remelt/ledger/postgres"
	"example.org/remelt/ledger/postgres/postgrestest"
)

var failovers = flag.Int("failovers", 1, "how often a primary is killed and its standby promoted")

// TestStandby kills a primary database with kill -9 under load and promotes its
// synchronous standby. Two servers, which were told of both, go on with it by
// themselves, and nothing that clients were told of is lost.
func TestStandby(t *testing.T) {
	postgrestest.Need(t)
	r := chance(t)
	for n := range *failovers {
		primary, err := postgrestest.Start()
		if err != nil {
			t.Fatal(err)
		}
		defer primary.Remove()
		if _, err := primary.Schema(t.Context(), "books"); err != nil {
			t.Fatal(err)
		}
		standby, err := primary.Standby()
		if err != nil {
			t.Fatal(err)
		}
		defer standby.Remove()
		either := postgrestest.Either(primary, standby, "books")
		at := [2]*address{{}, {}}
		programs := [2]*program{start(t, at[0], either), start(t, at[1], either)}
		l := dial(t, at[0], clients/2, 5*time.Second)
		for range clients / 2 {
			l.clients = append(l.clients, dialOne(t, at[1], client.Config{Tries: 50, Timeout: 5 * time.Second}))
		}
		for _, p := range programs {
			p.await(t)
		}
		l.openBook()
		l.begin(r)
		l.enough(50)
		time.Sleep(between(r, 0, 300*time.Millisecond))
		if err := primary.Kill(); err != nil {
			t.Fatal(err)
		}
		killed := time.Now()
		if err := standby.Promote(); err != nil {
			t.Fatal(err)
		}
		l.turn()
		l.enough(1)
		recovered := time.Since(killed)
		l.enough(50)
		l.end()
		l.shows()
		st, err := postgres.Open(t.Context(), either, postgres.Options{})
		if err != nil {
			t.Fatal(err)
		}
		l.holds(st, true)
		if err := st.Close(); err != nil {
			t.Error(err)
		}
		for _, p := range programs {
			p.stop(t)
		}
		t.Logf("failover %d: %d calls answered, %d tries failed, the first answer %s after the kill", n, len(l.answers), l.retries.Load(), recovered.Round(time.Millisecond))
		if t.Failed() {
			return
		}
	}
}
