package sqlite

import (
	"fmt"
	"strings"
)

// rows is a statement that writes any number of rows: of each count that is a
// power of two there is one statement, prepared when first used. A statement
// costs much more than a row.
type rows struct {
	statements []string // for 1, 2, 4 … rows
}

func newRows(into string, columns int, conflict string) rows {
	row := "(?" + strings.Repeat(", ?", columns-1) + ")"
	var r rows
	for n := 1; n <= 64; n *= 2 {
		r.statements = append(r.statements, fmt.Sprintf("INSERT INTO %s VALUES %s %s", into, row+strings.Repeat(", "+row, n-1), conflict))
	}
	return r
}

var (
	intoEntry   = newRows(`entry (id, hash, bytes)`, 3, ``)
	intoRequest = newRows(`request (shop, id, seq)`, 3, ``)
	intoTouch   = newRows(`touch (shop, name, seq)`, 3, ``)
	intoMade    = newRows(`made (shop, kind, n)`, 3, `ON CONFLICT DO UPDATE SET n = excluded.n`)
	intoMass    = newRows(`name (shop, name, mass, holds)`, 4, `ON CONFLICT DO UPDATE SET mass = excluded.mass`)
	intoName    = newRows(`name (shop, name, id, mass, holds, parent, seq, at, size)`, 9,
		`ON CONFLICT DO UPDATE SET id = excluded.id, mass = excluded.mass, holds = excluded.holds, parent = excluded.parent,
		seq = excluded.seq, at = excluded.at, size = excluded.size`)
)

// insertAll writes the items; values appends the values of one.
func insertAll[T any](c *conn, r rows, items []T, values func([]any, T) []any) error {
	var args []any
	for k := len(r.statements) - 1; k >= 0; k-- {
		for len(items) >= 1<<k {
			args = args[:0]
			for _, item := range items[:1<<k] {
				args = values(args, item)
			}
			if err := c.exec(r.statements[k], args...); err != nil {
				return err
			}
			items = items[1<<k:]
		}
	}
	return nil
}

// nullInt is an integer that may be NULL.
type nullInt struct {
	v     int64
	valid bool
}

// Scan implements scanner.
func (n *nullInt) Scan(v any) error {
	switch v := v.(type) {
	case nil:
		*n = nullInt{}
	case int64:
		*n = nullInt{v, true}
	default:
		return errDamaged("a %T where a number should be", v)
	}
	return nil
}

func (n nullInt) arg() any {
	if !n.valid {
		return nil
	}
	return n.v
}

// nullText is a text that is NULL when empty.
type nullText string

// Scan implements scanner.
func (n *nullText) Scan(v any) error {
	switch v := v.(type) {
	case nil:
		*n = ""
	case string:
		*n = nullText(v)
	default:
		return errDamaged("a %T where a text should be", v)
	}
	return nil
}

func (n nullText) arg() any {
	if n == "" {
		return nil
	}
	return string(n)
}
