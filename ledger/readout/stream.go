package readout

import "bytes"

// Lines cuts what comes from a port into lines. A line that is longer than any that
// a scale says is dropped, however long it goes on.
type Lines struct {
	rest    []byte
	tooLong bool
}

// ends are what stands between lines: some scales put a weight between the signs
// for the beginning and the end of a text instead.
const ends = "\r\n\x02\x03"

// Add takes the next piece of what came and returns the lines that it ends. How the
// stream is cut into pieces makes no difference.
func (l *Lines) Add(chunk []byte) (lines []string) {
	for {
		i := bytes.IndexAny(chunk, ends)
		part := chunk
		if i >= 0 {
			part = chunk[:i]
		}
		if l.tooLong = l.tooLong || len(l.rest)+len(part) > maxText; !l.tooLong {
			l.rest = append(l.rest, part...)
		}
		if i < 0 {
			return lines
		}
		if !l.tooLong && len(l.rest) > 0 {
			lines = append(lines, string(l.rest))
		}
		l.rest, l.tooLong, chunk = l.rest[:0], false, chunk[i+1:]
	}
}

// TooLong reports whether the line under way is too long to be one.
func (l *Lines) TooLong() bool { return l.tooLong }

// Settled says which weights count: what so many lines in a row say, of those that
// have the pattern.
type Settled struct {
	Lines int // at least 2

	before Reading
	same   int
}

// Hear takes the reading of a line and reports whether it counts now.
func (s *Settled) Hear(r Reading) bool {
	if r != s.before {
		s.before, s.same = r, 0
	}
	s.same++
	return s.same >= max(s.Lines, 2)
}

// Pieces tells one piece from the next: between two the scale has been empty. That
// holds for the first too, so that a piece that lay there before is not taken for a
// new one.
type Pieces struct {
	Empty int64 // what is no more than this, up or down, is nothing; milligrams

	empty bool
}

// On says what a weight that counts is.
type On int

// What a weight that counts is.
const (
	Nothing   On = iota // the scale is empty
	NewPiece            // another piece
	SamePiece           // the piece from before, or others put beside it
	BelowZero           // less than nothing: the scale is not set to zero
)

// Hear takes a weight that counts, in milligrams.
func (p *Pieces) Hear(mg int64) On {
	switch {
	case mg < -p.Empty:
		return BelowZero
	case mg <= p.Empty:
		p.empty = true
		return Nothing
	case p.empty:
		p.empty = false
		return NewPiece
	}
	return SamePiece
}
