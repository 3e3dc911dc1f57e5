package main

import (
	"bytes"
	"context"
	"encoding/json"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"example.org/remelt/ledger/postgres/postgrestest"
)

// A book goes from a file to PostgreSQL, two servers write to it there, and it
// comes back with the same hashes.
func TestPostgres(t *testing.T) {
	postgrestest.Need(t)
	cluster, err := postgrestest.Start()
	if err != nil {
		t.Fatal(err)
	}
	defer cluster.Remove()
	url, err := cluster.Schema(t.Context(), "books")
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	s, stop, err := testServer(dir, newTestClock())
	if err != nil {
		t.Fatal(err)
	}
	if err := setUpShop(s.GRPCAddr()); err != nil {
		t.Fatal(err)
	}
	if err := stop(); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(dir, "book.db")
	first := copied(t, file, url)

	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	var servers []string
	var ended []func() int
	for range 2 {
		address, end := serveOn(ctx, t, url)
		servers, ended = append(servers, address), append(ended, end)
	}
	before := ""
	for i, address := range []string{servers[0], servers[1], servers[0]} {
		lot := regexp.MustCompile(`L\d+-\d+`).FindString(mustRun(t, "receive", "5 kg", "--alloy", "356", "--supplier", "northmetal", "--server", address))
		var stock string
		for _, question := range [][]string{{"losses"}, {"suspects"}, {"trace", "lot", lot}, {"stock"}} { // what a server keeps something for
			stock = mustRun(t, append(question, "--server", servers[i%2])...)
			if other := mustRun(t, append(question, "--server", servers[1-i%2])...); other != stock {
				t.Errorf("asked for %s the servers say:\n%s\n%s", question[0], stock, other)
			}
		}
		if !strings.Contains(stock, "356.0") || stock == before {
			t.Errorf("the servers do not show what was written:\n%s", stock)
		}
		before = stock
	}
	if out := mustRun(t, "verify", "--server", servers[1]); !strings.Contains(out, "The book is whole") {
		t.Error(out)
	}
	backup := filepath.Join(dir, "backup.db")
	mustRun(t, "backup", backup, "--server", servers[0])
	cancel()
	for _, end := range ended {
		if code := end(); code != exitOK {
			t.Errorf("a server ended with %d", code)
		}
	}

	back := copied(t, url, filepath.Join(dir, "back.db"))
	if back == first {
		t.Error("nothing was written to the database")
	}
	for what, got := range map[string]string{
		"the backup": copied(t, backup, filepath.Join(dir, "restored.db")),
		"the rest":   copied(t, url, file),
		"all again":  copied(t, file, url),
	} {
		if got != back {
			t.Errorf("%s ends with %s, want %s", what, got, back)
		}
	}

	var out, errs bytes.Buffer
	a := &app{in: strings.NewReader(""), out: &out, err: &errs, now: time.Now}
	if code := a.run(t.Context(), []string{"copy", filepath.Join(dir, "none.db"), url}); code != exitNotFound {
		t.Errorf("copying no file: status %d\n%s", code, &errs)
	}
}

// copied copies the books and returns the hash that the copy ends with.
func copied(t *testing.T, from, to string) string {
	t.Helper()
	var v struct{ HeadHash string }
	if err := json.Unmarshal([]byte(mustRun(t, "copy", from, to, "-o", "json")), &v); err != nil || len(v.HeadHash) != 64 {
		t.Fatalf("%q (%v)", v.HeadHash, err)
	}
	return v.HeadHash
}

func mustRun(t *testing.T, args ...string) string {
	t.Helper()
	var out, errs bytes.Buffer
	a := &app{in: strings.NewReader(""), out: &out, err: &errs, now: time.Now}
	if code := a.run(t.Context(), args); code != exitOK {
		t.Fatalf("%v: status %d\n%s%s", args, code, &out, &errs)
	}
	return out.String()
}

// serveOn serves a database until ctx ends, and says where.
func serveOn(ctx context.Context, t *testing.T, url string) (address string, end func() int) {
	t.Helper()
	out := &told{}
	a := &app{in: strings.NewReader(""), out: out, err: &told{}, now: time.Now}
	code := make(chan int, 1)
	go func() {
		code <- a.run(ctx, []string{"serve", "--db", url, "--http", "127.0.0.1:0", "--grpc", "127.0.0.1:0"})
	}()
	for range 600 {
		if m := regexp.MustCompile(`gRPC +(\S+:\d+)\n +database +postgres://keeper`).FindStringSubmatch(out.String()); m != nil {
			return m[1], func() int { return <-code }
		}
		select {
		case c := <-code:
			t.Fatalf("the server ended with %d: %s", c, a.err)
		case <-time.After(50 * time.Millisecond):
		}
	}
	t.Fatalf("the server does not say where it is: %s", out)
	return "", nil
}

// told is what was printed so far.
type told struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (o *told) Write(p []byte) (int, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.b.Write(p)
}

func (o *told) String() string {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.b.String()
}
