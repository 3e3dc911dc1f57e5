package sqlite

import "example.org/remelt/ledger"

// numbers gives what stands for a name by the number that subjects are filed under. It
// knows the names of a window of numbers, which goes on as they are asked for, ascending:
// for each window the names are read once, so that any number of them takes no more
// memory.
type numbers struct {
	r     *reader
	t     *ledger.Tally
	most  int64 // names of the file, of all shops: they are numbered from 1, each once
	low   int64 // the window is above
	names []uint64
}

// namesAtATime is how wide a window is, 8 bytes a name.
const namesAtATime = 4_000_000

// numbered reads the shop's names, gives each to fn, and keeps those of the first window.
func (r *reader) numbered(t *ledger.Tally, fn func(is uint64, name []column) error) (*numbers, error) {
	most, err := r.names()
	if err != nil {
		return nil, err
	}
	n := &numbers{r: r, t: t, most: most, names: make([]uint64, min(most, namesAtATime))}
	if r.window > 0 {
		n.names = n.names[:min(most, r.window)]
	}
	return n, n.fill(fn)
}

// fill reads the names for the window.
func (n *numbers) fill(fn func(is uint64, name []column) error) error {
	return n.r.rows("name", 2, "itIIiTIII", func(c []column) error {
		is, id := n.t.Name(c[1].bytes), c[2].n
		if id < 0 || id > n.most {
			return errDamaged("%q has number %d of %d", c[1].bytes, id, n.most)
		}
		if at := id - n.low - 1; at >= 0 && at < int64(len(n.names)) {
			if n.names[at] != 0 {
				return errDamaged("%q has number %d, as another name has", c[1].bytes, id)
			}
			n.names[at] = is
		}
		return fn(is, c)
	})
}

// next goes on to the next window, and tells whether there is one.
func (n *numbers) next() (bool, error) {
	end := n.low + int64(len(n.names))
	if end >= n.most {
		return false, nil
	}
	n.low, n.names = end, n.names[:min(n.most-end, int64(len(n.names)))]
	clear(n.names)
	return true, n.fill(func(uint64, []column) error { return nil })
}

// name gives the name with a number, or 0 when none has it: no entry is about the others.
func (n *numbers) name(id int64) (uint64, error) {
	for id > n.low+int64(len(n.names)) {
		if more, err := n.next(); err != nil || !more {
			return 0, err
		}
	}
	if id <= n.low {
		return 0, nil
	}
	return n.names[id-n.low-1], nil
}

// rest goes through what is left, in which a number may stand twice too.
func (n *numbers) rest() error {
	for {
		if more, err := n.next(); err != nil || !more {
			return err
		}
	}
}
