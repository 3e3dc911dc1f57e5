package breaking

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"sync"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/shop"
	"example.org/remelt/ledger/sqlite"
)

// reading is what is asked of a book: opened, its stock, verified, copied, closed.
type reading struct {
	stock shop.Stock
	v     ledger.Verified
}

// TestEveryReadFault: whichever I/O fails while a book is opened, asked, verified
// and copied, an answer is either right or an error that does not call the book
// damaged or strange; a copy is whole or not there; and the book is what it was.
func TestEveryReadFault(t *testing.T) {
	raw := files(t)[len(day)]
	dir := scratch(t)
	want := reading{}
	b := &breaker{kind: kinds[0]}
	if wrong := ask(dir, raw, &want, b); wrong != "" {
		t.Fatalf("unbroken: %s", wrong)
	}
	if want.v.Entries != int64(len(day)) || len(want.stock.Positions) == 0 {
		t.Fatalf("unbroken: %+v", want)
	}
	var all []fault
	for _, k := range kinds {
		b := &breaker{kind: k}
		if wrong := ask(dir, raw, &want, b); wrong != "" {
			t.Fatalf("unbroken: %s", wrong)
		}
		for n := range b.seen {
			all = append(all, fault{0, k, n + 1})
		}
	}
	of := len(all)
	if !*whole {
		all = sample(t, all, sampled/4)
	}
	var mu sync.Mutex
	hit := 0
	each(all, func(worker int, f fault) {
		b := &breaker{kind: f.kind, n: f.n}
		wrong := ask(filepath.Join(dir, fmt.Sprint(worker)), raw, &want, b)
		mu.Lock()
		defer mu.Unlock()
		if wrong != "" {
			t.Errorf("%s, number %d: %s", f.kind, f.n, wrong)
		}
		if b.hit {
			hit++
		}
	})
	t.Logf("%d of %d faults made", hit, of)
	if hit < len(all)*9/10 {
		t.Errorf("only %d of %d faults came to pass", hit, len(all))
	}
}

// ask reads all there is to read with a fault in it. An empty want is filled in.
func ask(dir string, raw []byte, want *reading, b *breaker) string {
	ctx := context.Background()
	path, to := filepath.Join(dir, "books"), filepath.Join(dir, "copy")
	if err := errors.Join(os.RemoveAll(dir), os.MkdirAll(dir, 0o700), os.WriteFile(path, raw, 0o600)); err != nil {
		return err.Error()
	}
	w := &Watcher{}
	defer Watch(dir, w)()
	w.Set(b.before, nil)
	st, s, err := book(dir)
	if strange(err) {
		return fmt.Sprintf("opened: %v", err)
	}
	if err == nil {
		wrong := question(ctx, st, s, want, to)
		_ = st.Close() // what it says changes nothing of what is there
		if wrong != "" {
			return wrong
		}
	} else if !b.hit {
		return fmt.Sprintf("without a fault: %v", err)
	}
	w.Set(nil, nil)
	for _, file := range []string{path, to} {
		if _, err := os.Stat(file); file == to && err != nil {
			continue
		}
		st, err := sqlite.Open(ctx, file, sqlite.Options{Readers: 1})
		if err != nil {
			return fmt.Sprintf("%s opened again: %v", filepath.Base(file), err)
		}
		_, wrong := check(st, len(day), len(day))
		if err := st.Close(); err != nil || wrong != "" {
			return fmt.Sprintf("%s opened again: %s, %v", filepath.Base(file), wrong, err)
		}
	}
	return ""
}

func question(ctx context.Context, st *sqlite.Store, s *shop.Shop, want *reading, to string) string {
	stock, err := s.Stock(ctx, shop.AsOf{}, "")
	if strange(err) {
		return fmt.Sprintf("stock: %v", err)
	}
	v, verr := ledger.Verify(ctx, st, shopID, nil)
	if strange(verr) {
		return fmt.Sprintf("verify: %v", verr)
	}
	if want.v.Entries == 0 {
		*want = reading{stock, v}
	}
	if err == nil && !reflect.DeepEqual(stock, want.stock) {
		return "a wrong stock was served"
	}
	if verr == nil && v != want.v {
		return fmt.Sprintf("verify: %+v", v)
	}
	if err := st.Backup(ctx, to); strange(err) {
		return fmt.Sprintf("backup: %v", err)
	}
	return ""
}

// strange tells whether an error says more than that the disk does not work.
func strange(err error) bool {
	var known *ledger.Error
	return err != nil && (!errors.As(err, &known) || !errors.Is(err, ledger.ErrUnavailable))
}
