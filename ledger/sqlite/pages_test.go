package sqlite

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"strings"
	"testing"

	"example.org/remelt/ledger"
)

// TestWalkReadsWhatSQLiteReads: rows of all kinds and sizes, from rows that need one
// page to rows that need several, are read by a walk as SQLite reads them.
func TestWalkReadsWhatSQLiteReads(t *testing.T) {
	c, err := openConn(newPath(t), building)
	noError(t, err)
	defer c.discard()
	ctx := context.Background()
	noError(t, c.once(ctx, `CREATE TABLE one (id INTEGER PRIMARY KEY, hash BLOB, bytes BLOB) STRICT;
		CREATE TABLE two (shop INTEGER, name TEXT, n INTEGER, PRIMARY KEY (shop, name)) STRICT, WITHOUT ROWID; BEGIN`))
	r := rand.New(rand.NewPCG(1, 2))
	for i := range 3000 {
		size := r.IntN(300)
		if r.IntN(20) == 0 {
			size = r.IntN(30_000)
		}
		noError(t, c.exec(`INSERT INTO one VALUES (?, ?, ?)`, int64(3*i+r.IntN(3)), bytes.Repeat([]byte{byte(i)}, r.IntN(40)), bytes.Repeat([]byte{byte(i)}, size)))
		n := r.Int64() >> r.IntN(64)
		var out any = n
		switch r.IntN(5) {
		case 0:
			out = nil
		case 1:
			out = -n
		case 2:
			out = int64(r.IntN(2))
		}
		noError(t, c.exec(`INSERT INTO two VALUES (?, ?, ?)`, int64(r.IntN(4)), fmt.Sprint(i, strings.Repeat("x", size/4)), out))
		if r.IntN(40) == 0 { // so that pages are freed and used again
			noError(t, c.exec(`DELETE FROM one WHERE id % 7 = 3`))
		}
	}
	for shop := range int64(5) {
		w, err := walkFrom(c, "two", false, func(_ int64, payload []byte) bool {
			var of [3]column
			return columns(payload, of[:]) == nil && of[0].n < shop
		})
		noError(t, err)
		walksAs(t, c, w, `SELECT 0, shop, name, n FROM two WHERE shop >= ? ORDER BY shop, name`, shop)
	}
	for _, from := range []int64{0, 1, 17, 2900, 5000, 11_000, 1 << 40} {
		w, err := walkFrom(c, "one", true, func(number int64, _ []byte) bool { return number < from })
		noError(t, err)
		walksAs(t, c, w, `SELECT id, NULL, hash, bytes FROM one WHERE id >= ? ORDER BY id`, from)
	}
}

// walksAs holds what is left of a walk against the answer to a query.
func walksAs(t *testing.T, c *conn, w *walk, query string, from int64) {
	t.Helper()
	rows, err := c.query(query, from)
	noError(t, err)
	n := 0
	noError(t, scanAll(rows, func() error {
		n++
		number, payload, err := w.next()
		noError(t, err)
		var got [3]column
		noError(t, columns(payload, got[:]))
		if number != rows.row[0].(int64) {
			t.Fatalf("%s from %d: row %d, want %d", query, from, number, rows.row[0])
		}
		for i, want := range rows.row[1:] {
			if is := got[i].value(); fmt.Sprintf("%T%[1]v", is) != fmt.Sprintf("%T%[1]v", want) {
				t.Fatalf("%s from %d: row %d has %T %.40[4]v, want %T %.40[5]v", query, from, n, is, want)
			}
		}
		return nil
	}))
	if _, _, err := w.next(); !errors.Is(err, io.EOF) {
		t.Errorf("%s from %d: the walk goes on after %d rows: %v", query, from, n, err)
	}
}

func (c column) value() any {
	switch c.kind {
	case isInt:
		return c.n
	case isText:
		return string(c.bytes)
	case isBytes:
		return c.bytes
	}
	return nil
}

// FuzzColumns: whatever a row is, it is read or it is damage.
func FuzzColumns(f *testing.F) {
	f.Add([]byte{4, 9, 2, 2, 2, 0x39, 1, 0xda})
	f.Add([]byte{4, 0, 76, 12})
	f.Add([]byte{0})
	f.Add([]byte{12, 9, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 2})
	f.Fuzz(func(t *testing.T, payload []byte) {
		for n := range 10 {
			if err := columns(payload, make([]column, n)); err != nil && !errors.Is(err, ledger.ErrCorrupt) {
				t.Fatal(err)
			}
		}
	})
}
