package sqlite

import (
	"context"
	"sync/atomic"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/storetest"
)

// loads are those that benchmarks write, too.
var loads = map[string]func(n int) []ledger.Entry{"shop": storetest.ShopLoad, "uniform": storetest.UniformLoad}

// onlyTally is a store whose readers do not list what they keep.
type onlyTally struct {
	ledger.Store
	t     *testing.T
	parts int64
}

type tallyReader struct {
	parted
	t *testing.T
}

// Kept implements ledger.Reader.
func (r tallyReader) Kept(func(ledger.Kept) error) error {
	r.t.Error("a whole book is not verified by its tally")
	return nil
}

// View implements ledger.Store.
func (s onlyTally) View(ctx context.Context, shop string, fn func(ledger.Reader) error) error {
	return s.Store.View(ctx, shop, func(r ledger.Reader) error {
		read := r.(*reader)
		read.window = 500 * s.parts
		return fn(tallyReader{parted{read, s.parts}, s.t})
	})
}

// TestWholeByTally: a whole book of either load is found whole by its tally alone,
// also while it grows.
func TestWholeByTally(t *testing.T) {
	for name, load := range loads {
		s := open(t, newPath(t))
		defer s.Close()
		all := load(6000)
		add := func(some []ledger.Entry) {
			for len(some) > 0 {
				n := min(len(some), 50)
				if err := s.Update(context.Background(), "harrow", func(tx ledger.Tx) error {
					for _, e := range some[:n] {
						e.Request = storetest.NewRequest()
						if _, err := storetest.Append(tx, "harrow", e); err != nil {
							return err
						}
					}
					return nil
				}); err != nil {
					t.Error(err)
					return
				}
				some = some[n:]
			}
		}
		add(all[:5000])
		grown := make(chan struct{})
		go func() {
			defer close(grown)
			add(all[5000:])
		}()
		parts := int64(1)
		for growing := true; growing; parts = parts*5%17 + 1 {
			select {
			case <-grown:
				growing = false
			default:
			}
			if v, err := ledger.Verify(context.Background(), onlyTally{s, t, parts}, "harrow", nil); err != nil || v.Fault != nil || v.Entries < 5000 {
				t.Fatal(name, err, v)
			}
		}
	}
}

// endsAt is a context that is over once it was asked so many times.
type endsAt struct {
	context.Context
	left atomic.Int64
}

func (c *endsAt) Err() error {
	if c.left.Add(-1) < 0 {
		return context.Canceled
	}
	return nil
}

// TestStoppedIsNotWhole: at whatever moment verifying is stopped, a book that is not whole
// is not called so.
func TestStoppedIsNotWhole(t *testing.T) {
	b := newTampered(t)
	b.do(`UPDATE name SET mass = mass + 1 WHERE mass > 0`)
	faults, stopped := 0, 0
	for n := int64(0); faults < 3; n++ {
		ctx := &endsAt{Context: context.Background()}
		ctx.left.Store(n)
		v, err := ledger.Verify(ctx, b, "harrow", nil)
		switch {
		case err != nil:
			stopped++
		case v.Fault != nil:
			faults++
		default:
			t.Fatalf("stopped when asked for the %dth time, it is called whole", n)
		}
	}
	if stopped < 3 {
		t.Error("the test has not tested")
	}
}
