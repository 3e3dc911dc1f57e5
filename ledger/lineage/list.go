package lineage

import "unsafe"

const (
	chunkBits = 11
	chunkLen  = 1 << chunkBits
)

// list is an append-only array in chunks of memory that stay where they are. A copy of
// the struct is a snapshot: items below its n that are not changed can be read while
// others are appended.
type list[T any] struct {
	n      int32
	chunks []*[chunkLen]T
}

func (l *list[T]) at(i int32) *T { return &l.chunks[i>>chunkBits][i&(chunkLen-1)] }

func (l *list[T]) add(x T) int32 {
	i := l.n
	if i&(chunkLen-1) == 0 {
		l.chunks = append(l.chunks, new([chunkLen]T))
	}
	*l.at(i) = x
	l.n++
	return i
}

// before returns a list of the first n items which can be appended to without touching
// memory that a snapshot may be reading.
func (l *list[T]) before(n int32) list[T] {
	whole := int(n >> chunkBits)
	out := list[T]{n: n, chunks: l.chunks[:whole:whole]}
	if rest := n & (chunkLen - 1); rest != 0 {
		c := new([chunkLen]T)
		copy(c[:rest], l.chunks[whole][:rest])
		out.chunks = append(out.chunks, c)
	}
	return out
}

func (l *list[T]) bytes() int64 {
	return int64(len(l.chunks))*int64(unsafe.Sizeof([chunkLen]T{})) + 8*int64(cap(l.chunks))
}
