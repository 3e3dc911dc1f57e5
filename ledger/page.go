package ledger

import "context"

// Look is how many things a page of a narrowed list looks at, when that is more than it
// may give. So such a page takes no longer than one of a list that is not narrowed,
// however few of however many things are wanted: it may be short, or empty, and the list
// goes on.
const Look = 100

// Page reads up to limit things of a kind that keep keeps, nil for all, with id > after,
// ascending by id; of one parent ("heat/41") only unless it is "". next is the id after
// which the list goes on, "" at its end; see [Look].
func Page[T any](ctx context.Context, b *Book, kind RecordKind, parent, after string, limit int, keep func(T) bool) (out []Stamped[T], next string, err error) {
	err = b.Store.View(ctx, b.Shop, func(r Reader) error {
		out, next, err = PageIn(r, kind, parent, after, limit, keep)
		return err
	})
	return out, next, err
}

// PageIn is Page in a view that is open.
func PageIn[T any](r Reader, kind RecordKind, parent, after string, limit int, keep func(T) bool) ([]Stamped[T], string, error) {
	return look(after, clampPage(limit),
		func(after string, n int) ([]Record, error) { return r.Records(kind, parent, after, n) },
		func(rec Record) string { return rec.ID },
		func(rec Record) (s Stamped[T], kept bool, err error) {
			s.Seq = rec.Seq
			err = rec.Into(&s.Value)
			return s, err == nil && (keep == nil || keep(s.Value)), err
		})
}

// look reads things after an id until so many are kept as a page may have, or there are
// no more, or it has looked at all that it may. next is the id of the last one it looked
// at, "" when there are no more.
func look[R, T any](after string, limit int, read func(after string, n int) ([]R, error), id func(R) string, keep func(R) (T, bool, error)) (out []T, next string, err error) {
	n := limit // all that is needed, unless some are left out
	for left := max(limit, Look); left > 0; n = left {
		some, err := read(after, n)
		if err != nil {
			return nil, "", err
		}
		for _, r := range some {
			after = id(r)
			v, kept, err := keep(r)
			if err != nil {
				return nil, "", err
			}
			if !kept {
				continue
			}
			if out = append(out, v); len(out) == limit {
				return out, after, nil
			}
		}
		if len(some) < n {
			return out, "", nil
		}
		left -= n
	}
	return out, after, nil
}
