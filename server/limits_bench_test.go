//go:build unix

package server

import (
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	_ "modernc.org/sqlite"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/sqlite"
	"example.org/remelt/ledger/storetest"
)

// The limit of durable weigh-ins is raw SQLite: the same rows, known beforehand, by
// prepared statements through database/sql, over one connection set up like the
// store's, 64 to a commit or one. Weigh-ins through gRPC and REST, and the raw rows
// of the same entries, take turns, a slice each, so that a busy machine disturbs all
// alike; clients and server share its processors.

// ratio is what one way reaches of another, and what it reached when that was last
// looked at: in processor time, which other work on the machine does not change much.
type ratio struct {
	name     string
	of, than string
	recorded float64
}

var ratios = []ratio{
	{"gRPC, 64 clients, of raw in groups of 64", "grpc64", "raw64", 0.27},
	{"REST, 64 clients, of gRPC", "rest64", "grpc64", 0.45},
	{"import, 64 rows a call, of raw in groups of 64", "import64", "rawimport64", 0.60},
	{"import, 1000 rows a call, of raw in groups of 64", "import1000", "rawimport64", 0.85},
	{"heats, 64 clients, of raw in groups of 64", "heat64", "rawheat64", 0.095},
	{"gRPC, one client, of raw one at a time", "grpc1", "raw1", 0.42},
	{"verifying, of SHA-256 of the same bytes on one core", "verify", "sha", 0.085},
}

// BenchmarkLimits reports rates, ratios and how long answers take. b.N is the number
// of weigh-ins of each way with 64 clients.
//
//	go test ./server -run '^$' -bench Limits -benchtime 40000x
func BenchmarkLimits(b *testing.B) {
	b.ResetTimer()
	l := setPace(b, b.N)
	b.StopTimer()
	b.ReportMetric(0, "ns/op")
	for _, name := range []string{"raw64", "grpc64", "rest64", "import64", "import1000", "rawimport64", "heat64", "rawheat64", "raw1", "grpc1", "sha", "verify"} {
		b.ReportMetric(l.rate(name), name+"/s")
	}
	for _, r := range ratios {
		b.ReportMetric(l.rate(r.of)/l.rate(r.than), r.of+"-of-"+r.than)
		b.ReportMetric(l.cpu.rate(r.of)/l.cpu.rate(r.than), r.of+"-of-"+r.than+"-cpu")
	}
	slices.Sort(l.answers)
	p99 := l.answers[len(l.answers)*99/100]
	b.ReportMetric(p99.Seconds()*1e3, "grpc64-p99-ms")
	b.ReportMetric(p99.Seconds()*l.rate("raw64")/64, "p99-in-group-commits")
}

var showRatios = flag.Bool("ratios", false, "measure what ways of writing reach of raw SQLite, and fail when it is less than half of what it was")

// TestRatios is the short form for CI: it fails on no time and no rate, and on a
// ratio only when it is worse than half of the recorded one.
//
//	go test ./server -run Ratios -v -ratios
func TestRatios(t *testing.T) {
	if !*showRatios {
		return
	}
	l := setPace(t, 12_000)
	for _, r := range ratios {
		got := l.cpu.rate(r.of) / l.cpu.rate(r.than)
		t.Logf("%-55s %.3f in processor time (recorded %.3f), %.3f by the clock", r.name, got, r.recorded, l.rate(r.of)/l.rate(r.than))
		if got < r.recorded/2 {
			t.Errorf("%s: %.3f, less than half of %.3f", r.name, got, r.recorded)
		}
	}
}

// pace is what was measured.
type pace struct {
	figures
	cpu     figures
	answers []time.Duration // of gRPC calls with 64 clients
}

// figures are seconds an entry, one for each slice of a way.
type figures map[string][]float64

func (f figures) rate(name string) float64 {
	all := slices.Sorted(slices.Values(f[name]))
	return 1 / all[len(all)/2]
}

func (m *pace) time(name string, n int, do func()) {
	m.timeAs(name, func() int { do(); return n })
}

// timeAs is time for who knows only afterwards how many entries were made.
func (m *pace) timeAs(name string, do func() int) {
	began, used := time.Now(), storetest.ProcessorTime()
	n := do()
	m.figures[name] = append(m.figures[name], time.Since(began).Seconds()/float64(n))
	m.cpu[name] = append(m.cpu[name], (storetest.ProcessorTime()-used).Seconds()/float64(n))
}

func setPace(tb testing.TB, n int) *pace {
	tb.Helper()
	m := &pace{figures: figures{}, cpu: figures{}}
	s := newWeighers(tb)
	const slice = 2048
	raw64, raw1, rawImport, rawHeat := newRawBook(tb), newRawBook(tb), newRawBook(tb), newRawBook(tb)
	for done := 0; done < n; done += slice {
		m.time("grpc64", slice, func() { m.answers = append(m.answers, s.weigh(slice, 64, s.grpc)...) })
		entries := s.since(slice)
		m.time("raw64", slice, func() { raw64.write(entries, 64) })
		m.time("rest64", slice, func() { s.weigh(slice, 64, s.rest) })
		m.time("import64", slice, func() { s.importRows(slice, 64) })
		entries = s.since(slice)
		m.time("rawimport64", slice, func() { rawImport.write(entries, 64) })
		m.time("import1000", slice, func() { s.importRows(slice, 1000) })
		lots := s.importRows(64*perHeat, 1000)
		rawHeat.write(s.since(64*perHeat), 64)
		before := s.head()
		made := 0
		m.timeAs("heat64", func() int {
			s.heats(lots)
			made = int(s.head() - before)
			return made
		})
		entries = s.since(made)
		m.time("rawheat64", made, func() { rawHeat.write(entries, 64) })
		m.time("grpc1", slice/16, func() { s.weigh(slice/16, 1, s.grpc) })
		entries = s.since(slice / 16)
		m.time("raw1", slice/16, func() { raw1.write(entries, 1) })
	}
	var all []ledger.Sealed
	if err := s.store.View(tb.Context(), "harrow", func(r ledger.Reader) (err error) {
		all, err = r.Log(0, 1<<20)
		return err
	}); err != nil {
		tb.Fatal(err)
	}
	for range 5 {
		m.time("sha", len(all), func() {
			for _, e := range all {
				sha256.Sum256(e.Bytes)
			}
		})
		m.time("verify", len(all), func() {
			if v, err := ledger.Verify(tb.Context(), s.store, "harrow", nil); err != nil || v.Fault != nil {
				tb.Fatal(v.Fault, err)
			}
		})
	}
	return m
}

// weighers are clients of a server on a durable book.
type weighers struct {
	tb     testing.TB
	server *Server
	store  ledger.Store
	conn   *grpc.ClientConn
	lots   pb.LotServiceClient
	url    string
}

func newWeighers(tb testing.TB) *weighers {
	tb.Helper()
	PaceGarbage(tb.Context())
	st, err := sqlite.Open(tb.Context(), filepath.Join(tb.TempDir(), "book.db"), sqlite.Options{})
	if err != nil {
		tb.Fatal(err)
	}
	srv, err := New(Config{Store: st, GRPC: "127.0.0.1:0", HTTP: "127.0.0.1:0", Log: slog.New(slog.NewTextHandler(io.Discard, nil))})
	if err != nil {
		tb.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- srv.Run(ctx) }()
	conn, err := grpc.NewClient(srv.GRPCAddr(), grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() {
		_ = conn.Close()
		cancel()
		if err := <-done; err != nil {
			tb.Error(err)
		}
	})
	if _, err := pb.NewShopServiceClient(conn).CreateShop(ctx, &pb.CreateShopRequest{ShopId: "harrow", Shop: &pb.Shop{DisplayName: "Harrow Lane"}}); err != nil {
		tb.Fatal(err)
	}
	return &weighers{tb: tb, server: srv, store: st, conn: conn, lots: pb.NewLotServiceClient(conn), url: "http://" + srv.HTTPAddr() + "/v1/shops/harrow/lots:weighIn"}
}

func (s *weighers) grpc(ctx context.Context) error {
	_, err := s.lots.WeighIn(ctx, &pb.WeighInRequest{Parent: "shops/harrow", Alloy: "C87300", Weighing: &pb.Weighing{Net: &pb.Mass{Text: "5.62 kg"}}})
	return err
}

// kept lets 64 clients keep their connections.
var kept = &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: 64}}

func (s *weighers) rest(ctx context.Context) error {
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, s.url, strings.NewReader(`{"alloy":"C87300","weighing":{"net":{"text":"5.62 kg"}}}`))
	if err != nil {
		return err
	}
	r.Header.Set("Content-Type", "application/json")
	resp, err := kept.Do(r)
	if err != nil {
		return err
	}
	defer resp.Body.Close()
	if said, err := io.ReadAll(resp.Body); err != nil || resp.StatusCode != http.StatusOK {
		return fmt.Errorf("%s: %s (%w)", resp.Status, said, err)
	}
	return nil
}

// weigh weighs in n times by so many clients and returns how long each answer took.
func (s *weighers) weigh(n, clients int, call func(context.Context) error) []time.Duration {
	took := make([]time.Duration, n)
	var next atomic.Int64
	var wg sync.WaitGroup
	for range clients {
		wg.Go(func() {
			for {
				i := int(next.Add(1)) - 1
				if i >= n {
					return
				}
				began := time.Now()
				if err := call(s.tb.Context()); err != nil {
					s.tb.Error(err)
					return
				}
				took[i] = time.Since(began)
			}
		})
	}
	wg.Wait()
	return took
}

// since returns the last n entries.
func (s *weighers) since(n int) (entries []ledger.Sealed) {
	s.tb.Helper()
	if err := s.store.View(s.tb.Context(), "harrow", func(r ledger.Reader) error {
		head, err := r.Head()
		if err == nil {
			entries, err = r.Log(head.Seq-int64(n), n)
		}
		return err
	}); err != nil {
		s.tb.Fatal(err)
	}
	return entries
}

// rawBook writes what the store writes for a weigh-in, and looks nothing up.
type rawBook struct {
	tb                                              testing.TB
	conn                                            *sql.Conn
	begin, commit                                   *sql.Stmt
	entry, request, name, mass, whole, touch, count *sql.Stmt
	ids                                             map[string]int64
	made                                            map[string]bool
}

func newRawBook(tb testing.TB) *rawBook {
	tb.Helper()
	path := filepath.Join(tb.TempDir(), "raw.db")
	st, err := sqlite.Open(tb.Context(), path, sqlite.Options{}) // for its schema
	if err == nil {
		err = st.Close()
	}
	if err != nil {
		tb.Fatal(err)
	}
	db, err := sql.Open("sqlite", "file:"+path+"?_journal_mode=WAL&_synchronous=FULL&_foreign_keys=1&_pragma=wal_autocheckpoint(16000)&_pragma=cache_size(-32768)")
	if err != nil {
		tb.Fatal(err)
	}
	conn, err := db.Conn(context.Background())
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() { _, _ = conn.Close(), db.Close() })
	r := &rawBook{tb: tb, conn: conn, ids: map[string]int64{}, made: map[string]bool{}}
	for stmt, query := range map[**sql.Stmt]string{
		&r.begin: `BEGIN IMMEDIATE`, &r.commit: `COMMIT`,
		&r.entry:   `INSERT INTO entry (id, hash, bytes) VALUES (?, ?, ?)`,
		&r.request: `INSERT INTO request (shop, id, seq) VALUES (1, ?, ?)`,
		&r.name:    `INSERT INTO name (shop, name, id, mass, holds, parent, seq, at, size) VALUES (1, ?, ?, ?, ?, ?, ?, ?, ?)`,
		&r.mass:    `UPDATE name SET mass = ifnull(mass, 0) + ?1, holds = (ifnull(mass, 0) + ?1 <> 0) WHERE shop = 1 AND name = ?2`,
		&r.whole:   `UPDATE name SET mass = mass + ?1, holds = (ifnull(mass + ?1, 0) <> 0), parent = ?2, seq = ?3, at = ?4, size = ?5 WHERE shop = 1 AND name = ?6`,
		&r.touch:   `INSERT INTO touch (shop, name, seq) VALUES (1, ?, ?)`,
		&r.count:   `INSERT INTO made (shop, kind, n) VALUES (1, ?, 1) ON CONFLICT DO UPDATE SET n = n + 1`,
	} {
		if *stmt, err = conn.PrepareContext(context.Background(), query); err != nil { //nolint:sqlclosecheck // it ends with the connection
			tb.Fatal(err)
		}
	}
	if _, err := conn.ExecContext(context.Background(), `INSERT INTO shop (id, name) VALUES (1, 'harrow')`); err != nil {
		tb.Fatal(err)
	}
	return r
}

func (r *rawBook) do(s *sql.Stmt, args ...any) {
	if _, err := s.ExecContext(context.Background(), args...); err != nil {
		r.tb.Fatal(err)
	}
}

// nameRow is how an entry changes a row of the table name: an account, a record, or
// both.
type nameRow struct {
	mass          int64
	account       bool
	parent        any
	seq, at, size any
}

func (r *rawBook) write(entries []ledger.Sealed, group int) {
	opened := make([]*ledger.Entry, len(entries))
	for i, s := range entries {
		var err error
		if opened[i], err = s.Open(); err != nil {
			r.tb.Fatal(err)
		}
	}
	for i, s := range entries {
		e := opened[i]
		if i%group == 0 {
			r.do(r.begin)
		}
		r.do(r.entry, 1<<40|s.Seq, s.Hash[:], s.Bytes)
		r.do(r.request, e.Request[:], s.Seq)
		rows := map[string]*nameRow{}
		row := func(name string) *nameRow {
			if rows[name] == nil {
				rows[name] = &nameRow{}
			}
			return rows[name]
		}
		for _, p := range e.Postings {
			x := row(string(p.Account))
			x.mass, x.account = x.mass+int64(p.Mass), true
		}
		for _, rec := range e.Records {
			x := row(string(rec.Kind) + "/" + rec.ID)
			x.seq, x.at, x.size = s.Seq, bytes.Index(s.Bytes, rec.Body)+1, len(rec.Body)
			if rec.Parent != "" {
				x.parent = rec.Parent
			}
			if !r.made[string(rec.Kind)+"/"+rec.ID] {
				r.made[string(rec.Kind)+"/"+rec.ID] = true
				r.do(r.count, string(rec.Kind))
			}
		}
		for _, subject := range e.Subjects() {
			if r.ids[subject] == 0 {
				row(subject)
			}
		}
		for name, x := range rows {
			switch {
			case r.ids[name] == 0:
				r.ids[name] = int64(len(r.ids) + 1)
				var mass any
				if x.account {
					mass = x.mass
				}
				r.do(r.name, name, r.ids[name], mass, x.mass != 0, x.parent, x.seq, x.at, x.size)
			case x.seq == nil:
				r.do(r.mass, x.mass, name)
			default:
				r.do(r.whole, x.mass, x.parent, x.seq, x.at, x.size, name)
			}
		}
		for _, subject := range e.Subjects() {
			r.do(r.touch, r.ids[subject], s.Seq)
		}
		if (i+1)%group == 0 || i == len(entries)-1 {
			r.do(r.commit)
		}
	}
}
