package lineage

import (
	"database/sql"
	"math/rand/v2"
	"path/filepath"
	"runtime"
	"strconv"
	"testing"
	"time"

	_ "modernc.org/sqlite"
)

const (
	benchLots = 1_000_000
	parents   = 3
)

// benchBook is a million lots made from three others each, and one bought ingot
// lot for every ten. With window > 0 parents are among the newest window lots,
// with 0 they are any. Returned as rows: giver, receiver (0 is outside),
// milligrams; a row's entry is its receiver's number.
func benchBook(lots, window int) [][3]int64 {
	rng := rand.New(rand.NewPCG(7, uint64(window)))
	content := []int64{0}
	var rows [][3]int64
	buy := func() {
		id := int64(len(content))
		rows = append(rows, [3]int64{0, id, 400_000_000})
		content = append(content, 400_000_000)
	}
	for range 10 {
		buy()
	}
	for made := 0; made < lots; made++ {
		if made%10 == 9 {
			buy()
		}
		id := int64(len(content))
		content = append(content, 0)
		for range parents {
			lowest := 1
			if window > 0 {
				lowest = max(1, int(id)-window)
			}
			p := int64(lowest + rng.IntN(int(id)-lowest))
			mg := content[p]*(20+rng.Int64N(20))/100 + 1
			if mg > content[p] {
				p, mg = id-1, content[id-1]/3+1
			}
			content[p] -= mg
			content[id] += mg
			rows = append(rows, [3]int64{p, id, mg})
		}
	}
	return rows
}

func lotName(id int64) string {
	if id == 0 {
		return ""
	}
	return "lot/L" + strconv.FormatInt(id, 10)
}

func transfers(rows [][3]int64) []Transfer {
	ts := make([]Transfer, len(rows))
	for i, r := range rows {
		ts[i] = Transfer{r[1], lotName(r[0]), lotName(r[1]), r[2], true}
	}
	return ts
}

func load(tb testing.TB, ts []Transfer) *Graph {
	g := New()
	for len(ts) > 0 { // whole entries, as Append asks for
		n := 1
		for n < len(ts) && ts[n].Seq == ts[0].Seq {
			n++
		}
		if err := g.Append(ts[:n]...); err != nil {
			tb.Fatal(err)
		}
		ts = ts[n:]
	}
	return g
}

// How lots choose their parents: as a shop does; so that nearly every lot is an
// ancestor and holds a share that counts; and without any order, the worst case
// for the processor's caches.
var benchBooks = []struct {
	name   string
	window int
}{{"200-live", 200}, {"100000-live", 100_000}, {"any", 0}}

// BenchmarkMillionLots traces the newest lot back and an early ingot lot
// forward, with fractions, among a million lots of three parents, and asks
// recursive SQL (SQLite, file warm in its cache, integer keys, an index that
// holds all it reads) for the same set of lots without fractions, which
// recursive SQL cannot add up. In a shop's book SQL visits many more lots:
// nearly all are ancestors, by shares of less than an atom. Run with
// -benchtime=10x.
func BenchmarkMillionLots(b *testing.B) {
	for _, book := range benchBooks {
		b.Run(book.name, func(b *testing.B) { benchmarkBook(b, book.window) })
	}
}

func benchmarkBook(b *testing.B, window int) {
	rows := benchBook(benchLots, window)
	ts := transfers(rows)
	newest, early := rows[len(rows)-1][1], int64(5)
	base := heap()
	g := load(b, ts)
	memory := heap() - base
	db := sqlBook(b, rows)

	b.Run("load", func(b *testing.B) {
		for b.Loop() {
			load(b, ts)
		}
		b.ReportMetric(float64(memory)/(1<<20), "MiB")
		b.ReportMetric(float64(g.Size().Bytes)/float64(len(ts)), "B/transfer")
	})
	b.Run("load-from-sql", func(b *testing.B) {
		for b.Loop() {
			loadFromSQL(b, db)
		}
	})
	for _, q := range []struct {
		name, sql string
		of        int64
		ask       func() int
	}{
		{"back", sqlBack, newest, func() int { return len(must(g.Back(lotName(newest), Latest))) }},
		{"via", sqlBack, newest, func() int { return len(must(g.Via(lotName(newest), Latest))) }},
		{"forward", sqlForward, early, func() int { return len(must(g.Forward(lotName(early), Latest))) }},
	} {
		b.Run(q.name, func(b *testing.B) {
			b.ReportAllocs()
			found := 0
			for b.Loop() {
				found = q.ask()
			}
			ours := b.Elapsed() / time.Duration(b.N)
			theirs, lots := timeSQL(b, db, q.sql, q.of)
			b.ReportMetric(float64(theirs)/float64(ours), "×SQL")
			b.ReportMetric(float64(theirs), "SQL-ns/op")
			b.ReportMetric(float64(lots), "SQL-lots")
			b.ReportMetric(float64(found), "found")
		})
	}
	b.Run("age", func(b *testing.B) {
		for b.Loop() {
			must(g.Age(lotName(newest), Latest))
		}
	})
	seq := newest
	b.Run("append", func(b *testing.B) {
		for b.Loop() {
			seq++
			if err := g.Append(Transfer{seq, "lot/L5", "loss", 1, false}); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("reverse-recent", func(b *testing.B) {
		for b.Loop() {
			seq++
			if err := g.Append(Transfer{seq, "lot/L5", "loss", 1, false}); err != nil {
				b.Fatal(err)
			}
			seq++
			if err := g.Reverse(seq, seq-1); err != nil {
				b.Fatal(err)
			}
		}
	})
	oldest := int64(0)
	b.Run("reverse-oldest", func(b *testing.B) {
		for b.Loop() {
			seq, oldest = seq+1, oldest+1
			if err := g.Reverse(seq, oldest); err != nil {
				b.Fatal(err)
			}
		}
	})
}

func must[T any](x T, err error) T {
	if err != nil {
		panic(err)
	}
	return x
}

// heap is what is in use after a collection.
func heap() int64 {
	runtime.GC()
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return int64(m.HeapAlloc)
}

const (
	sqlBack = `WITH RECURSIVE a(lot) AS (VALUES(?) UNION
		SELECT m.giver FROM a JOIN moved m ON m.receiver = a.lot WHERE m.giver > 0) SELECT count(*) FROM a`
	sqlForward = `WITH RECURSIVE a(lot) AS (VALUES(?) UNION
		SELECT m.receiver FROM a JOIN moved m INDEXED BY by_giver ON m.giver = a.lot) SELECT count(*) FROM a`
)

func sqlBook(tb testing.TB, rows [][3]int64) *sql.DB {
	db := must(sql.Open("sqlite", "file:"+filepath.Join(tb.TempDir(), "book.db")+"?_pragma=journal_mode(wal)&_pragma=cache_size(-1000000)"))
	db.SetMaxOpenConns(1)
	tb.Cleanup(func() { db.Close() })
	must(db.Exec(`CREATE TABLE moved (receiver INTEGER, giver INTEGER, n INTEGER, mg INTEGER, PRIMARY KEY (receiver, giver, n)) WITHOUT ROWID, STRICT`))
	tx := must(db.Begin())
	ins := must(tx.Prepare(`INSERT INTO moved VALUES (?, ?, ?, ?)`))
	defer func() { must(0, ins.Close()) }()
	for n, r := range rows {
		must(ins.Exec(r[1], r[0], n, r[2]))
	}
	if err := tx.Commit(); err != nil {
		tb.Fatal(err)
	}
	must(db.Exec(`CREATE INDEX by_giver ON moved (giver, receiver)`))
	must(db.Exec(`ANALYZE`))
	return db
}

// timeSQL returns the best of three.
func timeSQL(tb testing.TB, db *sql.DB, query string, of int64) (best time.Duration, lots int64) {
	for range 3 {
		start := time.Now()
		if err := db.QueryRow(query, of).Scan(&lots); err != nil {
			tb.Fatal(err)
		}
		if d := time.Since(start); best == 0 || d < best {
			best = d
		}
	}
	return best, lots
}

func loadFromSQL(tb testing.TB, db *sql.DB) *Graph {
	rows := must(db.Query(`SELECT giver, receiver, mg FROM moved`))
	defer rows.Close()
	g := New()
	var entry []Transfer
	for rows.Next() {
		var from, to, mg int64
		if err := rows.Scan(&from, &to, &mg); err != nil {
			tb.Fatal(err)
		}
		if len(entry) > 0 && entry[0].Seq != to {
			must(0, g.Append(entry...))
			entry = entry[:0]
		}
		entry = append(entry, Transfer{to, lotName(from), lotName(to), mg, true})
	}
	must(0, g.Append(entry...))
	if err := rows.Err(); err != nil {
		tb.Fatal(err)
	}
	return g
}

// The benchmark compares like with like: on a small book of the same kind the
// lots that recursive SQL finds are those that Via and Forward find.
func TestRecursiveSQLFindsTheSameLots(t *testing.T) {
	for _, window := range []int{200, 0} {
		rows := benchBook(2000, window)
		g, db := load(t, transfers(rows)), sqlBook(t, rows)
		newest := rows[len(rows)-1][1]
		_, lots := timeSQL(t, db, sqlBack, newest)
		if n := len(must(g.Via(lotName(newest), Latest))); int64(n) != lots {
			t.Errorf("window %d: %d lots back, SQL says %d", window, n, lots)
		}
		_, lots = timeSQL(t, db, sqlForward, 5)
		if n := len(must(g.Forward(lotName(5), Latest))); int64(n) != lots {
			t.Errorf("window %d: %d lots forward, SQL says %d", window, n, lots)
		}
		again := must(loadFromSQL(t, db).Back(lotName(newest), Latest))
		equal(t, "loaded from SQL", len(again), len(must(g.Back(lotName(newest), Latest))))
	}
}
