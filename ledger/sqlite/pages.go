package sqlite

import (
	"encoding/binary"
	"io"
	"strings"
)

// A walk reads the rows of one b-tree in order, page by page, as the file format lays
// them down: https://www.sqlite.org/fileformat2.html. To verify a book takes reading
// nearly all of it, which this does several times as fast as statements that give a row
// at a time; and it sees what they do not, the keys that lead to rows. It is in the
// snapshot of its connection like any statement.
//
// What it refuses as damage: a page of another kind or without cells, a cell outside its
// page, a page met twice, a row out of the bounds that lead to it, that does not fill its
// payload or is larger than any.
type walk struct {
	c     *conn
	table bool // rows are found by a number; else they are their own keys
	seen  map[int64]struct{}
	stack []level
	last  int64 // the number of the last row of a table
	many  int   // how many pages are read at a time
}

// level is a page on the way to the next row.
type level struct {
	page      []byte
	leaf      bool
	cells, at int   // at counts cells; on inner pages, the children between them too
	low, high int64 // the numbers its rows may have: above low, up to high
	ahead     []numberedPage
}

// numberedPage is one of the pages below a level that were read with one before them.
type numberedPage struct {
	number int64
	page   []byte
}

const (
	pageSize   = 4096    // of every file this program made
	mostRow    = 1 << 20 // bytes; an entry is a quarter of that at most
	mostAhead  = 32      // pages of each level
	innerTable = 5
	innerIndex = 2
	leaf       = 8 // added to the kind of an inner page
)

// rootOf finds where a table or an index of the file begins.
func rootOf(c *conn, name string) (root int64, err error) {
	found, err := c.one(`SELECT rootpage FROM sqlite_schema WHERE name = ?`, []any{name}, &root)
	if err == nil && !found {
		err = errDamaged("%s is not there", name)
	}
	return root, err
}

// walkFrom starts at the first row that before is not true of; it is asked of the
// number of a table's row, of the payload of an index's.
func walkFrom(c *conn, name string, table bool, before func(number int64, payload []byte) bool) (*walk, error) {
	root, err := rootOf(c, name)
	if err != nil {
		return nil, err
	}
	w := &walk{c: c, table: table, seen: map[int64]struct{}{}, last: -1 << 63, many: 1}
	page, err := w.read(root)
	for at, low, high := root, int64(-1<<63), int64(1<<63-1); ; {
		if err == nil {
			err = w.enter(at, page, low, high)
		}
		if err != nil {
			return nil, err
		}
		l := &w.stack[len(w.stack)-1]
		for n := range l.cells {
			number, payload, err := w.cell(l, n)
			if err != nil {
				return nil, err
			}
			if !before(number, payload) {
				break
			}
			if l.at += 2; l.leaf {
				l.at--
			}
		}
		if l.leaf {
			return w, nil
		}
		at, page, low, high, err = w.child(l)
	}
}

// next gives the next row, or io.EOF. Its payload stays as it is.
func (w *walk) next() (number int64, payload []byte, err error) {
	for len(w.stack) > 0 {
		l := &w.stack[len(w.stack)-1]
		switch {
		case l.leaf && l.at == l.cells, !l.leaf && l.at > 2*l.cells:
			w.stack = w.stack[:len(w.stack)-1]
			continue
		case l.leaf:
			number, payload, err = w.cell(l, l.at)
			l.at++
			if err == nil && w.table && (number <= w.last || number <= l.low || number > l.high) {
				err = errDamaged("row %d is where rows from %d to %d are", number, l.low, l.high)
			}
			w.last = number
			return number, payload, err
		case l.at%2 == 0:
			at, page, low, high, err := w.child(l)
			if err != nil {
				return 0, nil, err
			}
			if err := w.enter(at, page, low, high); err != nil {
				return 0, nil, err
			}
		default:
			n := l.at / 2
			l.at++
			if !w.table { // those of a table are keys and no rows
				return w.cell(l, n)
			}
		}
	}
	return 0, nil, io.EOF
}

// enter goes down to a page.
func (w *walk) enter(at int64, page []byte, low, high int64) error {
	if _, again := w.seen[at]; again {
		return errDamaged("page %d is met twice", at)
	}
	kind := byte(innerIndex)
	if w.table {
		kind = innerTable
	}
	l := level{page: page, leaf: page[0] == kind+leaf, cells: int(binary.BigEndian.Uint16(page[3:])), low: low, high: high}
	if !l.leaf {
		if page[0] != kind {
			return errDamaged("page %d is of kind %d", at, page[0])
		}
		w.seen[at] = struct{}{} // where there is a loop, there are these
	}
	if l.first()+2*l.cells > pageSize || l.cells == 0 && !(l.leaf && len(w.stack) == 0) { // none in a table without rows
		return errDamaged("page %d has %d cells", at, l.cells)
	}
	w.stack = append(w.stack, l)
	return nil
}

func (w *walk) read(at int64) (page []byte, err error) {
	found, err := w.c.one(`SELECT data FROM sqlite_dbpage WHERE pgno = ?`, []any{at}, &page)
	if err == nil && (!found || len(page) != pageSize) {
		err = errDamaged("page %d has %d bytes", at, len(page))
	}
	return page, err
}

// first is where the places of the cells begin.
func (l *level) first() int {
	if l.leaf {
		return 8
	}
	return 12
}

// child gives the page that l.at stands on, and the bounds of its rows.
func (w *walk) child(l *level) (at int64, page []byte, low, high int64, err error) {
	n := l.at / 2
	l.at++
	low, high = l.low, l.high
	if w.table && n > 0 {
		if low, _, err = w.cell(l, n-1); err != nil {
			return 0, nil, 0, 0, err
		}
	}
	if at, err = l.below(n); err == nil && w.table && n < l.cells {
		high, _, err = w.cell(l, n)
	}
	if err == nil && (low >= high || low < l.low || high > l.high) {
		err = errDamaged("keys %d and %d are out of order", low, high)
	}
	if err == nil {
		page, err = w.readBelow(l, n, at)
	}
	return at, page, low, high, err
}

// below gives the number of the page that the child n of an inner page is.
func (l *level) below(n int) (int64, error) {
	from := 8 // of the last child, which has no cell
	if n < l.cells {
		var err error
		if from, err = l.place(n); err != nil {
			return 0, err
		}
	}
	return int64(binary.BigEndian.Uint32(l.page[from:])), nil
}

// readBelow reads the page that the child n is, and with it those of the next children,
// each time twice as many: a statement of its own for each page costs more than the page.
func (w *walk) readBelow(l *level, n int, at int64) ([]byte, error) {
	if len(l.ahead) == 0 {
		var numbers []any
		for ; n <= l.cells && len(numbers) < w.many; n++ {
			number, err := l.below(n)
			if err != nil {
				break // it says so when it is its turn
			}
			numbers = append(numbers, number)
		}
		rows, err := w.c.query(pagesNumbered[len(numbers)-1], numbers...)
		if err != nil {
			return nil, err
		}
		if err := scanAll(rows, func() error {
			var p numberedPage
			err := rows.Scan(&p.number, &p.page)
			l.ahead = append(l.ahead, p)
			return err
		}); err != nil {
			return nil, err
		}
		w.many = min(2*w.many, mostAhead)
	}
	if next := l.ahead; len(next) > 0 && next[0].number == at && len(next[0].page) == pageSize {
		l.ahead = next[1:]
		return next[0].page, nil
	}
	return w.read(at)
}

// pagesNumbered are the statements that read one page, two, and so on, in the order they
// are asked for.
var pagesNumbered = func() (s [mostAhead]string) {
	for i := range s {
		s[i] = `SELECT pgno, data FROM (VALUES (?)` + strings.Repeat(`, (?)`, i) + `) CROSS JOIN sqlite_dbpage ON pgno = column1`
	}
	return s
}()

// rest holds what is left of the pages that the walk is on against after. A search
// compares with it too, whichever row it is for.
func (w *walk) rest(after func(number int64, payload []byte) bool) error {
	for i := range w.stack {
		l := &w.stack[i]
		n := l.at
		if !l.leaf {
			n = l.at / 2
		}
		for ; n < l.cells; n++ {
			number, payload, err := w.cell(l, n)
			if err != nil {
				return err
			}
			if !after(number, payload) {
				return errDamaged("a page is out of order at cell %d", n)
			}
		}
	}
	return nil
}

// place gives where a cell begins.
func (l *level) place(n int) (int, error) {
	from := int(binary.BigEndian.Uint16(l.page[l.first()+2*n:]))
	if from < l.first()+2*l.cells || from > pageSize-4 {
		return 0, errDamaged("a cell begins at byte %d of its page", from)
	}
	return from, nil
}

// cell gives the number and the payload of a page's cell; those it has.
func (w *walk) cell(l *level, n int) (number int64, payload []byte, err error) {
	from, err := l.place(n)
	if err != nil {
		return 0, nil, err
	}
	at := l.page[from:]
	if !l.leaf {
		at = at[4:]
	}
	size, ok := int64(0), true
	if l.leaf || !w.table {
		size, at, ok = varint(at)
	}
	if ok && w.table {
		number, at, ok = varint(at)
	}
	if ok && (l.leaf || !w.table) {
		payload, err = w.payload(at, size)
	}
	if !ok {
		err = errDamaged("a cell ends outside its page")
	}
	return number, payload, err
}

// payload gives the bytes of a row, of which at is what its page has.
func (w *walk) payload(at []byte, size int64) ([]byte, error) {
	most, least := int64(pageSize-35), int64((pageSize-12)*32/255-23)
	if !w.table {
		most = (pageSize-12)*64/255 - 23
	}
	if size <= most {
		if size < 0 || size > int64(len(at)) {
			return nil, errDamaged("a row of %d bytes ends outside its page", size)
		}
		return at[:size:size], nil
	}
	if size > mostRow {
		return nil, errDamaged("a row of %d bytes", size)
	}
	here := least + (size-least)%(pageSize-4)
	if here > most {
		here = least
	}
	if here+4 > int64(len(at)) {
		return nil, errDamaged("a row of %d bytes ends outside its page", size)
	}
	out, more := at[:here:here], int64(binary.BigEndian.Uint32(at[here:]))
	for met := map[int64]bool{}; int64(len(out)) < size; {
		if met[more] {
			return nil, errDamaged("page %d is met twice", more)
		}
		page, err := w.read(more)
		if err != nil {
			return nil, err
		}
		out, met[more] = append(out, page[4:4+min(size-int64(len(out)), pageSize-4)]...), true
		more = int64(binary.BigEndian.Uint32(page))
	}
	if more != 0 {
		return nil, errDamaged("a row of %d bytes goes on", size)
	}
	return out, nil
}

// varint reads an integer of one to nine bytes and gives what is after it.
func varint(b []byte) (n int64, rest []byte, ok bool) {
	if len(b) > 0 && b[0] < 0x80 { // nearly all of them
		return int64(b[0]), b[1:], true
	}
	return longVarint(b)
}

func longVarint(b []byte) (n int64, rest []byte, ok bool) {
	for i, c := range b {
		if i == 8 {
			return n<<8 | int64(c), b[9:], true
		}
		n = n<<7 | int64(c&0x7f)
		if c < 0x80 {
			return n, b[i+1:], true
		}
	}
	return 0, nil, false
}

// A column of a row: nothing, an integer, or a text or bytes.
type column struct {
	kind  byte   // 0, or one of these
	n     int64  // 0 of what is no integer
	bytes []byte // of an integer, anything
}

const (
	isInt = iota + 1
	isText
	isBytes
)

// columns reads a row, which has exactly as many as there is room for.
func columns(payload []byte, out []column) error {
	if len(payload) == 0 || payload[0] == 0 || payload[0] >= 0x40 || int(payload[0]) > len(payload) {
		return errDamaged("a row that is none")
	}
	head, body := payload[1:payload[0]], payload[payload[0]:]
	for i := range out {
		kind, rest, ok := varint(head)
		if !ok {
			return errDamaged("a row of %d columns, should be %d", i, len(out))
		}
		head = rest
		c, size := &out[i], int64(0)
		c.kind, c.n = isInt, 0
		switch {
		case kind == 0:
			c.kind = 0
		case kind <= 4:
			size = kind
		case kind == 5 || kind == 6:
			size = 2*kind - 4
		case kind == 8 || kind == 9:
			c.n = kind - 8
		case kind >= 12:
			size, c.kind = (kind-12)/2, isBytes-byte(kind&1)
		default:
			return errDamaged("a column of kind %d", kind)
		}
		if size < 0 || size > int64(len(body)) {
			return errDamaged("a row that ends before its columns")
		}
		if c.kind != isInt {
			c.bytes = body[:size]
		} else if size > 0 {
			c.n = int64(int8(body[0])) //nolint:gosec // its first bit is the sign
			for _, b := range body[1:size] {
				c.n = c.n<<8 | int64(b)
			}
		}
		body = body[size:]
	}
	if len(head)+len(body) > 0 {
		return errDamaged("a row that goes on after its columns")
	}
	return nil
}
